"""The card as a model of blocks: what stands on its front, and the parts of its back in printing order.

A card is read in wind and sunlight. The front holds the picture and at most sixty words, the same as on the page
(`core.words.short_answer`); tables and all else stand on the back. `io.card_paper` sets both for paper and phone.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Literal

from irpreview.core.card.field_tables import Correction, WindRow, setting_choices
from irpreview.core.card.shot_card import ShotCard
from irpreview.core.exposure.red_channel import red_channel_rows
from irpreview.core.units import shutter_text, zone_text
from irpreview.core.words import in_words, long_words, short_words
from irpreview.core.words.card_words import sky_change, wind_now
from irpreview.core.words.exposure_words import setting_words
from irpreview.core.words.framing_words import LEAST_OF_A_FRAMING, framing_focus, framing_row, framing_sentence
from irpreview.core.words.lead_words import LEAD_NAMES, WAIT_WORDS
from irpreview.core.words.phrases import SUBJECTS, cap, sentence
from irpreview.core.words.short_answer import metres, short_answer
from irpreview.core.words.verdict_words import sentences
from irpreview.records import (
    CLASS_WORDS,
    ByteArray,
    Exposure,
    Gale,
    MovementLeftOut,
    Place,
    Setting,
    SettingsLeftOut,
    TimeUnsure,
    Verdict,
    Words,
)

MOST_FRONT_WORDS = 60


@dataclass(frozen=True, slots=True)
class Front:
    """What is seen at a glance."""

    title: str
    infrared: ByteArray
    snap: ByteArray
    framed: ByteArray | None
    """The infrared picture as the best framing takes it."""
    framed_caption: str
    lead: str
    why: str
    setting: str
    setting_range: str
    rows: tuple[tuple[str, str], ...]
    """(label, text): what merges, wind, focus, light, framing, warning."""

    def words(self) -> int:
        """All words but the title and the captions of the pictures."""
        texts = (self.lead, self.why, self.setting, self.setting_range, *(text for row in self.rows for text in row))
        return sum(len(text.split()) for text in texts)


@dataclass(frozen=True, slots=True)
class Block:
    """One part of the back as it is printed."""

    heading: str
    lines: tuple[str, ...] = ()
    table: tuple[tuple[str, ...], ...] = ()
    """First row = column heads. Stands after the first line."""
    kind: Literal["text", "care", "run", "numbered", "notes"] = "text"
    """care = cautions, each with a mark; run = sentences that follow each other on one line; notes = room
    for a pencil."""
    shares: tuple[float, ...] = ()
    """Widths of the table's columns, together 1."""


# ---- the front -------------------------------------------------------------------------------------------------------


def card_front(card: ShotCard) -> Front:
    """Picture, lead, setting, wind, focus, hours, one warning, the best framing where there is a better one."""
    exposure, facts = card.exposure, card.facts
    said = short_answer(card.verdict, exposure.recommended, exposure.focus, exposure.cautions, facts.movement)
    framings, framed = [""], None
    if card.framing is not None and card.framing.frame.sensor_share > 0:
        frame, focus = card.framing.frame, card.framing.focus
        distance = "" if focus is None else f", focus {metres(focus.focus_at_m)}"
        framings = [f"{framing_row(frame)}{distance}", f"{framing_row(frame, LEAST_OF_A_FRAMING)}{distance}", ""]
        left, top, right, bottom = frame.box_px(card.infrared.shape[1], card.infrared.shape[0])
        framed = card.infrared[top:bottom, left:right]
    asked = facts.asked_time
    reach = said.setting_range
    if asked is not None and (asked.setting is None or asked.grey_filter is not None):
        grey = asked.grey_filter
        reach = in_words(asked).short if asked.setting is None or grey is None else in_words(grey).short
    made = Front(
        title=card.title,
        infrared=card.infrared,
        snap=card.snap,
        framed=framed,
        framed_caption="best framing",
        lead=said.lead,
        why=said.why,
        setting=said.setting or "No setting of this kit reaches the light.",
        setting_range=reach,
        rows=(),
    )

    light = _light(card)

    def with_rows(merges: str, framing: str, light: str = light) -> Front:
        rows = (
            *(("Merges", merges), ("Wind", said.wind), ("Focus", said.focus), ("Light", light)),
            *(("Framing", framing), ("Caution", said.warning)),
        )
        caption = "best framing" if framing else "best framing, see back"
        return replace(made, rows=tuple((label, text) for label, text in rows if text), framed_caption=caption)

    # what is set and minded stays; the framing and the later hours stand on the back as well
    short_light = light.partition(",")[0]
    fronts = [*(with_rows(said.merges, one) for one in framings), with_rows(said.merges, "", short_light)]
    fronts.append(with_rows("", "", short_light))
    return next((front for front in fronts if front.words() <= MOST_FRONT_WORDS), fronts[-1])


