"""The field log: one sqlite file with every frame brought home.

    with FieldLog(path) as log:
        number = log.add(LogEntry(kit_name="unmodified-720", ...))
        log.search(SearchWish(place="mill", since=date(2026, 5, 1)))

Every change is one transaction and can be undone. Nothing leaves the computer.
"""

from __future__ import annotations

import contextlib
import json
import math
import os
import sqlite3
import uuid
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

from platformdirs import user_data_path

from irpreview.core.field_log.entries import (
    HomeFrame,
    LogEntry,
    SearchWish,
    SpotRecord,
    ToneDifference,
    check_entry,
)
from irpreview.errors import BadLog, BadValue
from irpreview.io.log_rows import LogRows, Step
from irpreview.io.log_tables import connect, copy_whole
from irpreview.records import Place, Range

FILE_NAME = "field-log.sqlite"
EARTH_RADIUS_KM = 6371.0
_PLAIN_COLUMNS = (
    "uid",
    "kit_key",
    "planned_iso",
    "planned_f_number",
    "planned_shutter_s",
    "frame_path",
    "iso",
    "f_number",
    "shutter_s",
    "focal_mm",
    "lens",
    "metered_ev100",
    "came_out_stops",
    "outcome",
    "subject",
    "sun_height_deg",
    "notes",
    "frame_sha256",
    "batch",
)
_SELECT = """
    SELECT frames.*, kits.name AS kit_name, places.name AS place_name, places.latitude_deg, places.longitude_deg,
           places.altitude_m, snaps.path AS snap_path, snaps.sha256 AS snap_sha256
    FROM frames JOIN kits ON kits.id = frames.kit_id
    LEFT JOIN places ON places.id = frames.place_id LEFT JOIN snaps ON snaps.id = frames.snap_id
"""
_OF_A_BATCH = ("frames", "tone_differences")
_PLACED_BY_COORDINATES = "place at "


def default_path() -> Path:
    """Where the log lies unless told otherwise: $IRPREVIEW_LOG, else the user's data folder."""
    named = os.environ.get("IRPREVIEW_LOG")
    if named:
        return Path(named)

    return Path(user_data_path("irpreview", appauthor=False)) / FILE_NAME


@dataclass(frozen=True, slots=True)
class Batch:
    """Frames that were brought home and taken in together."""

    name: str
    taken_in_at: datetime
    words: str
    frames: int
    """How many of them are still there."""


