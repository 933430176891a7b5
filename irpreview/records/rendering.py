"""The predicted infrared picture."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

from irpreview.records.common import ByteArray, FloatArray, Range
from irpreview.records.kit import Kit
from irpreview.records.light import Light


@dataclass(frozen=True, slots=True)
class ClassTone:
    """Tone of one class in the picture."""

    share: float
    zone: Range
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
