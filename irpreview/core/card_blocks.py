"""The card's parts in printing order, for paper and for the phone."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal

from irpreview.core.field_tables import (
    Correction,
    WindRow,
    frame_words,
    range_words,
    setting_choices,
    setting_words,
)
from irpreview.core.lead_words import LEAD_NAMES, LEAD_WORDS
from irpreview.core.wording import shutter_text, zone_text
from irpreview.records import CLASS_WORDS, Place, ShotCard, Verdict


@dataclass(frozen=True, slots=True)
class Block:
    """One part of the card as it is printed."""

    heading: str
    lines: tuple[str, ...] = ()
    table: tuple[tuple[str, ...], ...] = ()
    """First row = column heads."""
    kind: Literal["text", "numbered", "strong", "notes", "small"] = "text"


def card_blocks(card: ShotCard) -> tuple[Block, ...]:
    """The card's parts in printing order, pictures apart."""
    facts: Mapping[str, Any] = card.facts
    exposure, verdict = card.exposure, card.verdict
    best = exposure.recommended
    minutes = facts["minutes_per_frame"]
    setting_lines = [setting_words(best) if best is not None else "No setting of this kit reaches the light."]
    if best is not None:
        setting_lines.append(
            f"Could be {range_words(best.shutter_s)}."
            + (f" Allow {shutter_text(60.0 * minutes)} a frame in all." if minutes else "")
        )
    alternatives = [
        f"{words}: {setting_words(other)}"
        for words, other in (("To freeze", exposure.freezes), ("For streaks", exposure.streaks))
        if other is not None and other != best
    ]
    others = [
        one
        for one in setting_choices(exposure)
        if best is not None and one.f_number == best.f_number and one not in (best, exposure.freezes, exposure.streaks)
    ]
    if others:
        alternatives.append("Also: " + "; ".join(setting_words(one) for one in others[:4]) + ".")
    blocks = [
        Block("Setting", (*setting_lines, *alternatives), kind="strong"),
        Block("Take care", facts["cautions"]),
        Block("Test frames", tuple(frame_words(frame) for frame in exposure.test_frames[:6]), kind="numbered"),
        Block("Will it hold apart", _verdict_lines(verdict)),
        Block("What is in it, and its tone", (_tone_words(card),)),
        Block("If the wind differs", table=_wind_cells(facts["wind_table"]), lines=(facts["wind_now"] + ".",)),
        Block(
            "If the sky differs",
            (
                *(f"{one.when}: {_factor(one)}, {one.shutter_text}." for one in facts["corrections"]),
                "Open shade: another 2 to 3 times beyond what a meter without the filter asks.",
            ),
        ),
        Block("Order of work", facts["order_of_work"], kind="numbered"),
        Block("Reading the red channel", facts["red_channel"]),
        Block("Focus", facts["focus"]),
        Block("White balance", (facts["white_balance"],)),
        Block("When the light is right", facts["light_window"]),
        Block("What moves", facts["movement"]),
        Block("Taken for granted", facts["assumptions"], kind="small"),
        Block("Where the figures come from", facts["sources"], kind="small"),
    ]
    if card.place is not None:
        blocks.append(Block("Place", (place_words(card.place),)))
    blocks.append(Block("Notes", kind="notes"))
    return tuple(block for block in blocks if block.lines or block.table or block.kind == "notes")


def place_words(place: Place) -> str:
    """`50.1234 N, 12.3456 E`."""
    north = "N" if place.latitude_deg >= 0 else "S"
    east = "E" if place.longitude_deg >= 0 else "W"
    return f"{abs(place.latitude_deg):.4f} {north}, {abs(place.longitude_deg):.4f} {east}"


def footer_words(card: ShotCard) -> str:
    """Kit, version and model on one line."""
    model = card.facts["model_id"] or "no network"
    return f"{card.kit.words} · irpreview {card.facts['version']} · scene network {model}"


def _verdict_lines(verdict: Verdict) -> tuple[str, ...]:
    lines = [f"Plan: {LEAD_WORDS[verdict.lead]}."]
    lines += [sentence.text for sentence in verdict.sentences[:5]]
    if verdict.turns_at_wind_m_s is not None:
        turn = verdict.turns_at_wind_m_s
        lines.append(f"Turns at {turn.likely:.0f} m/s of wind ({turn.low:.0f} to {turn.high:.0f}).")
    return tuple(dict.fromkeys(lines))


def _tone_words(card: ShotCard) -> str:
    parts = []
    for name, share in sorted(card.scene_share.items(), key=lambda pair: -pair[1]):
        if share >= 0.01 and name in card.rendering_zones:
            zone = card.rendering_zones[name]
            parts.append(f"{CLASS_WORDS[name]} {share:.0%}, {zone_text(zone)}")
    return "; ".join(parts) + "."


def _wind_cells(rows: Sequence[WindRow]) -> tuple[tuple[str, ...], ...]:
    head = ("Bft", "m/s", "look for", "lead", "time", "ISO")
    body = tuple(
        (
            str(row.beaufort),
            f"{row.from_m_s:g}-{row.to_m_s:g}",
            row.signs,
            LEAD_NAMES[row.lead] + ("; leaves sharp" if row.foliage_holds and row.lead != "foliage" else ""),
            row.shutter_text,
            f"{row.iso:.0f}" if row.iso is not None else "?",
        )
        for row in rows
    )
    return (head, *body)


def _factor(correction: Correction) -> str:
    low, high = correction.times_low, correction.times_high
    if high <= 1.0:
        return (
            f"1/{1 / high:.0f} of the time"
            if round(1 / low) == round(1 / high)
            else (f"1/{1 / low:.0f} to 1/{1 / high:.0f} of the time")
        )
    if low < 1.0:
        return f"{low:.2g} to {high:.2g} times"
    return f"{low:.0f} to {high:.0f} times as long"
