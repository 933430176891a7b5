"""The things that flow through irpreview: one frozen type per noun, units in the names.

Arrays are rows x columns, origin top left, and read-only once inside a record.
Class ids 1..9 are the ids of the label maps; index i of a probability array is id i + 1.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from types import MappingProxyType
from typing import Literal, TypeVar

import numpy as np
from numpy.typing import NDArray

from irpreview.errors import BadValue

FloatArray = NDArray[np.float32]
ByteArray = NDArray[np.uint8]

WORKING_SIDE_PX = 1024
"""Long side at which every snap is analysed, whichever way it is asked. [px]"""
DEFAULT_GRADE = 2.0
"""Paper grade where none is asked for: the one nearest to twenty true near-infrared photographs laid beside it."""
CLASS_NAMES = ("clear_sky", "cloud", "water", "tree", "grass", "structure", "ground", "other", "snow")
CLASS_WORDS = MappingProxyType(
    {
        "clear_sky": "clear sky",
        "cloud": "cloud",
        "water": "water",
        "tree": "trees",
        "grass": "grass",
        "structure": "structures",
        "ground": "ground",
        "other": "other things",
        "snow": "snow",
    }
)
CLASS_ID = MappingProxyType({name: i + 1 for i, name in enumerate(CLASS_NAMES)})

SunSide = Literal["behind_camera", "side", "ahead", "unknown"]
SkyState = Literal["clear", "thin_cloud", "broken", "overcast", "unknown"]
LeadChoice = Literal["structure", "foliage", "sky", "wait", "none"]
GapWord = Literal["holds", "merges", "cannot_tell"]
WaterKind = Literal["unknown", "pond", "lake", "sea", "stream", "falls"]


T = TypeVar("T", bound=np.generic)


def frozen_array(array: NDArray[T]) -> NDArray[T]:
    """The same array, marked read-only."""
    array.setflags(write=False)
    return array


def zone_of(tone: float) -> float:
    """Zone of a linear tone (white surface = 1): 5 + log2(tone / 0.18). [zones]"""
    return 5.0 + math.log2(max(tone, 2.0**-20) / 0.18)


def tone_of(zone: float) -> float:
    """Linear tone of a zone, the inverse of `zone_of`."""
    return float(0.18 * 2.0 ** (zone - 5.0))


@dataclass(frozen=True, slots=True)
class Range:
    """A value with its doubt: 5 / 50 / 95 %."""

    low: float
    likely: float
    high: float

    def __post_init__(self) -> None:
        if not (self.low <= self.likely <= self.high):
            raise BadValue(
                f"a range must rise: low {self.low:g}, likely {self.likely:g}, high {self.high:g}; give them in order"
            )

    def __add__(self, stops: float) -> Range:
        return Range(self.low + stops, self.likely + stops, self.high + stops)

    @property
    def width(self) -> float:
        return self.high - self.low

    def as_dict(self, digits: int = 3) -> dict[str, float]:
        return {"low": round(self.low, digits), "likely": round(self.likely, digits), "high": round(self.high, digits)}


@dataclass(frozen=True, slots=True)
class Spectrum:
    """One quantity on an explicit, rising wavelength grid."""

    wavelength_nm: NDArray[np.float64]
    value: NDArray[np.float64]
    quantity: str
    unit: str
    source_id: str
    spread: NDArray[np.float64] | None = None


@dataclass(frozen=True, slots=True)
class Place:
    latitude_deg: float
    longitude_deg: float
    altitude_m: float = 0.0


@dataclass(frozen=True, slots=True)
class Shot:
    """What a camera wrote about one exposure; None = not known."""

    focal_35mm_mm: float | None = None
    f_number: float | None = None
    iso: float | None = None
    shutter_s: float | None = None
    brightness_ev: float | None = None
    exposure_bias_ev: float | None = None

    @property
    def ev100(self) -> float | None:
        """Exposure value at ISO 100 [EV]: log2(N^2 / t) - log2(ISO / 100)."""
        if self.f_number is None or self.iso is None or self.shutter_s is None:
            return None
        return math.log2(self.f_number**2 / self.shutter_s) - math.log2(self.iso / 100.0)


@dataclass(frozen=True, slots=True)
class Photo:
    """A decoded snap: oriented sRGB pixels and the facts in its file."""

    pixels: ByteArray
    """(H, W, 3) uint8, sRGB, upright."""
    name: str = "photo"
    taken_at: datetime | None = None
    """Aware, or None; a naive time in the file without a zone stays unknown."""
    taken_at_naive: datetime | None = None
    place: Place | None = None
    heading_deg: float | None = None
    """Bearing of the view, degrees true."""
    shot: Shot = field(default_factory=Shot)
    content_sha256: str = ""
    doubts: tuple[str, ...] = ()
    working: ByteArray | None = None
    """(h, w, 3) the same at the analysis' size as the file's reader made it; None = to be made from `pixels`."""
    file_size: tuple[int, int] | None = None
    """(H, W) of the upright picture in its file [px], where `pixels` is smaller; None = as `pixels`."""

    @property
    def full_size(self) -> tuple[int, int]:
        """(H, W) of the snap itself [px], whatever size it was read at: blur is said in these pixels."""
        return self.file_size or (self.height, self.width)

    @property
    def height(self) -> int:
        return int(self.pixels.shape[0])

    @property
    def width(self) -> int:
        return int(self.pixels.shape[1])


@dataclass(frozen=True, slots=True)
class Kit:
    """Filter, sensor, format and lens limits. Built-in names: see contracts in DEVELOPERS.md."""

    name: str = "unmodified-720"
    words: str = "720 nm long-pass on an unmodified camera"
    filter_cut_on_nm: float = 720.0
    filter_curve: Spectrum | None = None
    """Own measured transmission; overrides the cut-on."""
    filter_leak: float = 1e-6
    """Share of visible light that the filter lets through."""
    sensor: Literal["unmodified", "full_spectrum", "converted"] = "unmodified"
    infrared_cut_edge_nm: float = 650.0
    infrared_cut_slope_nm: float = 8.0
    infrared_cut_floor: float = 4e-5
    format_width_mm: float = 36.0
    format_height_mm: float = 24.0
    pixels_wide: int = 6000
    focal_mm: tuple[float, ...] = (24.0, 35.0, 50.0, 85.0)
    f_number_min: float = 2.8
    f_number_max: float = 16.0
    iso_min: float = 64.0
    iso_max: float = 25600.0
    longest_timed_s: float = 30.0
    has_bulb: bool = True
    focus: Literal["on_sensor", "separate"] = "on_sensor"
    hot_spot_from_f_number: float | None = None
    lens: str | None = None
    """The lens in use, in the owner's words: which rows of the log's hot-spot table count. None = not said."""
    factor_stops: Range | None = None
    """Calibrated factor of neutral grey in sun; None = the default of the kit's class."""
    factor_source: str = "kit class"
    class_correction_stops: Mapping[str, float] = field(default_factory=lambda: MappingProxyType({}), hash=False)

    @property
    def pixel_pitch_um(self) -> float:
        return 1000.0 * self.format_width_mm / self.pixels_wide