def _light(card: ShotCard) -> str:
    facts = card.facts
    if facts.best_light:
        return facts.best_light
    return "" if facts.hours_left_out or not facts.light_lines else "No good light that day."


# ---- the back --------------------------------------------------------------------------------------------------------


def card_blocks(card: ShotCard) -> tuple[Block, ...]:
    """The parts of the back in printing order: cautions, what to do, what to know."""
    facts, exposure = card.facts, card.exposure
    gale = tuple(in_words(one) for one in facts.movement if isinstance(one, Gale))
    moves = short_words(one for one in facts.movement if not isinstance(one, Gale))
    red = facts.red_channel
    blocks = [
        Block("Take care", tuple(one.short for one in dict.fromkeys((*gale, *facts.cautions))), kind="care"),
        _test_exposures(exposure),
        Block(
            "Reading the red channel",
            (" ".join(one.short for one in red if one.short),),
            table=(
                ("leaves end at", *(_PARTS[share] for share, _ in red_channel_rows()), "right edge"),
                ("times", *(f"{2.0**stops:.2g}" for _, stops in red_channel_rows()), "1/4, again"),
            ),
            shares=(0.36, 0.12, 0.12, 0.12, 0.28),
        ),
        Block(
            "Other winds",
            (f"{wind_now(facts.wind_m_s)}{_left_out(exposure)}.",),
            table=tuple(
                (force, signs, lead, setting)
                for force, _, signs, lead, setting in wind_cells(facts.wind_table, exposure.recommended)
            ),
            shares=(0.14, 0.33, 0.22, 0.31),
        ),
        Block("Order of work", tuple(one.short for one in facts.order_of_work), kind="numbered"),
        Block("Other settings", _other_settings(card)),
        Block(
            "Other skies",
            (*(_sky_line(one) for one in facts.corrections), "Open shade: 2 to 3 times what a meter asks."),
        ),
        Block("Framing", _framing_lines(card)),
        Block("Separation", _verdict_lines(card.verdict)),
        Block("Zones", (_tone_words(card),), kind="run"),
        Block("Movement", moves),
        Block("Light", tuple(one.short for one in facts.light_lines), kind="run"),
        Block("Focus", tuple(one.short for one in facts.focus[1:]), kind="run"),
        Block("White balance", (cap(facts.white_balance.short.removeprefix("Custom white balance: ")),), kind="run"),
        Block("Assumptions", _assumed(facts.assumptions, exposure), kind="run"),
        Block("Made with", (footer_words(card), *(one.short for one in facts.sources)), kind="run"),
    ]
    if card.place is not None:
        blocks.append(Block("Place", (place_words(card.place),), kind="run"))
    blocks.append(Block("Notes", kind="notes"))
    return tuple(block for block in blocks if block.lines or block.table or block.kind == "notes")


def place_words(place: Place) -> str:
    """`50.1234 N, 12.3456 E`."""
    north = "N" if place.latitude_deg >= 0 else "S"
    east = "E" if place.longitude_deg >= 0 else "W"
    return f"{abs(place.latitude_deg):.4f} {north}, {abs(place.longitude_deg):.4f} {east}"


def footer_words(card: ShotCard) -> str:
    """Kit, version and model on one line."""
    return f"{card.kit.words}; irpreview {card.facts.version}, {card.facts.model_id or 'no network'}."


def _framing_lines(card: ShotCard) -> tuple[str, ...]:
    """The best framing in a sentence, and where to focus with its lens."""
    one = card.framing
    if one is None:
        return ()
    focus = framing_focus(one)
    return (framing_sentence(one), *([f"Focus with {focus}."] if focus else []))


