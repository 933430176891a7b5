"""What has been judged so far, in one file in the folder of the results, so that a run can stop and go on.

One SQLite file, one transaction per photo: a run killed at any moment loses the photos in work and nothing else. The
key of an entry is made of the photo's content and all that the judgement depends on; a changed wind, kit, network or
version asks for a new entry and leaves the old one. While a run writes, it holds the file's exclusive lock, which the
system takes back when the process ends, however it ends.
"""

from __future__ import annotations

import json
import os
import sqlite3
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from irpreview.errors import CannotWrite
from irpreview.io.pictures import make_folder
from irpreview.io.sqlite_file import SQLITE_ERRORS, SqliteFile, as_of_sqlite
from irpreview.records import ByteArray, Place, frozen_array

STORE_NAME = "scout-store.sqlite"
APPLICATION_ID = 0x49525343  # "IRSC"
LAYOUT = 1

_TABLES = """
CREATE TABLE files (path BLOB PRIMARY KEY, stamp TEXT NOT NULL, sha256 TEXT NOT NULL) WITHOUT ROWID;
CREATE TABLE pictures (key TEXT PRIMARY KEY, fingerprint BLOB NOT NULL, snap BLOB NOT NULL, infrared BLOB NOT NULL);
CREATE TABLE judged (
    key TEXT PRIMARY KEY, finding TEXT NOT NULL, pictures TEXT NOT NULL REFERENCES pictures, place TEXT
);
"""
"""pictures: kept once for all winds and shutter times, which change nothing in them.
place: null = not asked for, else JSON: [latitude, longitude] or null for a snap that has none."""
_WHOLE = "FROM judged JOIN pictures ON pictures.key = judged.pictures WHERE judged.key = ?"


@dataclass(frozen=True, slots=True)
class Kept:
    """One judged photo as the store holds it: plain values that travel between processes and machines."""

    key: str
    pictures_key: str
    """The same for judgements that differ in nothing that shows in the pictures."""
    finding: Mapping[str, Any]
    fingerprint_png: bytes
    snap_jpeg: bytes
    infrared_jpeg: bytes
    place: str | None = None


class ScoutStore(SqliteFile):
    """The store of one folder of results; a context manager. One run at a time.

    Raises CannotWrite with one line: folder not writable, another run at work, a damaged or foreign file.
    """

    def __init__(self, folder: Path) -> None:
        make_folder(folder)
        self.path = folder / STORE_NAME
        if self.path.is_dir():
            raise CannotWrite(f"{self.path} is a folder; name another folder for the results")
        try:
            self._connection = sqlite3.connect(self.path, timeout=0.5, isolation_level=None)
        except sqlite3.Error as error:
            raise self._told(error) from None
        try:
            self._prepare()
        except SQLITE_ERRORS as error:
            self._connection.close()
            raise self._told(as_of_sqlite(error)) from None
        except BaseException:
            self._connection.close()
            raise

    def _prepare(self) -> None:
        run = self._connection.execute
        run("PRAGMA locking_mode = EXCLUSIVE")
        run("PRAGMA journal_mode = DELETE")  # unlike a write-ahead log it also works on a network drive
        run("PRAGMA synchronous = FULL")
        run("BEGIN EXCLUSIVE")  # with the locking mode above the lock stays until the connection closes
        mark = run("PRAGMA application_id").fetchone()[0]
        tables = {row[0] for row in run("SELECT name FROM sqlite_master WHERE type = 'table'")}
        if (tables or mark) and mark != APPLICATION_ID:
            raise CannotWrite(f"{self.path} is not a store of this program; name another folder for the results")
        layout = run("PRAGMA user_version").fetchone()[0]
        if tables and layout != LAYOUT:
            raise CannotWrite(
                f"{self.path} was made by another version of irpreview; name another folder, or delete it to start anew"
            )
        if not tables:
            for statement in _TABLES.split(";"):
                run(statement)
            run(f"PRAGMA application_id = {APPLICATION_ID}")
            run(f"PRAGMA user_version = {LAYOUT}")
        run("COMMIT")

    def _told(self, error: sqlite3.Error) -> CannotWrite:
        text = str(error)
        if "locked" in text:
            return CannotWrite(
                f"another scouting run is at work in {self.path.parent}; wait for it, or name another folder with --out"
            )
        if "not a database" in text or "malformed" in text:
            return CannotWrite(f"{self.path} is damaged; delete it to start anew, or name another folder with --out")
        if "full" in text:
            return CannotWrite(f"the disk of {self.path.parent} is full; free some space and run the same again")
        if "readonly" in text or "unable to open" in text or not os.access(self.path.parent, os.W_OK):
            return CannotWrite(f"{self.path.parent} may not be written (no permission); name another folder with --out")
        return CannotWrite(f"{self.path} could not be written ({text}); name another folder with --out")

    def keys(self) -> set[str]:
        """Keys of everything that was judged."""
        return {row[0] for row in self._rows("SELECT key FROM judged")}

    def hashes(self) -> dict[str, tuple[str, str]]:
        """Relative path -> (stamp, sha256 of the content) of files that were read before."""
        return {os.fsdecode(p): (stamp, sha) for p, stamp, sha in self._rows("SELECT path, stamp, sha256 FROM files")}

    def keep(self, kept: Kept, files: Iterable[tuple[str, str, str]] = ()) -> None:
        """Add one judged photo and the (path, stamp, sha256) of files that were read, all or nothing."""
        finding = json.dumps(kept.finding, ensure_ascii=True, allow_nan=False)
        with self._transaction():
            self._rows(
                "INSERT OR IGNORE INTO pictures VALUES (?, ?, ?, ?)",
                (kept.pictures_key, kept.fingerprint_png, kept.snap_jpeg, kept.infrared_jpeg),
            )
            self._rows(
                "INSERT OR REPLACE INTO judged VALUES (?, ?, ?, ?)",
                (kept.key, finding, kept.pictures_key, kept.place),
            )
            self._put_hashes(files)

    def keep_hashes(self, files: Iterable[tuple[str, str, str]]) -> None:
        """Remember the (path, stamp, sha256) of files that were read."""
        with self._transaction():
            self._put_hashes(files)

    def _put_hashes(self, files: Iterable[tuple[str, str, str]]) -> None:
        for path, stamp, sha in files:
            self._rows("INSERT OR REPLACE INTO files VALUES (?, ?, ?)", (os.fsencode(path), stamp, sha))

    def finding(self, key: str) -> tuple[dict[str, Any], ByteArray, str | None]:
        """(finding, fingerprint, place as JSON or None = never asked). Raises KeyError."""
        for finding, print_png, place in self._rows(f"SELECT finding, fingerprint, place {_WHOLE}", (key,)):
            grey = cv2.imdecode(np.frombuffer(print_png, np.uint8), cv2.IMREAD_GRAYSCALE)
            return json.loads(finding), frozen_array(np.asarray(grey, np.uint8)), place
        raise KeyError(key)

    def pictures(self, key: str) -> tuple[bytes, bytes]:
        """Small JPEGs of the snap and of its infrared picture. Raises KeyError."""
        for snap, infrared in self._rows(f"SELECT snap, infrared {_WHOLE}", (key,)):
            return bytes(snap), bytes(infrared)
        raise KeyError(key)


def place_text(place: Place | None) -> str:
    """A place as the store keeps it."""
    return json.dumps(None if place is None else [round(place.latitude_deg, 6), round(place.longitude_deg, 6)])


def place_of_text(text: str | None) -> Place | None:
    """The place of `place_text`."""
    values = None if text is None else json.loads(text)
    return None if values is None else Place(float(values[0]), float(values[1]))
