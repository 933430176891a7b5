"""When the light is right: every quarter hour of a day at a place, and the best days of the coming weeks.

Astronomy and a clear sky only: no weather is known. Sun by NREL SPA through pvlib, hard light from direct against sky
light in the band. Clock times follow the zone's own rules: a day has 92, 96 or 100 quarters, some dates do not exist.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta, timezone, tzinfo
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from irpreview.core.light.daylight import check_place, clear_light, haze_aod, sun_positions, sun_side
from irpreview.core.light.optics import band_response
from irpreview.core.light.spectra import Tables
from irpreview.core.light.surfaces import hard_light
from irpreview.errors import BadValue
from irpreview.records import Caution, CautionKind, Kit, Light, Place, SunSide
from irpreview.records.light import Hardness, LightPlanDoubt, LightPlanDoubtKind

QUARTER = timedelta(minutes=15)
LOWEST_USEFUL_DEG = 4.0
"""Below this hills, haze and long shadows eat the beam (assumed)."""
FRAME_MARGIN_DEG = 3.0
"""Sun this near outside the frame still flares."""
SIDE_WEIGHT: Mapping[SunSide, float] = {"side": 1.0, "behind_camera": 0.85, "ahead": 0.35, "unknown": 0.8}
"""Side light models, light from behind the camera flattens, against the light the leaves go dark (a choice)."""
GOOD_SCORE = 0.65
LEAST_QUARTERS = 2
"""A good quarter hour alone is no reason to travel."""
MOST_DAYS = 366

_MODEL_FROM_DEG = 10.0
HARD_RATIO, SOFT_RATIO = 8.0, 2.0
"""Sunlit to open shade from which light is hard (three stops: shade prints near black without fill) and soft (one stop:
the lighting ratio of 2 to 1 that portrait practice calls soft); below that flat. Common practice, no source."""


def hardness_of(sunlit_to_shade: float) -> Hardness:
    """Hard, soft or flat light, from the ratio of sunlit to open shade in the infrared."""
    return "hard" if sunlit_to_shade >= HARD_RATIO else "soft" if sunlit_to_shade >= SOFT_RATIO else "flat"


@dataclass(frozen=True, slots=True)
class Quarter:
    """One quarter hour, at its start."""

    time: datetime
    sun_height_deg: float
    sun_bearing_deg: float
    sun_side: SunSide
    hard_light: float
    """Share of the beam on a surface that faces the sun, in the band: 0 soft .. 1 hard; 0 with the sun down."""
    hardness: Hardness
    sunlit_to_shade: float
    """Light on a surface that faces the sun over that in open shade, in the band; 1 with the sun down."""
    shade_stops: float
    """The same in stops: how much darker than sunlit a place is that only the sky lights. [stops]"""
    longer_stops: float | None
    """How much longer to expose level ground than with the sun 45 degrees high; None with the sun down. [stops]"""
    sun_in_frame: bool | None
    """None = view direction or focal length not given."""
    score: float


@dataclass(frozen=True, slots=True)
class Window:
    """Neighbouring quarters that are good."""

    start: datetime
    end: datetime
    score: float
    sun_side: SunSide
    lowest_deg: float
    highest_deg: float
    """Heights of the sun."""
    sunlit_to_shade: float
    """Light on a surface that faces the sun over that in open shade."""

    @property
    def hardness(self) -> Hardness:
        """Hard, soft or flat."""
        return hardness_of(self.sunlit_to_shade)

    @property
    def minutes(self) -> float:
        """How long it lasts [min]."""
        return (self.end - self.start).total_seconds() / 60.0


@dataclass(frozen=True, slots=True)
class DayPlan:
    """The light of one day by quarter hours, and its good windows."""

    day: date
    quarters: tuple[Quarter, ...]
    windows: tuple[Window, ...]
    score: float
    """Hours of good light, weighted by how good. [h]"""


@dataclass(frozen=True, slots=True)
class LightPlan:
    """The light of one or more days at one place."""

    place: Place
    zone_words: str
    heading_deg: float | None
    days: tuple[DayPlan, ...]
    best: tuple[Window, ...]
    """Best windows of the first day, or of all days when several were asked for, best first."""
    cautions: tuple[Caution, ...]
    doubts: tuple[LightPlanDoubt, ...]


# --- zones and days -------------------------------------------------------------------------------------------------


def parse_zone(text: str | None, place: Place) -> tuple[tzinfo, str, tuple[LightPlanDoubt, ...]]:
    """(zone, its words, doubts) of "Europe/Oslo", "+02:00", "UTC" or nothing (then by longitude). Raises BadValue."""
    if text is None or not text.strip():
        hours = round(place.longitude_deg / 15.0)
        words = f"UTC{hours:+d} by longitude"
        doubt = LightPlanDoubt(LightPlanDoubtKind.ZONE_BY_LONGITUDE, words)
        return timezone(timedelta(hours=hours)), words, (doubt,)
    cleaned = text.strip()
    if cleaned.upper() in ("UTC", "Z", "GMT"):
        return UTC, "UTC", ()
    if cleaned[0] in "+-":
        return _fixed_zone(cleaned), f"UTC{cleaned}", ()
    try:
        return ZoneInfo(cleaned), cleaned, ()
    except (KeyError, ValueError, OSError) as error:
        raise BadValue(
            f"time zone {text!r} is not known; give a name such as Europe/Oslo or an offset such as +02:00"
        ) from error


def _fixed_zone(text: str) -> tzinfo:
    digits = text[1:].replace(":", "")
    if digits.isdigit() and len(digits) in (1, 2, 4):
        hours, minutes = (int(digits), 0) if len(digits) <= 2 else (int(digits[:2]), int(digits[2:]))
        offset = timedelta(hours=hours, minutes=minutes) * (-1 if text[0] == "-" else 1)
        if minutes < 60 and timedelta(hours=-12) <= offset <= timedelta(hours=14):
            return timezone(offset)
    raise BadValue(f"time zone {text!r} is not -12:00 to +14:00; write an offset such as +02:00")


def parse_date(text: str) -> date:
    """A date as YYYY-MM-DD. Raises BadValue for one that does not exist or lies outside 1900 to 2200."""
    try:
        day = date.fromisoformat(text.strip())
    except ValueError as error:
        raise BadValue(f"date {text!r} does not exist or is not YYYY-MM-DD; write it like 2026-06-21") from error
    if not 1900 <= day.year <= 2200:
        raise BadValue(f"date {text!r} is outside 1900 to 2200; write it like 2026-06-21")
    return day


def quarters_of(day: date, zone: tzinfo) -> list[datetime]:
    """Every quarter hour of the local day, aware, in order. Raises BadValue for a date the zone skipped."""
    start, end = _first_moment(day, zone), _first_moment(day + timedelta(days=1), zone)
    count = round((end - start) / QUARTER)
    if count <= 0 or start.astimezone(zone).date() != day:
        raise BadValue(f"date {day.isoformat()} does not exist in {zone}: the clocks skipped it; choose a neighbour")
    return [(start + i * QUARTER).astimezone(zone) for i in range(count)]


def _first_moment(day: date, zone: tzinfo) -> datetime:
    """The first instant (UTC) at which the local date is `day` or later."""
    naive = datetime(day.year, day.month, day.day)
    # fold=0 before a gap keeps the old offset, which lands on the first instant after it
    guess = naive.replace(tzinfo=zone).astimezone(UTC)
    earlier = naive.replace(tzinfo=zone, fold=1).astimezone(UTC)
    return min(guess, earlier) if earlier.astimezone(zone).date() >= day else guess


# --- the plan -------------------------------------------------------------------------------------------------------


def plan_light(
    place: Place,
    first_day: date,
    zone_text: str | None,
    kit: Kit,
    tables: Tables,
    *,
    heading_deg: float | None = None,
    days: int = 1,
    haze: str | float = "normal",
    focal_35mm_mm: float | None = None,
) -> LightPlan:
    """Plan `days` days from `first_day`. focal_35mm_mm: to warn of the sun in a level frame. Raises BadValue."""
    check_place(place)
    if not 1 <= days <= MOST_DAYS:
        raise BadValue(f"{days} days cannot be planned; give 1 to {MOST_DAYS}")
    if heading_deg is not None and not -360.0 <= heading_deg <= 360.0:
        raise BadValue(f"heading {heading_deg:g} degrees is outside 0 to 360; give degrees true, 90 = east")
    heading = None if heading_deg is None else heading_deg % 360.0
    zone, zone_words, doubts = parse_zone(zone_text, place)
    aod = haze_aod(haze)
    per_day: list[tuple[date, list[datetime]]] = []
    skipped: list[date] = []
    for i in range(days):
        day = first_day + timedelta(days=i)
        try:
            per_day.append((day, quarters_of(day, zone)))
        except BadValue:
            if days == 1:
                raise
            skipped.append(day)
    if not per_day:
        raise BadValue(f"none of the days from {first_day.isoformat()} exist in {zone_words}; choose another date")
    moments = [t for _, times in per_day for t in times]
    height, bearing = sun_positions(place, moments)
    hard, shade = hard_light_at(height, aod, kit, tables)
    longer = longer_stops_at(height, aod, kit, tables)
    rows = _quarters(moments, height, bearing, (hard, shade, longer), heading, focal_35mm_mm)
    plans, at = [], 0
    for day, times in per_day:
        plans.append(_day_plan(day, rows[at : at + len(times)]))
        at += len(times)
    if skipped:
        doubts = (*doubts, LightPlanDoubt(LightPlanDoubtKind.DAYS_LEFT_OUT, zone_words, tuple(skipped)))
    doubts = (*doubts, LightPlanDoubt(LightPlanDoubtKind.CLEAR_SKY_ONLY))
    windows = [w for plan in plans for w in plan.windows]
    best = sorted(windows, key=lambda w: (-round(w.score * min(w.minutes, 180.0), -1), w.start))[:5]
    return LightPlan(place, zone_words, heading, tuple(plans), tuple(best), _cautions(rows, heading), doubts)


def hard_light_at(
    sun_height_deg: NDArray[np.float64], aod: float, kit: Kit, tables: Tables
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """(hard light 0..1, stops that shade lies below sunlit) in the band for many sun heights, (t,) each.

    Worked out on whole degrees and interpolated from 10 degrees on. Lower down the daylight model keeps the beam too
    strong, so there the ratio of sun to shade fades with the beam's way through the air (air mass: Kasten and Young
    1989) and is 1 with the sun down.
    """
    top = float(max(sun_height_deg.max(initial=1.0), _MODEL_FROM_DEG + 1.0))
    grid = np.arange(_MODEL_FROM_DEG, min(top, 90.0) + 1.0)
    grid = grid[grid <= 90.0]
    value = np.array([hard_light(kit, Light(sun_height_deg=float(h), haze_aod=aod), tables) for h in grid])
    hard = np.interp(sun_height_deg, grid, value)
    ratio = 1.0 / np.maximum(1.0 - hard, 1e-6)
    depth = 0.6 * aod + 0.07  # of haze at 800 nm, air and water vapour together (rounded)
    lost = depth * (air_mass(sun_height_deg) - air_mass(np.array(_MODEL_FROM_DEG)))
    ratio = 1.0 + (ratio - 1.0) * np.exp(-np.maximum(lost, 0.0))
    # the last half degree takes the disc behind the horizon
    ratio = 1.0 + (ratio - 1.0) * np.clip(sun_height_deg / 0.5, 0.0, 1.0)
    return 1.0 - 1.0 / ratio, np.log2(ratio)


def air_mass(sun_height_deg: NDArray[np.float64]) -> NDArray[np.float64]:
    """Relative air mass of the sun's way, 1 overhead, about 38 at the horizon (Kasten and Young 1989)."""
    height = np.maximum(sun_height_deg, 0.0)
    return np.asarray(1.0 / (np.sin(np.radians(height)) + 0.50572 * (height + 6.07995) ** -1.6364), np.float64)


