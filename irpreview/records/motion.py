"""What moves, how fast, and what a shutter time makes of it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from irpreview.records.common import Range


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
