"""The field log out of its file and back in, as JSON or CSV; and the kit that the log taught.

Without being asked, nothing leaves that says where: no coordinates, no place names, no folders, no time of day, and the
sun's height only to five degrees (time and height together would draw a line on the map). Notes leave as they are.
"""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date, datetime
from pathlib import Path, PurePath
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

from irpreview.core.log_entries import ENTRY_FIELDS, LogEntry, SearchWish, check_entry
from irpreview.errors import BadLog, BadValue, IrpreviewError
from irpreview.io.field_log import FieldLog, default_path
from irpreview.io.pictures import write_file
from irpreview.records import Kit, Place

if TYPE_CHECKING:
    from irpreview.core.learning import Learned

SCHEMA = "irpreview-log/1"
LARGEST_FILE_MB = 100.0
PLACE_COLUMNS = ("latitude_deg", "longitude_deg", "altitude_m")
COLUMNS = tuple(name for name in ENTRY_FIELDS if name not in ("id", "place")) + PLACE_COLUMNS
_NUMBERS = frozenset(
    (
        *PLACE_COLUMNS,
        *("planned_iso", "planned_f_number", "planned_shutter_s", "iso", "f_number", "shutter_s", "focal_mm"),
        *("metered_ev100", "came_out_stops", "sun_height_deg"),
    )
)
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
            fact["sun_height_deg"] = 5.0 * round(entry.sun_height_deg / 5.0)
    return fact


def export_log(log: FieldLog, path: Path | str, wish: SearchWish | None = None, *, locations: bool = False) -> int:
    """Write the frames that answer the wish as JSON, or as CSV where the name ends so; returns how many.

    Raises CannotWrite. An old file is replaced only by a whole new one.
    """
    path = Path(path)
    entries = log.search(wish or SearchWish(newest_first=False))
    facts = [facts_of(entry, locations=locations) for entry in entries]
    if path.suffix.lower() == ".csv":
        text = io.StringIO()
        writer = csv.DictWriter(text, COLUMNS, lineterminator="\n")
        writer.writeheader()
        writer.writerows(
            {k: "" if v is None else int(v) if isinstance(v, bool) else v for k, v in f.items()} for f in facts
        )
        write_file(path, text.getvalue().encode())
    else:
        whole = {"schema": SCHEMA, "locations": locations, "frames": facts}
        write_file(path, json.dumps(whole, ensure_ascii=False, indent=1).encode())
    return len(facts)


def import_log(log: FieldLog, path: Path | str) -> tuple[int, int]:
    """Add the frames of an exported JSON or CSV file, all or none; returns (added, already there).

    Raises BadLog, with the line or frame at fault, when the file is not one of these.
    """
    path = Path(path)
    rows = _rows(path)
    new: list[LogEntry] = []
    seen: set[str] = set()
    for where, row in rows:
        try:
            entry = check_entry(_entry_of(row))
        except (IrpreviewError, ValueError, TypeError, KeyError) as error:
            said = " ".join(str(error).split())[:200]
            raise BadLog(f"{path.name}, {where}: {said}; nothing was imported") from None
        if entry.uid and (entry.uid in seen or log.has_uid(entry.uid)):
            continue
        seen.add(entry.uid)
        new.append(entry)
    if new:
        log.add_all(new, f"imported {len(new)} frames from {path.name}")
    return len(new), len(rows) - len(new)


