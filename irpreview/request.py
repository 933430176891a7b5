"""What a photographer asks of a snap: one frozen record, whichever door it comes through.

None and "unknown" are fine answers everywhere: what is not said is taken from the snap, else assumed, and the answer
says so. `Inputs` is the same as typed, and `request_of` reads it: the one place where text turns into a request.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime
from types import MappingProxyType
from typing import Any, get_args

import numpy as np
from numpy.typing import NDArray

from irpreview.core.exposure.metering import Metering
from irpreview.core.exposure.setting import HOLD_PX, Wishes
from irpreview.core.light import light_plan
from irpreview.core.light.planned_light import check_asked
from irpreview.core.motion.clip_motion import ClipMotion
from irpreview.errors import BadValue
from irpreview.io.kits import load_kit, with_lens
from irpreview.records import (
    CLASS_NAMES,
    DEFAULT_GRADE,
    Conditions,
    Kit,
    Photo,
    Place,
    Range,
    SkyState,
    Taught,
    WaterKind,
)

NOT_KNOWN = ("", "unknown", "?", "-")
HAZES = ("clear", "normal", "hazy", "unknown")
SKIES: tuple[str, ...] = get_args(SkyState)
WATERS: tuple[str, ...] = get_args(WaterKind)

Corrections = tuple[tuple[NDArray[np.bool_], str], ...]
"""(mask, class name) in the order painted; a mask (h, w) of any size is laid over the whole picture."""


Lessons = Callable[[Kit, float | None], Kit | Taught]
"""The kit as the field log taught it, for a height of the sun [degrees], None = not known."""


@dataclass(frozen=True, slots=True)
class PlannedLight:
    """Another light than the snap's own, a what-if: the sun at a height, or at a time and place."""

    sun_height_deg: float | None = None
    when: datetime | None = None
    """Aware."""
    place: Place | None = None
    """None = where the snap was taken."""
    haze: str | float | None = None
    """`clear`, `normal`, `hazy` or an optical depth; None = as on the day of the snap."""


@dataclass(frozen=True, slots=True)
class Request:
    """Everything that can be said of one snap; every field has a working default."""

    kit: Kit | None = None
    """None = 720 nm long-pass on an unmodified camera."""
    lessons: Lessons | None = None
    """What the field log taught, applied to the kit; None = the kit as it stands."""
    place: Place | None = None
    """Where the snap was taken, if the file does not say or is wrong."""
    taken_at: datetime | None = None
    """Aware; likewise."""
    heading_deg: float | None = None
    """Bearing of the view, degrees true; likewise."""
    planned: PlannedLight | None = None
    conditions: Conditions = field(default_factory=Conditions)
    wishes: Wishes = field(default_factory=Wishes)
    readings: tuple[Metering, ...] = ()
    """Light metered by hand; they go before what the snap's own exposure says."""
    in_shade: bool = False
    shutter_s: float | None = None
    """The time that movement and verdict are told for; None = the recommended one."""
    grade: float = DEFAULT_GRADE
    film_look: bool = False
    crisp: bool = False
    """Movement is held to two pixels of a large frame instead of to a sharp print."""
    corrections: Corrections = ()
    clip: ClipMotion | None = None
    """Movement measured in a few seconds of film of this scene; goes before the wind table."""


@dataclass(frozen=True, slots=True)
class Inputs:
    """What the photographer entered; None or "unknown" = not known. Texts are kept as typed."""

    kit: str = "unmodified-720"
    lens: str = ""
    factor_stops: float | None = None
    focal_35mm_mm: float | None = None
    widest_f_number: float | None = None
    lowest_iso: float | None = None
    highest_iso: float | None = None
    place: str = ""
    when: str = ""
    zone: str = ""
    heading_deg: float | None = None
    planned_sun_deg: float | None = None
    planned_time: str = ""
    planned_place: str = ""
    planned_haze: str = ""
    sky_state: SkyState = "unknown"
    haze: str = "unknown"
    temperature_c: float | None = None
    dew_point_c: float | None = None
    wind_m_s: float | None = None
    gust_m_s: float | None = None
    wind_from_deg: float | None = None
    cloud_fist_s: float | None = None
    cloud_height_m: float | None = None
    trees_m: float | None = None
    distance_m: Mapping[str, float] = field(default_factory=lambda: MappingProxyType({}))
    nearest_m: float | None = None
    water_kind: WaterKind = "unknown"
    hold_px: float = HOLD_PX
    noise_reduction: bool = False
    light_minutes: float | None = None
    in_shade: bool = False
    grade: float = DEFAULT_GRADE
    film_look: bool = False
    crisp: bool = False
    shutter_s: float | None = None
    """None = the recommended time."""


