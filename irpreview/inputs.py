"""What a photographer enters about kit, place and day, and how it is read. Empty or "unknown" is a fine answer."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from irpreview.core.light import light_plan
from irpreview.errors import BadValue
from irpreview.records import DEFAULT_GRADE, Conditions, Kit, Light, Photo, Place, Range, SkyState, WaterKind

NOT_KNOWN = ("", "unknown", "?", "-")


@dataclass(frozen=True, slots=True)
class Inputs:
    """What the photographer entered; None or "unknown" = not known. Texts are kept as typed."""

    kit: str = "unmodified-720"
    factor_stops: float | None = None
    focal_35mm_mm: float | None = None
    widest_f_number: float | None = None
    lowest_iso: float | None = None
    highest_iso: float | None = None
    place: str = ""
    when: str = ""
    zone: str = ""
    heading_deg: float | None = None
    sky_state: SkyState = "unknown"
    haze: str = "unknown"
    temperature_c: float | None = None
    wind_from_deg: float | None = None
    cloud_fist_s: float | None = None
    trees_m: float | None = None
    nearest_m: float | None = None
    water_kind: WaterKind = "unknown"
    grade: float = DEFAULT_GRADE
    wind_m_s: float | None = None
    shutter_s: float | None = None
    """None = the recommended time."""


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
    from irpreview.io.kits import load_kit

    kit = load_kit(inputs.kit)
    changes: dict[str, Any] = {}
    if inputs.factor_stops is not None:
        stops = _within(inputs.factor_stops, 0.0, 24.0, "filter factor", "stops")
        changes |= {"factor_stops": Range(stops - 0.5, stops, stops + 0.5), "factor_source": "your own test frame"}
    if inputs.widest_f_number is not None:
        changes["f_number_min"] = _within(inputs.widest_f_number, 0.7, kit.f_number_max, "widest aperture", "")
    low = inputs.lowest_iso if inputs.lowest_iso is not None else kit.iso_min
    high = inputs.highest_iso if inputs.highest_iso is not None else kit.iso_max
    changes["iso_min"] = _within(low, 6, 1e6, "lowest ISO", "")
    changes["iso_max"] = _within(high, low, 1e7, "highest ISO", "")
    return replace(kit, **changes)


def conditions_of(inputs: Inputs) -> Conditions:
    """The day as entered. Raises BadValue."""
    distance = {}
    if inputs.trees_m is not None:
        distance["tree"] = _within(inputs.trees_m, 0.3, 1e5, "distance of the trees", "m")
    heading = inputs.wind_from_deg
    return Conditions(
        wind_m_s=None if inputs.wind_m_s is None else _within(inputs.wind_m_s, 0.0, 60.0, "wind", "m/s"),
        wind_from_deg=None if heading is None else _within(heading, 0.0, 360.0, "wind direction", "degrees"),
        sky_state=inputs.sky_state,
        haze=inputs.haze,  # type: ignore[arg-type]
        temperature_c=(
            None if inputs.temperature_c is None else _within(inputs.temperature_c, -60, 60, "temperature", "°C")
        ),
        cloud_fist_s=(
            None if inputs.cloud_fist_s is None else _within(inputs.cloud_fist_s, 1, 7200, "cloud's crossing time", "s")
        ),
        distance_m=distance,
        focal_35mm_mm=(
            None if inputs.focal_35mm_mm is None else _within(inputs.focal_35mm_mm, 8, 2000, "focal length", "mm")
        ),
        water_kind=inputs.water_kind,
    )


def _within(value: float, low: float, high: float, what: str, unit: str) -> float:
    if not (math.isfinite(value) and low <= value <= high):
        raise BadValue(
            f"{what} {value:g} {unit}".strip() + f" must lie between {low:g} and {high:g}; leave it empty if unknown"
        )
    return float(value)


def light_now(photo: Photo, inputs: Inputs) -> tuple[Light, Photo]:
    """The light by what was typed, else by the snap, and the snap with its corrected facts. Raises BadValue."""
    from irpreview.core.light.daylight import light_for

    place = parse_place(inputs.place) or photo.place
    when = parse_when(inputs.when, inputs.zone) or photo.taken_at
    heading = photo.heading_deg
    if inputs.heading_deg is not None:
        heading = _within(inputs.heading_deg, 0.0, 360.0, "bearing of the view", "degrees")
    photo = replace(photo, place=place, taken_at=when, heading_deg=heading)
    sky: SkyState = "clear" if inputs.sky_state == "unknown" else inputs.sky_state
    if place is not None and when is not None:
        return light_for(place, when, heading, inputs.haze, sky), photo
    return Light(sky_state=sky), photo
