"""The factor of a kit from two frames of one scene, one without and one with the filter; or from typed exposures.

    factor of a surface s = log2( (Y_plain / H_plain) / (Y_filtered / H_filtered) ),   H = t ISO / (100 N^2)
    factor of grey        = factor of s + class factor of s (infrared over visible, white = 0)      [stops]

so what filled the frames drops out. Frames are linearised within a family of camera curves, laid over each other and
compared in small patches, channel by channel: behind the filter nearly all light is in the red channel.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from irpreview.core.exposure.frame_pairs import (
    CAMERA_CURVES,
    DARK_LINEAR,
    LEAST_PATCHES,
    Frame,
    brightness,
    check_levels,
    exposure_of,
    frame_from_photo,
    same_size,
    usable_patches,
)
from irpreview.core.exposure.metering import TYPED_METER_STOPS, TypedExposure, check_ev100
from irpreview.core.exposure.test_exposures import BY_EYE_STOPS
from irpreview.core.imaging.registration import SAME_SCENE, Registration, align
from irpreview.errors import BadPair
from irpreview.records import CalibrationDoubt, CalibrationDoubtKind, FloatArray, Kit, Photo, Range

JPEG_GAIN_DOUBT_STOPS = 0.2
CUSTOM_BALANCE_DOUBT_STOPS = 0.6
LIGHT_CHANGE_STOPS_PER_MINUTE = 0.02
LONGEST_APART_MINUTES = 90.0

NEUTRAL_FACTOR = Range(-0.2, 0.15, 0.7)
FOLIAGE_FACTOR = Range(2.2, 2.8, 3.4)
"""Class factors by colour alone, 720 nm: grey stone, concrete, asphalt; green leaves and grass. [stops]"""


@dataclass(frozen=True, slots=True)
class Calibration:
    """What two frames, or two typed exposures, tell about a kit."""

    factor_stops: Range
    channel_stops: Mapping[str, float] = field(default_factory=lambda: MappingProxyType({}))
    """Red, green, blue on their own, same surfaces, of grey. [stops]"""
    clips_first: str | None = None
    clips_in_stops: float | None = None
    """How much longer the filtered frame could be before that channel clips. [stops]"""
    surfaces: Mapping[str, Mapping[str, float]] = field(default_factory=lambda: MappingProxyType({}))
    """Kind of surface -> patches, factor_stops of grey, spread_stops."""
    likeness: float | None = None
    usable_share: float | None = None
    patches: int = 0
    """Even patches that it rests on."""
    shift_share: float = 0.0
    """How far apart the frames lay, share of the width."""
    curves_apart_stops: float | None = None
    """How much the camera curves that were tried differ; None = the curve is known."""
    typed: tuple[str, str] | None = None
    """The settings without and with the filter, where they were typed."""
    doubts: tuple[CalibrationDoubt, ...] = ()

    def applied_to(self, kit: Kit, source: str) -> Kit:
        """The kit with this factor in place of the default of its class."""
        return replace(kit, factor_stops=self.factor_stops, factor_source=source)


# --- two frames -----------------------------------------------------------------------------------------------------


def calibrate_photos(
    plain: Photo,
    filtered: Photo,
    class_factors: Mapping[str, Range] | None = None,
    label: NDArray[np.uint8] | None = None,
) -> Calibration:
    """Two finished pictures (JPEG and the like): every camera curve of the family is tried.

    class_factors: infrared over visible per class, white = 0 [stops], for this kit and light; label (H, W) class ids
    of the plain frame. Raises BadPair with the reason when the frames cannot tell.
    """
    answers: list[Calibration] = []
    found: Registration | None = None
    for steepness in CAMERA_CURVES.values():
        pair = _Pair(frame_from_photo(plain, steepness), frame_from_photo(filtered, steepness), label)
        found = found or pair.alignment()
        answers.append(_calibrate(pair, found, class_factors))
    likely = sorted(a.factor_stops.likely for a in answers)
    middle = 0.5 * (likely[1] + likely[2])
    chosen = min(answers, key=lambda a: abs(a.factor_stops.likely - middle))
    below = max(a.factor_stops.likely - a.factor_stops.low for a in answers)
    above = max(a.factor_stops.high - a.factor_stops.likely for a in answers)
    whole = Range(
        middle - math.hypot(below, middle - likely[0]), middle, middle + math.hypot(above, likely[-1] - middle)
    )
    return replace(chosen, factor_stops=whole, curves_apart_stops=likely[-1] - likely[0])


def calibrate_frames(
    plain: Frame,
    filtered: Frame,
    class_factors: Mapping[str, Range] | None = None,
    label: NDArray[np.uint8] | None = None,
) -> Calibration:
    """Two linear frames. Raises BadPair when one has no exposure data, is clipped, too dark, or another scene."""
    pair = _Pair(plain, filtered, label)
    return _calibrate(pair, pair.alignment(), class_factors)


class _Pair:
    """Two checked frames at one working size."""

    def __init__(self, plain: Frame, filtered: Frame, label: NDArray[np.uint8] | None) -> None:
        self.plain, self.filtered = plain, filtered
        self.light = exposure_of(plain), exposure_of(filtered)
        check_levels(plain, filtered)
        self.small = same_size(plain, filtered, label)

    def alignment(self) -> Registration:
        """Where the filtered frame lies. Raises BadPair when it shows another scene."""
        found = align(brightness(self.small[0]), brightness(self.small[1]))
        if found.bite < SAME_SCENE:
            raise BadPair(
                f"{self.plain.name} and {self.filtered.name} do not show the same scene: their edges agree "
                f"to {found.bite:.2f}, at least {SAME_SCENE:.2f} is needed; use two frames from one unmoved tripod"
            )
        return found


def _calibrate(pair: _Pair, found: Registration, class_factors: Mapping[str, Range] | None) -> Calibration:
    plain, filtered, light = pair.plain, pair.filtered, pair.light
    a, b, a_clipped, b_clipped, ids = pair.small
    tall, wide = a.shape[:2]
    moved = found.lay_over(b, tall, wide)
    moved_clipped = found.lay_over(b_clipped.astype(np.float32), tall, wide)
    patches = usable_patches(a, moved, a_clipped, moved_clipped, ids, plain.raw, filtered.raw)
    plain_y, red, sensor_mean, channels, kind, usable_share = patches
    if plain_y.size < LEAST_PATCHES:
        raise BadPair(_why_too_few(plain_y.size, usable_share, a, moved, a_clipped, moved_clipped, plain, filtered))
    signal, lead_doubt, doubts = _filtered_signal(red, sensor_mean, channels, filtered)
    per_patch = np.log2(plain_y / light[0]) - np.log2(signal / light[1])
    factors = dict(class_factors or {})
    groups, whole = _combine(per_patch, kind, factors)
    extra = [lead_doubt]
    if plain.taken_at is not None and filtered.taken_at is not None:
        extra.append(_light_change(plain, filtered, doubts))
    # the gains of finished pictures are assumed, and exposure data are rounded to a sixth of a stop
    extra.append(0.1 if filtered.raw else JPEG_GAIN_DOUBT_STOPS)
    spread = math.sqrt(sum(e * e for e in extra))
    answer = Range(
        whole.likely - math.hypot(whole.likely - whole.low, spread),
        whole.likely,
        whole.likely + math.hypot(whole.high - whole.likely, spread),
    )
    clips, headroom = _clips_first(filtered)
    offset = whole.likely - float(np.median(per_patch))
    channel_stops = {
        name: round(
            float(np.median(np.log2(np.maximum(plain_y, 1e-9) / light[0]) - np.log2(np.maximum(c, 1e-9) / light[1])))
            + offset,
            2,
        )
        for name, c in zip(("red", "green", "blue"), channels, strict=True)
        if float(np.median(c)) > DARK_LINEAR[filtered.raw]
    }
    return Calibration(
        factor_stops=answer,
        channel_stops=MappingProxyType(channel_stops),
        clips_first=clips,
        clips_in_stops=round(headroom, 2),
        surfaces=MappingProxyType(groups),
        likeness=round(found.likeness, 3),
        usable_share=round(usable_share, 3),
        patches=int(plain_y.size),
        shift_share=found.shift_share,
        doubts=tuple(doubts),
    )


def _filtered_signal(
    red: NDArray[np.float64], total: NDArray[np.float64], channels: NDArray[np.float64], filtered: Frame
) -> tuple[NDArray[np.float64], float, list[CalibrationDoubt]]:
    """What the sensor's mean pixel saw, its doubt [stops] and why: gains undone, crushed channels replaced."""
    doubts: list[CalibrationDoubt] = []
    gains = np.array(filtered.gains)
    sensor = channels / gains[:, None]
    mean = (sensor[0] + 2.0 * sensor[1] + sensor[2]) / 4.0
    weak = float(np.median(np.maximum(channels[1], channels[2]))) < 0.04 * float(np.median(red))
    if weak and not filtered.raw:
        # green and blue of the sensor were lost in the picture's colour conversion; red leads the mean by 0.5-1.3 stops
        doubts.append(CalibrationDoubt(CalibrationDoubtKind.RED_ONLY))
        return sensor[0] * 2.0**-0.9, 0.4, doubts
    ratio = float(np.median(red) / max(float(np.median(channels[1])), 1e-9))
    if not filtered.raw and ratio < 1.5:
        doubts.append(CalibrationDoubt(CalibrationDoubtKind.CUSTOM_BALANCE))
        # red leads the sensor's mean pixel by about a stop; cameras leave either red or green unamplified
        return total / 3.0 * 2.0**-0.5, CUSTOM_BALANCE_DOUBT_STOPS, doubts
    return mean, 0.0, doubts


