"""What moves, how fast, how that is known, and what a shutter time makes of it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Literal

from irpreview.records.common import Doubt, Range
from irpreview.records.light import WaterKind

WaterWord = Literal["frozen", "texture", "silky", "smooth", "mist"]


# ---- how a rate is known -------------------------------------------------------------------------------------------


class KnownBy(StrEnum):
    """How a rate came to be known."""

    CLIP = "clip"
    """Measured."""
    FIST = "fist"
    """A cloud timed across a fist."""
    WIND_GIVEN = "wind_given"
    WIND_UNKNOWN = "wind_unknown"
    USUAL = "usual"
    """Usual speeds, whatever the wind."""


class DistanceBy(StrEnum):
    """How a distance came to be known."""

    GIVEN = "given"
    LEVEL_GROUND = "level_ground"
    FOOT_AND_HEIGHT = "foot_and_height"
    USUAL_HEIGHT = "usual_height"
    ASSUMED = "assumed"


class HorizonBy(StrEnum):
    """What the horizon was told by."""

    WATER = "water"
    GRASS = "grass"
    GROUND = "ground"
    MIDDLE = "middle"
    """Of the picture: nothing else told."""


class CloudHeightBy(StrEnum):
    """How the height of the clouds came to be known."""

    GIVEN = "given"
    DEW_POINT = "dew_point"
    ASSUMED_LOW = "assumed_low"


class Moving(StrEnum):
    """What moves."""

    PLANTS = "plants"
    GRASS = "grass"
    WAVES = "waves"
    FALLS = "falls"
    STREAM = "stream"
    CLOUDS = "clouds"
    BOATS = "boats"
    PEOPLE = "people"
    TRIPOD = "tripod"


@dataclass(frozen=True, slots=True)
class HowKnown:
    """From what a rate of motion was worked out; None = played no part."""

    by: KnownBy
    moving: Moving
    wind_m_s: Range | None = None
    clip_s: float | None = None
    """Length of the clip."""
    distance_m: Range | None = None
    distance_by: DistanceBy | None = None
    horizon_by: HorizonBy | None = None
    """Where level ground told the distance."""
    wave_period_s: Range | None = None
    period_from_clip: bool = False
    water_kind: WaterKind = "unknown"
    looks_like_falls: bool = False
    speed_m_s: float | None = None
    """Of water that runs or falls."""
    fist_s: float | None = None
    cloud_height_m: float | None = None
    cloud_height_by: CloudHeightBy | None = None
    cloud_speed_m_s: float | None = None
    cloud_layer: Literal["low", "middle", "high"] | None = None

    @property
    def measured(self) -> bool:
        """Whether a clip measured it."""
        return self.by is KnownBy.CLIP


# ---- movement ------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class ClassMovement:
    """How one class moves and what a shutter time makes of it."""

    blur_px: Range
    share_of_height: Range
    print_mm: Range
    """On a print 30 x 40 cm."""
    holds_until_s: Range | None
    flows_from_s: float | None
    parts: Mapping[str, Range]
    known: HowKnown
    core_px: float = 0.0
    """Dense core of the blur in pixels of the snap."""
    halo_px: float = 0.0
    direction_deg: float | None = None
    sharp_until_s: float | None = None
    """Longest exposure that a print still shows sharp; None = it does not move, or not asked."""


@dataclass(frozen=True, slots=True)
class CloudDrift:
    """How fast the clouds go over the sky, and which way."""

    deg_per_s: Range
    toward_deg: float | None
    image_deg: float | None
    known: HowKnown


@dataclass(frozen=True, slots=True)
class WaterMovement:
    """How many waves pass, and what that makes of the water."""

    periods: Range
    word: WaterWord


# ---- what to say of it ---------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class ClassMoves:
    """A class blurs so that one sees it: plants, people, boats, clouds or water."""

    class_name: str
    moving: Moving
    shutter_s: float
    move: ClassMovement
    sure: bool = True
    """False: only the high end of the range shows."""
    drift_deg_per_s: Range | None = None
    """Of clouds."""
    clouds: Literal["still", "soft", "direction", "streaks", "veil"] | None = None
    water: WaterMovement | None = None
    wave_period_s: float | None = None


@dataclass(frozen=True, slots=True)
class TripodShakes:
    """The wind shakes the tripod."""

    print_mm: Range
    wind_m_s: Range
    sure: bool


@dataclass(frozen=True, slots=True)
class Gale:
    """Gusts in which no tripod stands by itself."""

    gust_m_s: float


@dataclass(frozen=True, slots=True)
class GustLikely:
    """During a long exposure."""

    shutter_s: float
    gust_m_s: float
    mean_m_s: float


MovementNote = ClassMoves | TripodShakes | Gale | GustLikely


@dataclass(frozen=True, slots=True)
class Movement:
    """What everything in the picture does during a shutter time."""

    shutter_s: float
    classes: Mapping[str, ClassMovement]
    tripod: ClassMovement
    clouds: CloudDrift | None
    water: WaterMovement | None
    notes: tuple[MovementNote, ...] = ()


# ---- doubts --------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class FocalAssumed(Doubt):
    """The focal length is a guess."""

    focal_35mm_mm: float


@dataclass(frozen=True, slots=True)
class WindUnknown(Doubt):
    """The wind was not given."""

    wind_m_s: Range


@dataclass(frozen=True, slots=True)
class DistanceEstimated(Doubt):
    """A distance was estimated from the picture."""

    class_name: str
    distance_m: Range
    by: DistanceBy


class ClipDoubtKind(StrEnum):
    """What a clip cannot tell."""

    SHORT = "short"
    SLOW = "slow"
    """Too few frames a second for leaves."""
    CAMERA_LOST = "camera_lost"
    STILL_MOVES = "still_moves"
    """What should stand still moves after the shake was taken out."""
    AT_THE_FLOOR = "at_the_floor"
    TOO_FAST = "too_fast"
    SUMMED = "summed"
    CLOUDS_HARDLY_MOVED = "clouds_hardly_moved"
    NOT_TIMED = "not_timed"
    WATER_STILL = "water_still"
    WATER_SLOW = "water_slow"
    WATER_FAST = "water_fast"
    FOCAL_AS_SNAP = "focal_as_snap"
    LITTLE_SKY = "little_sky"
    BLANK_SKY = "blank_sky"
    CLOUDS_DISAGREE = "clouds_disagree"
    LITTLE_STANDS = "little_stands"
    """Nothing to take the camera's shake out by."""
    SMOOTH_STANDS = "smooth_stands"
    RATE_ASSUMED = "rate_assumed"
    """The file does not tell; value [frames per second]."""
    ENDS_EARLY = "ends_early"
    """value of `of` frames could be read."""
    FIRST_SECONDS_ONLY = "first_seconds_only"
    """value = so many were used [s]."""
    FIRST_STILLS_ONLY = "first_stills_only"
    """value of `of` were used."""
    STILLS_NOT_TIMED = "stills_not_timed"
    """The times between them are not in their files."""


@dataclass(frozen=True, slots=True)
class ClipDoubt(Doubt):
    """What a clip cannot tell. `value` and `of` are the numbers that its words name."""

    kind: ClipDoubtKind
    value: float = 0.0
    of: float = 0.0
    class_name: str = ""
