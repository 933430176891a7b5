"""What a person writes of a day out, read: clock times, stays, speeds; places named twice brought together."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta, tzinfo

from irpreview.core.scouting.places import ONE_SPOT_M, straight_m
from irpreview.core.units import parse_shutter
from irpreview.errors import BadValue
from irpreview.records.day_plan import DayPlanDoubt, DayPlanDoubtKind, Viewpoint

SAME_VIEW_DEG = 25.0
"""Headings closer than this at one spot show the same picture [choice]: half the view of a 35 mm lens."""
LONGEST_STAY_MIN = 12 * 60
SPEED_KM_H = (0.5, 150.0)
DETOUR = (1.0, 5.0)
_SPEED_UNITS_KM_H = {"km/h": 1.0, "kmh": 1.0, "kph": 1.0, "m/s": 3.6, "mph": 1.609344, "": 1.0}
"""Mile 1609.344 m (International Yard and Pound Agreement 1959)."""


def parse_stay(text: str) -> int:
    """Whole minutes of "40", "40min", "1h", "1h30m" or "1:30". [min] Raises BadValue."""
    cleaned = text.strip().lower()
    if found := re.fullmatch(r"(\d{1,2}):([0-5]\d)", cleaned):
        minutes = 60.0 * int(found[1]) + int(found[2])
    elif re.fullmatch(r"\d+(\.\d+)?", cleaned):
        minutes = float(cleaned)
    else:
        try:
            minutes = parse_shutter(re.sub(r"(?<=h)(\d+)$", r"\1m", cleaned)) / 60.0
        except BadValue as error:
            raise BadValue(f"stay {text[:40]!r} was not understood; write minutes (40), 40min, 1h or 1h30m") from error
    if not 1.0 <= minutes <= LONGEST_STAY_MIN:
        raise BadValue(f"stay {text[:40]!r} is {minutes:g} minutes; it must be 1 minute to 12 hours")
    return math.ceil(minutes)


def parse_speed(text: str) -> float:
    """Kilometres per hour of "4", "4km/h", "1.2m/s" or "3mph". [km/h] Raises BadValue."""
    found = re.fullmatch(r"(\d+(?:\.\d*)?|\.\d+)\s*([a-z/]*)", text.strip().lower().replace(",", "."))
    if found is None or found[2] not in _SPEED_UNITS_KM_H:
        raise BadValue(f"speed {text[:40]!r} was not understood; write kilometres per hour (4), or 4km/h, 1.2m/s, 3mph")
    speed = float(found[1]) * _SPEED_UNITS_KM_H[found[2]]
    low, high = SPEED_KM_H
    if not low <= speed <= high:
        raise BadValue(f"speed {text[:40]!r} is {speed:g} km/h; it must lie between {low:g} and {high:g} km/h")
    return speed


def parse_clock(text: str) -> int:
    """Minutes after midnight of "8", "08:00" or "24:00". [min] Raises BadValue."""
    found = re.fullmatch(r"(\d{1,2})(?:[:.]([0-5]\d))?", text.strip())
    minutes = None if found is None else 60 * int(found[1]) + int(found[2] or 0)
    if minutes is None or minutes > 24 * 60:
        raise BadValue(f"time of day {text[:40]!r} is not 00:00 to 24:00; write it like 08:30")
    return minutes


def moment_of(day: date, clock_min: int, zone: tzinfo) -> tuple[datetime, bool]:
    """(aware moment of a clock time on a day, whether the clock shows it twice; then it is the first). Raises BadValue
    for one that the clocks skip.
    """
    day, clock_min = day + timedelta(days=clock_min // 1440), clock_min % 1440
    naive = datetime(day.year, day.month, day.day, clock_min // 60, clock_min % 60)
    when = naive.replace(tzinfo=zone)
    if when.astimezone(UTC).astimezone(zone).replace(tzinfo=None) != naive:
        raise BadValue(
            f"{naive:%H:%M} does not exist on {naive:%Y-%m-%d} in {zone}: the clocks skipped it; choose an hour later"
        )
    return when, when.utcoffset() != when.replace(fold=1).utcoffset()


def span_of(day: date, first: int, last: int, zone: tzinfo) -> tuple[tuple[datetime, datetime], tuple[str, ...]]:
    """((from, until), clock times that come twice) of two clock times [min]; an end not later is the next day's.

    Raises BadValue for a time that the clocks skip.
    """
    begin, twice_first = moment_of(day, first, zone)
    end, twice_last = moment_of(day, last if last > first else last + 1440, zone)
    # the second of two equal hours may end before the first one that is meant by "from"
    if end.astimezone(UTC) <= begin.astimezone(UTC):
        end, twice_last = moment_of(day, last + 1440, zone)
    twice = [f"{t:%H:%M}" for t, again in ((begin, twice_first), (end, twice_last)) if again]
    return (begin, end), tuple(twice)


def checked_heading(heading_deg: float | None) -> float | None:
    """A heading within 0..360 degrees. Raises BadValue."""
    if heading_deg is None:
        return None
    if not -360.0 <= heading_deg <= 360.0:
        raise BadValue(f"heading {heading_deg:g} degrees is outside 0 to 360; give degrees true, 90 = east")
    return heading_deg % 360.0


def _same_view(a: Viewpoint, b: Viewpoint) -> bool:
    if straight_m(a.place, b.place) > ONE_SPOT_M or a.hours != b.hours:
        return False
    if a.heading_deg is None or b.heading_deg is None:
        return True
    return abs((a.heading_deg - b.heading_deg + 180.0) % 360.0 - 180.0) < SAME_VIEW_DEG


def distinct_views(views: Sequence[Viewpoint]) -> tuple[tuple[Viewpoint, ...], tuple[DayPlanDoubt, ...]]:
    """(the views, each once and with a name of its own; a doubt for each that was taken for another).

    Two snaps from one spot are one stay where they look the same way, or where one does not say which way it looks;
    otherwise they are two stays with no way between. The stay is the longest of those asked for.
    """
    kept: list[Viewpoint] = []
    doubts = []
    for view in views:
        like = next((i for i, one in enumerate(kept) if _same_view(one, view)), None)
        if like is None:
            kept.append(view)
            continue
        one = kept[like]
        doubts.append(DayPlanDoubt(DayPlanDoubtKind.SAME_VIEW, (view.name, one.name)))
        kept[like] = replace(
            one,
            heading_deg=view.heading_deg if one.heading_deg is None else one.heading_deg,
            focal_35mm_mm=view.focal_35mm_mm if one.focal_35mm_mm is None else one.focal_35mm_mm,
            stay_min=max(one.stay_min, view.stay_min),
            snaps=(*one.snaps, *view.snaps),
            sha256=one.sha256 or view.sha256,
        )
    return _named_apart(kept), tuple(doubts)


def _named_apart(views: Sequence[Viewpoint]) -> tuple[Viewpoint, ...]:
    taken: set[str] = set()
    out = []
    for view in views:
        name, number = view.name, 2
        while name in taken:
            name, number = f"{view.name} ({number})", number + 1
        taken.add(name)
        out.append(replace(view, name=name))
    return tuple(out)