def longer_stops_at(sun_height_deg: NDArray[np.float64], aod: float, kit: Kit, tables: Tables) -> NDArray[np.float64]:
    """How much less light level ground gets in the band than with the sun 45 degrees high [stops], (t,)."""
    grid = np.concatenate([np.arange(1.0, 12.0, 0.5), np.arange(12.0, 91.0, 3.0), [45.0]])
    grid.sort()
    response = band_response(kit, tables)
    light = np.array([float(np.sum(clear_light(tables, float(h), aod), axis=0) @ response) for h in grid])
    stops = np.log2(light[grid == 45.0][0] / light)
    return np.asarray(np.interp(sun_height_deg, grid, stops), np.float64)


def half_view_deg(focal_35mm_mm: float) -> tuple[float, float]:
    """Half the angle of view across and up of a 36 x 24 mm frame [degrees]."""
    if not 1.0 <= focal_35mm_mm <= 3000.0:
        raise BadValue(f"focal length {focal_35mm_mm:g} mm is outside 1 to 3000 mm; give the 35 mm equivalent")
    return (
        math.degrees(math.atan(18.0 / focal_35mm_mm)),
        math.degrees(math.atan(12.0 / focal_35mm_mm)),
    )


def sun_in_level_frame(
    sun_height_deg: float, sun_bearing_deg: float, heading_deg: float | None, focal_35mm_mm: float | None
) -> bool | None:
    """Whether the sun stands in or just outside a level frame; None where view or focal length is not given."""
    if sun_height_deg <= -0.9:
        return False
    if heading_deg is None or focal_35mm_mm is None:
        return None
    across, up = half_view_deg(focal_35mm_mm)
    apart = abs((sun_bearing_deg - heading_deg + 180.0) % 360.0 - 180.0)
    return apart < across + FRAME_MARGIN_DEG and sun_height_deg < up + FRAME_MARGIN_DEG


