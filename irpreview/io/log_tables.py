"""The tables of the field log, how they came to be, and what sqlite's errors mean to a person.

`PRAGMA user_version` counts the migrations done. One is never changed after release: a new one is added.
"""

from __future__ import annotations

import contextlib
import os
import sqlite3
from pathlib import Path

from irpreview.errors import BadLog
from irpreview.io.ordinary_file import Wanted, opened
from irpreview.io.pictures import settle
from irpreview.io.sqlite_file import SQLITE_ERRORS, as_of_sqlite

APPLICATION_ID = 0x69727631  # "irv1": tells our file from any other sqlite file
BUSY_SECONDS = 20.0

MIGRATIONS: tuple[str, ...] = (
    """
    CREATE TABLE places (
        id INTEGER PRIMARY KEY,
        name TEXT NOT NULL UNIQUE COLLATE NOCASE,
        latitude_deg REAL, longitude_deg REAL, altitude_m REAL
    );
    CREATE TABLE kits (
        id INTEGER PRIMARY KEY,
        name TEXT NOT NULL UNIQUE,
        use_learned INTEGER NOT NULL DEFAULT 1,
        use_correction INTEGER NOT NULL DEFAULT 1
    );
    CREATE TABLE snaps (
        id INTEGER PRIMARY KEY,
        path TEXT NOT NULL, sha256 TEXT NOT NULL DEFAULT '',
        UNIQUE (path, sha256)
    );
    CREATE TABLE frames (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        uid TEXT NOT NULL UNIQUE,
        kit_id INTEGER NOT NULL REFERENCES kits (id),
        kit_key TEXT NOT NULL DEFAULT '',
        place_id INTEGER REFERENCES places (id),
        snap_id INTEGER REFERENCES snaps (id),
        taken_at TEXT, taken_on TEXT,
        planned_iso REAL, planned_f_number REAL, planned_shutter_s REAL,
        frame_path TEXT, iso REAL, f_number REAL, shutter_s REAL, focal_mm REAL, lens TEXT,
        metered_ev100 REAL, came_out_stops REAL,
        outcome TEXT NOT NULL DEFAULT 'unknown',
        subject TEXT, in_shade INTEGER NOT NULL DEFAULT 0, sun_height_deg REAL,
        notes TEXT NOT NULL DEFAULT ''
    );
    CREATE INDEX frames_day ON frames (taken_on);
    CREATE INDEX frames_kit ON frames (kit_id, taken_on);
    CREATE INDEX frames_place ON frames (place_id);
    CREATE TABLE changes (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        made_at TEXT NOT NULL, words TEXT NOT NULL, steps TEXT NOT NULL
    );
    """,
    """
    CREATE TABLE hot_spots (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        kit_id INTEGER NOT NULL REFERENCES kits (id),
        lens TEXT NOT NULL, focal_mm REAL NOT NULL, f_number REAL NOT NULL,
        low_stops REAL NOT NULL, likely_stops REAL NOT NULL, high_stops REAL NOT NULL,
        radius_share REAL NOT NULL, frames INTEGER NOT NULL,
        UNIQUE (kit_id, lens, focal_mm, f_number)
    );
    CREATE TABLE tone_differences (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        kit_id INTEGER NOT NULL REFERENCES kits (id),
        pair_key TEXT NOT NULL, class_name TEXT NOT NULL,
        difference_stops REAL NOT NULL, share REAL NOT NULL,
        UNIQUE (kit_id, pair_key, class_name)
    );
    """,
    # the personal correction is off until it is asked for: on the research pairs it did not help
    "UPDATE kits SET use_correction = 0;",
    # frames matched by themselves: known again by their content, and taken back as they came
    """
    ALTER TABLE frames ADD COLUMN frame_sha256 TEXT;
    ALTER TABLE frames ADD COLUMN batch TEXT;
    CREATE INDEX frames_content ON frames (frame_sha256);
    CREATE TABLE batches (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        name TEXT NOT NULL UNIQUE,
        taken_in_at TEXT NOT NULL, words TEXT NOT NULL, steps TEXT NOT NULL
    );
    """,
)
VERSION = len(MIGRATIONS)
TABLES = ("places", "kits", "snaps", "frames", "hot_spots", "tone_differences", "batches")


def connect(path: Path, *, read_only: bool = False) -> sqlite3.Connection:
    """The log at `path`, made or brought up to date if need be. Raises BadLog with one line; an old file is kept."""
    exists = os.path.exists(path)
    if os.path.isdir(path):
        raise BadLog(f"{path} is a folder; name a file in it for the log, such as {path}/field-log.sqlite")
    if read_only and not exists:
        raise BadLog(f"there is no log at {path} yet; add a frame first, or name another file with --log")
    if not exists:
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise BadLog(f"the folder of the log {path} cannot be made ({_said(error)}); name another file") from None
    elif not _is_ours(path):
        raise BadLog(
            f"{path} is no field log, or its beginning is damaged; it was left as it is: "
            "name another file, or bring back a backup copy"
        )
    try:
        return _ready(path, read_only)
    except _Older as older:
        # whoever only reads must not wait for the first one who writes; a copy of the old file is kept
        try:
            _ready(path, False).close()
        except BadLog:
            raise BadLog(str(older)) from None
        return _ready(path, True)


class _Older(Exception):
    """A log of an older version was opened to be read only."""


