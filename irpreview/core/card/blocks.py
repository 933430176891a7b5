"""The card's parts in printing order, for paper and for the phone.

A card is read in wind and sunlight, so room goes to large letters: everything is said once and in few words
(`card_words`), rows that ask for the same are one row, and what the figures at the top say is not repeated.
"""

from __future__ import annotations

import itertools
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal

from irpreview.core.card.card import HOURS_LEFT_OUT
from irpreview.core.card.field_tables import (
    Correction,
    WindRow,
    full_sentence,
    red_channel_rows,
    setting_choices,
)
from irpreview.core.exposure.asked_time import AskedTime
from irpreview.core.units import shutter_text, zone_text
from irpreview.core.words import in_words, long_words, short_words
from irpreview.core.words.card_words import (
    LIGHT,
    ORDER,
    RED,
    SOURCES,
    WHITE_BALANCE,
    WIND_NOW,
    hyphened,
    shorter,
    without_layers,
)
from irpreview.core.words.exposure_words import setting_words, time_range_words
from irpreview.core.words.lead_words import LEAD_NAMES, lead_text
from irpreview.core.words.verdict_words import reasons, sentences
from irpreview.records import (
    CLASS_WORDS,
    Exposure,
    Gale,
    MovementLeftOut,
    Place,
    Setting,
    SettingsLeftOut,
    ShotCard,
    TimeUnsure,
    Verdict,
    Words,
)


@dataclass(frozen=True, slots=True)
class Figure:
    """One of the few figures that are looked up with the hand on the camera."""

    label: str
    value: str
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Block:
    """One part of the card as it is printed."""

    heading: str
    lines: tuple[str, ...] = ()
    table: tuple[tuple[str, ...], ...] = ()
    """First row = column heads. Stands after the first line."""
    kind: Literal["text", "care", "settings", "run", "numbered", "notes", "small"] = "text"
    """care = cautions, below the pictures; settings = beside the key figures; run = sentences that follow each other on
    one line; small = the same, read at home and set smaller; notes = room for a pencil."""
    shares: tuple[float, ...] = ()
    """Widths of the table's columns, together 1."""


# ---- the figures at the top --------------------------------------------------------------------------------------


def key_figures(card: ShotCard) -> tuple[Figure, ...]:
    """Plan, setting, focus and light: what is printed large."""
    plan = full_sentence(lead_text(card.verdict)).rstrip(".")
    why = tuple(one.text for one in reasons(card.verdict)[:1]) if _nothing_leads(card.verdict) else ()
    found = [Figure("Plan", plan, why), _setting_figure(card)]
    focus = card.exposure.focus
    if focus is not None:
        far = "infinity" if focus.far_m is None else f"{focus.far_m:.1f} m"
        lens = f"{focus.focal_mm:.0f} mm at f/{focus.f_number:g}: "
        found.append(
            Figure("Focus at", f"{focus.focus_at_m:.1f} m", (f"{lens}sharp from {focus.near_m:.1f} m to {far}.",))
        )
    found.append(_light_figure(card.facts))
    return tuple(found)


def _nothing_leads(verdict: Verdict) -> bool:
    """What to wait for, or why nothing carries, is then the plan itself."""
    return verdict.lead in ("wait", "none")


def _setting_figure(card: ShotCard) -> Figure:
    best, minutes = card.exposure.recommended, card.facts["minutes_per_frame"]
    if best is None:
        return Figure("Setting", "No setting of this kit reaches the light.")
    unsure = best.shutter_s.high > 4.0 * best.shutter_s.low
    notes = [f"Could be {time_range_words(best.shutter_s)}" + (": test exposures first." if unsure else ".")]
    asked = card.facts["asked_time"]
    if isinstance(asked, AskedTime) and (asked.setting is None or asked.grey_filter is not None):
        grey = asked.grey_filter
        notes.insert(0, in_words(asked).long if asked.setting is None or grey is None else in_words(grey).short)
    if isinstance(minutes, (int, float)):
        notes.append(f"Allow {shutter_text(60.0 * minutes)} a frame in all.")
    return Figure("Setting", setting_words(best), tuple(notes))


