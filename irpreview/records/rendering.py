"""The predicted infrared picture."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from types import MappingProxyType

from irpreview.records.common import ByteArray, Doubt, FloatArray, Range, frozen_array
from irpreview.records.kit import Kit
from irpreview.records.light import Light

DEFAULT_GRADE = 2.0
"""Paper grade where none is asked for: the one nearest to twenty true near-infrared photographs laid beside it."""


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


@dataclass(frozen=True)
class Rendering:
    """The predicted infrared picture: linear tones first, the finished picture last."""

    maps: Callable[[], tuple[FloatArray, FloatArray]] = field(repr=False)
    """Works out `tones` and `spread_stops`: at twelve megapixels as much work as the picture, and asked for less."""
    classes: Mapping[str, ClassTone]
    picture: ByteArray
    """(H, W) uint8, finished for the eye."""
    kit: Kit
    light: Light
    parts_stops: Mapping[str, FloatArray] = field(default_factory=lambda: MappingProxyType({}))
    """Working-size maps of what made the tone: visible, factor, within_class, residual. [stops]"""
    doubts: tuple[Doubt, ...] = ()
    grade: float = DEFAULT_GRADE
    """Paper grade of `picture`."""
    placed_stops: float | None = None
    """Exposure of `picture`: what is added to log2 of the tones; None = placed anew when asked. [stops]"""
    negative_gamma: float | None = None
    """Contrast of the negative behind `picture`; None likewise."""

    @cached_property
    def _maps(self) -> tuple[FloatArray, FloatArray]:
        tones, spread_stops = self.maps()
        return frozen_array(tones), frozen_array(spread_stops)

    @property
    def tones(self) -> FloatArray:
        """(H, W) linear; 1 = a matt white surface in this light."""
        return self._maps[0]

    @property
    def spread_stops(self) -> FloatArray:
        """(H, W) half the 5-95 % range. [stops]"""
        return self._maps[1]
