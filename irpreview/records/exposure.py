"""What to set."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from types import MappingProxyType
from typing import Literal

from irpreview.records.caution import Caution
from irpreview.records.common import Doubt, Range

MeterName = Literal["meter", "snap", "sun"]


# ---- how the light was read ----------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class HandReading:
    """A meter reading typed by hand: a setting, or an exposure value alone."""

    ev100: float
    shutter_s: float | None = None
    f_number: float | None = None
    iso: float | None = None
    name: MeterName = field(default="meter", init=False)


@dataclass(frozen=True, slots=True)
class SnapReading:
    """The phone's own exposure."""

    ev100: float
    """As the phone metered."""
    above_grey_stops: float | None = None
    """How much brighter than grey what it metered is; None = taken as grey."""
    name: MeterName = field(default="snap", init=False)


@dataclass(frozen=True, slots=True)
class SunReading:
    """The sun model on level ground."""

    ev100: float
    sun_height_deg: float
    illuminance_lx: float
    name: MeterName = field(default="sun", init=False)


MeteredBy = HandReading | SnapReading | SunReading


# ---- one setting ---------------------------------------------------------------------------------------------------


class LimitKind(StrEnum):
    """What speaks against a setting."""

    MOVEMENT = "movement"
    TRIPOD = "tripod"
    DIFFRACTION = "diffraction"
    DEPTH = "depth"
    NOISE = "noise"
    BULB = "bulb"
    NO_BULB = "no_bulb"
    HOT_SPOT = "hot_spot"
    LIGHT_WINDOW = "light_window"


@dataclass(frozen=True, slots=True)
class Limit:
    """Where a setting oversteps what holds.

    `found` against `bound`: movement and tripod in pixels of the final picture; diffraction in um; depth and hot spot
    as f-numbers; noise as signal to noise; bulb and light in seconds.
    """

    kind: LimitKind
    found: float
    bound: float
    over_stops: float
    class_name: str | None = None
    """What moves."""


@dataclass(frozen=True, slots=True)
class Setting:
    """ISO, aperture and time with its range."""

    iso: float
    f_number: float
    shutter_s: Range
    shutter_text: str
    limits: tuple[Limit, ...] = ()
    snr: float | None = None
    minutes_per_frame: float | None = None


# ---- why this one --------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class NoiseReason:
    """Why this ISO: signal over noise in the mid grey."""

    iso: float
    snr: float


@dataclass(frozen=True, slots=True)
class ApertureReason:
    """Why this aperture: diffraction against the sharpness asked for."""

    f_number: float
    airy_um: float
    circle_um: float
    band_nm: float
    nearest_m: float | None = None
    needs_f_number: float | None = None
    """For the nearest thing to infinity."""


@dataclass(frozen=True, slots=True)
class TimeReason:
    """Why this time, and whether the release must be held."""

    shutter_s: float
    bulb: bool


@dataclass(frozen=True, slots=True)
class BlurReason:
    """What moves at this time."""

    shutter_s: float
    blur_px: Mapping[str, float]
    """Per class, pixels of the final picture."""
    hold_px: float


@dataclass(frozen=True, slots=True)
class RedFirst:
    """The red channel fills first."""


@dataclass(frozen=True, slots=True)
class FreezeReason:
    """Whether some setting freezes trees and plants: `setting` does, or comes nearest."""

    freezes: bool | None
    """None = the wind is not known."""
    iso: float
    f_number: float
    shutter_s: float
    blur_px: float | None
    hold_px: float


@dataclass(frozen=True, slots=True)
class StreakReason:
    """Whether some setting streaks the clouds, and the times that would."""

    streaks: bool
    iso: float
    f_number: float
    shutter_s: float
    low_s: float
    high_s: float
    drift_deg_per_s: float | None
    """None = not known, the usual times are taken."""


ExposureReason = NoiseReason | ApertureReason | TimeReason | BlurReason | RedFirst | FreezeReason | StreakReason


@dataclass(frozen=True, slots=True)
class Placement:
    """What goes on zone VII. Without a class, grey stays on zone V."""

    stops: float = 0.0
    class_name: str | None = None
    zone: float | None = None
    """Where it ends."""
    wanted_stops: float = 0.0
    """What zone VII itself would take."""
    picture_known: bool = True


# ---- test exposures, focus, cost -----------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class ExposureTest:
    """A short frame that stands for the long one: if it looks right, the factor is this and the long one takes that."""

    iso: float
    f_number: float
    shutter_s: float
    factor_stops: float
    long_iso: float
    long_f_number: float
    long_shutter_s: float


