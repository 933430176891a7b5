"""What a long frame really costs: the dark frame after it, how many fit the light, short ones instead, the battery."""

from __future__ import annotations

import math
from collections.abc import Mapping

from irpreview.core.light.sensor_noise import ISOS, noise_word, sensor_of
from irpreview.core.units import shutter_text
from irpreview.records import Conditions, Kit, Light, Setting

DARK_FRAME_FROM_S = 1.0
"""Cameras take the dark frame after exposures of a second or more (common practice, no source)."""
TIMED_SLACK = 1.19
"""A time up to a quarter stop beyond the camera's longest is taken at the longest."""
HANDLING_S = 8.0
"""Looking at the frame and starting the next (assumed)."""
COLD_C = 5.0
BROKEN_COVER = 0.5
"""Share of the time that broken cloud hides the sun (5-7 eighths would hide more; assumed)."""
SHADOW_STOPS = 2.0
"""Light lost while a cloud covers the sun, in the infrared band (assumed)."""
PASSING_S = (30.0, 180.0)
"""How long a fair-weather cloud takes to pass the sun (assumed)."""


def frame_seconds(shutter_s: float, noise_reduction: bool) -> float:
    """From pressing to the next press [s]: exposure, dark frame of equal length when it is on, handling."""
    dark = shutter_s if noise_reduction and shutter_s >= DARK_FRAME_FROM_S else 0.0
    return shutter_s + dark + HANDLING_S


def frame_cost(
    kit: Kit,
    setting: Setting,
    temperature_c: float,
    noise_reduction: bool,
    light_minutes: float | None,
    battery_minutes: tuple[float, float],
) -> Mapping[str, object]:
    """Minutes, frames that fit, several short frames instead, battery; keys are stable."""
    t = setting.shutter_s.likely
    whole_s = frame_seconds(t, noise_reduction)
    fits = None if light_minutes is None else math.floor(light_minutes * 60.0 / whole_s)
    says = [_words(t, whole_s, noise_reduction)]
    if fits is not None:
        says.append(_fits_words(fits, light_minutes or 0.0, whole_s, t, noise_reduction))
    short = short_frames(kit, setting, temperature_c)
    if short is not None:
        says.append(str(short["says"]))
    low, high = battery_minutes
    if temperature_c < COLD_C:
        low, high = low / 2.0, high / 2.0
    open_s = t * (2.0 if noise_reduction and t >= DARK_FRAME_FROM_S else 1.0)
    frames = (max(1, int(low * 60.0 // open_s)), max(1, int(high * 60.0 // open_s)))
    if open_s >= 10.0:
        cold = ", halved for the cold" if temperature_c < COLD_C else ""
        says.append(
            f"a full battery lasts {low:.0f} to {high:.0f} min of open shutter{cold} (assumed): "
            f"{frames[0]} to {frames[1]} such frames"
        )
    return {
        "seconds_per_frame": round(whole_s, 1),
        "minutes_per_frame": round(whole_s / 60.0, 2),
        "dark_frame_s": round(t, 1) if noise_reduction and t >= DARK_FRAME_FROM_S else 0.0,
        "light_minutes": light_minutes,
        "frames_in_light": fits,
        "short_frames": short,
        "battery_frames": frames,
        "says": tuple(says),
    }


def _words(t: float, whole_s: float, noise_reduction: bool) -> str:
    if noise_reduction and t >= DARK_FRAME_FROM_S:
        return (
            f"one frame takes {shutter_text(whole_s)}: {shutter_text(t)} open, as long again for the dark frame of the "
            "camera's noise reduction, and handling"
        )
    return f"one frame takes {shutter_text(whole_s)}: {shutter_text(t)} open, and handling"


def _fits_words(fits: int, light_minutes: float, whole_s: float, t: float, noise_reduction: bool) -> str:
    if fits >= 1:
        return f"{fits} frame{'s' if fits > 1 else ''} fit into {light_minutes:g} min of light"
    if noise_reduction and t <= light_minutes * 60.0:
        return f"one frame fits into {light_minutes:g} min of light, its dark frame runs on after it"
    return f"no frame fits into {light_minutes:g} min of light: it takes {shutter_text(whole_s)}"


def short_frames(kit: Kit, setting: Setting, temperature_c: float) -> Mapping[str, object] | None:
    """Several frames at a higher ISO, averaged, that gather the same light; None where one frame is short anyway.

    The sum moves as much as the one long frame would; what is gained is that one gust, lamp or bird spoils a part
    only, and what is lost is a little more read noise.
    """
    t = setting.shutter_s.likely
    if t <= kit.longest_timed_s * TIMED_SLACK:
        return None
    count = math.ceil(t / kit.longest_timed_s - 1e-9)
    each = t / count
    iso = min(min(ISOS, key=lambda step: abs(math.log(step / (setting.iso * count)))), kit.iso_max)
    # A frame at ISO x n for t / n is exposed like the long one at ISO x 1; the average of n gathers the same electrons.
    sensor = sensor_of(kit)
    snr = sensor.snr(setting.iso * count, each, temperature_c, frames=count)
    long_snr = sensor.snr(setting.iso, t, temperature_c)
    return {
        "frames": count,
        "iso": iso,
        "shutter_s": round(each, 2),
        "shutter_text": shutter_text(each),
        "snr": round(snr, 1),
        "snr_one_long": round(long_snr, 1),
        "says": (
            f"or {count} frames of {shutter_text(each)} at ISO {iso:g}, averaged: mid grey {snr:.0f} to 1 "
            f"({noise_word(snr)}) against {long_snr:.0f} to 1, and no bulb; what moves is smeared as in one long frame"
        ),
    }


def sun_and_cloud_doubt(light: Light, conditions: Conditions, shutter_s: float) -> str | None:
    """What sun coming and going does to this frame; None when the sky is not broken."""
    state = conditions.sky_state if conditions.sky_state != "unknown" else light.sky_state
    if state != "broken":
        return None
    mean = math.log2(1.0 - BROKEN_COVER + BROKEN_COVER * 2.0**-SHADOW_STOPS)
    if shutter_s >= 3.0 * PASSING_S[1]:
        return (
            f"sun and cloud will average out over {shutter_text(shutter_s)}: about {-mean:.1f} stops darker than in "
            "steady sun"
        )
    if shutter_s >= PASSING_S[0]:
        return (
            f"the sun may go in and out during {shutter_text(shutter_s)}: anything up to {SHADOW_STOPS:g} stops "
            "darker; start as the sun comes out and count how long it stays"
        )
    return f"wait for the sun to stand clear of the clouds: in their shadow it is about {SHADOW_STOPS:g} stops darker"
