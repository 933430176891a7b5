"""The field log out of its file and back in, as JSON or CSV; and the kit that the log taught.

Without being asked, nothing leaves that says where: no coordinates, no place names, no folders, no time of day, and the
sun's height only to five degrees and up to sixty (time and height together would draw a line on the map). Notes leave
as they are.
"""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from pathlib import Path, PurePath
from types import MappingProxyType
from typing import Any, TypeVar

from pydantic import ValidationError

from irpreview.answers.base import first_fault
from irpreview.answers.log_export import SCHEMA, log_export
from irpreview.core.field_log.comparison import personal_correction
from irpreview.core.field_log.entries import (
    ENTRY_FIELDS,
    OUTCOMES,
    LogEntry,
    SearchWish,
    SpotRecord,
    ToneDifference,
    check_difference,
    check_entry,
    check_spot,
)
from irpreview.core.field_log.learning import Learned, learned_of
from irpreview.core.units import how_many
from irpreview.errors import BadLog, BadValue, IrpreviewError
from irpreview.io.field_log import FieldLog, default_path
from irpreview.io.kits import same_lens
from irpreview.io.ordinary_file import Wanted, read_text
from irpreview.io.pictures import write_file
from irpreview.io.spreadsheet import read_rows, write_rows
from irpreview.io.tables import load_tables
from irpreview.records import CLASS_NAMES, Kit, LessonDoubt, LessonDoubtKind, Place, Range, Taught

T = TypeVar("T")
READABLE = ("irpreview-log/1", SCHEMA)
LARGEST_FILE_BYTES = 100_000_000
_ASK = "name a JSON or CSV file of `log export`"
_WANTED = Wanted(BadLog, "", _ASK, LARGEST_FILE_BYTES, "a log of 10000 frames has about 8 MB")
HIGHEST_TOLD_DEG = 60.0
"""Day and height of the sun, without the time of day, hold a latitude between two ends: |latitude - declination| is at
most 92.5 - height. So long as no height above this one is told, the ends stay 18 degrees apart over all days of a year.
"""
PLACE_COLUMNS = ("latitude_deg", "longitude_deg", "altitude_m")
COLUMNS = tuple(name for name in ENTRY_FIELDS if name not in ("id", "place", "batch")) + PLACE_COLUMNS
_NUMBERS = frozenset(
    (
        *PLACE_COLUMNS,
        *("planned_iso", "planned_f_number", "planned_shutter_s", "iso", "f_number", "shutter_s", "focal_mm"),
        *("metered_ev100", "came_out_stops", "sun_height_deg"),
    )
)
_WORDS: Mapping[str, tuple[str, ...]] = {"outcome": tuple(OUTCOMES), "subject": tuple(CLASS_NAMES)}
_YES, _NO = ("1", "true", "yes"), ("0", "false", "no")
HOT_SPOT_SHOWS_STOPS = 0.1
"""From this strength on a hot spot is seen in a sky (common practice, no source)."""


def facts_of(entry: LogEntry, *, locations: bool) -> dict[str, Any]:
    """One frame as JSON and CSV hold it."""
    fact: dict[str, Any] = {name: getattr(entry, name) for name in COLUMNS if name not in PLACE_COLUMNS}
    fact["taken_at"] = entry.taken_at.isoformat() if entry.taken_at else None
    fact["taken_on"] = entry.day.isoformat() if entry.day else None
    place = entry.place
    fact |= {name: getattr(place, name) if place else None for name in PLACE_COLUMNS}
    if not locations:
        fact |= dict.fromkeys((*PLACE_COLUMNS, "place_name", "taken_at"))
        for name in ("snap_path", "frame_path"):
            fact[name] = PurePath(fact[name].replace("\\", "/")).name if fact[name] else None
        if entry.sun_height_deg is not None:
            fact["sun_height_deg"] = min(5.0 * round(entry.sun_height_deg / 5.0), HIGHEST_TOLD_DEG)
    return fact