def _combine(
    per_patch: NDArray[np.float64], kind: NDArray[np.str_], class_factors: Mapping[str, Range]
) -> tuple[dict[str, Mapping[str, float]], Range]:
    """Grey's factor from every kind of surface, weighted by how sure each is."""
    by_colour = {"neutral": NEUTRAL_FACTOR, "foliage": FOLIAGE_FACTOR}
    groups: dict[str, Mapping[str, float]] = {}
    estimates: list[tuple[float, float, float]] = []
    for name in sorted(set(kind.tolist())):
        values = per_patch[kind == name]
        lift = class_factors.get(name) or by_colour.get(name)
        if lift is None or values.size < 4:
            continue
        middle = float(np.median(values))
        scatter = float(np.quantile(values, 0.84) - np.quantile(values, 0.16)) / 2.0
        # neighbouring patches share their surface: count a dozen of them as one
        own = scatter / math.sqrt(max(1.0, values.size / 12.0))
        below = math.hypot(1.645 * own, lift.likely - lift.low)
        above = math.hypot(1.645 * own, lift.high - lift.likely)
        estimates.append((middle + lift.likely, max(below, 0.05), max(above, 0.05)))
        groups[name] = MappingProxyType(
            {
                "patches": float(values.size),
                "factor_stops": round(middle + lift.likely, 2),
                "spread_stops": round(scatter, 2),
            }
        )
    if not estimates:
        raise BadPair(
            "no surface in the frames has a known infrared brightness: none is neutral grey or green; put a grey card, "
            "stone or lawn in the frame"
        )
    weight = np.array([1.0 / ((b + a) / 2.0) ** 2 for _, b, a in estimates])
    weight /= weight.sum()
    likely = float(sum(w * e[0] for w, e in zip(weight, estimates, strict=True)))
    below = math.sqrt(sum((w * e[1]) ** 2 for w, e in zip(weight, estimates, strict=True)))
    above = math.sqrt(sum((w * e[2]) ** 2 for w, e in zip(weight, estimates, strict=True)))
    apart = float(sum(w * abs(e[0] - likely) for w, e in zip(weight, estimates, strict=True)))
    return groups, Range(likely - math.hypot(below, apart), likely, likely + math.hypot(above, apart))


