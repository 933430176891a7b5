"""A power cut between writing and renaming: what takes an old file's name was written down before, and so is the name.

After a crash a renamed file may be empty unless its content was synced first (fsync(2), rename(2) of the Linux manual;
"Application crash consistency", Pillai et al., OSDI 2014). The calls are recorded in their order.
"""

import os
from pathlib import Path

import numpy as np
import pytest

from irpreview.core.field_log.entries import LogEntry
from irpreview.io.card_files import write_card
from irpreview.io.field_log import FieldLog
from irpreview.io.log_exchange import export_log
from irpreview.io.pictures import write_file
from irpreview.records import Photo
from irpreview.web.keeping import Keeping
from irpreview.web.sessions import Session, Snap
from tests.core.card.test_card import card


class Recorder:
    """What was synced, and what took another's name, in order."""

    def __init__(self, monkeypatch):
        self.synced: set[tuple[int, int]] = set()
        self.folders: set[int] = set()
        self.faults: list[str] = []
        self.renamed: list[Path] = []
        fsync, replace = os.fsync, os.replace

        def told_fsync(number):
            fsync(number)
            facts = os.fstat(number)
            self.synced.add((facts.st_ino, facts.st_size))
            self.folders.add(facts.st_ino)

        def told_replace(source, target, **named):
            facts = os.stat(source)
            if (facts.st_ino, facts.st_size) not in self.synced:
                self.faults.append(f"{Path(target).name} was not written down before it took its name")
            self.folders.discard(os.stat(Path(target).parent).st_ino)
            replace(source, target, **named)
            self.renamed.append(Path(target))

        monkeypatch.setattr(os, "fsync", told_fsync)
        monkeypatch.setattr(os, "replace", told_replace)

    def check(self, *names: str) -> None:
        assert self.faults == []
        assert {path.name for path in self.renamed} >= set(names), self.renamed
        for path in self.renamed:
            assert os.stat(path.parent).st_ino in self.folders, f"the name of {path.name} was not written down"


@pytest.fixture
def recorder(monkeypatch):
    return Recorder(monkeypatch)


def test_the_recorder_sees_what_is_not_synced(recorder, tmp_path):
    (tmp_path / "new").write_text("x")
    os.replace(tmp_path / "new", tmp_path / "old")
    with pytest.raises(AssertionError):
        recorder.check()


def test_any_file_that_is_written_whole(recorder, tmp_path):
    write_file(tmp_path / "a.csv", b"one")
    write_file(tmp_path / "a.csv", b"two")
    recorder.check("a.csv")


def test_cards(recorder, tmp_path):
    write_card(card(), tmp_path, ("json",))
    recorder.check(next(tmp_path.glob("*.json")).name)


def test_the_log_s_backup_and_export(recorder, tmp_path):
    with FieldLog(tmp_path / "log.sqlite") as log:
        log.add(LogEntry(kit_name="k"))
        log.backup(tmp_path / "copy.db")
        export_log(log, tmp_path / "frames.json")
    recorder.check("copy.db", "frames.json")


def test_the_log_itself_waits_for_the_disk(tmp_path):
    """SQLite's own rule (its documentation, "PRAGMA synchronous"): FULL is what survives a power cut in WAL mode."""
    with FieldLog(tmp_path / "log.sqlite") as log:
        log.add(LogEntry(kit_name="k"))
        level = log._connection.execute("PRAGMA synchronous").fetchone()[0]
    assert level >= 2


def test_the_page_s_kept_session_and_snaps(recorder, tmp_path):
    keeping = Keeping(tmp_path / "kept")
    given = tmp_path / "given.jpg"
    given.write_bytes(b"snap")
    kept = keeping.take_in("token", given)
    photo = Photo(np.zeros((64, 64, 3), np.uint8))
    mask = np.zeros((64, 64), bool)
    snap = Snap(photo, b"t", infrared=b"small", corrections=(((mask, "tree"),),), file=kept)
    keeping.save(Session(token="token", owner=True, snaps=[snap]))
    recorder.check("session.json", kept.name)
    assert len([path for path in recorder.renamed if path.suffix in (".png", ".jpg")]) == 3


def test_a_save_that_is_cut_off_leaves_the_one_before(tmp_path, monkeypatch):
    keeping = Keeping(tmp_path / "kept")
    given = tmp_path / "given.jpg"
    given.write_bytes(b"snap")
    snap = Snap(Photo(np.zeros((64, 64, 3), np.uint8)), b"t", file=keeping.take_in("token", given))
    session = Session(token="token", owner=True, snaps=[snap])
    keeping.save(session)
    before = (keeping.of("token") / "session.json").read_bytes()

    def cut(*_):
        raise OSError("no power")

    monkeypatch.setattr(os, "replace", cut)
    session.current = 1
    keeping.save(session)
    assert (keeping.of("token") / "session.json").read_bytes() == before
