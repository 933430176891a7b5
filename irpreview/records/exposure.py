"""What to set."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

from irpreview.records.common import Range


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
