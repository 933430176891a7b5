"""Frames brought home go into the log together, each once, and come out together, whatever happens in between."""

import os
import random
import signal
import subprocess
import sys
import time
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from irpreview.core.field_log.entries import HomeFrame, LogEntry, SearchWish, ToneDifference
from irpreview.core.field_log.homecoming import Homecoming, RealFrame
from irpreview.core.field_log.learning import learn_factor
from irpreview.core.field_log.matching import Found
from irpreview.errors import BadLog, BadValue
from irpreview.io.field_log import FieldLog
from irpreview.io.home_proposal import read_proposal, take_proposal, write_proposal
from irpreview.io.tables import load_tables
from irpreview.records import Kit, Place

KIT = "unmodified-720"


def frame(i, plan=None, **changes):
    entry = LogEntry(
        KIT,
        iso=200.0,
        f_number=8.0,
        shutter_s=60.0,
        metered_ev100=14.0,
        came_out_stops=0.2,
        frame_path=f"IR_{i}.jpg",
        frame_sha256=f"{i:064x}",
        snap_path="snap.jpg",
        snap_sha256="5a",
        taken_at=datetime(2026, 6, 21, 12, i % 60, tzinfo=UTC),
        place=Place(47.0, -16.0),
    )
    return HomeFrame(replace(entry, **changes), plan, (ToneDifference(KIT, "tree", 0.1 * (i % 5), 0.2, f"pair-{i}"),))


def contents(log):
    return sorted(e.frame_sha256 or "" for e in log.search())


@pytest.fixture
def log(tmp_path):
    with FieldLog(tmp_path / "log.sqlite") as opened:
        yield opened


def test_a_batch_goes_in_once_and_comes_out_whole(log):
    own = log.add(LogEntry(KIT, notes="typed by hand"))
    taken = log.take_home("aa11", [frame(i) for i in range(3)], "brought home")
    assert [e.batch for e in taken] == ["aa11"] * 3
    assert log.take_home("aa11", [frame(i) for i in range(3)], "brought home") == ()
    assert len(log.take_home("bb22", [frame(2), frame(3), frame(3)], "brought home")) == 1
    assert len(log) == 5
    assert [(b.name, b.frames) for b in log.batches()] == [("bb22", 1), ("aa11", 3)]
    assert log.take_back("aa11") == 3
    assert [e.id for e in log.search(SearchWish(text="by hand"))] == [own]
    assert contents(log) == sorted(["", f"{3:064x}"])
    assert {d.pair_key for d in log.differences(KIT)} == {"pair-3"}
    assert "took back" in log.undo()
    assert len(log) == 5
    assert len(log.differences(KIT)) == 4


def test_a_plan_gets_its_frame_and_waits_for_it_again(log):
    plan = log.add(
        LogEntry(
            KIT, planned_iso=200.0, planned_f_number=8.0, planned_shutter_s=60.0, notes="the oak", snap_path="s.jpg"
        )
    )
    before = log.entry(plan)
    taken = log.take_home("aa11", [frame(0, plan), frame(1, plan)], "brought home")
    assert len(taken) == len(log) == 2
    beside = log.entry(plan)
    assert (beside.iso, beside.notes, beside.planned_shutter_s, beside.uid) == (200.0, "the oak", 60.0, before.uid)
    log.edit(plan, notes="the oak, again")
    log.take_back("aa11")
    assert log.entry(plan) == replace(before, notes="the oak, again")


def test_undo_takes_the_batch_out_of_the_list_too(log):
    log.take_home("aa11", [frame(0)], "brought home")
    log.undo()
    assert (len(log), log.batches(), log.differences(KIT)) == (0, (), ())
    assert len(log.take_home("aa11", [frame(0)], "brought home")) == 1


def test_what_was_taken_out_by_hand_stays_out(log):
    first, second = log.take_home("aa11", [frame(0), frame(1)], "brought home")
    log.remove(first.id)
    assert log.take_back("aa11") == 1
    assert len(log) == 0
    with pytest.raises(BadValue, match="no batch 'aa11'"):
        log.take_back("aa11")
    assert second.id > first.id


def test_a_name_that_is_no_text_is_no_batch(log):
    with pytest.raises(BadValue, match="no batch"):
        log.take_back(b"\xff\xfe".decode(errors="surrogateescape"))  # as a terminal hands over such bytes


def test_one_frame_that_cannot_be_takes_none_in(log):
    with pytest.raises(BadValue):
        log.take_home("aa11", [frame(0), frame(1, iso=-5.0)], "brought home")
    assert (len(log), log.batches()) == (0, ())