def _other_settings(card: ShotCard) -> tuple[str, ...]:
    exposure, minutes = card.exposure, card.facts.minutes_per_frame
    best = exposure.recommended
    named = [] if minutes is None else [f"Allow {shutter_text(60.0 * minutes)} a frame."]
    named += [
        f"{words}: {setting_words(other)}."
        for words, other in (("To freeze", exposure.freezes), ("To streak the clouds", exposure.streaks))
        if other is not None and other != best
    ]
    others = [
        one
        for one in setting_choices(exposure)
        if best is not None and one.f_number == best.f_number and one not in (best, exposure.freezes, exposure.streaks)
    ]
    if best is not None and others:
        # Same aperture, so it is said once.
        each = "; ".join(f"ISO {one.iso:.0f}, {one.shutter_text}" for one in others[:4])
        named.append(f"Also at f/{best.f_number:g}: {each}.")
    return tuple(named)


def _test_exposures(exposure: Exposure) -> Block:
    """The ladder as a table; as sentences where its frames are not all of one kind."""
    tests = exposure.test_exposures[:6]
    same = {(one.iso, one.f_number, one.long_iso, one.long_f_number) for one in tests}
    if len(same) != 1:
        return Block("Test exposures", long_words(tests), kind="numbered")
    iso, f_number, long_iso, long_f_number = next(iter(same))
    share = 0.66 / len(tests)
    return Block(
        "Test exposures",
        ("Which looks right? Take the one below it.",),
        table=(
            (f"ISO {iso:g}, f/{f_number:g}", *(shutter_text(one.shutter_s) for one in tests)),
            (f"ISO {long_iso:g}, f/{long_f_number:g}", *(shutter_text(one.long_shutter_s) for one in tests)),
            ("filter factor", *(f"{one.factor_stops:.1f}" for one in tests)),
        ),
        shares=(0.34, *(share for _ in tests)),
    )


def _verdict_lines(verdict: Verdict) -> tuple[str, ...]:
    return tuple(dict.fromkeys(one.text for one in sentences(verdict)[:2]))


def _tone_words(card: ShotCard) -> str:
    parts = [
        f"{CLASS_WORDS[name]} {zone_text(card.rendering_zones[name]).removeprefix('zone ').split(' (')[0]}"
        for name, share in sorted(card.scene_share.items(), key=lambda pair: -pair[1])
        if share >= 0.01 and name in card.rendering_zones
    ]
    return sentence("; ".join(parts))


def wind_cells(rows: Sequence[WindRow], planned: Setting | None) -> tuple[tuple[str, ...], ...]:
    """Forces that ask for the same are one row, with what tells the least of them: the next row begins where it ends.

    An aperture is named where it is not the planned one.
    """

    def asked(row: WindRow) -> tuple[str, str]:
        named = WAIT_WORDS[row.wait_for] if row.wait_for else SUBJECTS[row.kind] if row.kind else LEAD_NAMES[row.lead]
        lead = named + ("; leaves sharp" if row.foliage_holds and row.lead != "foliage" else "")
        aperture = ""
        if row.f_number is not None and (planned is None or row.f_number != planned.f_number):
            aperture = f", f/{row.f_number:g}"
        iso = f", ISO {row.iso:.0f}" if row.iso is not None else ""
        return lead, f"{row.shutter_text}{iso}{aperture}"

    body = []
    for what, same in itertools.groupby(rows, key=asked):
        run = list(same)
        first, last = run[0], run[-1]
        forces = f"{first.beaufort}" if first is last else f"{first.beaufort} to {last.beaufort}"
        body.append(
            (
                forces,
                f"{first.from_m_s:g} to {last.to_m_s:g}",
                first.signs.split(",")[0].removesuffix(" all the time"),
                *what,
            )
        )
    return (("Bft", "m/s", "from when", "lead", "setting"), *body)


_PARTS = {0.25: "1/4", 0.5: "1/2", 0.75: "3/4"}


def _sky_line(one: Correction) -> str:
    return f"{sky_change(one.when)}: {one.shutter_text}."


def _assumed(said: Iterable[Words], exposure: Exposure) -> tuple[str, ...]:
    """Without what the range of the setting says already, and what helps nobody outdoors."""
    elsewhere: tuple[type, ...] = (SettingsLeftOut, MovementLeftOut)
    if exposure.recommended is not None:
        elsewhere = (*elsewhere, TimeUnsure)
    left_out = {in_words(one).long for one in exposure.doubts if isinstance(one, elsewhere)}
    return tuple(one.short for one in said if one.long not in left_out)


def _left_out(exposure: Exposure) -> str:
    return (
        "; the setting leaves movement out" if any(isinstance(one, MovementLeftOut) for one in exposure.doubts) else ""
    )
