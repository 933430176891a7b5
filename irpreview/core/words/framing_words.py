"""A framing in words: which lens, which way up, where to point, what leads, what the wind does to it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from types import MappingProxyType

from irpreview.core.motion.print_blur import blur_word
from irpreview.core.units import shutter_text
from irpreview.core.words.lead_words import lead_text
from irpreview.core.words.phrases import BLURS, cap, is_plural, listed, subject_name, two_figures
from irpreview.core.words.short_answer import focus_line, metres
from irpreview.core.words.verdict_words import also_merging, name_in_pair, short_headline
from irpreview.records import SeparationWord, Verdict
from irpreview.records.framing import (
    DifferenceReason,
    Frame,
    Framing,
    FramingNote,
    Framings,
    Orientation,
    PairDiffers,
    SoftReason,
    ViewpointReason,
    Viewpoints,
)

REASON_WORDS: Mapping[SoftReason, str] = MappingProxyType(
    {
        "horizon_in_the_middle": "the horizon cuts the frame in half",
        "subject_cut_by_the_edge": "the frame cuts off {lead}",
        "edge_cuts_a_thing": "the frame cuts through a tree or wall",
        "much_empty_sky": "more than half the frame is empty sky",
        "empty_corner": "an upper corner is empty sky",
        "subject_in_the_middle": "{lead} {stands} in the middle",
        "subject_off_the_middle": "{lead} {stands} off the middle",
        "subject_small": "{lead} {is} small in the frame",
    }
)
"""What speaks for or against a frame; `{lead}` is named, with its verb."""
NOTE_WORDS: Mapping[FramingNote, str] = MappingProxyType(
    {
        "below_print_resolution": "cropped too far for a print 40 cm long",
        "verticals_lean": "walls lean when this lens is tilted: keep it level and crop, or step back",
        "little_of_the_snap": "a small part of the snap: tones and outlines are uncertain",
        "nothing_leads": "",
        "close_call": "{lead} only just {leads}",
        "what_is_what_unsure": "what stands where is uncertain in this part of the snap",
    }
)
"""Empty: the sentence before it has said so."""


ORIENTATION_WORDS: Mapping[Orientation, str] = MappingProxyType({"lying": "landscape", "standing": "portrait"})
VIEWPOINT_WORDS: Mapping[ViewpointReason, str] = MappingProxyType(
    {
        "something_leads": "something leads there",
        "leads_more_strongly": "the lead is stronger there",
        "leads_more_clearly": "the lead is clearer there",
        "layers_part_better": "the layers separate better",
        "holds_better_in_the_wind": "the wind blurs less",
    }
)
"""Why from one viewpoint and not from the next."""
SAYS_WORDS: Mapping[SeparationWord, str] = MappingProxyType(
    {"separates": "separate", "merges": "merge", "uncertain": "are uncertain"}
)
HERE_WORDS: Mapping[SeparationWord, str] = MappingProxyType(
    {"separates": "but separate", "merges": "but merge", "uncertain": "uncertain"}
)
DIFFERENCE_WORDS: Mapping[DifferenceReason, str] = MappingProxyType(
    {
        "part_of_it": "only part of the {cut} {is} in the frame",
        "harder_print": "the frame alone prints with more contrast",
        "softer_print": "the frame alone prints with less contrast",
        "near_the_limit": "it lies near the limit",
    }
)
"""Why a framing and the whole snap differ on two neighbours."""
_MOST_DIFFERENCES = 2
LEAST_OF_A_FRAMING = 3
"""Words of `50 mm portrait`."""


def pointing(frame: Frame) -> str:
    """Where to point, from the middle of the snap: "7° right, 12° up"."""
    across, up = round(frame.right_deg), round(frame.up_deg)
    parts = [f"{abs(across)}° {'right' if across > 0 else 'left'}"] if across else []
    if up:
        parts.append(f"{abs(up)}° {'up' if up > 0 else 'down'}")
    return ", ".join(parts) if parts else "straight on"


def framing_short_lens(frame: Frame) -> str:
    """Lens, format, which way up: "35 mm, 3:2 landscape"."""
    way = "" if frame.format == "1:1" else f" {ORIENTATION_WORDS[frame.orientation]}"
    return f"{frame.lens_mm:g} mm, {frame.format}{way}"


def framing_short(one: Framing) -> str:
    """Lens, format, which way up."""
    return f"{framing_short_lens(one.frame)}: {lead_text(one.verdict)}"


def framing_sentence(one: Framing) -> str:
    """The framing as one sentence: lens, aim, what leads and what merges."""
    where = pointing(one.frame)
    aim = f"aim {where}" if where[0].isdigit() else where
    return f"{framing_short_lens(one.frame)}, {aim}. {short_headline(one.verdict)}"


def framing_row(frame: Frame, most_words: int = 99) -> str:
    """Lens, which way up and where to point, in a row: "50 mm portrait, 22° right, 10° up"; as much of it as fits."""
    way = "square" if frame.format == "1:1" else ORIENTATION_WORDS[frame.orientation]
    lens = f"{frame.lens_mm:g} mm {way}"
    return next((text for text in (f"{lens}, {pointing(frame)}", lens) if len(text.split()) <= most_words), "")


def framing_focus(one: Framing) -> str:
    """Where to focus with its lens and what is sharp then, for a row: "50 mm: 11 m (sharp from 5.4 m)"."""
    return "" if one.focus is None else f"{one.frame.lens_mm:g} mm: {focus_line(one.focus)}"


def _focus_words(one: Framing) -> str:
    focus = one.focus
    if focus is None:
        return ""
    far = "infinity" if focus.far_m is None else metres(focus.far_m)
    said = f"With {one.frame.lens_mm:g} mm focus at {metres(focus.focus_at_m)}: sharp {metres(focus.near_m)} to {far}."
    if focus.needs_f_number is not None and focus.needs_f_number > focus.f_number * 1.02:
        said += f" From the nearest thing it takes f/{two_figures(focus.needs_f_number)}."
    return said


def _differences(one: Framing) -> list[str]:
    """Where the whole snap says something else of two neighbours, and why."""
    # first what turns from one to the other
    pairs = sorted(one.differs, key=lambda pair: "uncertain" in (pair.here, pair.in_the_snap))
    return [_difference(pair, one.verdict) for pair in pairs[:_MOST_DIFFERENCES]]


def _difference(pair: PairDiffers, verdict: Verdict) -> str:
    a, b = (name_in_pair(verdict.layers[i], verdict) for i in (pair.a, pair.b))
    cut = "" if pair.cut is None else name_in_pair(verdict.layers[pair.cut], verdict)
    why = DIFFERENCE_WORDS[pair.because].format(cut=cut, **{"is": "are" if is_plural(cut) else "is"})
    # what merges here has been said
    here = "" if pair.here == "merges" else f", {HERE_WORDS[pair.here]} here"
    return f"{cap(a)} and {b} {SAYS_WORDS[pair.in_the_snap]} in the whole snap{here}: {why}."


def framing_details(one: Framing, *, with_focus: bool = True) -> list[str]:
    """What `framing_sentence` has not said: what else merges, where the whole snap says something else, what the wind
    does, where to focus, what speaks for or against it.
    """
    verdict = one.verdict
    out = []
    if "water" in one.roles:
        out.append("Water in the frame.")
    out.append(_wind(one))
    merging = also_merging(verdict)
    if merging:
        out.append(f"{cap(', '.join(f'{a} and {b}' for a, b in merging))} merge as well.")
    out += _differences(one)
    if with_focus and one.focus is not None:
        out.append(_focus_words(one))
    out += [f"{cap(_of_the_lead(REASON_WORDS[reason], verdict))}." for reason in one.reasons]
    out += [f"{cap(_of_the_lead(NOTE_WORDS[note], verdict))}." for note in _notes_to_say(one)]
    return out


def _wind(one: Framing) -> str:
    """What the wind does to the foliage of the frame, and that it does least here."""
    if one.plant_print_mm is None:
        return "No foliage to blur."
    word = BLURS[blur_word(one.plant_print_mm)]
    into = f"is {word}" if word in ("sharp", "slightly soft") else f"blurs into {word}"
    least = ", the least of these framings" if "wind" in one.roles else ""
    return f"Foliage {into} at {shutter_text(one.movement.shutter_s)}{least}."


def _notes_to_say(one: Framing) -> list[FramingNote]:
    """The notes that the sentence has not said: that nothing leads it has; a tie of two it has named."""
    tie = one.verdict.clearness == "about_equal"
    return [note for note in one.notes if NOTE_WORDS[note] and not (note == "close_call" and tie)]


def _of_the_lead(text: str, verdict: Verdict) -> str:
    """The words with what leads named in them; where nothing does, what is built, else what comes nearest."""
    nearest = (*(s for s in verdict.subjects if s.choice == "structure"), *verdict.subjects)
    subject = verdict.subject or next(iter(nearest), None)
    name = "it" if subject is None else f"the {subject_name(subject, verdict.layers)}"
    many = is_plural(name)
    return text.format(
        lead=name,
        stands="stand" if many else "stands",
        leads="lead" if many else "leads",
        **{"is": "are" if many else "is"},
    )


def wider_sentence(found: Framings) -> str | None:
    """Lenses that see more than the snap."""
    if not found.wider_than_snap_mm:
        return None
    mm = listed([f"{value:g} mm" for value in found.wider_than_snap_mm])
    takes = "take" if len(found.wider_than_snap_mm) > 1 else "takes"
    return f"Your {mm} {takes} in more than this snap. Take a wider snap to have that judged."


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
        return f"{text}. No framing from {names[second]}."
    other = found[second].best[0]
    start = "About as good from" if here.close else "Next best from"
    return f"{text}. {start} {names[second]}, with {other.frame.lens_mm:g} mm: {lead_text(other.verdict)}."