@dataclass(frozen=True, slots=True)
class Conditions:
    """What the photographer knows of the day; None = unknown, never zero."""

    wind_m_s: float | None = None
    gust_m_s: float | None = None
    wind_from_deg: float | None = None
    sky_state: SkyState = "unknown"
    haze: Literal["clear", "normal", "hazy", "unknown"] = "unknown"
    temperature_c: float | None = None
    dew_point_c: float | None = None
    cloud_height_m: float | None = None
    cloud_fist_s: float | None = None
    """Seconds that a cloud takes to cross a fist at arm's length."""
    distance_m: Mapping[str, float] = field(default_factory=lambda: MappingProxyType({}))
    """Distance per class name, where given."""
    focal_35mm_mm: float | None = None
    water_kind: WaterKind = "unknown"


@dataclass(frozen=True, slots=True)
class SceneMap:
    """What is where in the photo."""

    probability: FloatArray
    """(9, h, w) at the network's size; sums to 1 over classes."""
    label: ByteArray
    """(H, W) class ids 1..9 at the photo's size."""
    confidence: FloatArray
    """(H, W) probability of the label, 0..1."""
    mix: FloatArray
    """(k, h', w') what the tone prediction needs from the same network pass."""
    repainted: NDArray[np.bool_] | None = None
    """(H, W) where a person set the class; None = nowhere."""
    model_id: str = ""
    fine: FloatArray | None = None
    """(9, h', w') probability before any repainting at about 1024 px, along the photo's edges; made anew if None."""
    small: ByteArray | None = None
    """(h', w', 3) the photo at that size."""
    network_stops: FloatArray | None = None
    """(h', w') log2 of the tone of the research pairs' kit there, before any repainting; made anew if None. [stops]"""
    cloud_share: FloatArray | None = None
    """(h', w') share of white in the sky by its own colour, below 0 where it is bluer than the middle of the clear sky;
    None where there is next to no sky."""

    def share(self) -> dict[str, float]:
        """Share of the picture per class, 0..1, every class named."""
        # every second or third pixel of a large photo says the same for a fraction of the time
        step = max(1, round((self.label.size / 2e6) ** 0.5))
        label = self.label[::step, ::step]
        count = np.bincount(label.ravel(), minlength=10)[1:10]
        return {name: float(n) / label.size for name, n in zip(CLASS_NAMES, count, strict=True)}