def request_of(
    inputs: Inputs,
    photo: Photo | None = None,
    *,
    lessons: Lessons | None = None,
    readings: tuple[Metering, ...] = (),
    clip: ClipMotion | None = None,
    corrections: Corrections = (),
) -> Request:
    """The request for one snap. photo: tells the zone and place of a planned time. Raises BadKit, BadValue."""
    heading = inputs.heading_deg
    return Request(
        kit=kit_of(inputs),
        lessons=lessons,
        place=parse_place(inputs.place),
        taken_at=_taken_at(inputs, photo),
        heading_deg=None if heading is None else _within(heading, 0.0, 360.0, "bearing of the view", "degrees"),
        planned=planned_of(inputs, photo),
        conditions=conditions_of(inputs),
        wishes=wishes_of(inputs),
        readings=readings,
        in_shade=inputs.in_shade,
        shutter_s=inputs.shutter_s,
        grade=_within(inputs.grade, 0.0, 5.0, "paper grade", ""),
        film_look=inputs.film_look,
        crisp=inputs.crisp,
        corrections=corrections,
        clip=clip,
    )


def _taken_at(inputs: Inputs, photo: Photo | None) -> datetime | None:
    if inputs.when.strip().lower() in NOT_KNOWN:
        return None
    zone = inputs.zone.strip()
    place = parse_place(inputs.place) or (photo.place if photo is not None else None)
    if zone.lower() not in NOT_KNOWN:
        return parse_when(inputs.when, zone)
    if place is not None:
        return light_plan.parse_moment(inputs.when.strip(), _offset(photo), place)
    return parse_when(inputs.when, "")


def planned_of(inputs: Inputs, photo: Photo | None = None) -> PlannedLight | None:
    """The planned light as typed, None = the snap's own. Raises BadValue."""
    time, haze = inputs.planned_time.strip() or None, inputs.planned_haze.strip() or None
    place = parse_place(inputs.planned_place) or parse_place(inputs.place)
    check_asked(inputs.planned_sun_deg, time, parse_place(inputs.planned_place), haze)
    if inputs.planned_sun_deg is None and time is None:
        return None
    when = None
    if time is not None:
        place = place or (photo.place if photo is not None else None)
        if place is None:
            raise BadValue(
                "--planned-time needs a place to tell the sun by, and the photo has none; give --planned-place"
            )
        when = light_plan.parse_moment(time, inputs.zone.strip() or _offset(photo), place)
    return PlannedLight(sun_height_deg=inputs.planned_sun_deg, when=when, place=place, haze=haze)


def _offset(photo: Photo | None) -> str | None:
    """The photo's own offset from UTC, as a zone."""
    offset = None if photo is None or photo.taken_at is None else photo.taken_at.utcoffset()
    if offset is None:
        return None
    minutes = round(offset.total_seconds() / 60.0)
    return f"{'-' if minutes < 0 else '+'}{abs(minutes) // 60:02d}:{abs(minutes) % 60:02d}"


def parse_place(text: str) -> Place | None:
    """`51.2345, 7.4321`, with an altitude or as `51.2345 N, 7.4321 E`; empty or `unknown` = None. Raises BadValue."""
    cleaned = text.strip()
    if cleaned.lower() in NOT_KNOWN:
        return None
    signed = re.sub(
        r"(-?[\d.]+)\s*°?\s*([NSEW])\b",
        lambda found: ("-" if found[2].upper() in "SW" else "") + found[1],
        cleaned.replace("°", ""),
        flags=re.IGNORECASE,
    )
    return light_plan.parse_place(signed)


