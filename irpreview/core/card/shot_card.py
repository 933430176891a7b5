"""The card as a record: everything that a photographer takes outdoors, before any layout."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from irpreview.core.card.field_tables import Correction, WindRow
from irpreview.core.exposure.asked_time import AskedTime
from irpreview.records import (
    ByteArray,
    Exposure,
    Kit,
    Light,
    Movement,
    Place,
    Range,
    Verdict,
    Words,
)
from irpreview.records.framing import Framing
from irpreview.records.motion import MovementNote


@dataclass(frozen=True, slots=True)
class CardFacts:
    """What stands in the card's tables and lists."""

    wind_table: tuple[WindRow, ...]
    wind_m_s: float | None
    """That the card is made for; None = not given."""
    corrections: tuple[Correction, ...]
    order_of_work: tuple[Words, ...]
    red_channel: tuple[Words, ...]
    minutes_per_frame: float | None
    best_light: str
    """The best hours of the day and what for: `Side light 08:30 to 17:15`; empty = none, not known or left out."""
    hours_left_out: bool
    """They would tell the place."""
    light_lines: tuple[Words, ...]
    sun_height_deg: float | None
    """None = left out with the place."""
    focus: tuple[Words, ...]
    white_balance: Words
    movement: tuple[MovementNote, ...]
    cautions: tuple[Words, ...]
    assumptions: tuple[Words, ...]
    sources: tuple[Words, ...]
    asked_time: AskedTime | None
    version: str
    model_id: str


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
    facts: CardFacts
    framing: Framing | None = None
    """The best picture to make from there; None = not looked for, or none better than the snap's own."""
    place: Place | None = None