@dataclass(frozen=True, slots=True)
class Light:
    """The light on the scene. Heights and bearings in degrees; spectra in W/m2/nm."""

    sun_height_deg: float = 45.0
    sun_bearing_deg: float | None = None
    sun_side: SunSide = "unknown"
    direct: Spectrum | None = None
    """Direct beam on a horizontal surface."""
    sky: Spectrum | None = None
    """Diffuse on a horizontal surface."""
    haze_aod: float = 0.1
    """Aerosol optical depth at 500 nm."""
    sky_state: SkyState = "clear"
    planned: bool = False
    """True: another light than the snap's, a what-if on the snap's own shadows."""
    how_known: str = "assumed: clear sky, sun 45 degrees high"


@dataclass(frozen=True, slots=True)
class ClassTone:
    """Tone of one class in the picture."""

    share: float
    zone: Range
    """In the picture shown: exposure placed, grade applied."""
    scene_zone: Range
    """5 + log2(tone / 0.18), before any placement or paper grade."""
    factor_stops: Range
    """Infrared over visible, white surface = 0. [stops]"""


@dataclass(frozen=True, slots=True)
class Rendering:
    """The predicted infrared picture: linear tones first, the finished picture last."""

    tones: FloatArray
    """(H, W) linear; 1 = a matt white surface in this light."""
    spread_stops: FloatArray
    """(H, W) half the 5-95 % range. [stops]"""
    classes: Mapping[str, ClassTone]
    picture: ByteArray
    """(H, W) uint8, finished for the eye."""
    kit: Kit
    light: Light
    parts_stops: Mapping[str, FloatArray] = field(default_factory=lambda: MappingProxyType({}))
    """Working-size maps of what made the tone: visible, factor, within_class, residual. [stops]"""
    doubts: tuple[str, ...] = ()
    grade: float = DEFAULT_GRADE
    """Paper grade of `picture`."""
    placed_stops: float | None = None
    """Exposure of `picture`: what is added to log2 of the tones; None = placed anew when asked. [stops]"""
    negative_gamma: float | None = None
    """Contrast of the negative behind `picture`; None likewise."""


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
    how_known: str
    core_px: float = 0.0
    """Dense core of the smear in pixels of the snap."""
    halo_px: float = 0.0
    direction_deg: float | None = None


@dataclass(frozen=True, slots=True)
class CloudDrift:
    deg_per_s: Range
    toward_deg: float | None
    image_deg: float | None
    how_known: str = ""


