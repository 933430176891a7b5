"""What a long frame really costs: the dark frame after it, how many fit the light, short ones instead, the battery."""

from __future__ import annotations

import math

from irpreview.core.light.sensor_noise import ISOS, sensor_of
from irpreview.records import Conditions, FrameCost, Kit, Light, Setting, ShortFrames, SunAndCloud

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
) -> FrameCost:
    """Minutes, frames that fit, several short frames instead, battery."""
    t = setting.shutter_s.likely
    whole_s = frame_seconds(t, noise_reduction)
    fits = None if light_minutes is None else math.floor(light_minutes * 60.0 / whole_s)
    low, high = battery_minutes
    cold = temperature_c < COLD_C
    if cold:
        low, high = low / 2.0, high / 2.0
    dark_s = t if noise_reduction and t >= DARK_FRAME_FROM_S else 0.0
    open_s = t + dark_s
    return FrameCost(
        shutter_s=t,
        seconds_per_frame=whole_s,
        dark_frame_s=dark_s,
        battery_minutes=(low, high),
        battery_frames=(max(1, int(low * 60.0 // open_s)), max(1, int(high * 60.0 // open_s))),
        cold=cold,
        light_minutes=light_minutes,
        frames_in_light=fits,
        short_frames=short_frames(kit, setting, temperature_c),
    )


def short_frames(kit: Kit, setting: Setting, temperature_c: float) -> ShortFrames | None:
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
    return ShortFrames(frames=count, iso=iso, shutter_s=each, snr=snr, snr_one_long=long_snr)


def sun_and_cloud_doubt(light: Light, conditions: Conditions, shutter_s: float) -> SunAndCloud | None:
    """What sun coming and going does to this frame; None when the sky is not broken."""
    state = conditions.sky_state if conditions.sky_state != "unknown" else light.sky_state
    if state != "broken":
        return None
    mean = math.log2(1.0 - BROKEN_COVER + BROKEN_COVER * 2.0**-SHADOW_STOPS)
    if shutter_s >= 3.0 * PASSING_S[1]:
        return SunAndCloud(shutter_s, "average_out", -mean)
    return SunAndCloud(shutter_s, "come_and_go" if shutter_s >= PASSING_S[0] else "wait", SHADOW_STOPS)
