"""What should lead, in a few words for every screen and paper; why it leads, or what to wait for, in sentences."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from irpreview.core.motion.wind import beaufort_of
from irpreview.core.units import shutter_text, tone_word
from irpreview.core.verdict.plausibility import ASSUMED_WIND_M_S
from irpreview.core.words.phrases import (
    BLURS,
    FORCES,
    cap,
    in_a,
    is_plural,
    millimetres,
    percent,
    short,
    sky_facts,
    subject_name,
    wind_text,
    zones_text,
)
from irpreview.records import (
    FoliageBlur,
    LeadChoice,
    NotLandscape,
    Sentence,
    Separation,
    Subject,
    Verdict,
    WaitFor,
    WindTurn,
)

LEAD_NAMES: Mapping[LeadChoice, str] = MappingProxyType(
    {"structure": "building or rock", "foliage": "foliage", "sky": "sky", "wait": "wait", "none": "nothing"}
)
"""For the cells of a table."""
LEAD_WORDS: Mapping[LeadChoice, str] = MappingProxyType(
    {
        "structure": "the building or rock leads",
        "foliage": "the foliage leads",
        "sky": "the sky leads",
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
GATE_WORDS: dict[NotLandscape, str] = {
    "indoors": "this looks like an indoor picture",
    "night": "this looks like night or lamplight",
    "close_up": "this looks like a close-up",
    "things": "people, animals or objects fill the frame",
    "drawn": "this looks like a drawing or a screen",
    "without_colour": "this picture has no colour",
}
_GALE_FORCE = 8
"""In a gale nobody stands at a tripod."""
_RIM = 0.35
"""Share of an edge that separates from which a merging thing still shows its rim."""


def lead_text(verdict: Verdict) -> str:
    """What to do, naming what leads, without capital and full stop: "the tower leads"."""
    if not verdict.gate.landscape:
        return "not a daylight landscape"
    if verdict.wait_for is not None:
        return WAIT_WORDS[verdict.wait_for]
    if verdict.subject is None:
        return LEAD_WORDS[verdict.lead]
    name = subject_name(verdict.subject, verdict.layers)
    other = verdict.runner_up if verdict.clearness == "about_equal" else None
    if other is not None:
        return f"the {name} or {_the(other, verdict)} could lead"
    return f"the {name} {'lead' if is_plural(name) else 'leads'}"


def lead_reasons(verdict: Verdict) -> list[Sentence]:
    """Why it leads or what to wait for, what the wind does, what could lead as well."""
    out = [_why(verdict), *(_blur(plant, verdict) for plant in verdict.foliage)]
    if verdict.turn is not None and verdict.wait_for != "lull":
        out += _turn(verdict.turn, verdict)
    runner = verdict.runner_up
    if runner is not None:
        evidence = f"strength {runner.strength:.2f} of 1 against {verdict.strength:.2f}: step, size, place"
        name = _the(runner, verdict)
        out.append(Sentence(f"{cap(name)} could lead just as well.", evidence, runner.centre_xy))
    return out


def _the(subject: Subject, verdict: Verdict) -> str:
    return f"the {subject_name(subject, verdict.layers)}"


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
    tone, behind = tone_word(own.lightness), tone_word(other.lightness)
    evidence = f"{abs(best.zones):.1f} zones from the {other.name}, {abs(best.print_step.likely):.0f} L*, {share}"
    if best.says == "merges":
        if best.edge_share_separating < _RIM:
            return "", evidence
        merge = "merge" if is_plural(subject_name(subject, verdict.layers)) else "merges"
        alike = f"{tone} {against}" if tone == behind else against
        return f"{merge} with the {alike}; only the rim shows", evidence
    doubt = ", uncertain" if best.says == "uncertain" else ""
    if tone != behind:
        return f"{tone} against {behind} {against}{doubt}", evidence
    more = "lighter" if own.zone.likely > other.zone.likely else "darker"
    size = "slightly" if abs(best.zones) < 0.2 else zones_text(best.zones)
    return f"{size} {more} than the {against}{doubt}", evidence


def weak_edge(subject: Subject, verdict: Verdict) -> str:
    """What the weakest edge of the lead does: `merges with the trees`; empty where every long edge separates or it is
    named already.
    """
    weakest = subject.weakest
    if weakest is None or weakest is subject.best:
        return ""
    _, other = (verdict.layers[i] for i in _other(subject, weakest, verdict))
    name = short(other)
    if subject.best is not None and short(verdict.layers[_other(subject, subject.best, verdict)[1]]) == name:
        name = other.name  # "light against dark water; uncertain against the water" would be one water
    if weakest.says == "merges":
        merge = "merge" if is_plural(subject_name(subject, verdict.layers)) else "merges"
        return f"{merge} with the {name}"
    return f"uncertain against the {name}"


def why_line(verdict: Verdict) -> str:
    """Why it leads in one line, for under the lead: "Light against dark sky; uncertain against the trees." """
    if not verdict.gate.landscape:
        return f"{cap(GATE_WORDS[verdict.gate.reasons[0]])}."
    subject = verdict.subject
    if verdict.wait_for is not None or subject is None or subject.choice == "sky":
        _, _, rest = _why(verdict).text.partition(": ")
        return cap(rest)
    parts = [part for part in (standing(subject, verdict)[0], weak_edge(subject, verdict)) if part]
    return f"{cap('; '.join(parts))}." if parts else ""


def edges_told(verdict: Verdict) -> tuple[Separation, ...]:
    """The edges of the lead of which `why_line` says in so many words that they merge or are uncertain."""
    subject = verdict.subject
    if not verdict.gate.landscape or verdict.wait_for is not None or subject is None or subject.choice == "sky":
        return ()
    best, told = subject.best, []
    if best is not None and (
        best.says == "uncertain" or (best.says == "merges" and best.edge_share_separating >= _RIM)
    ):
        told.append(best)
    if subject.weakest is not None and weak_edge(subject, verdict):
        told.append(subject.weakest)
    return tuple(told)


def _why(verdict: Verdict) -> Sentence:
    subject = verdict.subject
    if verdict.wait_for is not None:
        return _wait(verdict, verdict.wait_for)
    if subject is None:
        text = "Nothing leads here: nothing stands out in infrared. Try another viewpoint."
        if verdict.clearness == "not_quite" and verdict.subjects:
            near = _the(verdict.subjects[0], verdict)
            text = f"Nothing quite leads here: {near} {'come' if is_plural(near) else 'comes'} nearest."
        return Sentence(text, strongest(verdict), verdict.subjects[0].centre_xy if verdict.subjects else None)
    lead = cap(lead_text(verdict))
    if subject.choice == "sky":
        evidence = f"{sky_facts(verdict.sky)}; strength {verdict.strength:.2f} of 1, {verdict.needed:.2f} leads"
        return Sentence(f"{lead}: more happens there than on the land.", evidence, subject.centre_xy)
    how, evidence = standing(subject, verdict)
    parts = "; ".join(part for part in (how, weak_edge(subject, verdict)) if part)
    return Sentence(f"{lead}: {parts}." if parts else f"{lead}.", evidence, subject.centre_xy)


def strongest(verdict: Verdict) -> str:
    """What came nearest to leading, and by how much it fell short."""
    if not verdict.subjects:
        return "no building, no foliage, no hill against the sky in the frame"
    top = max(verdict.subjects, key=lambda s: s.strength)
    reach = f"strength {top.strength:.2f} of 1, {verdict.needed:.2f} leads"
    if top.choice == "sky":
        return f"most stands out: the sky, {sky_facts(verdict.sky)}; {reach}"
    return f"most stands out: {subject_name(top, verdict.layers)}, {percent(top.share)} of the frame; {reach}"


def _wait(verdict: Verdict, wait_for: WaitFor) -> Sentence:
    how_long = "One snap cannot tell how long."
    evidence, subject = strongest(verdict), verdict.subject
    at = subject.centre_xy if subject is not None else None
    if wait_for == "cloud":
        bare = verdict.sky.okta is None or verdict.sky.okta <= 1
        lacks = "the sky is bare and" if bare else "what there is has no form, and"
        text = f"Wait for cloud: {lacks} nothing stands up against it. {how_long}"
    elif wait_for == "breaks":
        text = f"Wait for breaks in the cloud: a flat sky, and nothing on the land leads. {how_long}"
    elif wait_for == "sun":
        text = "Wait for the sun: in shade the foliage stays grey, and nothing else leads."
        evidence = shade_evidence(verdict)
    else:
        name = _the(subject, verdict) if subject is not None else "the foliage"
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
    what, many = ("leaves", True) if plant.class_name == "tree" else ("grass", False)
    # an assumed wind is named first: everything after it hangs on it
    who = cap(what) if verdict.wind_m_s is not None else f"{cap(in_a(ASSUMED_WIND_M_S))} {what}"
    time = shutter_text(verdict.shutter_s)
    if plant.word in ("sharp", "slightly_soft"):
        text = f"{who} {'are' if many else 'is'} {BLURS[plant.word]} at {time}"
        until = plant.sharp_until_s
        if plant.word != "sharp" and until is not None and 1 / 1000 < until < verdict.shutter_s:
            text += f"; sharp at {shutter_text(until)}"
    else:
        text = f"{who} {'blur' if many else 'blurs'} into {BLURS[plant.word]} at {time}"
    evidence = f"blur {millimetres(plant.print_mm)}, {percent(plant.share)} of the frame"
    return Sentence(text + ".", evidence, plant.centre_xy)


def _turn(turn: WindTurn, verdict: Verdict) -> list[Sentence]:
    force = beaufort_of(turn.wind_m_s.likely)
    if force >= _GALE_FORCE:
        return []
    layers = verdict.layers
    calm = subject_name(turn.calm, layers)
    windy = (
        "wait for a lull"
        if turn.waits
        else subject_name(turn.windy, layers)
        if turn.windy is not None
        else "nothing leads"
    )
    stronger = FORCES[min(force + 1, len(FORCES) - 1)]
    text = f"{cap(FORCES[max(force - 1, 0)])}: {calm}. {cap(stronger)}: {windy}. They swap near Beaufort {force}."
    wind = turn.wind_m_s
    time = "" if verdict.shutter_s is None else f" at {shutter_text(verdict.shutter_s)}"
    evidence = f"at {wind.likely:.1f} m/s ({wind.low:.1f} to {wind.high:.1f}){time}: {wind_text(wind.likely)}"
    return [Sentence(text, evidence, turn.calm.centre_xy)]