def _ready(path: Path, read_only: bool) -> sqlite3.Connection:
    try:
        connection = _open(path, read_only)
    except sqlite3.Error as error:
        raise bad_log(path, error) from None
    try:
        _bring_up_to_date(connection, path, read_only)
    except SQLITE_ERRORS as error:
        connection.close()
        raise bad_log(path, as_of_sqlite(error)) from None
    except BaseException:
        connection.close()
        raise
    return connection


def _is_ours(path: Path) -> bool:
    """Whether the file is empty (just made) or begins like an sqlite file with our mark, or none yet."""
    with opened(path, Wanted(BadLog, "the log", "name a file for the log")) as (file, _):
        head = file.read(100)
    if not head:
        return True
    mark = int.from_bytes(head[68:72], "big")
    # a log whose first pages are still in its write-ahead file has no mark yet
    return head[:16] == b"SQLite format 3\x00" and mark in (APPLICATION_ID, 0)


def _open(path: Path, read_only: bool) -> sqlite3.Connection:
    address = path.resolve().as_uri()
    if read_only:
        connection = sqlite3.connect(f"{address}?mode=ro", uri=True, timeout=BUSY_SECONDS, isolation_level=None)
        try:
            connection.execute("SELECT count(*) FROM sqlite_master").fetchone()
            return connection
        except sqlite3.OperationalError:
            # a write-ahead log needs helper files beside it, which a read-only folder does not allow
            connection.close()
            return sqlite3.connect(f"{address}?mode=ro&immutable=1", uri=True, isolation_level=None)
    return sqlite3.connect(f"{address}?mode=rwc", uri=True, timeout=BUSY_SECONDS, isolation_level=None)


def _bring_up_to_date(connection: sqlite3.Connection, path: Path, read_only: bool) -> None:
    connection.row_factory = sqlite3.Row
    version = int(connection.execute("PRAGMA user_version").fetchone()[0])
    if version > VERSION:
        raise BadLog(
            f"the log {path} is of a newer irpreview (its version {version}, this one knows up to {VERSION}); "
            "it was left as it is: update irpreview, or name another file with --log"
        )
    check = connection.execute("PRAGMA quick_check(1)").fetchone()[0]
    if check != "ok":
        raise BadLog(_damaged(path, "its pages do not fit together"))
    tables = {row[0] for row in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'")}
    if version == 0 and tables:
        raise BadLog(f"{path} is a database of something else, not a field log; name another file")
    if read_only:
        if version < VERSION:
            raise _Older(f"the log {path} is of version {version} and must be updated first; make it writable once")
        return
    connection.execute("PRAGMA foreign_keys = ON")
    connection.execute("PRAGMA journal_mode = WAL")
    connection.execute("PRAGMA synchronous = FULL")  # what was acknowledged survives a pulled plug
    if version == VERSION:
        return
    if version > 0:
        copy_whole(connection, path.with_name(f"{path.name}.version-{version}"))
    connection.execute("BEGIN IMMEDIATE")
    try:
        version = int(connection.execute("PRAGMA user_version").fetchone()[0])  # another process may have been first
        for number in range(version, VERSION):
            for statement in MIGRATIONS[number].split(";"):
                if statement.strip():
                    connection.execute(statement)
        connection.execute(f"PRAGMA application_id = {APPLICATION_ID}")
        connection.execute(f"PRAGMA user_version = {VERSION}")
        connection.execute("COMMIT")
    except BaseException:
        with contextlib.suppress(sqlite3.Error):
            connection.execute("ROLLBACK")
        raise


def copy_whole(connection: sqlite3.Connection, target: Path) -> Path:
    """A copy of the whole log, complete or not there at all. Raises BadLog."""
    waiting = target.with_name(f".{target.name}.{os.getpid()}.part")
    try:
        with contextlib.closing(sqlite3.connect(waiting)) as copy:
            connection.backup(copy)
            copy.execute("PRAGMA journal_mode = DELETE")  # one file, no helpers beside it
        with waiting.open("rb+") as file:
            os.fsync(file.fileno())
        os.replace(waiting, target)
        settle(target.parent)
    except (sqlite3.Error, OSError) as error:
        raise BadLog(f"the copy {target} could not be written ({_said(error)}); name another place") from None
    finally:
        for leftover in (waiting, Path(f"{waiting}-journal")):
            with contextlib.suppress(OSError):
                leftover.unlink(missing_ok=True)
    return target


def bad_log(path: Path, error: sqlite3.Error) -> BadLog:
    """What an error of sqlite means to a person, and what to do."""
    code = (getattr(error, "sqlite_errorcode", None) or 0) & 0xFF
    if code == sqlite3.SQLITE_FULL:
        return BadLog(f"the disk is full: nothing was added to the log {path}; free some space and do it again")
    if code in (sqlite3.SQLITE_READONLY, sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_PERM):
        return BadLog(f"the log {path} may not be written there; make file and folder writable, or name another file")
    if code in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED):
        return BadLog(f"the log {path} is in use by another program for over {BUSY_SECONDS:.0f} s; try again")
    if code in (sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB):
        return BadLog(_damaged(path, str(error)))
    if code == sqlite3.SQLITE_IOERR:
        return BadLog(
            f"the log {path} could not be read or written (disk error, or no space left); what was in it is kept: "
            "check the disk and do it again"
        )
    return BadLog(f"the log {path} refused ({_said(error)}); what was in it is kept")


def _damaged(path: Path, said: str) -> str:
    return (
        f"the log {path} is damaged ({' '.join(said.split())[:100]}); it was left as it is: "
        "bring back a backup copy, or name another file with --log"
    )


def _said(error: BaseException) -> str:
    return " ".join(str(getattr(error, "strerror", None) or error).split())
