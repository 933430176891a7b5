"""What was acknowledged is there again: after kill -9 at any moment, a clock set back, two pages at once."""

import contextlib
import hashlib
import json
import os
import random
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest

from irpreview.core.field_log.entries import LogEntry
from irpreview.io.field_log import FieldLog
from irpreview.io.scout_store import Kept, ScoutStore
from irpreview.records import Photo
from irpreview.web.handlers import Desk
from irpreview.web.keeping import MOST_KEPT, Keeping
from irpreview.web.log_desk import LogDesk
from irpreview.web.sessions import Session, Snap

WRITES = 400
"""In a row, far more than the writer lives to make."""


def write_page(folder: Path, start: int, tell: Callable[[int], None]) -> None:
    keeping, given = Keeping(folder / "kept"), folder / "given.jpg"
    snaps: list[Snap] = []
    for number in range(start, start + WRITES):
        given.write_bytes(b"%d" % number * 2000)
        photo = Photo(np.zeros((64, 64, 3), np.uint8), name=str(number))
        snaps = [*snaps, Snap(photo, b"t", file=keeping.take_in("token", given))][-6:]
        keeping.save(Session(token="token", owner=True, snaps=list(snaps)))
        tell(number)


def write_log(folder: Path, start: int, tell: Callable[[int], None]) -> None:
    with FieldLog(folder / "log.sqlite") as log:
        for number in range(start, start + WRITES):
            log.add(LogEntry(kit_name="k", notes=str(number)))
            tell(number)


def write_scouting(folder: Path, start: int, tell: Callable[[int], None]) -> None:
    with ScoutStore(folder / "out") as store:
        for number in range(start, start + WRITES):
            store.keep(kept_as(number), [])
            tell(number)


FINGERPRINT = cv2.imencode(".png", np.zeros((16, 16), np.uint8))[1].tobytes()


def finding(number: int) -> dict[str, Any]:
    return {"number": number, "lead": "sky"}


def kept_as(number: int) -> Kept:
    key = hashlib.sha256(str(number).encode()).hexdigest()
    return Kept(key, key, finding(number), FINGERPRINT, b"snap" * 500, b"infrared" * 500, None)


def in_page(folder: Path) -> set[int]:
    place = Keeping(folder / "kept").of("token")
    state = json.loads((place / "session.json").read_text())
    for snap in state["snaps"]:
        number = int(snap["name"])
        assert (place / snap["file"]).read_bytes() == b"%d" % number * 2000
    return {int(snap["name"]) for snap in state["snaps"]}


def in_log(folder: Path) -> set[int]:
    with FieldLog(folder / "log.sqlite") as log:
        return {int(entry.notes) for entry in log.search()}


def in_scouting(folder: Path) -> set[int]:
    with ScoutStore(folder / "out") as store:
        return {int(store.finding(key)[0]["number"]) for key in sorted(store.keys())}


PLACES: dict[str, tuple[Callable[[Path, int, Callable[[int], None]], None], Callable[[Path], set[int]]]] = {
    "page": (write_page, in_page),
    "log": (write_log, in_log),
    "scouting": (write_scouting, in_scouting),
}


def killed(write: Callable[..., None], folder: Path, start: int, delay_s: float) -> list[int]:
    """What a writer, a process of its own, had told before it was killed."""
    reads, writes = os.pipe()
    writer = os.fork()
    if writer == 0:
        with contextlib.suppress(BaseException):
            os.close(reads)
            write(folder, start, lambda number: os.write(writes, b"%d\n" % number))
        os._exit(1)
    os.close(writes)
    with os.fdopen(reads) as pipe:
        first = pipe.readline()
        time.sleep(delay_s)
        os.kill(writer, signal.SIGKILL)
        rest = pipe.read()
    os.waitpid(writer, 0)
    assert first, "the writer came to nothing"
    return [int(line) for line in (first + rest).split("\n")[:-1] if line]