class FieldLog(LogRows):
    """An open log; use it as a context. Raises BadLog from everything that touches the file."""

    def __init__(self, path: Path | str | None = None, *, read_only: bool = False) -> None:
        self.path = Path(path) if path is not None else default_path()
        self._connection = connect(self.path, read_only=read_only)
        self._steps: list[Step] = []

    # --- writing ----------------------------------------------------------------------------------------------------

    def add(self, entry: LogEntry) -> int:
        """Put one frame in; returns its number. Raises BadValue for values that cannot be."""
        return self.add_all((entry,))[0]

    def add_all(self, entries: Sequence[LogEntry], words: str | None = None) -> tuple[int, ...]:
        """Put many frames in as one change, all or none; returns their numbers."""
        for entry in entries:
            check_entry(entry)
        with self._change(words or "added") as change:
            numbers = [self._insert("frames", self._row_of(entry)) for entry in entries]
            change.words = words or f"added {_frames(numbers)}"
        return tuple(numbers)

    def edit(self, number: int, **changes: Any) -> LogEntry:
        """Change fields of one frame (names as in LogEntry); returns it as it is now."""
        unknown = [name for name in changes if name not in LogEntry.__dataclass_fields__ or name in ("id", "uid")]
        if unknown:
            raise BadValue(f"a log entry has no {unknown[0]!r} to change")
        with self._change(f"edited frame {number}"):
            new = check_entry(replace(self.entry(number), **changes))
            self._update("frames", number, self._row_of(new))
        return self.entry(number)

    def remove(self, *numbers: int) -> None:
        """Take frames out; `undo` brings them back."""
        with self._change(f"removed {_frames(numbers)}"):
            for number in numbers:
                with contextlib.suppress(BadLog):  # what makes no sense can still be taken out
                    self.entry(number)
                self._delete("frames", number)

    def use(self, kit_name: str, *, learned: bool | None = None, correction: bool | None = None) -> None:
        """Switch the learned factor or the personal correction of a kit on or off."""
        with self._change(f"switched what is used for {kit_name}"):
            number = self._kit_id(kit_name)
            wanted = {"use_learned": learned, "use_correction": correction}
            self._update("kits", number, {k: int(v) for k, v in wanted.items() if v is not None})

    def uses(self, kit_name: str) -> tuple[bool, bool]:
        """Whether (the learned factor, the personal correction) of a kit is switched on; unless told, the first is."""
        row = self._one("SELECT use_learned, use_correction FROM kits WHERE name = ?", (kit_name,))
        return (True, False) if row is None else (bool(row[0]), bool(row[1]))

    def keep_hot_spot(self, spot: SpotRecord) -> None:
        """Put a hot spot in the lens table, in place of an older one of the same lens, focal length and aperture."""
        with self._change(f"hot spot of {spot.lens} at f/{spot.f_number:g}"):
            self._put_spot(spot)

    def hot_spots(self, kit_name: str | None = None) -> tuple[SpotRecord, ...]:
        """The lens table, by lens, focal length and aperture."""
        rows = self._rows(
            "SELECT hot_spots.*, kits.name AS kit_name FROM hot_spots JOIN kits ON kits.id = kit_id "
            "WHERE ? IS NULL OR kits.name = ? ORDER BY lens, focal_mm, f_number",
            (kit_name, kit_name),
        )
        return tuple(
            SpotRecord(
                r["kit_name"],
                r["lens"],
                r["focal_mm"],
                r["f_number"],
                Range(r["low_stops"], r["likely_stops"], r["high_stops"]),
                r["radius_share"],
                r["frames"],
                r["id"],
            )
            for r in rows
        )

    def keep_differences(self, differences: Sequence[ToneDifference]) -> None:
        """Keep what a comparison of predicted and taken told, in place of an older one of the same pair."""
        with self._change("a comparison of predicted and taken"):
            for difference in differences:
                self._put_difference(difference)

    def take_in(
        self,
        entries: Sequence[LogEntry],
        spots: Sequence[SpotRecord] = (),
        differences: Sequence[ToneDifference] = (),
        words: str = "took in another log",
    ) -> None:
        """Put in what another log holds, as one change, all or none; rows of the lens table that are here stay."""
        for entry in entries:
            check_entry(entry)
        with self._change(words):
            for entry in entries:
                self._insert("frames", self._row_of(entry))
            for spot in spots:
                self._put_spot(spot, replacing=False)
            for difference in differences:
                self._put_difference(difference, replacing=False)

    # --- frames brought home, many at once --------------------------------------------------------------------------

    def knows_frames(self, contents: Iterable[str]) -> frozenset[str]:
        """Which of these frames (sha256 of the file) are in the log."""
        return frozenset(
            sha for sha in contents if self._one("SELECT 1 FROM frames WHERE frame_sha256 = ?", (sha,)) is not None
        )

    def take_home(self, batch: str, frames: Sequence[HomeFrame], words: str) -> tuple[LogEntry, ...]:
        """Put frames brought home in, all or none, each once; returns those that are new.

        A frame goes beside its plan where that still waits for one, else it becomes an entry of its own; one whose
        content is in the log already is left out. All of it can be taken back by the name of the batch.
        """
        for frame in frames:
            check_entry(frame.entry)
        numbers = []
        with self._change(words) as change:
            known = set(self.knows_frames(f.entry.frame_sha256 or "" for f in frames))
            for frame in frames:
                sha = frame.entry.frame_sha256
                if sha is None or sha in known:
                    continue
                known.add(sha)
                numbers.append(self._take_one(replace(frame.entry, batch=batch), frame.plan))
                for difference in frame.differences:
                    self._put_difference(difference)
            if numbers:
                change.words = f"{words}: {_frames(numbers)}"
                self._keep_batch(batch, words)
        return tuple(self.entry(number) for number in numbers)

    def _take_one(self, entry: LogEntry, plan: int | None) -> int:
        row = self._row_of(entry)
        waiting = self._one(
            "SELECT * FROM frames WHERE id = ? AND frame_sha256 IS NULL AND frame_path IS NULL", (plan,)
        )
        if waiting is None:
            return self._insert("frames", row)
        del row["uid"]
        kept = {name: waiting[name] for name in row if waiting[name] and not row[name]}
        kept |= {name: waiting[name] for name in ("notes", "place_id") if waiting[name]}
        self._update("frames", waiting["id"], row | kept)
        return int(waiting["id"])

    def _keep_batch(self, batch: str, words: str) -> None:
        """What a batch did, kept for as long as the log; more frames of the same batch join it."""
        steps = [
            [table, number, before, dict(self._one(f"SELECT * FROM {table} WHERE id = ?", (number,)) or {})]
            for table, number, before, _ in self._steps
            if table in _OF_A_BATCH
        ]
        old = self._one("SELECT * FROM batches WHERE name = ?", (batch,))
        now = datetime.now(UTC).isoformat(timespec="seconds")
        if old is None:
            self._insert("batches", {"name": batch, "taken_in_at": now, "words": words, "steps": json.dumps(steps)})
        else:
            self._update("batches", old["id"], {"steps": json.dumps(json.loads(old["steps"]) + steps)})

    def batches(self) -> tuple[Batch, ...]:
        """What was brought home and is still in the log, newest first."""
        rows = self._rows(
            "SELECT name, taken_in_at, words, (SELECT count(*) FROM frames WHERE batch = name) AS frames "
            "FROM batches ORDER BY id DESC"
        )
        return tuple(Batch(r["name"], datetime.fromisoformat(r["taken_in_at"]), r["words"], r["frames"]) for r in rows)

    def take_back(self, batch: str) -> int:
        """Take a whole batch out: its entries go, plans wait for their frames again; returns how many frames.

        Raises BadValue where no batch of that name is in the log. `undo` brings it back.
        """
        with self._change(f"took back batch {batch}"):
            # a name that came in as bytes of no text is none that is known, and the database takes no such thing
            row = self._one("SELECT * FROM batches WHERE name = ?", (batch.encode(errors="replace").decode(),))
            if row is None:
                there = ", ".join(b.name for b in self.batches()[:5])
                raise BadValue(
                    f"there is no batch {batch[:40]!r} in the log {self.path}; "
                    + (
                        f"the newest are {there}"
                        if there
                        else "none was taken in yet (`irpreview log match` begins one)"
                    )
                )
            count = int(self._rows("SELECT count(*) FROM frames WHERE batch = ?", (batch,))[0][0])
            for table, number, before, after in reversed(json.loads(row["steps"])):
                assert table in _OF_A_BATCH
                now = self._one(f"SELECT * FROM {table} WHERE id = ?", (number,))
                if now is None or (table == "frames" and now["batch"] != batch):
                    continue  # taken out or taken back since
                if before is None:
                    self._delete(table, number)
                else:  # what was changed since then stays
                    self._update(table, number, {k: v for k, v in before.items() if now[k] == after.get(k)})
            self._delete("batches", row["id"])
        return count

    def differences(self, kit_name: str) -> tuple[ToneDifference, ...]:
        """All tone differences logged for a kit."""
        rows = self._rows(
            "SELECT d.* FROM tone_differences d JOIN kits ON kits.id = d.kit_id WHERE kits.name = ? ORDER BY d.id",
            (kit_name,),
        )
        return tuple(
            ToneDifference(kit_name, r["class_name"], r["difference_stops"], r["share"], r["pair_key"]) for r in rows
        )

    # --- reading ----------------------------------------------------------------------------------------------------

    def __len__(self) -> int:
        row = self._one("SELECT count(*) FROM frames")
        return int(row[0]) if row else 0

    def entry(self, number: int) -> LogEntry:
        """One frame by its number. Raises BadValue if it is not there."""
        if not 0 < number < 2**63:  # sqlite counts no further
            raise BadValue(f"there is no frame {str(number)[:30]} in the log {self.path}; `log list` shows what is")
        row = self._one(f"{_SELECT} WHERE frames.id = ?", (number,))
        if row is None:
            raise BadValue(f"frame {number} is not in the log {self.path}; `log list` shows what is")
        return _entry_of(row)

    def has_uid(self, uid: str) -> bool:
        """Whether a frame of that number in another log is here already."""
        return self._one("SELECT 1 FROM frames WHERE uid = ?", (uid,)) is not None

    def all_kit_names(self) -> tuple[str, ...]:
        """Every kit that anything was kept of, frames or not."""
        return tuple(r[0] for r in self._rows("SELECT name FROM kits ORDER BY name"))

    def search(self, wish: SearchWish | None = None) -> tuple[LogEntry, ...]:
        """The frames that answer all of the wish, newest day first unless told otherwise."""
        wish = wish or SearchWish()
        where: list[str] = []
        values: list[Any] = []

        def need(clause: str, *given: Any) -> None:
            where.append(clause)
            values.extend(given)

        if wish.place is not None:
            need("places.name LIKE ? ESCAPE '\\'", _part(wish.place))
        if wish.text is not None:
            need("(frames.notes LIKE ? ESCAPE '\\')", _part(wish.text))
        if wish.since is not None:
            need("frames.taken_on >= ?", wish.since.isoformat())
        if wish.until is not None:
            need("frames.taken_on <= ?", wish.until.isoformat())
        if wish.kit_name is not None:
            need("kits.name = ?", wish.kit_name)
        if wish.near is not None:
            reach_deg = math.degrees(wish.within_km / EARTH_RADIUS_KM) + 1e-9
            at = wish.near.latitude_deg
            need("places.latitude_deg BETWEEN ? AND ?", at - reach_deg, at + reach_deg)
        order = "DESC" if wish.newest_first else "ASC"
        text = _SELECT + (" WHERE " + " AND ".join(where) if where else "")
        text += f" ORDER BY frames.taken_on {order}, frames.taken_at {order}, frames.id {order}"
        if wish.near is None and wish.most is not None:
            text += " LIMIT ?"
            values.append(wish.most)
        found = [_entry_of(row) for row in self._rows(text, values)]
        if wish.near is not None:
            found = [e for e in found if e.place and distance_km(wish.near, e.place) <= wish.within_km]
        return tuple(found[: wish.most])

    def backup(self, target: Path | str) -> Path:
        """Copy the whole log, places and all, into one file. Raises BadLog; never overwrites the log itself."""
        target = Path(target)
        if target.exists() and os.path.samefile(target, self.path):
            raise BadLog(f"{target} is the log itself; name another file for the backup")
        if target.is_dir():
            target = target / f"{self.path.stem}-backup{self.path.suffix}"
        return copy_whole(self._connection, target)

    # --- within -----------------------------------------------------------------------------------------------------

    def _put_spot(self, spot: SpotRecord, *, replacing: bool = True) -> None:
        s = spot.strength_stops
        self._put(
            "hot_spots",
            {
                "kit_id": self._kit_id(spot.kit_name),
                "lens": spot.lens,
                "focal_mm": spot.focal_mm,
                "f_number": spot.f_number,
            },
            {
                "low_stops": s.low,
                "likely_stops": s.likely,
                "high_stops": s.high,
                "radius_share": spot.radius_share,
                "frames": spot.frames,
            },
            replacing,
        )

    def _put_difference(self, d: ToneDifference, *, replacing: bool = True) -> None:
        key = {"kit_id": self._kit_id(d.kit_name), "pair_key": d.pair_key, "class_name": d.class_name}
        self._put("tone_differences", key, {"difference_stops": d.difference_stops, "share": d.share}, replacing)

    def _put(self, table: str, key: Mapping[str, Any], row: Mapping[str, Any], replacing: bool) -> None:
        """Insert, or write over the row of the same key."""
        where = " AND ".join(f"{name} = :{name}" for name in key)
        old = self._one(f"SELECT id FROM {table} WHERE {where}", key)
        if old is None:
            self._insert(table, {**key, **row})
        elif replacing:
            self._update(table, int(old["id"]), row)

    def _row_of(self, entry: LogEntry) -> dict[str, Any]:
        row = {name: getattr(entry, name) for name in _PLAIN_COLUMNS}
        row["uid"] = entry.uid or uuid.uuid4().hex
        row["kit_id"] = self._kit_id(entry.kit_name)
        row["place_id"] = self._place_id(entry)
        row["snap_id"] = self._snap_id(entry)
        row["in_shade"] = int(entry.in_shade)
        row["taken_at"] = entry.taken_at.isoformat() if entry.taken_at else None
        row["taken_on"] = entry.day.isoformat() if entry.day else None
        return row

    def _kit_id(self, name: str) -> int:
        row = self._one("SELECT id FROM kits WHERE name = ?", (name,))
        return int(row[0]) if row else self._insert("kits", {"name": name, "use_correction": 0})

    def _snap_id(self, entry: LogEntry) -> int | None:
        if entry.snap_path is None:
            return None
        row = {"path": entry.snap_path, "sha256": entry.snap_sha256 or ""}
        old = self._one("SELECT id FROM snaps WHERE path = :path AND sha256 = :sha256", row)
        return int(old[0]) if old else self._insert("snaps", row)

    def _place_id(self, entry: LogEntry) -> int | None:
        place, name = entry.place, entry.place_name
        if name is None and place is None:
            return None
        if name is None and place is not None:
            name = f"{_PLACED_BY_COORDINATES}{place.latitude_deg:.4f},{place.longitude_deg:.4f}"
        old = self._one("SELECT * FROM places WHERE name = ?", (name,))
        where = {
            "latitude_deg": place.latitude_deg if place else None,
            "longitude_deg": place.longitude_deg if place else None,
            "altitude_m": place.altitude_m if place else None,
        }
        if old is None:
            return self._insert("places", {"name": name, **where})
        if place is not None and any(old[k] != v for k, v in where.items()):
            self._update("places", int(old["id"]), where)  # a place is where it was last said to be
        return int(old["id"])