@dataclass(frozen=True, slots=True)
class WaterMovement:
    periods: Range
    word: Literal["frozen", "texture", "silky", "smooth", "mist"]


@dataclass(frozen=True, slots=True)
class Movement:
    shutter_s: float
    classes: Mapping[str, ClassMovement]
    tripod: ClassMovement
    clouds: CloudDrift | None
    water: WaterMovement | None
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Setting:
    iso: float
    f_number: float
    shutter_s: Range
    shutter_text: str
    limits: tuple[str, ...] = ()
    snr: float | None = None
    minutes_per_frame: float | None = None


@dataclass(frozen=True, slots=True)
class Exposure:
    factor_stops: Range
    factor_parts: Mapping[str, Range]
    metered_ev100: Range
    metered_by: str
    settings: tuple[Setting, ...]
    recommended: Setting | None
    freezes: Setting | None
    streaks: Setting | None
    reasons: tuple[str, ...]
    test_frames: tuple[Mapping[str, object], ...]
    focus: Mapping[str, object]
    cautions: tuple[str, ...] = ()
    doubts: tuple[str, ...] = ()
    placement_stops: float = 0.0
    """What placing the brightest layer that matters adds to grey on zone V, negative = shorter. [stops]"""
    placed: str = ""
    """The same in words."""
    readings_ev100: Mapping[str, Range] = field(default_factory=lambda: MappingProxyType({}))
    """Every light reading there was: meter, snap, sun."""
    nearest_freeze: Setting | None = None
    """Where nothing freezes: what comes nearest."""
    nearest_streak: Setting | None = None
    frame_cost: Mapping[str, object] = field(default_factory=lambda: MappingProxyType({}))
    """What one frame of the recommended setting costs: minutes, frames that fit, short frames instead, battery."""


@dataclass(frozen=True, slots=True)
class Layer:
    index: int
    name: str
    """Words a person would use: 'near grass', 'far trees'."""
    class_name: str
    share: float
    zone: Range
    visible_zone: float
    centre_xy: tuple[float, float]
    """Shares of width and height."""


@dataclass(frozen=True, slots=True)
class Gap:
    a: int
    b: int
    zones: float
    low: float
    high: float
    visible_zones: float
    says: GapWord
    edge_zones: float
    edge_share_holding: float
    print_step: Range
    """Step in print L*."""
    separability: float
    edge_xy: tuple[float, float] = (0.5, 0.5)
    """A point on the shared edge, shares of width and height."""


@dataclass(frozen=True, slots=True)
class Sky:
    okta: int | None
    texture_stops: float
    word: Literal["clear", "textured", "overcast", "hazy", "none"]
    clear_zone: Range | None = None
    after_shutter: str = ""


@dataclass(frozen=True, slots=True)
class Sentence:
    text: str
    evidence: str
    at_xy: tuple[float, float] | None = None
    """Where in the picture, shares of width and height."""


@dataclass(frozen=True, slots=True)
class Verdict:
    layers: tuple[Layer, ...]
    gaps: tuple[Gap, ...]
    layer_map: NDArray[np.int16]
    """(H, W) 0-based layer, -1 = none."""
    sky: Sky
    lead: LeadChoice
    lead_reasons: tuple[Sentence, ...]
    turns_at_wind_m_s: Range | None
    composition: Mapping[str, object]
    layered_contrast: float
    layered_contrast_parts: Mapping[str, float]
    sentences: tuple[Sentence, ...]
    grade: float = DEFAULT_GRADE


@dataclass(frozen=True, slots=True)
class ShotCard:
    """Everything that a photographer takes outdoors; arrays are small pictures."""

    title: str
    snap: ByteArray
    infrared: ByteArray
    scene_share: Mapping[str, float]
    rendering_zones: Mapping[str, Range]
    verdict: Verdict
    exposure: Exposure
    movement: Movement | None
    kit: Kit
    light: Light
    facts: Mapping[str, object] = field(default_factory=lambda: MappingProxyType({}))
    """Tables already in words: wind table, corrections, order of work, red channel, sources, assumptions."""
    place: Place | None = None