def worth_of_light(sun_height_deg: float, hard: float, side: SunSide, in_frame: bool | None) -> float:
    """How good a light is for infrared, 0..1: how hard, from which side, high enough, sun out of the frame."""
    usable = min(max((sun_height_deg - LOWEST_USEFUL_DEG) / 4.0, 0.0), 1.0)
    return hard * SIDE_WEIGHT[side] * usable * (0.2 if in_frame else 1.0)


def _quarters(
    moments: Sequence[datetime],
    height: NDArray[np.float64],
    bearing: NDArray[np.float64],
    light: tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]],
    heading: float | None,
    focal_35mm_mm: float | None,
) -> tuple[Quarter, ...]:
    if focal_35mm_mm is not None:
        half_view_deg(focal_35mm_mm)  # refuses one that makes no sense, also where no heading uses it
    hard, shade, longer = light
    rows = []
    for i, when in enumerate(moments):
        side = sun_side(float(bearing[i]), heading)
        in_frame = sun_in_level_frame(float(height[i]), float(bearing[i]), heading, focal_35mm_mm)
        score = worth_of_light(float(height[i]), float(hard[i]), side, in_frame)
        rows.append(
            Quarter(
                time=when,
                sun_height_deg=round(float(height[i]), 2),
                sun_bearing_deg=round(float(bearing[i]), 2) % 360.0,
                sun_side=side,
                hard_light=round(float(hard[i]), 3),
                hardness=hardness_of(2.0 ** float(shade[i])),
                sunlit_to_shade=round(2.0 ** float(shade[i]), 1),
                shade_stops=round(float(shade[i]), 2),
                longer_stops=round(float(longer[i]), 2) if height[i] > 0.0 else None,
                sun_in_frame=in_frame,
                score=round(score, 3),
            )
        )
    return tuple(rows)


