"""Does the picture stand: layers, how they separate, what leads, what the wind does to it, and what is doubtful.

Numbers and words of fixed lists only; sentences are made of them by `core.words`.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from irpreview.records.common import Range
from irpreview.records.rendering import DEFAULT_GRADE

LeadChoice = Literal["structure", "foliage", "sky", "wait", "none"]
SeparationWord = Literal["separates", "merges", "uncertain"]
HowClear = Literal["clear", "about_equal", "only_just", "not_quite"]
"""How clear a lead is: something of another kind is about as strong, it only just leads, or nothing quite does."""
WaitFor = Literal["cloud", "breaks", "sun", "lull"]
SubjectKind = Literal[
    "tower", "building", "buildings", "lone_tree", "trees", "grass", "hill", "mountain", "snow", "sky"
]
CloudLook = Literal["still", "softened", "blurred", "streaks", "veil", "formless", "even_grey"]
"""Clouds after an exposure; `formless` and `even_grey` are closed cover."""
NotLandscape = Literal["indoors", "night", "close_up", "things", "drawn", "without_colour"]
"""Why a picture is no daylight landscape: `things` = people, animals or objects fill it; `drawn` = drawing or
screen; `without_colour` = black and white: nothing tells leaves from stone."""
DoubtKind = Literal[
    "small_sky",
    "snow_unlikely",
    "low_sun",
    "sunset_light",
    "little_recognised",
    "out_of_leaf",
    "assumed_wind",
    "what_if",
]
"""Named rules of plausibility, see core.verdict.plausibility."""


@dataclass(frozen=True, slots=True)
class Gate:
    """Whether a picture is a daylight landscape: one that is none is told, and not ranked."""

    landscape: bool = True
    chance: float = 1.0
    """How like a daylight landscape, 0..1."""
    reasons: tuple[NotLandscape, ...] = ()
    """Why not, weightiest first; empty for a landscape."""


@dataclass(frozen=True, slots=True)
class Layer:
    """A part of the picture of one kind and tone."""

    index: int
    name: str
    """Words a person would use: 'near grass', 'far trees'."""
    class_name: str
    share: float
    zone: Range
    visible_zone: float
    centre_xy: tuple[float, float]
    """Shares of width and height."""
    lightness: float = 50.0
    """L* on the print."""


@dataclass(frozen=True, slots=True)
class Separation:
    """Tonal separation of two neighbouring layers."""

    a: int
    b: int
    zones: float
    low: float
    high: float
    visible_zones: float
    says: SeparationWord
    edge_zones: float
    edge_share_separating: float
    print_step: Range
    """Step in print L*."""
    separability: float
    edge_xy: tuple[float, float] = (0.5, 0.5)
    """A point on the shared edge, shares of width and height."""


@dataclass(frozen=True, slots=True)
class Sky:
    """What the sky gives."""

    okta: int | None
    texture_stops: float
    word: Literal["clear", "textured", "overcast", "hazy", "none"]
    clear_zone: Range | None = None
    clouds_after_shutter: CloudLook | None = None
    """None = no cloud, or no shutter time known."""
    share: float = 0.0
    """Of the picture."""


@dataclass(frozen=True, slots=True)
class Subject:
    """A thing that could lead the picture."""

    choice: LeadChoice
    kind: SubjectKind
    layer: int
    """Index of the layer that stands for it."""
    strength: float
    """0..1, with what movement leaves of it."""
    strength_still: float
    """The same in calm air."""
    share: float
    """Of the picture."""
    sky_outline: float
    """Share of its outline that stands against sky."""
    best: Separation | None
    """The edge that does most for it."""
    weakest: Separation | None
    """The long edge of its outline that does least; None = every long edge separates."""
    centre_xy: tuple[float, float]


@dataclass(frozen=True, slots=True)
class WindTurn:
    """Foliage leads below a wind, something else above it."""

    wind_m_s: Range
    calm: Subject
    windy: Subject | None
    """None = nothing leads then, or `waits`."""
    waits: bool


@dataclass(frozen=True, slots=True)
class FoliageBlur:
    """What wind and shutter make of one kind of plant."""

    class_name: Literal["tree", "grass"]
    share: float
    leads: bool
    print_mm: Range
    word: Literal["sharp", "slightly_soft", "soft_shapes", "plain_tone"]
    sharp_until_s: float | None
    """Exposure up to which it is sharp; None = it does not move."""
    centre_xy: tuple[float, float]


@dataclass(frozen=True, slots=True)
class Shade:
    """Whether no sun at all falls on the land, and by what that is told: the sun's height, or stops below the sky."""

    everything: bool = False
    sun_height_deg: float | None = None
    below_sky_stops: float | None = None


@dataclass(frozen=True, slots=True)
class VerdictDoubt:
    """What makes the verdict less sure."""

    kind: DoubtKind
    value: float | None = None
    """Degrees, share or m/s, as the kind says."""
    at_xy: tuple[float, float] | None = None


@dataclass(frozen=True, slots=True)
class StrongestEdge:
    """The edge with the largest step over its length."""

    a: int
    b: int
    print_step: float
    xy: tuple[float, float]


@dataclass(frozen=True, slots=True)
class Crop:
    """The largest frame of a format, moved towards what leads."""

    format: str
    keeps_share: float
    left: float
    top: float
    mostly_lost: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Composition:
    """Facts of the frame."""

    horizon_height: float | None
    """Share of the height from below; None = no skyline."""
    sky_share: float
    ground_share: float
    strongest_edge: StrongestEdge | None
    crops: tuple[Crop, ...]


@dataclass(frozen=True, slots=True)
class ContrastParts:
    """What layered contrast is made of, each 0..1."""

    parting: float
    depth: float
    range: float


@dataclass(frozen=True, slots=True)
class Sentence:
    """A sentence, what it rests on, and where in the picture it belongs."""

    text: str
    evidence: str
    at_xy: tuple[float, float] | None = None
    """Where in the picture, shares of width and height."""


@dataclass(frozen=True, slots=True)
class Verdict:
    """What the picture will do: layers, separations, sky, lead."""

    layers: tuple[Layer, ...]
    separations: tuple[Separation, ...]
    layer_map: NDArray[np.int16]
    """(H, W) 0-based layer, -1 = none."""
    sky: Sky
    lead: LeadChoice
    wait_for: WaitFor | None
    strength: float
    needed: float
    """Least strength of a lead in this picture."""
    subject: Subject | None
    """What leads, or for a lull what would lead in calm air."""
    runner_up: Subject | None
    """Of another kind and nearly as strong."""
    subjects: tuple[Subject, ...]
    """Everything that could lead, strongest first."""
    turn: WindTurn | None
    foliage: tuple[FoliageBlur, ...]
    """Plants that matter to the picture, weightiest first; empty where no exposure is known."""
    shade: Shade
    composition: Composition
    layered_contrast: float
    layered_contrast_parts: ContrastParts
    doubts: tuple[VerdictDoubt, ...] = ()
    gate: Gate = field(default_factory=Gate)
    grade: float = DEFAULT_GRADE
    wind_m_s: float | None = None
    """The wind given; None = a light breeze was assumed."""
    shutter_s: float | None = None
    clearness: HowClear = "clear"

    @property
    def turns_at_wind_m_s(self) -> Range | None:
        """Wind at which another thing leads [m/s]; None = it does not turn."""
        return None if self.turn is None else self.turn.wind_m_s
