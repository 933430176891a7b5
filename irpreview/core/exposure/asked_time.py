"""A shutter time is asked for: which ISO and aperture keep the exposure, or what stands in the way.

Takes the settings that were already found to expose the scene rightly and picks among those at the time asked for; so
the exposure holds by construction, within a sixth of a stop. Where the kit does not reach so long a time, or only at an
aperture that softens, it says which further grey filter would.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from irpreview.core.light.sensor_noise import CLEAN_SNR
from irpreview.records import Kit, Setting

NEAR_STOPS = 0.26
"""ISO and aperture come in thirds, so any time within reach is met this closely. [stops]"""
LIKED_F_NUMBER = 9.0
SOFT_FROM_F_NUMBER = 14.0


@dataclass(frozen=True, slots=True)
class GreyFilter:
    """A further grey filter in whole stops, and the setting that takes the asked time through it."""

    stops: int
    iso: float
    f_number: float
    shutter_s: float
    """What that setting takes exactly, within `NEAR_STOPS` of the time asked for. [s]"""


@dataclass(frozen=True, slots=True)
class AskedTime:
    """The answer to a time that was asked for."""

    shutter_s: float
    setting: Setting | None
    """At that time; None = out of the kit's reach in this light."""
    shortest: Setting
    longest: Setting
    off_stops: float
    """How far the time lies beyond what the kit reaches: above 0 too long, below 0 too short. [stops]"""
    grey_filter: GreyFilter | None = None
    """What would give the time at a good aperture and low ISO, where the kit alone does not."""


def setting_for_time(
    settings: Sequence[Setting], shutter_s: float, kit: Kit, liked_f_number: float = LIKED_F_NUMBER
) -> AskedTime:
    """settings: those of an `Exposure`, at least one. liked_f_number: the aperture that a grey filter should keep."""
    shortest = min(settings, key=lambda one: one.shutter_s.likely)
    longest = max(settings, key=lambda one: one.shutter_s.likely)
    off = beyond_reach_stops(shutter_s, shortest.shutter_s.likely, longest.shutter_s.likely)
    near = [one for one in settings if off == 0.0 and is_near(one.shutter_s.likely, shutter_s)]
    best = min(near, key=lambda one: _cost(one, kit, shutter_s), default=None)
    grey = None
    if off > 0.0 or (best is not None and best.f_number >= SOFT_FROM_F_NUMBER):
        grey = _grey_filter(settings, shutter_s, kit, liked_f_number)
    return AskedTime(shutter_s, best, shortest, longest, off, grey)


def beyond_reach_stops(shutter_s: float, shortest_s: float, longest_s: float) -> float:
    """How far a time lies beyond the longest (above 0) or shortest (below 0) there is, else 0. [stops]"""
    over, under = math.log2(shutter_s / longest_s), math.log2(shutter_s / shortest_s)
    return over if over > NEAR_STOPS else under if under < -NEAR_STOPS else 0.0


def is_near(found_s: float, asked_s: float) -> bool:
    """Whether a setting's time serves for the one asked for."""
    return abs(math.log2(found_s / asked_s)) <= NEAR_STOPS


def cost_of(iso_snr: float, f_number: float, widest_f_number: float, found_s: float, asked_s: float) -> float:
    """What a setting asks one to put up with, by the weights of the recommended one. iso_snr: of mid grey there."""
    noise = 0.8 * max(0.0, math.log2(CLEAN_SNR / max(iso_snr, 1e-3)))
    depth = 0.5 * abs(2.0 * math.log2(f_number / LIKED_F_NUMBER))
    wide = 0.7 * max(0.0, 2.0 - 2.0 * math.log2(f_number / widest_f_number))
    soft = 2.0 * max(0.0, 2.0 * math.log2(f_number / SOFT_FROM_F_NUMBER))
    return noise + depth + wide + soft + 0.5 * abs(math.log2(found_s / asked_s))


def whole_filters(base_s: float, asked_s: float) -> tuple[int, ...]:
    """The grey filters in whole stops to try, from what the time takes without one: the nearest, then the stronger."""
    stops = math.log2(asked_s / base_s)
    return max(1, math.floor(stops + 0.5)), max(1, math.ceil(stops))


def _cost(one: Setting, kit: Kit, asked_s: float, through_stops: int = 0) -> float:
    found_s = one.shutter_s.likely * 2.0**through_stops
    return cost_of(one.snr or CLEAN_SNR, one.f_number, kit.f_number_min, found_s, asked_s)


def _grey_filter(settings: Sequence[Setting], asked_s: float, kit: Kit, liked_f_number: float) -> GreyFilter | None:
    any_one = settings[0]
    base_s = any_one.shutter_s.likely * (liked_f_number / any_one.f_number) ** 2 * any_one.iso / kit.iso_min
    for stops in whole_filters(base_s, asked_s):
        near = [one for one in settings if is_near(one.shutter_s.likely * 2.0**stops, asked_s)]
        if near:
            best = min(near, key=lambda one: _cost(one, kit, asked_s, stops))
            return GreyFilter(stops, best.iso, best.f_number, best.shutter_s.likely * 2.0**stops)
    return None