def _day_plan(day: date, rows: tuple[Quarter, ...]) -> DayPlan:
    windows = []
    run: list[Quarter] = []
    for row in (*rows, None):
        if row is not None and row.score >= GOOD_SCORE and (not run or row.sun_side == run[-1].sun_side):
            run.append(row)
            continue
        if len(run) >= LEAST_QUARTERS:
            windows.append(_window(run))
        run = [row] if row is not None and row.score >= GOOD_SCORE else []
    score = sum(r.score for r in rows if r.score >= GOOD_SCORE) / 4.0
    return DayPlan(day, rows, tuple(windows), round(score, 2))


def _window(run: list[Quarter]) -> Window:
    start, end = run[0].time, (run[-1].time.astimezone(UTC) + QUARTER).astimezone(run[-1].time.tzinfo)
    low, high = min(r.sun_height_deg for r in run), max(r.sun_height_deg for r in run)
    score = sum(r.score for r in run) / len(run)
    ratio = 2.0 ** (sum(r.shade_stops for r in run) / len(run))
    return Window(start, end, round(score, 3), run[0].sun_side, low, high, ratio)


def _cautions(rows: tuple[Quarter, ...], heading: float | None) -> tuple[Caution, ...]:
    """Sun warnings: eyes while the sun is up and ahead or unknown; sensor while it can stand in the frame."""
    up = [r for r in rows if r.sun_height_deg > -0.9]
    if not up:
        return ()
    said = []
    if heading is None or any(r.sun_side == "ahead" for r in up):
        said.append(Caution(CautionKind.SUN_EYES))
    inside = [r for r in up if r.sun_in_frame]
    if inside:
        said.append(Caution(CautionKind.SUN_FRAME, sun_in_frame=(inside[0].time, inside[-1].time)))
    return tuple(said)


# --- what a person writes -------------------------------------------------------------------------------------------


def parse_place(text: str) -> Place:
    """A place of "LAT,LON" or "LAT,LON,ALTITUDE" [degrees, degrees, m]. Raises BadValue."""
    parts = [p for p in text.replace(";", ",").replace(" ", ",").split(",") if p]
    try:
        numbers = [float(p) for p in parts]
    except ValueError as error:
        raise BadValue(f"place {text!r} was not understood; write latitude,longitude like 47.1,11.4") from error
    if len(numbers) not in (2, 3) or not all(math.isfinite(n) for n in numbers):
        raise BadValue(f"place {text!r} has {len(numbers)} numbers; write latitude,longitude like 47.1,11.4")
    place = Place(*numbers)
    check_place(place)
    return place


def parse_moment(text: str, zone_text: str | None, place: Place) -> datetime:
    """A moment of "2026-06-21T10:30", with or without its own offset; without, the zone's. Raises BadValue."""
    try:
        when = datetime.fromisoformat(text.strip())
    except ValueError as error:
        raise BadValue(
            f"time {text!r} does not exist or is not YYYY-MM-DDTHH:MM; write it like 2026-06-21T10:30"
        ) from error
    if when.tzinfo is None:
        zone, _, _ = parse_zone(zone_text, place)
        when = when.replace(tzinfo=zone)
        if when.astimezone(UTC).astimezone(zone).replace(tzinfo=None) != when.replace(tzinfo=None):
            raise BadValue(f"time {text!r} does not exist in {zone}: the clocks skipped it; choose an hour later")
    return when