_HOURS = re.compile(r"^Good light (\d\d:\d\d) to (\d\d:\d\d)")


def _light_figure(facts: Mapping[str, Any]) -> Figure:
    """The good hours of the day; neighbouring windows as one."""
    said = facts["light_window"]
    hours = [list(match.groups()) for match in map(_HOURS.match, said) if match]
    runs: list[list[str]] = []
    for start, end in hours:
        if runs and runs[-1][1] == start:
            runs[-1][1] = end
        else:
            runs.append([start, end])
    day = (said[0],) if said and not _HOURS.match(said[0]) else ()
    if tuple(said) == (HOURS_LEFT_OUT,):
        return Figure("Good light", "left out with the place", ("Make the card with its place for the hours.",))
    if runs:
        return Figure("Good light", ", ".join(f"{start} to {end}" for start, end in runs), day)
    return Figure("Good light", "none found" if said else "cannot be told", day or ("Place or day not given.",))


def _light_lines(said: Sequence[str]) -> tuple[str, ...]:
    """The windows; the first sentence, on the day, stands with the figures."""
    return tuple(one for index, one in enumerate(said) if index > 0 or _HOURS.match(one))


# ---- the parts below ---------------------------------------------------------------------------------------------


def card_blocks(card: ShotCard) -> tuple[Block, ...]:
    """The card's parts in printing order: cautions, what to do, what to know. Pictures and key figures stand apart."""
    facts: Mapping[str, Any] = card.facts
    exposure = card.exposure
    focus = tuple(one.short for one in facts["focus"])
    red = facts["red_channel"]
    # Danger is said with the cautions: these never go on the back.
    gale = tuple(in_words(one).long for one in facts["movement"] if isinstance(one, Gale))
    moves = short_words(one for one in facts["movement"] if not isinstance(one, Gale))
    blocks = [
        Block("Take care", (*gale, *facts["cautions"]), kind="care"),
        Block("Other settings", _other_settings(exposure), kind="settings"),
        _test_exposures(exposure),
        Block(
            "Reading the red channel",
            (" ".join(shorter((*red[:2], *red[3:]), RED)),),
            table=(
                ("leaves end at", *(_part(share) for share, _ in red_channel_rows()), "right edge"),
                ("multiply time by", *(f"{2.0**stops:.2g}" for _, stops in red_channel_rows()), "1/4, look again"),
            ),
            shares=(0.32, 0.12, 0.12, 0.12, 0.32),
        ),
        Block("Order of work (1, 2, 4 without the filter)", shorter(facts["order_of_work"], ORDER), kind="numbered"),
        Block(
            "If the wind differs",
            (_wind_now(facts, exposure),),
            table=wind_cells(facts["wind_table"], exposure.recommended),
            shares=(0.1, 0.19, 0.23, 0.24, 0.24),
        ),
        Block(
            "If the sky differs",
            (
                *(f"{_sky(one.when)}: {_factor(one)}, {one.shutter_text}." for one in facts["corrections"]),
                "Open shade: 2-3 times what a meter without filter asks.",
            ),
        ),
        Block("Will it hold apart", _verdict_lines(card.verdict)),
        Block("What is in it, with its zone", (_tone_words(card),)),
        Block("What moves", moves),
        Block("When the light is right", shorter(_light_lines(facts["light_window"]), LIGHT)),
        Block("More on focus", focus[1:], kind="run"),
        Block("White balance", shorter((facts["white_balance"],), WHITE_BALANCE), kind="run"),
        Block("Assumptions", _assumed(facts["assumptions"], exposure), kind="small"),
        Block("Sources", shorter(facts["sources"], SOURCES), kind="small"),
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


def _other_settings(exposure: Exposure) -> tuple[str, ...]:
    best = exposure.recommended
    named = [
        f"{words}: {setting_words(other)}."
        for words, other in (("To freeze", exposure.freezes), ("For streaks", exposure.streaks))
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
    share = 0.68 / len(tests)
    return Block(
        "Test exposures",
        ("Which looks right? Take the time below it.",),
        table=(
            (f"ISO {iso:g}, f/{f_number:g}", *(shutter_text(one.shutter_s) for one in tests)),
            (f"ISO {long_iso:g}, f/{long_f_number:g}", *(shutter_text(one.long_shutter_s) for one in tests)),
            ("factor, stops", *(f"{one.factor_stops:.1f}" for one in tests)),
        ),
        shares=(0.32, *(share for _ in tests)),
    )


def _verdict_lines(verdict: Verdict) -> tuple[str, ...]:
    lines = [without_layers(one.text) for one in sentences(verdict)[:5]]
    if reasons(verdict) and not _nothing_leads(verdict):
        lines[:1] = [" ".join((reasons(verdict)[0].text, *lines[:1]))]
    if verdict.turns_at_wind_m_s is not None:
        turn = verdict.turns_at_wind_m_s
        lines.append(f"Turns at {turn.likely:.0f} m/s of wind ({turn.low:.0f} to {turn.high:.0f}).")
    return tuple(dict.fromkeys(lines))


def _tone_words(card: ShotCard) -> str:
    parts = []
    for name, share in sorted(card.scene_share.items(), key=lambda pair: -pair[1]):
        if share >= 0.01 and name in card.rendering_zones:
            zone = hyphened(zone_text(card.rendering_zones[name]).removeprefix("zone "))
            parts.append(f"{CLASS_WORDS[name]} {share:.0%} {zone}")
    return "; ".join(parts) + "."


def wind_cells(rows: Sequence[WindRow], planned: Setting | None) -> tuple[tuple[str, ...], ...]:
    """Forces that ask for the same are one row, with what tells the least of them: the next row begins where it ends.

    An aperture is named where it is not the planned one.
    """

    def asked(row: WindRow) -> tuple[str, str]:
        lead = LEAD_NAMES[row.lead] + ("; leaves sharp" if row.foliage_holds and row.lead != "foliage" else "")
        aperture = ""
        if row.f_number is not None and (planned is None or row.f_number != planned.f_number):
            aperture = f", f/{row.f_number:g}"
        iso = f"{row.iso:.0f}" if row.iso is not None else "?"
        return lead, f"{row.shutter_text}, ISO {iso}{aperture}"

    body = []
    for what, same in itertools.groupby(rows, key=asked):
        run = list(same)
        first, last = run[0], run[-1]
        forces = f"{first.beaufort}" if first is last else f"{first.beaufort}-{last.beaufort}"
        body.append((forces, f"{first.from_m_s:g}-{last.to_m_s:g}", first.signs.split(",")[0], *what))
    return (("Bft", "m/s", "from when", "lead", "time, ISO"), *body)


def _part(share: float) -> str:
    return {0.25: "1/4", 0.5: "1/2", 0.75: "3/4"}[share]


def _sky(when: str) -> str:
    return when.removeprefix("Full ").capitalize()


def _factor(correction: Correction) -> str:
    low, high = correction.times_low, correction.times_high
    if high <= 1.0:
        return (
            f"1/{1 / high:.0f} of the time"
            if round(1 / low) == round(1 / high)
            else (f"1/{1 / low:.0f} to 1/{1 / high:.0f} of the time")
        )
    if low < 1.0:
        return f"{low:.2g}-{high:.2g} times"
    return f"{low:.0f}-{high:.0f} times"


def _assumed(said: Sequence[Words], exposure: Exposure) -> tuple[str, ...]:
    """Without what the range of the setting says already, and what helps nobody outdoors."""
    elsewhere: tuple[type, ...] = (SettingsLeftOut, MovementLeftOut)
    if exposure.recommended is not None:
        elsewhere = (*elsewhere, TimeUnsure)
    left_out = {in_words(one).long for one in exposure.doubts if isinstance(one, elsewhere)}
    return tuple(one.short for one in said if one.long not in left_out)


def _wind_now(facts: Mapping[str, Any], exposure: Exposure) -> str:
    left_out = any(isinstance(one, MovementLeftOut) for one in exposure.doubts)
    return shorter((f"{facts['wind_now']}{'; the setting leaves movement out' if left_out else ''}.",), WIND_NOW)[0]
