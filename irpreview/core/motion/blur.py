"""Movement at a shutter time: what each moving class becomes, how long it holds, when it flows, and what to warn of.

Rates of motion (no shutter in them) come from `motion_rates`; this turns them into blur: pixels of the snap, share of
the picture's height, millimetres on a 30 x 40 cm print.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from types import MappingProxyType
from typing import Literal

from irpreview.core.imaging.picture_geometry import print_mm_per_px
from irpreview.core.light.sensor_noise import noise_word, sensor_of
from irpreview.core.motion.class_rates import ClassRate
from irpreview.core.motion.print_blur import CAUTION, SHARP_MM, blur_word
from irpreview.core.motion.rates import Rates, in_snap_framing, rates_of_motion
from irpreview.core.motion.sway import longest_holding_s, together
from irpreview.core.motion.water_motion import water_word
from irpreview.errors import BadValue
from irpreview.records import (
    ClassMovement,
    ClassMoves,
    Gale,
    GustLikely,
    Kit,
    Movement,
    MovementNote,
    Moving,
    Range,
    TripodShakes,
    WaterMovement,
)

__all__ = [
    "HoldingSetting",
    "Rates",
    "holding_settings",
    "in_snap_framing",
    "movement_at",
    "rates_of_motion",
]

GALE_M_S = 17.2
"""Beaufort 8: twigs break off."""


def movement_at(rates: Rates, shutter_s: float, *, with_limits: bool = True) -> Movement:
    """What a shutter time [s] makes of everything that moves. Raises BadValue unless it lies in 0..86400 s.

    with_limits: False leaves out how long each class holds, for a search over many frames.
    """
    if not (math.isfinite(shutter_s) and 0.0 < shutter_s <= 86400.0):
        raise BadValue(f"shutter time {shutter_s:g} s cannot be used: above 0 and at most 86400 s; give seconds")
    classes = {name: _class_movement(rate, rates, shutter_s, with_limits) for name, rate in rates.classes.items()}
    tripod = _class_movement(rates.tripod, rates, shutter_s)
    water = None
    if rates.water_period_s is not None:
        p = rates.water_period_s
        periods = Range(shutter_s / p.high, shutter_s / p.likely, shutter_s / p.low)
        water = WaterMovement(periods, water_word(periods.likely))
    return Movement(
        shutter_s=shutter_s,
        classes=MappingProxyType(classes),
        tripod=tripod,
        clouds=rates.clouds,
        water=water,
        notes=_notes(rates, classes, tripod, water, shutter_s),
    )


def _class_movement(rate: ClassRate, rates: Rates, shutter_s: float, with_limits: bool = True) -> ClassMovement:
    blur = rate.blur_px(shutter_s)
    height, width = rates.size
    per_px = print_mm_per_px(width, height)
    holds_until_s, sharp_until_s = (
        _limits(rate, rates.hold_limit_px, SHARP_MM / per_px) if with_limits else (None, None)
    )
    parts = {
        part.name: Range(*(part.extent_px(shutter_s, which) for which in ("low", "likely", "high")))
        for part in rate.parts
    }
    return ClassMovement(
        blur_px=blur,
        share_of_height=_times(blur, 1.0 / height),
        print_mm=_times(blur, per_px),
        holds_until_s=holds_until_s,
        sharp_until_s=sharp_until_s,
        flows_from_s=rate.flows_from_s if rate.moves() else None,
        parts=MappingProxyType(parts),
        known=rate.known,
        core_px=blur.likely,
        halo_px=max(blur.likely, together([part.halo_px(shutter_s) for part in rate.parts])),
        direction_deg=rate.direction_deg,
    )


@lru_cache(maxsize=512)
def _limits(rate: ClassRate, hold_px: float, sharp_px: float) -> tuple[Range | None, float | None]:
    """How long a class holds and how long it is sharp [s]: the same at every shutter time, and slow to find."""
    return rate.holds_until_s(hold_px), _sharp_until_s(rate, sharp_px)


def _sharp_until_s(rate: ClassRate, sharp_px: float) -> float | None:
    """Longest exposure [s] that `print_blur` calls sharp; None where nothing moves."""
    if not rate.moves():
        return None

    def felt_px(shutter_s: float) -> float:
        return max(rate.extent_px(shutter_s, "likely"), rate.extent_px(shutter_s, "high") / CAUTION)

    return longest_holding_s(felt_px, sharp_px)


def _times(value: Range, factor: float) -> Range:
    return Range(value.low * factor, value.likely * factor, value.high * factor)


def _notes(
    rates: Rates,
    classes: dict[str, ClassMovement],
    tripod: ClassMovement,
    water: WaterMovement | None,
    shutter_s: float,
) -> tuple[MovementNote, ...]:
    """What is worth saying of the movement, plants first."""
    said: list[MovementNote] = []
    wind = rates.wind_m_s
    for name in ("tree", "grass"):
        if name in classes and blur_word(classes[name].print_mm) != "sharp":
            move = classes[name]
            said.append(ClassMoves(name, move.known.moving, shutter_s, move, move.print_mm.likely > SHARP_MM))
    if "cloud" in classes and rates.clouds is not None:
        move, drift = classes["cloud"], rates.clouds.deg_per_s
        look = _cloud_look(move, drift.likely * shutter_s, rates.hold_limit_px)
        said.append(ClassMoves("cloud", Moving.CLOUDS, shutter_s, move, drift_deg_per_s=drift, clouds=look))
    if water is not None and "water" in classes and rates.water_period_s is not None:
        move, period_s = classes["water"], rates.water_period_s.likely
        said.append(ClassMoves("water", move.known.moving, shutter_s, move, water=water, wave_period_s=period_s))
    if "other" in classes and classes["other"].print_mm.likely > SHARP_MM:
        move = classes["other"]
        said.append(ClassMoves("other", move.known.moving, shutter_s, move))
    if tripod.blur_px.high > rates.hold_limit_px:
        said.append(TripodShakes(tripod.print_mm, wind, tripod.blur_px.likely > rates.hold_limit_px))
    if max(wind.high, rates.gust_m_s) >= GALE_M_S:
        said.append(Gale(max(wind.high, rates.gust_m_s)))
    plants = "tree" in classes or "grass" in classes
    if shutter_s > 10.0 and rates.gust_m_s > 1.2 * wind.likely and wind.likely >= 1.6 and plants:
        said.append(GustLikely(shutter_s, rates.gust_m_s, wind.likely))
    return tuple(said)


def _cloud_look(
    move: ClassMovement, swept_deg: float, hold_px: float
) -> Literal["still", "soft", "direction", "streaks", "veil"]:
    # common practice for how far a cloud has to travel, in widths of one cloud or gap of about five degrees
    widths = swept_deg / 5.0
    if move.blur_px.likely < hold_px:
        return "still"
    if widths < 0.3:
        return "soft"
    if widths < 1.0:
        return "direction"
    return "streaks" if widths < 3.0 else "veil"


@dataclass(frozen=True, slots=True)
class HoldingSetting:
    """An aperture and the ISO that reaches a shutter time with it, and the noise that costs."""

    f_number: float
    iso: float
    shutter_s: float
    snr: float
    noise: str
    reaches: bool
    """False: the kit's highest ISO falls short; `shutter_s` is then the shortest it gets."""


