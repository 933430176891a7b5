"""Everything that a photographer takes outdoors."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

from irpreview.records.common import ByteArray, Range
from irpreview.records.exposure import Exposure
from irpreview.records.framing import CardFraming
from irpreview.records.kit import Kit
from irpreview.records.light import Light
from irpreview.records.motion import Movement
from irpreview.records.photo import Place
from irpreview.records.verdict import Verdict


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
    framing: CardFraming | None = None
    """The best framing of the snap; None where none was found, or none was asked for."""
