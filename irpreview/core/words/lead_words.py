"""What should lead, in a few words for every screen and paper; why it leads, or what to wait for, in sentences."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from irpreview.core.motion.wind import beaufort_of
from irpreview.core.units import shutter_text
from irpreview.core.words.phrases import (
    BLURS,
    FORCES,
    cap,
    is_plural,
    millimetres,
    percent,
    short,
    sky_facts,
    subject_name,
    the,
    tone_word,
    wind_text,
    zones_text,
)
from irpreview.records import FoliageBlur, LeadChoice, Sentence, Separation, Subject, Verdict, WaitFor, WindTurn

LEAD_NAMES: Mapping[LeadChoice, str] = MappingProxyType(
    {"structure": "structure or rock", "foliage": "foliage", "sky": "sky", "wait": "wait", "none": "nothing"}
)
"""For the cells of a table."""
LEAD_WORDS: Mapping[LeadChoice, str] = MappingProxyType(
    {
        "structure": "build on structure or rock",
        "foliage": "build on the foliage",
        "sky": "build on the sky",
        "wait": "wait",
        "none": "nothing leads here",
    }
)
"""What to do where only the choice is known, without capital and full stop."""
WAIT_WORDS: Mapping[WaitFor, str] = MappingProxyType(
    {
        "cloud": "wait for cloud",
        "breaks": "wait for breaks in the cloud",
        "sun": "wait for the sun",
        "lull": "wait for a lull",
    }
)
_GALE_FORCE = 8
"""In a gale nobody stands at a tripod."""


def lead_text(verdict: Verdict) -> str:
    """What to do, naming what leads, without capital and full stop: "build on the tower"."""
    if not verdict.gate.landscape:
        return "not a daylight landscape"
    if verdict.wait_for is not None:
        return WAIT_WORDS[verdict.wait_for]
    if verdict.subject is None:
        return LEAD_WORDS[verdict.lead]
    other = verdict.runner_up if verdict.clearness == "about_equal" else None
    return f"build on the {subject_name(verdict.subject)}" + ("" if other is None else f" or {_the(other)}")


def lead_reasons(verdict: Verdict) -> list[Sentence]:
    """Why it leads or what to wait for, what the wind does, what could lead as well."""
    out = [_why(verdict), *(_blur(plant, verdict) for plant in verdict.foliage)]
    if verdict.turn is not None and verdict.wait_for != "lull":
        out += _turn(verdict.turn, verdict)
    runner = verdict.runner_up
    if runner is not None:
        near = "They are about equal" if verdict.clearness == "about_equal" else "It is close"
        evidence = f"strength {runner.strength:.2f} of 1 against {verdict.strength:.2f}: step, size, place"
        out.append(Sentence(f"{near}: {_the(runner)} could lead as well.", evidence, runner.centre_xy))
    return out


def _the(subject: Subject) -> str:
    return f"the {subject_name(subject)}"


def _other(subject: Subject, separation: Separation, verdict: Verdict) -> tuple[int, int]:
    """(own layer, other layer) of an edge of the subject."""
    kin = {verdict.layers[subject.layer].class_name}
    if subject.kind == "mountain":
        kin = {"ground", "snow"}
    own, other = separation.a, separation.b
    return (own, other) if verdict.layers[own].class_name in kin else (other, own)


def standing(subject: Subject, verdict: Verdict) -> tuple[str, str]:
    """How a subject stands against what it separates from best, and the evidence; empty where nothing is sure."""
    share = f"{percent(subject.share)} of the frame"
    best = subject.best
    if best is None:
        return "", share
    own, other = (verdict.layers[i] for i in _other(subject, best, verdict))
    against = short(other)
    evidence = f"{abs(best.zones):.1f} zones from {the(other)}, {abs(best.print_step.likely):.0f} L*, {share}"
    if best.says == "merges":
        if best.edge_share_separating >= 0.35:
            are = "are" if is_plural(subject_name(subject)) else "is"
            return f"{are} as dark or light as the {against}; only the rim shows", evidence
        return "", evidence
    tone, behind = tone_word(own.lightness), tone_word(other.lightness)
    doubt = ", if that edge holds" if best.says == "uncertain" else ""
    if tone != behind:
        return f"{tone} against {behind} {against}{doubt}", evidence
    more = "lighter" if own.zone.likely > other.zone.likely else "darker"
    return f"{zones_text(best.zones)} {more} than the {against}{doubt}", evidence


def _why(verdict: Verdict) -> Sentence:
    subject = verdict.subject
    if verdict.wait_for is not None:
        return _wait(verdict, verdict.wait_for)
    if subject is None:
        text = "Nothing leads here: nothing stands out enough in infrared. Try another standpoint."
        if verdict.clearness == "not_quite" and verdict.subjects:
            near = _the(verdict.subjects[0])
            text = f"Nothing quite leads here: {near} {'come' if is_plural(near) else 'comes'} nearest."
        return Sentence(text, strongest(verdict), verdict.subjects[0].centre_xy if verdict.subjects else None)
    if subject.choice == "sky":
        text = "Build on the sky: it has more going on than the land below."
        evidence = f"{sky_facts(verdict.sky)}; strength {verdict.strength:.2f} of 1, {verdict.needed:.2f} leads"
        return Sentence(text, evidence, subject.centre_xy)
    how, evidence = standing(subject, verdict)
    name = _the(subject)
    if how.startswith(("is ", "are ")):
        text = f"Build on {name}: {'they' if is_plural(name) else 'it'} {how}."
    else:
        text = f"Build on {name}{': ' + how if how else ''}."
    if subject.weakest is not None:
        _, other = _other(subject, subject.weakest, verdict)
        if subject.weakest is not subject.best:
            text = text[:-1] + f"; against {short(verdict.layers[other])} it is weak."
    return Sentence(text, evidence, subject.centre_xy)


def strongest(verdict: Verdict) -> str:
    """What came nearest to leading, and by how much it fell short."""
    if not verdict.subjects:
        return "no building, no leaves, no hill against the sky in the frame"
    top = max(verdict.subjects, key=lambda s: s.strength)
    reach = f"strength {top.strength:.2f} of 1, {verdict.needed:.2f} leads"
    if top.choice == "sky":
        return f"most stands out: the sky, {sky_facts(verdict.sky)}; {reach}"
    return f"most stands out: {subject_name(top)}, {percent(top.share)} of the frame; {reach}"


def _wait(verdict: Verdict, wait_for: WaitFor) -> Sentence:
    how_long = "How long cannot be told from one snap."
    evidence, subject = strongest(verdict), verdict.subject
    at = subject.centre_xy if subject is not None else None
    if wait_for == "cloud":
        text = f"Wait for cloud: the sky is bare and nothing stands up against it. {how_long}"
    elif wait_for == "breaks":
        text = f"Wait for breaks in the cloud: the sky is flat and nothing on the land carries the picture. {how_long}"
    elif wait_for == "sun":
        text = "Wait for the sun: in shade the leaves stay grey and nothing else carries the picture."
        evidence = shade_evidence(verdict)
    else:
        name = _the(subject) if subject is not None else "the leaves"
        text = f"Wait for a lull: {name} would lead, but not in this wind."
        sharp = next((p.sharp_until_s for p in verdict.foliage if p.leads), None)
        if sharp is not None and verdict.shutter_s is not None and 1 / 1000 < sharp < verdict.shutter_s:
            text += f" Or try {shutter_text(sharp)} or shorter."
    return Sentence(text, evidence, at)


def shade_evidence(verdict: Verdict) -> str:
    """By what it is told that no sun falls on the land."""
    shade = verdict.shade
    if shade.sun_height_deg is not None:
        return f"the sun stands at {shade.sun_height_deg:.0f} degrees"
    return f"even the brightest land lies {shade.below_sky_stops or 0:.1f} stops below the sky"


def _blur(plant: FoliageBlur, verdict: Verdict) -> Sentence:
    """Leaves and grass at the planned time: word first, number second."""
    assert verdict.shutter_s is not None
    time = shutter_text(verdict.shutter_s)
    what, many = ("Leaves", True) if plant.class_name == "tree" else ("Grass", False)
    assumed = "" if verdict.wind_m_s is not None else " if a light breeze blows"
    if plant.word in ("sharp", "slightly_soft"):
        text = f"{what} {'are' if many else 'is'} {BLURS[plant.word]} at {time}{assumed}"
        until = plant.sharp_until_s
        if plant.word != "sharp" and until is not None and 1 / 1000 < until < verdict.shutter_s:
            text += f"; sharp at {shutter_text(until)}"
    else:
        text = f"{what} {'blur' if many else 'blurs'} into {BLURS[plant.word]} at {time}{assumed}"
    evidence = f"blur {millimetres(plant.print_mm)}, {percent(plant.share)} of the frame"
    return Sentence(text + ".", evidence, plant.centre_xy)


def _turn(turn: WindTurn, verdict: Verdict) -> list[Sentence]:
    force = beaufort_of(turn.wind_m_s.likely)
    if force >= _GALE_FORCE:
        return []
    calm = subject_name(turn.calm)
    windy = "wait for a lull" if turn.waits else subject_name(turn.windy) if turn.windy is not None else "nothing leads"
    stronger = FORCES[min(force + 1, len(FORCES) - 1)]
    text = f"{cap(FORCES[max(force - 1, 0)])}: {calm}. {cap(stronger)}: {windy}. They swap near Beaufort {force}."
    wind = turn.wind_m_s
    time = "" if verdict.shutter_s is None else f" at {shutter_text(verdict.shutter_s)}"
    evidence = f"at {wind.likely:.1f} m/s ({wind.low:.1f} to {wind.high:.1f}){time}: {wind_text(wind.likely)}"
    return [Sentence(text, evidence, turn.calm.centre_xy)]