def export_log(log: FieldLog, path: Path | str, wish: SearchWish | None = None, *, locations: bool = False) -> int:
    """Write the frames that answer the wish as JSON, or as CSV where the name ends so; returns how many.

    Raises CannotWrite. An old file is replaced only by a whole new one.
    """
    path = Path(path)
    entries = log.search(wish or SearchWish(newest_first=False))
    facts = [facts_of(entry, locations=locations) for entry in entries]
    if path.suffix.lower() == ".csv":
        write_file(path, write_rows(COLUMNS, facts).encode())
    else:
        kits = (wish.kit_name,) if wish is not None and wish.kit_name else log.all_kit_names()
        spots = [spot for name in kits for spot in log.hot_spots(name)]
        differences = [one for name in kits for one in log.differences(name)]
        try:
            whole = log_export(facts, spots, differences, locations=locations)
        except ValidationError as error:  # a log that was written into by other means than ours
            raise BadLog(f"the log cannot be exported ({first_fault(error)}); correct or remove that entry") from None
        write_file(path, json.dumps(whole.as_json(), ensure_ascii=False, indent=1, allow_nan=False).encode())
    return len(facts)


def import_log(log: FieldLog, path: Path | str) -> tuple[int, int]:
    """Add the frames of an exported JSON or CSV file, all or none; returns (added, already there).

    Raises BadLog, with the line or frame at fault, when the file is not one of these.
    """
    path = Path(path)
    rows, spots, differences = _content(path)
    new: list[LogEntry] = []
    seen: set[str] = set()
    for where, row in rows:
        try:
            entry = check_entry(entry_of_facts(row))
        except (IrpreviewError, ValueError, TypeError, KeyError, OverflowError) as error:
            raise BadLog(f"{path.name}, {where}: {_fault(error)}; nothing was imported") from None
        if entry.uid and (entry.uid in seen or log.has_uid(entry.uid)):
            continue
        seen.add(entry.uid)
        new.append(entry)
    log.take_in(new, spots, differences, f"imported {how_many(len(new), 'frame')} from {path.name}")
    return len(new), len(rows) - len(new)


Rows = list[tuple[str, dict[str, Any]]]


def _content(path: Path) -> tuple[Rows, list[SpotRecord], list[ToneDifference]]:
    """(frames with where they stand, lens table, comparisons) of an exported file."""
    text = read_text(path, _WANTED)
    if path.suffix.lower() == ".csv":
        try:
            names, cells = read_rows(text)
        except BadValue as error:
            raise BadLog(f"{path.name}, {error}; nothing was imported") from None
        if "kit_name" not in names:
            raise BadLog(f"{path.name} lacks the column kit_name in its first line; see a CSV file of `log export`")
        rows: Rows = [(f"line {i + 2}", dict(row)) for i, row in enumerate(cells)]
        return rows, [], []
    try:
        whole = json.loads(text)
    except (ValueError, RecursionError) as error:
        at = f" (line {error.lineno})" if isinstance(error, json.JSONDecodeError) else ""
        raise BadLog(f"{path.name} is no JSON{at}; {_ASK}") from None
    schema = whole.get("schema") if isinstance(whole, dict) else None
    kind, _, number = str(schema).partition("/")
    if kind == SCHEMA.partition("/")[0] and number.isdecimal() and len(number) < 5 and schema not in READABLE:
        raise BadLog(
            f"{path.name} was exported by a newer irpreview (its version {number}, this one reads up to "
            f"{SCHEMA.rpartition('/')[2]}); update irpreview, or export it there as CSV"
        )
    if schema not in READABLE or not isinstance(whole.get("frames"), list):
        raise BadLog(f'{path.name} is no exported log: it needs "schema": "{SCHEMA}" and "frames"')
    for part in ("frames", "hot_spots", "differences"):
        if not isinstance(whole.get(part, []), list) or not all(isinstance(row, dict) for row in whole.get(part, [])):
            raise BadLog(f"{path.name}: each of its {part} must be an object; nothing was imported")
    rows = [(f"frame {i + 1}", row) for i, row in enumerate(whole["frames"])]
    return (
        rows,
        _records(path, "hot_spots", whole.get("hot_spots", []), _spot_of),
        _records(path, "differences", whole.get("differences", []), _difference_of),
    )


def _records(
    path: Path, part: str, rows: Sequence[Mapping[str, Any]], read: Callable[[Mapping[str, Any]], T]
) -> list[T]:
    out = []
    for i, row in enumerate(rows):
        try:
            out.append(read(row))
        except (IrpreviewError, ValueError, TypeError, KeyError, OverflowError) as error:
            raise BadLog(f"{path.name}, {part} {i + 1}: {_fault(error)}; nothing was imported") from None
    return out