def _light_change(plain: Frame, filtered: Frame, doubts: list[CalibrationDoubt]) -> float:
    assert plain.taken_at is not None
    assert filtered.taken_at is not None
    try:
        minutes = abs((filtered.taken_at - plain.taken_at).total_seconds()) / 60.0
    except TypeError:  # one time is aware, the other naive
        return 0.0
    if minutes > LONGEST_APART_MINUTES:
        raise BadPair(
            f"{plain.name} and {filtered.name} were taken {minutes:.0f} min apart, at most "
            f"{LONGEST_APART_MINUTES:.0f} min can be used; take both within a few minutes in steady light"
        )
    if minutes > 10.0:
        doubts.append(CalibrationDoubt(CalibrationDoubtKind.MINUTES_APART, minutes))
    return LIGHT_CHANGE_STOPS_PER_MINUTE * minutes


def _clips_first(filtered: Frame) -> tuple[str, float]:
    """The channel nearest to its ceiling and how far it is [stops]."""
    top = np.quantile(filtered.linear[::2, ::2].reshape(-1, 3), 0.995, axis=0)
    worst = int(top.argmax())
    return ("red", "green", "blue")[worst], max(0.0, math.log2(1.0 / max(float(top[worst]), 1e-6)))


def _why_too_few(
    found: int,
    usable: float,
    plain: FloatArray,
    moved: FloatArray,
    plain_clipped: FloatArray,
    moved_clipped: FloatArray,
    plain_frame: Frame,
    filtered_frame: Frame,
) -> str:
    shares = {
        f"{filtered_frame.name} is clipped": float((np.nan_to_num(moved_clipped) > 0.02).any(axis=2).mean()),
        f"{plain_frame.name} is clipped": float((plain_clipped > 0.02).any(axis=2).mean()),
        f"{filtered_frame.name} is too dark": float(
            (np.nan_to_num(moved).max(axis=2) < DARK_LINEAR[filtered_frame.raw]).mean()
        ),
        f"{plain_frame.name} is too dark": float((plain.max(axis=2) < 2 * DARK_LINEAR[plain_frame.raw]).mean()),
    }
    reason, share = max(shares.items(), key=lambda item: item[1])
    if share > 0.3:
        return (
            f"{reason} in {share:.0%} of the picture: {found} patches are left, {LEAST_PATCHES} are needed; "
            "take that frame again with its histogram in the middle"
        )
    return (
        f"only {found} even patches of grey or green surfaces were found, {LEAST_PATCHES} are needed "
        f"({usable:.0%} of the picture is well exposed); put stone, a grey card or lawn in the frame"
    )