@given(st.lists(st.tuples(st.sampled_from("abc"), st.lists(st.integers(0, 5), max_size=5)), max_size=8))
@settings(max_examples=25, deadline=None)
def test_in_any_order_each_frame_is_there_once(tmp_path_factory, steps):
    """Against a plain model: sets of frames by batch."""
    model: dict[str, set[int]] = {}
    with FieldLog(tmp_path_factory.mktemp("log") / "log.sqlite") as log:
        for batch, numbers in steps:
            if numbers:
                known = set().union(*model.values()) if model else set()
                new = set(numbers) - known
                assert len(log.take_home(batch, [frame(i) for i in numbers], "brought home")) == len(new)
                if new:
                    model.setdefault(batch, set()).update(new)
            elif batch in model:
                assert log.take_back(batch) == len(model.pop(batch))
            there = sorted(i for numbers in model.values() for i in numbers)
            assert contents(log) == [f"{i:064x}" for i in there]
            assert {b.name for b in log.batches()} == set(model)


# --- the proposal ---------------------------------------------------------------------------------------------------


def homecoming(*frames):
    nothing = learn_factor(Kit(), (), load_tables())
    rows = tuple(
        RealFrame(i + 1, f"IR_{i}.jpg", Found.PICTURE if f else Found.NONE, "snap.jpg" if f else None, home=f)
        for i, f in enumerate(frames)
    )
    return Homecoming("cc33", KIT, rows, None, nothing, nothing, 1)


def test_only_what_a_proposal_shows_is_taken(log, tmp_path):
    path = tmp_path / "home-cc33.json"
    write_proposal(path, homecoming(frame(0), None, frame(1), frame(2)), tmp_path / "sheet.jpg")
    assert len(log) == 0
    shown = read_proposal(path)
    with pytest.raises(BadValue, match="none of the snaps"):
        take_proposal(log, shown, only=[2])
    with pytest.raises(BadValue, match="no frame 9"):
        take_proposal(log, shown, leave=[9])
    taken, known = take_proposal(log, shown, leave=[3])
    assert ([e.frame_path for e in taken], known) == (["IR_0.jpg", "IR_2.jpg"], 0)
    assert replace(taken[0], id=0, uid="", batch=None, taken_on=None) == frame(0).entry
    taken, known = take_proposal(log, shown)
    assert ([e.frame_path for e in taken], known) == (["IR_1.jpg"], 2)
    assert log.take_back("cc33") == 3


@pytest.mark.parametrize("spoil", ["{}", "no json", '{"schema": "irpreview/1"}', "[" * 5000])
def test_what_is_no_proposal_is_refused_in_one_line(tmp_path, spoil):
    path = tmp_path / "home.json"
    path.write_text(spoil)
    with pytest.raises(BadLog, match="match the frames anew") as told:
        read_proposal(path)
    assert "\n" not in str(told.value)


# --- killed in the middle -------------------------------------------------------------------------------------------

WRITER = """
import sys
from tests.io.test_log_batches import frame
from irpreview.io.field_log import FieldLog
path, first = sys.argv[1], int(sys.argv[2])
with FieldLog(path) as log:
    for batch in range(first, first + 40):
        log.take_home(f"b{batch}", [frame(i) for i in range(10 * batch, 10 * batch + 12)], "brought home")
        print(batch, flush=True)
"""
"""Twelve frames a batch, two of them the next batch's too."""


def kill_rounds(tmp_path, rounds, seed):
    """Batches written by a process that is killed at a random moment, over and over; what it said must hold."""
    rng = random.Random(seed)
    path = tmp_path / "log.sqlite"
    root = Path(__file__).resolve().parents[2]
    said = -1
    for _ in range(rounds):
        process = subprocess.Popen(
            [sys.executable, "-c", WRITER, str(path), str(max(said, 0))],
            stdout=subprocess.PIPE,
            text=True,
            cwd=root,
            env={**os.environ, "PYTHONPATH": str(root)},
        )
        assert process.stdout is not None
        first = process.stdout.readline()  # so that every round comes as far as writing
        time.sleep(rng.uniform(0.0, 0.25))
        process.send_signal(signal.SIGKILL)
        rest = process.stdout.read()
        process.wait()
        process.stdout.close()
        for line in (first + rest).split("\n")[:-1]:
            said = max(said, int(line))
        with FieldLog(path) as log:
            there = contents(log)
            assert len(there) == len(set(there)), "a frame was taken twice"
            batches = {int(b.name[1:]) for b in log.batches()}
            assert batches >= set(range(said + 1)), "something acknowledged is lost"
            whole = {f"{i:064x}" for b in batches for i in range(10 * b, 10 * b + 12)}
            assert set(there) == whole, "a batch is there in part"
            said = max(batches, default=said)
    return said


def test_killed_in_the_middle_nothing_is_lost_and_nothing_twice(tmp_path):
    assert kill_rounds(tmp_path, 3, 1) >= 2


@pytest.mark.long
def test_killed_in_the_middle_forty_times(tmp_path):
    said = kill_rounds(tmp_path, 40, 2)
    print(f"{said + 1} batches acknowledged over 40 rounds, none lost, no frame twice")
    assert said > 40
