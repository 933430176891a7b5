"""A shutter time is asked for: which ISO and aperture keep the exposure, or what stands in the way.

Takes the settings that were already found to expose the scene rightly and picks among those at the time asked for; so
the exposure holds by construction, within a sixth of a stop.
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
class AskedTime:
    """The answer to a time that was asked for."""

    shutter_s: float
    setting: Setting | None
    """At that time; None = out of the kit's reach in this light."""
    shortest: Setting
    longest: Setting
    off_stops: float
    """How far the time lies beyond what the kit reaches: above 0 too long, below 0 too short. [stops]"""


def setting_for_time(settings: Sequence[Setting], shutter_s: float, kit: Kit) -> AskedTime:
    """settings: those of an `Exposure`, at least one."""
    shortest = min(settings, key=lambda one: one.shutter_s.likely)
    longest = max(settings, key=lambda one: one.shutter_s.likely)
    over = math.log2(shutter_s / longest.shutter_s.likely)
    under = math.log2(shutter_s / shortest.shutter_s.likely)
    off = over if over > NEAR_STOPS else under if under < -NEAR_STOPS else 0.0
    near = [one for one in settings if abs(math.log2(one.shutter_s.likely / shutter_s)) <= NEAR_STOPS]
    best = min(near, key=lambda one: _cost(one, kit, shutter_s)) if near and off == 0.0 else None
    return AskedTime(shutter_s, best, shortest, longest, off)


def _cost(one: Setting, kit: Kit, shutter_s: float) -> float:
    """What the setting asks one to put up with, by the weights of the recommended one."""
    f_number = one.f_number
    noise = 0.8 * max(0.0, math.log2(CLEAN_SNR / max(one.snr or CLEAN_SNR, 1e-3)))
    depth = 0.5 * abs(2.0 * math.log2(f_number / LIKED_F_NUMBER))
    wide = 0.7 * max(0.0, 2.0 - 2.0 * math.log2(f_number / kit.f_number_min))
    soft = 2.0 * max(0.0, 2.0 * math.log2(f_number / SOFT_FROM_F_NUMBER))
    return noise + depth + wide + soft + 0.5 * abs(math.log2(one.shutter_s.likely / shutter_s))
