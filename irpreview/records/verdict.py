"""Does the picture stand: layers, what lies between them, what leads."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from irpreview.records.common import Range
from irpreview.records.rendering import DEFAULT_GRADE

LeadChoice = Literal["structure", "foliage", "sky", "wait", "none"]
SeparationWord = Literal["separates", "merges", "uncertain"]


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
class Separation:
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
    separations: tuple[Separation, ...]
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