# --- typed ----------------------------------------------------------------------------------------------------------


def calibrate_typed(
    meter: TypedExposure | float,
    filtered: TypedExposure,
    too_dark_stops: float = 0.0,
    placement_stops: float = 0.0,
) -> Calibration:
    """Factor from what was typed: the meter's setting without filter and the one that looked right with it.

    meter: a setting, or an exposure value [EV at ISO 100]. What `filtered` leaves out is taken from the meter's
    setting. too_dark_stops: how much more light the filtered frame still needed. placement_stops: how much more than
    grey on zone V was meant, as the plan said. Raises BadPair when time, aperture or ISO are missing from both.
    """
    if isinstance(meter, TypedExposure):
        right, before, metered = filtered.filled_from(meter), meter.ev100, meter.words
    else:
        right, before, metered = filtered, check_ev100(meter), f"EV {meter:g}"
    after = right.ev100
    if before is None:
        raise BadPair(f"the meter's setting ({metered}) is not whole; write it like 1/125 f/10 ISO 64")
    if after is None or filtered.shutter_s is None:
        raise BadPair(
            f"the filtered setting ({right.words}) lacks time, aperture or ISO; write it like 30 s f/10 ISO 500"
        )
    likely = before - after + too_dark_stops - placement_stops
    if not -2.0 <= likely <= 24.0:
        raise BadPair(
            f"{metered} without and {right.words} with the filter make {likely:.1f} stops; a filter costs -2 to 24 "
            "stops: check which is which"
        )
    half = math.hypot(TYPED_METER_STOPS, BY_EYE_STOPS + 0.15 * abs(too_dark_stops))
    answer = Range(likely - half, likely, likely + half)
    return Calibration(
        factor_stops=answer,
        typed=(metered, right.words),
        doubts=(CalibrationDoubt(CalibrationDoubtKind.BY_EYE),),
    )
