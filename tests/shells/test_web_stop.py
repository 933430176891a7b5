"""Stop on the page: what was asked for and not got is given up, of this page only; what is there stays."""

import threading
import time

import numpy as np
import pytest
from PIL import Image

from irpreview.errors import Stopped
from irpreview.records import Photo
from irpreview.web import server
from irpreview.web.handlers import Desk
from irpreview.web.keeping import Keeping
from irpreview.web.log_desk import LogDesk
from irpreview.web.responses import Shown
from irpreview.web.sessions import Snap


class SlowReader:
    """Reads for ever until it is told to stop, like a decoder over a hostile file."""

    def __init__(self):
        self.reads, self.ended = threading.Event(), threading.Event()
        self.reads_for = None

    def read(self, path, wanted_by=None, **_):
        self.reads_for = wanted_by
        self.reads.set()
        assert self.ended.wait(20)
        self.reads.clear()
        raise Stopped("not read any further")

    def stop(self, wanted_by):
        if self.reads.is_set() and wanted_by == self.reads_for:
            self.ended.set()


@pytest.fixture
def desk(tmp_path):
    (tmp_path / "page").mkdir()
    return Desk(tmp_path / "page", keeping=Keeping(tmp_path / "kept"))


def opened(desk):
    return next(iter(desk.open(None, True))).values["token"]


def in_background(steps):
    shown = []
    work = threading.Thread(target=lambda: shown.extend(steps))
    work.start()
    return work, shown


def files(tmp_path, count):
    paths = []
    for number in range(count):
        paths.append(tmp_path / "page" / f"{number}.jpg")
        Image.effect_noise((300, 200), 60).convert("RGB").save(paths[-1])
    return paths


def test_a_snap_being_read_is_given_up_and_the_rest_of_the_batch_not_begun(desk, tmp_path):
    desk.reader = SlowReader()
    token = opened(desk)
    given = files(tmp_path, 3)
    work, shown = in_background(desk.add(token, given))
    assert desk.reader.reads.wait(20)
    begun = time.monotonic()
    desk.stop(token)
    work.join(20)
    assert time.monotonic() - begun < 30
    assert shown[-1].status == "Stopped. 3 snaps were not read."
    assert not any(path.exists() for path in given), "uploads do not stay behind"
    assert desk.turns.ahead() == 0


def test_another_page_s_stop_is_not_heard(desk, tmp_path):
    desk.reader = SlowReader()
    mine, other = opened(desk), opened(desk)
    work, shown = in_background(desk.add(mine, files(tmp_path, 1)))
    assert desk.reader.reads.wait(20)
    desk.stop(other)
    desk.stop(None)
    desk.stop("unknown")
    work.join(0.3)
    assert work.is_alive()
    desk.stop(mine)
    work.join(20)
    assert shown


def test_who_waits_in_the_line_leaves_it(desk, tmp_path):
    first, second = opened(desk), opened(desk)
    ticket = desk.turns.join()
    assert desk.turns.wait(ticket, 1.0)
    work, shown = in_background(desk.add(second, files(tmp_path, 2)))
    while not shown:
        time.sleep(0.01)
    assert "One moment" in shown[0].status
    desk.stop(second)
    work.join(20)
    assert not work.is_alive(), "it does not wait for the one before it to come to an end"
    assert shown[-1].status.startswith("Stopped.")
    desk.turns.leave(ticket)
    assert first in desk.sessions


def test_a_field_page_of_many_snaps_ends_between_two(desk, tmp_path, monkeypatch):
    token = opened(desk)
    with desk.sessions.at(token) as session:
        session.snaps = [Snap(Photo(np.zeros((64, 64, 3), np.uint8)), b"t") for _ in range(5)]
    done = []

    def one(_token, index, *_):
        done.append(index)
        if index == 1:
            desk.stop(token)  # pressed while this one is at work

    monkeypatch.setattr(desk, "_field_place", one)
    shown = list(desk.make_field_page(token, False))
    assert done == [0, 1]
    assert shown[-1].status == "Stopped."


def test_after_a_stop_the_page_works_as_before(desk, tmp_path):
    token = opened(desk)
    desk.stop(token)
    shown = list(desk.add(token, files(tmp_path, 1)))
    assert shown[-1].parts["answer"]


def test_the_page_s_server_has_its_own_way_for_a_stop(tmp_path, desk):
    call, _quick = server.calls_of(desk, LogDesk(desk, tmp_path / "log.sqlite"))["stop"]
    shown = call(opened(desk), {}, True)
    assert isinstance(shown, Shown)
    assert shown.as_dict() == {}