def holding_settings(
    kit: Kit, ev100: float, factor_stops: float, shutter_s: float, temperature_c: float = 20.0
) -> tuple[HoldingSetting, ...]:
    """Which ISO each full stop of aperture needs for this shutter through this filter, and the noise of a mid grey.

    t = N^2 (100 / ISO) 2^(F - EV100). ev100 without the filter [EV], factor_stops of neutral grey in the same light.
    """
    if not (math.isfinite(ev100) and math.isfinite(factor_stops)):
        raise BadValue(f"EV {ev100:g} or factor {factor_stops:g} stops is not a number; meter the scene first")
    found = []
    stops = [n for n in (1.4, 2.0, 2.8, 4.0, 5.6, 8.0, 11.0, 16.0, 22.0) if kit.f_number_min <= n <= kit.f_number_max]
    for n in stops or [kit.f_number_min]:
        iso = n**2 * 100.0 * 2.0 ** (factor_stops - ev100) / shutter_s
        used = min(max(iso, kit.iso_min), kit.iso_max)
        time = n**2 * (100.0 / used) * 2.0 ** (factor_stops - ev100)
        snr = sensor_of(kit).snr(used, time, temperature_c)
        found.append(HoldingSetting(n, used, time, snr, noise_word(snr), iso <= kit.iso_max * 1.0001))
    return tuple(found)