def _rows(path: Path) -> list[tuple[str, Mapping[str, Any]]]:
    try:
        if path.stat().st_size > LARGEST_FILE_MB * 1e6:
            raise BadLog(f"{path} is larger than {LARGEST_FILE_MB:.0f} MB; a log of 10000 frames has about 8 MB")
        text = path.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        said = getattr(error, "strerror", None) or "it is no text"
        raise BadLog(f"{path} could not be read ({said}); name a JSON or CSV file of `log export`") from None
    if path.suffix.lower() == ".csv":
        reader = csv.DictReader(io.StringIO(text))
        if "kit_name" not in (reader.fieldnames or ()):
            raise BadLog(f"{path.name} lacks the column kit_name in its first line; see a CSV file of `log export`")
        return [(f"line {i + 2}", {k: v for k, v in row.items() if k and v}) for i, row in enumerate(reader)]
    try:
        whole = json.loads(text)
    except (ValueError, RecursionError) as error:
        raise BadLog(f"{path.name} is no JSON ({str(error)[:80]}); name a JSON or CSV file of `log export`") from None
    if not isinstance(whole, dict) or whole.get("schema") != SCHEMA or not isinstance(whole.get("frames"), list):
        raise BadLog(f'{path.name} is no exported log: it needs "schema": "{SCHEMA}" and "frames"')
    if not all(isinstance(row, dict) for row in whole["frames"]):
        raise BadLog(f"{path.name}: each of its frames must be an object; nothing was imported")
    return [(f"frame {i + 1}", row) for i, row in enumerate(whole["frames"])]


def _entry_of(row: Mapping[str, Any]) -> LogEntry:
    value: dict[str, Any] = {}
    for name in COLUMNS:
        given = row.get(name)
        if given is None or given == "":
            continue
        if name in _NUMBERS:
            value[name] = float(given)
        elif name == "in_shade":
            value[name] = str(given).strip().lower() in ("1", "true", "yes")
        elif name == "taken_at":
            value[name] = datetime.fromisoformat(str(given))
        elif name == "taken_on":
            value[name] = date.fromisoformat(str(given))
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
    from irpreview.core.learning import learn_factor, observations_of
    from irpreview.io.tables import load_tables

    observations, says = observations_of(kit, log.search(SearchWish(kit_name=kit.name, newest_first=False)))
    learned = learn_factor(kit, observations, load_tables())
    return replace(learned, says=(*learned.says, *says))


def learned_kit(
    kit: Kit,
    log: FieldLog | Path | str | None = None,
    *,
    in_shade: bool = False,
    sun_height_deg: float | None = None,
) -> Kit:
    """The kit as the field log taught it: factor, personal correction of classes, apertures with a hot spot.

    log: an open one, its file, or None for the usual place, where a missing log changes nothing. What is switched off
    for the kit stays out. in_shade, sun_height_deg: what the frames say of these joins the factor.
    `factor_source` says what was used. Raises BadLog where a named log cannot be read.
    """
    if not isinstance(log, FieldLog):
        path = Path(log) if log is not None else default_path()
        if log is None and not path.exists():
            return kit
        with FieldLog(path, read_only=True) as opened:
            return learned_kit(kit, opened, in_shade=in_shade, sun_height_deg=sun_height_deg)
    use_learned, use_correction = log.uses(kit.name)
    out = kit
    if use_learned:
        learned = learned_from(kit, log)
        if learned.frames:
            out = learned.applied_to(out, in_shade=in_shade, sun_height_deg=sun_height_deg)
    if use_correction:
        from irpreview.core.comparison import personal_correction

        own = personal_correction(log.differences(kit.name))
        if own:
            together = {
                name: kit.class_correction_stops.get(name, 0.0) + (own[name].stops.likely if name in own else 0.0)
                for name in {*kit.class_correction_stops, *own}
            }
            out = replace(out, class_correction_stops=MappingProxyType(together))
    shows_from = spot_from(log, kit.name)
    if shows_from is not None and (kit.hot_spot_from_f_number is None or shows_from < kit.hot_spot_from_f_number):
        out = replace(out, hot_spot_from_f_number=shows_from)
    return out


def spot_from(log: FieldLog, kit_name: str) -> float | None:
    """Widest aperture of any lens in the table at which a hot spot surely shows, as f-number; None = none does."""
    shows: Sequence[float] = [
        s.f_number
        for s in log.hot_spots(kit_name)
        if s.strength_stops.low > 0 and s.strength_stops.likely >= HOT_SPOT_SHOWS_STOPS
    ]
    return min(shows, default=None)