def parse_when(text: str, zone: str) -> datetime | None:
    """An aware time from `2026-06-21 14:30` and a zone; None where either is not known. Raises BadValue."""
    cleaned = text.strip()
    if cleaned.lower() in NOT_KNOWN:
        return None
    if zone.strip().lower() not in NOT_KNOWN:
        return light_plan.parse_moment(cleaned, zone.strip(), Place(0.0, 0.0))
    try:
        when = datetime.fromisoformat(cleaned)
    except ValueError:
        raise BadValue(
            f"the time {cleaned[:40]!r} cannot be read; write it as 2026-06-21 14:30, or leave it empty"
        ) from None
    return when if when.tzinfo is not None else None


def kit_of(inputs: Inputs) -> Kit:
    """The chosen kit with the photographer's own limits. Raises BadKit, BadValue."""
    kit = load_kit(inputs.kit)
    changes: dict[str, Any] = {}
    if inputs.factor_stops is not None:
        stops = _within(inputs.factor_stops, 0.0, 24.0, "filter factor", "stops")
        changes |= {"factor_stops": Range(stops - 0.5, stops, stops + 0.5), "factor_source": "your own test exposure"}
    if inputs.widest_f_number is not None:
        changes["f_number_min"] = _within(inputs.widest_f_number, 0.7, kit.f_number_max, "widest aperture", "")
    low = inputs.lowest_iso if inputs.lowest_iso is not None else kit.iso_min
    high = inputs.highest_iso if inputs.highest_iso is not None else kit.iso_max
    changes["iso_min"] = _within(low, 6, 1e6, "lowest ISO", "")
    changes["iso_max"] = _within(high, low, 1e7, "highest ISO", "")
    kit = replace(kit, **changes)
    return with_lens(kit, inputs.lens) if inputs.lens.strip() else kit


def conditions_of(inputs: Inputs) -> Conditions:
    """The day as entered. Raises BadValue."""
    distance = {}
    for name, metres in inputs.distance_m.items():
        if name not in CLASS_NAMES:
            raise BadValue(f"{name!r} is no class to give a distance to; one of {', '.join(CLASS_NAMES)}")
        distance[name] = metres
    if inputs.trees_m is not None:
        distance["tree"] = _within(inputs.trees_m, 0.3, 1e5, "distance of the trees", "m")
    heading = inputs.wind_from_deg
    return Conditions(
        wind_m_s=None if inputs.wind_m_s is None else _within(inputs.wind_m_s, 0.0, 60.0, "wind", "m/s"),
        gust_m_s=None if inputs.gust_m_s is None else _within(inputs.gust_m_s, 0.0, 90.0, "gusts", "m/s"),
        wind_from_deg=None if heading is None else _within(heading, 0.0, 360.0, "wind direction", "degrees"),
        sky_state=_one_of("sky", inputs.sky_state, SKIES),
        haze=_one_of("haze", inputs.haze, HAZES),
        temperature_c=(
            None if inputs.temperature_c is None else _within(inputs.temperature_c, -60, 60, "temperature", "°C")
        ),
        dew_point_c=inputs.dew_point_c,
        cloud_height_m=inputs.cloud_height_m,
        cloud_fist_s=(
            None if inputs.cloud_fist_s is None else _within(inputs.cloud_fist_s, 1, 7200, "cloud's crossing time", "s")
        ),
        distance_m=MappingProxyType(distance),
        focal_35mm_mm=(
            None if inputs.focal_35mm_mm is None else _within(inputs.focal_35mm_mm, 8, 2000, "focal length", "mm")
        ),
        water_kind=_one_of("water", inputs.water_kind, WATERS),
    )


def wishes_of(inputs: Inputs) -> Wishes:
    """What is asked of the exposure beyond the light."""
    return Wishes(
        focal_35mm_mm=inputs.focal_35mm_mm,
        nearest_m=inputs.nearest_m,
        hold_px=inputs.hold_px,
        noise_reduction=inputs.noise_reduction,
        light_minutes=inputs.light_minutes,
    )


def _one_of(name: str, word: str, allowed: tuple[str, ...]) -> Any:
    if word not in allowed:
        raise BadValue(f"{name} {word!r} is not known; one of {', '.join(allowed)}")
    return word


def _within(value: float, low: float, high: float, what: str, unit: str) -> float:
    if not (math.isfinite(value) and low <= value <= high):
        raise BadValue(
            f"{what} {value:g} {unit}".strip()
            + f" must lie between {low:g} and {high:g} {unit}".rstrip()
            + "; leave it out if unknown"
        )
    return float(value)
