"""What should lead, in a few words for every screen and paper; why it leads, or what to wait for, in sentences."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from irpreview.core.rendering.finishing import PrintCurve
from irpreview.core.units import shutter_text
from irpreview.core.verdict.lead import SHARP_PRINT_MM, Lead
from irpreview.core.verdict.subjects import Candidate
from irpreview.core.words.phrases import short, sky_facts, the, tone_word, zones_text
from irpreview.records import Conditions, Layer, LeadChoice, Movement, Range, Sentence, Sky

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
"""What to do, without capital and full stop."""
_GALE_M_S = 17.0
"""Beaufort 8 begins at 17.2 m/s (WMO code 1100)."""


def _wind_text(wind: float) -> str:
    return f"{wind:.0f} m/s" if wind >= 3 else f"{wind:.1f} m/s"


def _turn_text(turns: Range) -> str:
    low, likely, high = (_wind_text(w) for w in (turns.low, turns.likely, turns.high))
    return f"{likely} ({low.removesuffix(' m/s')} to {high.removesuffix(' m/s')})"


def _percent(share: float) -> str:
    return f"{100 * share:.0f} %" if share >= 0.015 else f"{100 * share:.1f} %"


def _standing_text(candidate: Candidate, layers: tuple[Layer, ...], curve: PrintCurve) -> tuple[str, str]:
    """How the leading layer stands against what it parts from best, and the evidence."""
    layer, separation = candidate.layer, candidate.best_separation
    assert layer is not None
    share = f"{_percent(candidate.share)} of the frame"
    if separation is None:
        return "", share
    if separation.says == "merges":
        part = f"{100 * separation.edge_share_separating:.0f} % of the edge parts, {share}"
        return (
            "its edge parts though the middle tones match" if separation.edge_share_separating >= 0.35 else ""
        ), part
    other = layers[separation.b if separation.a == layer.index else separation.a]
    own = tone_word(float(curve.lightness(layer.zone.likely)))
    behind = tone_word(float(curve.lightness(other.zone.likely)))
    step = f"{abs(separation.zones):.1f} zones from {the(other)}, {abs(separation.print_step.likely):.0f} L* on the print, {share}"
    doubt = ", if that edge holds" if separation.says == "uncertain" else ""
    if own != behind:
        return f"{own} against {behind} {short(other)}{doubt}", step
    more = "lighter" if layer.zone.likely > other.zone.likely else "darker"
    return f"{zones_text(separation.zones)} {more} than {the(other)}{doubt}", step


def _strongest(lead: Lead, layers: tuple[Layer, ...], sky: Sky) -> str:
    """What came nearest to leading, and by how much it fell short."""
    if not lead.candidates:
        return "no structure, no leaves, no hill against the sky in the frame"
    top = lead.candidates[0]
    reach = f"strength {top.strength:.2f} of 1 in calm air, {lead.needed:.2f} leads"
    if top.layer is None or top.choice == "sky":
        return f"most stands out: the sky, {sky_facts(sky)}; {reach}"
    facts = f"most stands out: {top.name}, {_percent(top.share)} of the frame"
    if top.best_separation is not None:
        other = layers[top.best_separation.b if top.best_separation.a == top.layer.index else top.best_separation.a]
        facts += f", {abs(top.best_separation.print_step.likely):.0f} L* from {the(other)} on the print"
    return f"{facts}; {reach}"


def _leaves(layer: Layer) -> str:
    return "the trees" if layer.class_name == "tree" else "the grass"


def _shorter(movement: Movement | None) -> str:
    """A shutter time that would still hold the leaves, where there is one worth trying."""
    if movement is None:
        return ""
    for name in ("tree", "grass"):
        if name in movement.classes:
            holds = movement.classes[name].holds_until_s
            if holds is not None and 1 / 1000 < holds.likely < movement.shutter_s:
                return f" Or try {shutter_text(holds.likely)} or shorter."
    return ""


def _wait_sentences(lead: Lead, layers: tuple[Layer, ...], sky_read: Sky, movement: Movement | None) -> list[Sentence]:
    sky = max((la for la in layers if la.class_name in ("clear_sky", "cloud")), key=lambda la: la.share, default=None)
    at = sky.centre_xy if sky else None
    evidence = _strongest(lead, layers, sky_read)
    how_long = "How long cannot be told from one snap."
    if lead.wait_for == "cloud":
        text = f"Wait for cloud: the sky stays empty and nothing stands up against it. {how_long}"
    elif lead.wait_for == "breaks":
        text = f"Wait for breaks in the cloud: a flat sky, and nothing on the land that carries the picture. {how_long}"
    elif lead.wait_for == "sun":
        text = "Wait for the sun to come round: in shade the leaves stay grey and nothing else carries the picture."
        evidence = lead.shade.evidence
    else:
        turn = f", below about {_turn_text(lead.turns_at_wind_m_s)}" if lead.turns_at_wind_m_s is not None else ""
        leaves = next((c.layer for c in lead.candidates if c.choice == "foliage" and c.layer), None)
        they = "they do" if leaves is None or leaves.class_name == "tree" else "it does"
        what = _leaves(leaves) if leaves is not None else "the leaves"
        text = f"Wait for a lull{turn}: {what} would lead, but in this wind {they} not hold still. {how_long}"
        text += _shorter(movement)
        tree = next((c.layer for c in lead.candidates if c.choice == "foliage" and c.layer), None)
        at = tree.centre_xy if tree else at
    return [Sentence(text, evidence, at)]


def _movement_sentences(lead: Lead, wind: float | None, movement: Movement | None) -> list[Sentence]:
    blur = lead.foliage_print_mm
    tree = next((c for c in lead.candidates if c.choice == "foliage" and c.layer is not None), None)
    if tree is None or tree.layer is None or blur is None or movement is None:
        return []
    time = shutter_text(movement.shutter_s)
    air = f"in {_wind_text(wind)} of wind" if wind is not None else "with the wind unknown"
    evidence = (
        f"blur {blur.likely:.2g} mm ({blur.low:.2g} to {blur.high:.2g}) on a 30 x 40 cm print at {time}; "
        f"{SHARP_PRINT_MM:g} mm still looks sharp"
    )
    out = []
    what, s = ("the leaves", "") if "tree" in movement.classes else ("the grass", "s")
    if blur.likely <= SHARP_PRINT_MM:
        text = f"At {time} {air} {what} stay{s} sharp."
        if blur.high > SHARP_PRINT_MM:
            text = text[:-1] + ", though a gust can blur them."
    elif blur.likely <= 3 * SHARP_PRINT_MM:
        text = f"At {time} {air} {what} go{'es' if s else ''} soft, a mass more than a drawing."
    else:
        text = f"At {time} {air} {what} blur{s} into plain tone."
    out.append(Sentence(text, evidence, tree.layer.centre_xy))
    turns = lead.turns_at_wind_m_s
    # in a gale nobody stands at a tripod
    if turns is not None and turns.likely < _GALE_M_S and lead.turns_to is not None and lead.wait_for != "lull":
        turn = _turn_text(turns)
        if lead.choice == "foliage":
            next_one = next((c for c in lead.candidates if c.choice == lead.turns_to), None)
            if lead.turns_to == "wait":
                text = f"From about {turn} of wind, wait for a lull."
            elif next_one is None:
                text = f"From about {turn} of wind nothing leads."
            else:
                takes = "take" if " and " in next_one.name else "takes"
                text = f"From about {turn} of wind the {next_one.name} {takes} over."
        else:
            text = f"Under about {turn} of wind {_leaves(tree.layer)} would lead at this shutter."
        out.append(Sentence(text, f"where the blur at {time} takes the lead from the leaves", tree.layer.centre_xy))
    return out


def lead_sentences(
    lead: Lead,
    layers: tuple[Layer, ...],
    sky: Sky,
    curve: PrintCurve,
    conditions: Conditions | None,
    movement: Movement | None,
) -> list[Sentence]:
    out: list[Sentence] = []
    wind = conditions.wind_m_s if conditions else None
    best = next((c for c in lead.candidates if c.choice == lead.choice and c.layer is not None), None)
    if lead.choice == "structure" and best is not None and best.layer is not None:
        how, evidence = _standing_text(best, layers, curve)
        out.append(
            Sentence(
                f"Let the {best.name} carry the picture{': ' + how if how else ''}.", evidence, best.layer.centre_xy
            )
        )
    elif lead.choice == "foliage" and best is not None and best.layer is not None:
        how, evidence = _standing_text(best, layers, curve)
        out.append(Sentence(f"Let {the(best.layer)} lead{': ' + how if how else ''}.", evidence, best.layer.centre_xy))
    elif lead.choice == "sky" and best is not None and best.layer is not None:
        out.append(
            Sentence(
                "Let the sky lead: it has more going on than the land below.",
                f"{sky_facts(sky)}; strength {lead.strength:.2f} of 1, {lead.needed:.2f} leads",
                best.layer.centre_xy,
            )
        )
    elif lead.choice == "wait":
        out += _wait_sentences(lead, layers, sky, movement)
    else:
        top = lead.candidates[0] if lead.candidates else None
        out.append(
            Sentence(
                "Nothing leads here: no structure, rock, tree or sky stands out enough in infrared. "
                "Try another standpoint.",
                _strongest(lead, layers, sky),
                top.layer.centre_xy if top and top.layer else None,
            )
        )
    out += _movement_sentences(lead, wind, movement)
    if lead.runner_up is not None and lead.runner_up.layer is not None and lead.choice != "wait":
        layer = lead.runner_up.layer
        what = f"the {lead.runner_up.name}"
        out.append(
            Sentence(
                f"It is close: {what} could lead as well.",
                f"strength {lead.runner_up.strength:.2f} of 1 against {lead.strength:.2f}: step, size, place",
                layer.centre_xy,
            )
        )
    return out