def distance_km(a: Place, b: Place) -> float:
    """Great-circle distance by the haversine formula. [km]"""
    lat_a, lat_b = math.radians(a.latitude_deg), math.radians(b.latitude_deg)
    half = math.radians(b.longitude_deg - a.longitude_deg) / 2.0
    h = math.sin((lat_b - lat_a) / 2.0) ** 2 + math.cos(lat_a) * math.cos(lat_b) * math.sin(half) ** 2
    return 2.0 * EARTH_RADIUS_KM * math.asin(min(1.0, math.sqrt(h)))


def _entry_of(row: sqlite3.Row) -> LogEntry:
    try:
        return _entry_as_kept(row)
    except (ValueError, TypeError, KeyError, IndexError):  # another program wrote into the file
        raise BadLog(
            f"frame {str(row['id'])[:20]} of the log holds a value that makes no sense (a date or a number); "
            "bring back a backup copy, or take the frame out with `log remove`"
        ) from None


def _entry_as_kept(row: sqlite3.Row) -> LogEntry:
    value: dict[str, Any] = {name: row[name] for name in _PLAIN_COLUMNS}
    place = None
    if row["latitude_deg"] is not None and row["longitude_deg"] is not None:
        place = Place(row["latitude_deg"], row["longitude_deg"], row["altitude_m"] or 0.0)
    name = row["place_name"]
    return LogEntry(
        kit_name=row["kit_name"],
        taken_at=datetime.fromisoformat(row["taken_at"]) if row["taken_at"] else None,
        taken_on=date.fromisoformat(row["taken_on"]) if row["taken_on"] else None,
        place_name=None if name is None or name.startswith(_PLACED_BY_COORDINATES) else name,
        place=place,
        snap_path=row["snap_path"],
        snap_sha256=row["snap_sha256"] or None,
        in_shade=bool(row["in_shade"]),
        id=row["id"],
        **value,
    )


def _part(text: str) -> str:
    """A pattern for any text that holds this one, with the signs that mean something to LIKE taken literally."""
    escaped = text.replace("\\", "\\\\").replace("%", "\\%").replace("_", "\\_")
    return f"%{escaped}%"


def _frames(numbers: Sequence[int]) -> str:
    """Which frames: by number where they are few."""
    if len(numbers) > 5:
        return f"{len(numbers)} frames"
    return f"frame{'s' if len(numbers) != 1 else ''} {', '.join(map(str, numbers))}"