def _fault(error: Exception) -> str:
    """What is wrong with a row; what others' messages quote of the file stays out."""
    said = " ".join(str(error).split())[:200]
    if isinstance(error, KeyError):
        return f"{said} is missing"
    return said if isinstance(error, IrpreviewError) else "a value of the wrong kind or size"


def _spot_of(row: Mapping[str, Any]) -> SpotRecord:
    strength = row["strength_stops"]
    return check_spot(
        SpotRecord(
            str(row["kit_name"]),
            str(row["lens"]),
            float(row["focal_mm"]),
            float(row["f_number"]),
            Range(float(strength["low"]), float(strength["likely"]), float(strength["high"])),
            float(row["radius_share"]),
            int(row["frames"]),
        )
    )


def _difference_of(row: Mapping[str, Any]) -> ToneDifference:
    if row["class_name"] not in CLASS_NAMES:
        raise BadValue(f"class_name must be one of {', '.join(CLASS_NAMES)}")
    return check_difference(
        ToneDifference(
            str(row["kit_name"]),
            str(row["class_name"]),
            float(row["difference_stops"]),
            float(row["share"]),
            str(row["pair_key"]),
        )
    )


def _number(name: str, given: Any) -> float:
    try:
        return float(given)
    except (ValueError, TypeError, OverflowError):
        raise BadValue(f"{name} is no number") from None


def _time(name: str, given: Any, read: Callable[[str], T]) -> T:
    try:
        return read(str(given))
    except ValueError:
        raise BadValue(f"{name} is no date or time; write it like 2026-06-21 or 2026-06-21T10:30+02:00") from None


def entry_of_facts(row: Mapping[str, Any]) -> LogEntry:
    """The frame that `facts_of` told. Raises BadValue, ValueError, TypeError."""
    value: dict[str, Any] = {}
    for name in COLUMNS:
        given = row.get(name)
        if given is None or given == "":
            continue
        if name in _NUMBERS:
            value[name] = _number(name, given)
        elif name == "in_shade":
            word = str(given).strip().lower()
            if word not in _YES and word not in _NO:
                raise BadValue("in_shade must be true or false")
            value[name] = word in _YES
        elif name == "taken_at":
            value[name] = _time(name, given, datetime.fromisoformat)
        elif name == "taken_on":
            value[name] = _time(name, given, date.fromisoformat)
        elif name in _WORDS and str(given) not in _WORDS[name]:
            raise BadValue(f"{name} must be one of {', '.join(_WORDS[name])}")
        else:
            value[name] = str(given)
    latitude, longitude = (value.pop(name, None) for name in PLACE_COLUMNS[:2])
    altitude = value.pop("altitude_m", 0.0)
    if (latitude is None) != (longitude is None):
        raise BadValue("latitude_deg and longitude_deg go together; give both or neither")
    if latitude is not None:
        value["place"] = Place(latitude, longitude, altitude)
    return LogEntry(**value)


# --- what the log taught --------------------------------------------------------------------------------------------


def learned_from(kit: Kit, log: FieldLog) -> Learned:
    """The factor of this kit by the frames in the log."""
    return learned_of(kit, log.search(SearchWish(kit_name=kit.name, newest_first=False)), load_tables())