def kill_loop(where: str, folder: Path, rounds: int) -> int:
    """How many writes were told; fails where one of them is gone."""
    rng, said = random.Random(3), set()
    write, found = PLACES[where]
    for turn in range(rounds):
        told = killed(write, folder, 1000 * turn, rng.uniform(0.0, 0.4))
        said |= set(told)
        there = found(folder)
        if where == "page":  # it holds the last six; one more may have been saved than was told
            assert set(told[-5:]) <= there, (told[-6:], there)
        else:
            assert said <= there, said - there
    return len(said)


def kill_loop_apart(where: str, folder: Path, rounds: int) -> int:
    """The loop in a process that has no threads, so that it may fork."""
    root = str(Path(__file__).parents[2])
    program = (
        "import sys; from pathlib import Path; from tests.shells.test_kept_through_anything import kill_loop; "
        "print(kill_loop(sys.argv[1], Path(sys.argv[2]), int(sys.argv[3])))"
    )
    ran = subprocess.run(
        [sys.executable, "-W", "ignore", "-c", program, where, str(folder), str(rounds)],
        capture_output=True,
        text=True,
        env={**os.environ, "PYTHONPATH": os.pathsep.join(filter(None, (root, os.environ.get("PYTHONPATH"))))},
    )
    assert ran.returncode == 0, ran.stderr[-2000:]
    return int(ran.stdout.split()[-1])


@pytest.mark.parametrize("where", PLACES)
def test_a_kill_loses_nothing_acknowledged(where, tmp_path):
    assert kill_loop_apart(where, tmp_path, 2) > 0


@pytest.mark.long
@pytest.mark.parametrize("where", PLACES)
def test_two_hundred_kills(where, tmp_path):
    print(where, kill_loop_apart(where, tmp_path, 200), "acknowledged, none lost")


def test_a_clock_set_back_takes_no_session(tmp_path):
    keeping = Keeping(tmp_path)
    photo = Photo(np.zeros((64, 64, 3), np.uint8))
    given = tmp_path / "given.jpg"
    given.write_bytes(b"snap")
    for number in range(MOST_KEPT + 1):
        token = f"token{number}"
        keeping.save(Session(token=token, owner=True, snaps=[Snap(photo, b"t", file=keeping.take_in(token, given))]))
        if number < MOST_KEPT:  # written by a clock that went ten years fast
            os.utime(keeping.of(token) / "session.json", (time.time() + 3e8, time.time() + 3e8 + number))
    assert (keeping.of(f"token{MOST_KEPT}") / "session.json").exists()
    assert not keeping.of("token0").exists()


def test_a_clock_set_back_takes_no_frame_and_no_order(tmp_path, monkeypatch):
    with FieldLog(tmp_path / "log.sqlite") as log:
        first = log.add(LogEntry(kit_name="k", notes="one"))
        monkeypatch.setattr(time, "time", lambda: 1.0)
        second = log.add(LogEntry(kit_name="k", notes="two"))
        assert second > first
        assert "added" in log.undo()
        assert [entry.notes for entry in log.search()] == ["one"]


def test_two_pages_on_one_log_lose_nothing(tmp_path):
    """Two programs would do the same: each call opens the log anew, and SQLite keeps their order."""
    desks = []
    for name in ("a", "b"):
        (tmp_path / name).mkdir()
        desk = Desk(tmp_path / name, keeping=Keeping(tmp_path / f"kept-{name}"))
        token = next(iter(desk.open(None, True))).values["token"]
        desks.append((LogDesk(desk, tmp_path / "log.sqlite"), token))
    faults: list[object] = []

    def use(log: LogDesk, token: str, who: str) -> None:
        with contextlib.suppress(StopIteration):
            for number in range(12):
                shown = log.note(token, {"fields": {"taken": "30s f/8 ISO 200", "notes": f"{who}{number}"}})
                if shown.sorry or "log-entries" not in shown.parts:
                    faults.append(shown)

    threads = [threading.Thread(target=use, args=(*one, who)) for one, who in zip(desks, "ab", strict=True)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert faults == []
    with FieldLog(tmp_path / "log.sqlite") as log:
        assert {entry.notes for entry in log.search()} == {f"{who}{n}" for who in "ab" for n in range(12)}
