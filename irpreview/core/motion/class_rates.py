"""How one class moves: its parts with their ranges, no shutter time in them yet."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Literal

from irpreview.core.motion.sway import longest_holding_s, sway_extent, sway_halo, together
from irpreview.records import HowKnown, Range

Which = Literal["low", "likely", "high"]


_ZERO = Range(0.0, 0.0, 0.0)
_ONCE = Range(1.0, 1.0, 1.0)
_NEVER = Range(math.inf, math.inf, math.inf)


@dataclass(frozen=True, slots=True)
class PartRate:
    """One moving part in pixels of the snap: a sway about rest, a steady travel, or a travel that ends."""

    name: str
    kind: Literal["sway", "travel"]
    amplitude_px: Range = _ZERO
    frequency_hz: Range = _ONCE
    speed_px_s: Range = _ZERO
    ends_px: Range = _NEVER
    gust_gain: float = 1.0
    """What a gust makes of the amplitude."""

    def extent_px(self, shutter_s: float, which: Which) -> float:
        """Expected extent over an exposure; never falls with time. [px]"""
        if self.kind == "sway":
            return sway_extent(getattr(self.amplitude_px, which), getattr(self.frequency_hz, which), shutter_s)
        return float(min(getattr(self.speed_px_s, which) * shutter_s, getattr(self.ends_px, which)))

    def halo_px(self, shutter_s: float) -> float:
        """Extent of the faint halo: rare large swings and gusts. [px]"""
        if self.kind == "travel":
            return self.extent_px(shutter_s, "likely")
        return sway_halo(self.amplitude_px.likely * self.gust_gain, self.frequency_hz.likely, shutter_s)


@dataclass(frozen=True, slots=True)
class ClassRate:
    """How one class moves; parts add as squares unless they exclude each other."""

    name: str
    parts: tuple[PartRate, ...]
    distance_m: Range
    known: HowKnown
    flows_from_s: float | None = None
    direction_deg: float | None = None

    @property
    def measured(self) -> bool:
        """Whether a clip measured it."""
        return self.known.measured

    def extent_px(self, shutter_s: float, which: Which) -> float:
        """Extent of the blur at a shutter time [s], at one end of its range [px]."""
        return together([part.extent_px(shutter_s, which) for part in self.parts])

    def blur_px(self, shutter_s: float) -> Range:
        """Extent of the blur at a shutter time [s] [px]."""
        low, likely, high = (self.extent_px(shutter_s, which) for which in ("low", "likely", "high"))
        return Range(low, likely, high)

    def holds_until_s(self, limit_px: float) -> Range | None:
        """Longest exposure within the limit [s]; None when nothing moves."""
        if self.extent_px(3600.0, "high") <= 0.0:
            return None

        def until(which: Which) -> float:
            return longest_holding_s(lambda t: self.extent_px(t, which), limit_px)

        return Range(until("high"), until("likely"), until("low"))

    def moves(self) -> bool:
        """Whether anything of it could move within an hour."""
        return self.extent_px(3600.0, "high") > 0.0


def scaled_rate(rate: ClassRate, scale: float) -> ClassRate:
    """The same movement, so many times as large in the picture."""

    def times(r: Range) -> Range:
        return Range(r.low * scale, r.likely * scale, r.high * scale)

    parts = tuple(
        replace(p, amplitude_px=times(p.amplitude_px), speed_px_s=times(p.speed_px_s), ends_px=times(p.ends_px))
        for p in rate.parts
    )
    return replace(rate, parts=parts)


def spread(likely: float, downs: tuple[float, ...], ups: tuple[float, ...]) -> Range:
    """A range about `likely` from independent ratios (>= 1) down and up, added as squares of their logarithms."""
    if likely <= 0.0:
        return Range(0.0, 0.0, 0.0)
    down = math.hypot(*(math.log(max(r, 1.0)) for r in downs))
    up = math.hypot(*(math.log(max(r, 1.0)) for r in ups))
    return Range(likely * math.exp(-down), likely, likely * math.exp(up))