@dataclass(frozen=True, slots=True)
class LogLessons:
    """What the field log taught about one kit, ready for any height of the sun. Travels to another process."""

    kit_name: str
    learned: Learned | None
    """The factor; None = nothing learned, or switched off."""
    correction_stops: Mapping[str, float]
    """Personal correction per class; empty = none, or switched off. [stops]"""
    spot_from_f_number: float | None
    in_shade: bool = False

    def __call__(self, kit: Kit, sun_height_deg: float | None) -> Taught:
        """The kit with these lessons; of another kit than they were learned for, the kit as it stands."""
        if kit.name != self.kit_name:
            return Taught(kit)
        doubts: list[LessonDoubt] = []
        out, learned, own = kit, self.learned, self.correction_stops
        if learned is not None and learned.frames:
            out = learned.applied_to(out, in_shade=self.in_shade, sun_height_deg=sun_height_deg)
            if sun_height_deg is None and learned.counts.get("low_sun", 0):
                doubts.append(LessonDoubt(LessonDoubtKind.SUN_HEIGHT_UNKNOWN))
            if learned.changed_stops is not None:
                doubts.append(LessonDoubt(LessonDoubtKind.FACTOR_STEPPED, learned.changed_stops))
        if own:
            # frames compared as pictures say more of a class than their exposures: they stand in their place
            together = {n: v for n, v in out.class_correction_stops.items() if n not in own}
            together |= {n: kit.class_correction_stops.get(n, 0.0) + own[n] for n in own}
            out = replace(out, class_correction_stops=MappingProxyType(together))
        spot = self.spot_from_f_number
        if spot is not None and (kit.hot_spot_from_f_number is None or spot < kit.hot_spot_from_f_number):
            out = replace(out, hot_spot_from_f_number=spot)
            if kit.lens is None:
                doubts.append(LessonDoubt(LessonDoubtKind.LENS_NOT_SAID, spot))
        return Taught(out, tuple(doubts))


def lessons_of(
    kit: Kit, log: FieldLog | Path | str | None = None, *, in_shade: bool = False, focal_mm: float | None = None
) -> LogLessons | None:
    """What the field log taught about a kit: factor, personal correction of classes, apertures with a hot spot.

    log: an open one, its file, or None for the usual place, where a missing log teaches nothing (None). What is
    switched off for the kit stays out. in_shade: what the frames say of shade joins the factor. focal_mm: of the
    picture planned, 35 mm equivalent; of one lens the nearest focal length in the table counts. Raises BadLog.
    """
    if not isinstance(log, FieldLog):
        path = Path(log) if log is not None else default_path()
        if log is None and not path.exists():
            return None
        with FieldLog(path, read_only=True) as opened:
            return lessons_of(kit, opened, in_shade=in_shade, focal_mm=focal_mm)
    use_learned, use_correction = log.uses(kit.name)
    learned = learned_from(kit, log) if use_learned else None
    if learned is not None:  # a mapping proxy does not travel between processes
        learned = replace(learned, circumstances=dict(learned.circumstances), counts=dict(learned.counts))
    own = personal_correction(log.differences(kit.name)) if use_correction else {}
    return LogLessons(
        kit.name,
        learned,
        {name: one.stops.likely for name, one in own.items()},
        spot_from(log, kit.name, lens=kit.lens, focal_mm=focal_mm),
        in_shade,
    )


def teach(
    kit: Kit,
    log: FieldLog | Path | str | None = None,
    *,
    in_shade: bool = False,
    sun_height_deg: float | None = None,
    focal_mm: float | None = None,
) -> Taught:
    """The kit as the field log taught it, see `lessons_of`; sun_height_deg: None = not known. Raises BadLog."""
    lessons = lessons_of(kit, log, in_shade=in_shade, focal_mm=focal_mm)
    return Taught(kit) if lessons is None else lessons(kit, sun_height_deg)


def learned_kit(
    kit: Kit,
    log: FieldLog | Path | str | None = None,
    *,
    in_shade: bool = False,
    sun_height_deg: float | None = None,
) -> Kit:
    """The kit alone, see `teach`."""
    return teach(kit, log, in_shade=in_shade, sun_height_deg=sun_height_deg).kit


def spot_from(log: FieldLog, kit_name: str, *, lens: str | None = None, focal_mm: float | None = None) -> float | None:
    """Widest aperture at which a hot spot surely shows, as f-number; None = none does.

    lens: of this lens alone; None = of any in the table. focal_mm: at the focal length of that lens nearest to it.
    """
    rows = [s for s in log.hot_spots(kit_name) if lens is None or same_lens(s.lens, lens)]
    if lens is not None and focal_mm is not None and rows:
        nearest = min((s.focal_mm for s in rows), key=lambda f: abs(math.log(f / focal_mm)))
        rows = [s for s in rows if s.focal_mm == nearest]
    return min((s.f_number for s in rows if _shows(s)), default=None)


def _shows(spot: SpotRecord) -> bool:
    return spot.strength_stops.low > 0 and spot.strength_stops.likely >= HOT_SPOT_SHOWS_STOPS