@dataclass(frozen=True, slots=True)
class FocusAdvice:
    """Where to focus, and from where to where it is sharp."""

    focal_mm: float
    f_number: float
    hyperfocal_m: float
    focus_at_m: float
    near_m: float
    far_m: float | None
    """None = infinity."""
    blur_circle_mm: float
    airy_um: float
    band_nm: float
    shift_mm: Range
    """Of the infrared focus."""
    shift_covered: Literal["yes", "likely", "no"]
    """By the depth of focus."""
    through_filter: bool
    """The camera focuses on the sensor."""
    needs_f_number: float | None = None
    """For the nearest thing to infinity."""
    nearest_m: float | None = None
    """The nearest thing to be sharp; None = not given."""


@dataclass(frozen=True, slots=True)
class ShortFrames:
    """Several frames in place of a long one, averaged."""

    frames: int
    iso: float
    shutter_s: float
    snr: float
    snr_one_long: float


@dataclass(frozen=True, slots=True)
class FrameCost:
    """What one frame of the recommended setting costs."""

    shutter_s: float
    seconds_per_frame: float
    dark_frame_s: float
    battery_minutes: tuple[float, float]
    """Of open shutter (assumed)."""
    battery_frames: tuple[int, int]
    cold: bool
    """The battery is counted at half."""
    light_minutes: float | None = None
    frames_in_light: int | None = None
    short_frames: ShortFrames | None = None

    @property
    def minutes_per_frame(self) -> float:
        """From one press of the release to the next [min]."""
        return self.seconds_per_frame / 60.0


# ---- doubts --------------------------------------------------------------------------------------------------------


class CalibrationDoubtKind(StrEnum):
    """What makes a measured filter factor less sure."""

    RED_ONLY = "red_only"
    """Green and blue of the filtered frame are crushed."""
    CUSTOM_BALANCE = "custom_balance"
    """The filtered frame was balanced to grey by gains that are not known."""
    MINUTES_APART = "minutes_apart"
    """value = between the frames [min]."""
    BY_EYE = "by_eye"
    """It was typed what looked right."""


@dataclass(frozen=True, slots=True)
class CalibrationDoubt(Doubt):
    """Why to doubt a measured filter factor."""

    kind: CalibrationDoubtKind
    value: float = 0.0


@dataclass(frozen=True, slots=True)
class ReadingsDisagree(Doubt):
    """Two readings of the light differ by more than their doubt."""

    used: MeterName
    other: MeterName
    used_ev100: float
    other_ev100: float


@dataclass(frozen=True, slots=True)
class SnapTagsDisagree(Doubt):
    """The snap's exposure and its brightness tag differ."""

    settings_ev100: float
    brightness_ev100: float


@dataclass(frozen=True, slots=True)
class SnapBlownOut(Doubt):
    """Too much of the snap is white to be a reading."""

    share: float


@dataclass(frozen=True, slots=True)
class SettingsLeftOut(Doubt):
    """Longer than an hour or shorter than 1/8000 s."""

    left_out: int
    of: int


@dataclass(frozen=True, slots=True)
class HotSpotUnknown(Doubt):
    """Whether the lens has a hot spot at this aperture is not known."""

    f_number: float


@dataclass(frozen=True, slots=True)
class ShutterUnknown(Doubt):
    """No exposure was planned, since there is none; `why` is the error's own line."""

    why: str


@dataclass(frozen=True, slots=True)
class MovementLeftOut(Doubt):
    """No wind and no clip."""


@dataclass(frozen=True, slots=True)
class TimeUnsure(Doubt):
    """The time could be so much shorter or longer that tests come first."""

    low_s: float
    high_s: float
    stops: float


@dataclass(frozen=True, slots=True)
class SunAndCloud(Doubt):
    """Sun coming and going under a broken sky."""

    shutter_s: float
    does: Literal["average_out", "come_and_go", "wait"]
    stops: float


# ---- the whole -----------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Exposure:
    """What to set, why, how sure it is, and how to find out in the field."""

    factor_stops: Range
    factor_parts: Mapping[str, Range]
    metered_ev100: Range
    metered_by: MeteredBy
    settings: tuple[Setting, ...]
    recommended: Setting | None
    freezes: Setting | None
    streaks: Setting | None
    reasons: tuple[ExposureReason, ...]
    test_exposures: tuple[ExposureTest, ...]
    focus: FocusAdvice | None
    cautions: tuple[Caution, ...] = ()
    doubts: tuple[Doubt, ...] = ()
    placement: Placement = Placement()
    """What placing the brightest layer that matters adds to grey on zone V."""
    readings_ev100: Mapping[MeterName, Range] = field(default_factory=lambda: MappingProxyType({}))
    """Every light reading there was."""
    nearest_freeze: Setting | None = None
    """Where nothing freezes: what comes nearest."""
    nearest_streak: Setting | None = None
    frame_cost: FrameCost | None = None
    """Of the recommended setting."""
