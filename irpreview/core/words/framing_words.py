"""A framing in words: which lens, which way up, where to point, what leads, what the wind does to it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from types import MappingProxyType

from irpreview.core.motion.print_blur import blur_word
from irpreview.core.units import shutter_text
from irpreview.core.words.lead_words import lead_text
from irpreview.core.words.phrases import BLURS, cap, listed
from irpreview.core.words.verdict_words import short_headline
from irpreview.records.framing import (
    Frame,
    Framing,
    FramingNote,
    FramingRole,
    Framings,
    Orientation,
    SoftReason,
    ViewpointReason,
    Viewpoints,
)

ROLE_WORDS: Mapping[FramingRole, str] = MappingProxyType(
    {
        "structure": "building or rock leads",
        "foliage": "foliage leads",
        "sky": "sky leads",
        "water": "water in the frame",
        "wind": "blurs least in this wind",
    }
)
REASON_WORDS: Mapping[SoftReason, str] = MappingProxyType(
    {
        "horizon_in_the_middle": "the horizon cuts the frame in half",
        "subject_cut_by_the_edge": "the frame cuts off what leads",
        "edge_cuts_a_thing": "the frame cuts a tree or wall",
        "much_empty_sky": "more than half the frame is empty sky",
        "empty_corner": "an upper corner is empty sky",
        "subject_in_the_middle": "what leads stands in the middle",
        "subject_off_the_middle": "what leads stands off the middle",
        "subject_small": "what leads is small in the frame",
    }
)
NOTE_WORDS: Mapping[FramingNote, str] = MappingProxyType(
    {
        "below_print_resolution": "cropped too far for a print 40 cm long",
        "verticals_lean": "tilted, this lens makes walls lean: keep it level and crop, or step back",
        "little_of_the_snap": "a small part of the snap: tones and edges are less sure",
        "nothing_leads": "nothing leads today",
        "close_call": "two things lead about equally",
        "what_is_what_unsure": "what is where is unsure in this part of the snap",
    }
)


ORIENTATION_WORDS: Mapping[Orientation, str] = MappingProxyType({"lying": "landscape", "standing": "portrait"})
VIEWPOINT_WORDS: Mapping[ViewpointReason, str] = MappingProxyType(
    {
        "something_leads": "something leads there",
        "leads_more_strongly": "its lead is stronger",
        "leads_more_clearly": "its lead is clearer",
        "layers_part_better": "its layers separate better",
        "holds_better_in_the_wind": "the wind blurs less of it",
    }
)
"""Why from one viewpoint and not from the next."""


def pointing(frame: Frame) -> str:
    """Where to point, from the middle of the snap: "7° right, 12° up"."""
    across, up = round(frame.right_deg), round(frame.up_deg)
    parts = [f"{abs(across)}° {'right' if across > 0 else 'left'}"] if across else []
    if up:
        parts.append(f"{abs(up)}° {'up' if up > 0 else 'down'}")
    return ", ".join(parts) if parts else "at the middle"


def framing_short_lens(frame: Frame) -> str:
    """Lens, format, which way up: "35 mm, 3:2 landscape"."""
    way = "" if frame.format == "1:1" else f" {ORIENTATION_WORDS[frame.orientation]}"
    return f"{frame.lens_mm:g} mm, {frame.format}{way}"


def framing_short(one: Framing) -> str:
    """Lens, format, which way up."""
    return f"{framing_short_lens(one.frame)}: {lead_text(one.verdict)}"


def framing_sentence(one: Framing) -> str:
    """The framing as one sentence."""
    return f"{framing_short_lens(one.frame)}, {pointing(one.frame)}. {short_headline(one.verdict)}"


def framing_details(one: Framing) -> list[str]:
    """What merges, what the wind does, what speaks for or against the frame."""
    verdict = one.verdict
    # where nothing leads, what the frame was looked for is no lead
    said = [role for role in one.roles if "nothing_leads" not in one.notes or role in ("water", "wind")]
    out = [f"{cap(listed([ROLE_WORDS[role] for role in said]))}."] if said else []
    if one.plant_print_mm is not None:
        word = BLURS[blur_word(one.plant_print_mm)]
        time = shutter_text(one.movement.shutter_s)
        into = word if word in ("sharp", "slightly soft") else f"blurs into {word}"
        out.append(f"Foliage {into} at {time}.")
    else:
        out.append("No foliage in the frame for the wind to blur.")
    melting = [(verdict.layers[s.a].name, verdict.layers[s.b].name) for s in verdict.separations if s.says == "merges"]
    if melting:
        out.append(f"Merging: {listed([f'{a} with {b}' for a, b in melting])}.")
    out += [f"{cap(REASON_WORDS[reason])}." for reason in one.reasons]
    out += [f"{cap(NOTE_WORDS[note])}." for note in one.notes]
    return out


def wider_sentence(found: Framings) -> str | None:
    """Lenses that see more than the snap."""
    if not found.wider_than_snap_mm:
        return None
    mm = listed([f"{value:g} mm" for value in found.wider_than_snap_mm])
    return f"{mm} sees wider than this snap: only crops of that frame are shown."


def place_sentence(names: Sequence[str], found: Sequence[Framings], here: Viewpoints) -> str | None:
    """From which of several snaps of one place to work, with which lens, and why; None where no framing was found.

    names, found: of all snaps, in the order in which they were given.
    """
    first = here.order[0]
    if len(here.order) < 2 or not found[first].best:
        return None
    best = found[first].best[0]
    text = f"From {names[first]}, with {best.frame.lens_mm:g} mm"
    if here.because:
        text += f", because {listed([VIEWPOINT_WORDS[reason] for reason in here.because])}"
    text += f": {lead_text(best.verdict)}"
    second = here.order[1]
    if not found[second].best:
        return f"{text}. {cap(names[second])} gives no framing."
    other = found[second].best[0]
    tail = "is about as good" if here.close else "comes next"
    return f"{text}. {names[second]}, with {other.frame.lens_mm:g} mm, {tail}: {lead_text(other.verdict)}."
