"""The verdict in sentences, as a colleague at the tripod would say them: short, concrete, each with evidence."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from irpreview.core.figures import Candidate
from irpreview.core.gaps import PrintCurve
from irpreview.core.lead import LEADS_FROM, SHARP_PRINT_MM, Lead
from irpreview.core.sky import BLANK_STOPS, FAINT_STOPS, texture_word
from irpreview.core.wording import shutter_text
from irpreview.records import Conditions, Gap, Layer, Movement, Range, Rendering, Sentence, Sky

__all__ = ["say_all", "tone_word"]

_SAME_IN_COLOUR = 0.4
"""[zones] below this the colour photo shows one grey."""
_MOST_GAPS_SAID = 5
_PLURAL = ("trees", "things")
_NUMBER = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve")


def tone_word(lightness: float) -> str:
    """What a print L* looks like."""
    for limit, word in ((12, "black"), (32, "dark"), (58, "mid-grey"), (80, "light")):
        if lightness < limit:
            return word
    return "white"


def _counted(number: int) -> str:
    return _NUMBER[number] if number < len(_NUMBER) else str(number)


def _plural(layer: Layer) -> bool:
    return any(word in layer.name.split() for word in _PLURAL)


def _verb(layer: Layer, stem: str) -> str:
    """Third person of a regular verb."""
    if _plural(layer):
        return stem
    return stem + ("es" if stem.endswith(("ch", "sh", "s", "o")) else "s")


def _they(layer: Layer) -> str:
    return "they are" if _plural(layer) else "it is"


def _the(layer: Layer) -> str:
    return f"the {layer.name}"


_SHORT = {"clear_sky": "sky", "tree": "trees", "structure": "building", "other": "things"}


def _short(layer: Layer) -> str:
    """What a layer is, without where it is."""
    return _SHORT.get(layer.class_name, layer.class_name)


def _cap(text: str) -> str:
    return text[:1].upper() + text[1:]


def _listed(names: Sequence[str]) -> str:
    if len(names) <= 1:
        return "".join(names)
    return ", ".join(names[:-1]) + " and " + names[-1]


def _stops(value: float) -> str:
    """A size in zones as it is said."""
    size = abs(value)
    if size < 0.2:
        return "hardly anything"
    if size < 0.4:
        return "a third of a zone"
    if size < 0.6:
        return "half a zone"
    if size < 0.85:
        return "three quarters of a zone"
    if size < 1.25:
        return "one zone"
    return f"{size:.1f} zones".replace(".0 zones", " zones")


def gap_evidence(gap: Gap, grade: float) -> str:
    step = abs(gap.print_step.likely)
    return (
        f"{gap.zones:+.1f} zones in infrared ({gap.low:+.1f} to {gap.high:+.1f}), {gap.visible_zones:+.1f} in colour; "
        f"a step of {step:.0f} L* on grade {grade:g} paper, "
        f"{100 * gap.edge_share_holding:.0f} % of the shared edge parts"
    )


def _swaps(gap: Gap) -> bool:
    """Whether the darker of the two in colour is the lighter one in infrared."""
    return abs(gap.visible_zones) >= _SAME_IN_COLOUR and gap.visible_zones * gap.zones < 0


def _gap_sentence(
    gap: Gap, layers: tuple[Layer, ...], curve: PrintCurve, grade: float, compare: bool = True
) -> Sentence:
    """One gap; `compare` = say how it differs from the colour photo."""
    a, b = layers[gap.a], layers[gap.b]
    wa, wb = (tone_word(float(curve.lightness(layer.zone.likely))) for layer in (a, b))
    grey_in_colour = compare and abs(gap.visible_zones) < _SAME_IN_COLOUR
    swaps = compare and _swaps(gap)
    more = "lighter" if gap.zones > 0 else "darker"
    if gap.says == "holds":
        if swaps:
            other = "darker" if more == "lighter" else "lighter"
            if abs(gap.zones) > 1.2 and wa != wb:
                against = f"{wa} against {wb} {_short(b)}"
                text = f"In infrared {_the(a)} {_verb(a, 'turn')} {against}; in colour {_they(a)} {other}."
            else:
                text = (
                    f"In infrared {_the(a)} {_verb(a, 'come')} out {more} than {_the(b)}; in colour {_they(a)} {other}."
                )
        elif grey_in_colour and wa != wb:
            tones = f"{_the(a)} {_verb(a, 'go')} {wa}, {_the(b)} {_verb(b, 'go')} {wb}"
            text = f"Infrared parts what colour shows as one grey: {tones}."
        elif grey_in_colour:
            text = f"Infrared parts {_the(a)} from {_the(b)} by {_stops(gap.zones)}; in colour they are one grey."
        elif wa != wb:
            text = f"{_cap(_the(a))} {_verb(a, 'stand')} {wa} against {wb} {_short(b)}."
        else:
            text = f"{_cap(_the(a))} {_verb(a, 'stay')} {_stops(gap.zones)} {more} than {_the(b)}: enough to part."
        if gap.edge_share_holding < 0.4:
            text = text[:-1] + ", but where they meet the edge is soft."
    elif gap.says == "merges":
        both = f"both come out {wa}" if wa == wb else f"only {_stops(gap.zones)} between them"
        if abs(gap.visible_zones) >= 0.6:
            text = f"Colour keeps {_the(a)} apart from {_the(b)}, infrared does not: {both}."
        else:
            text = f"{_cap(_the(a))} {_verb(a, 'melt')} into {_the(b)}: {both}."
        if gap.edge_share_holding >= 0.35:
            text = text[:-1] + ", though along much of the edge they still part."
    else:
        least = 0.0 if gap.low * gap.high < 0 else min(abs(gap.low), abs(gap.high))
        most = max(abs(gap.low), abs(gap.high))
        reach = f"{'nothing' if least < 0.2 else _stops(least)} to {_stops(most)}"
        text = f"{_cap(_the(a))} and {_the(b)}: too close to call, anything from {reach}."
    return Sentence(text, gap_evidence(gap, grade), gap.edge_xy)


def _layer_sentences(
    layers: tuple[Layer, ...], gaps: tuple[Gap, ...], curve: PrintCurve, grade: float
) -> list[Sentence]:
    out: list[Sentence] = []
    names = _listed([layer.name for layer in layers])
    holds = [g for g in gaps if g.says == "holds"]
    merges = [g for g in gaps if g.says == "merges"]
    open_gaps = [g for g in gaps if g.says == "cannot_tell"]
    if len(layers) == 1:
        only = layers[0]
        text = f"One thing fills the frame, {only.name}: there are no layers to hold apart."
        return [Sentence(text, f"{100 * only.share:.0f} % of the picture", only.centre_xy)]
    if len(holds) == len(gaps):
        judged = "and every edge between them holds" if len(gaps) > 1 else "and they hold apart"
    elif not holds and merges:
        judged = "and nothing holds apart for certain"
    elif not holds:
        judged = "and none of the edges is sure"
    else:
        judged = f"and {_counted(len(holds))} of {_counted(len(gaps))} edges hold"
    text = f"From near to far: {names}, {judged}."
    evidence = (
        f"{len(layers)} layers, {len(gaps)} shared edges: {len(holds)} hold, {len(merges)} merge, {len(open_gaps)} open"
    )
    out.append(Sentence(text, evidence, None))
    weight = {id(g): _worth(g, layers) for g in gaps}
    said = sorted(merges, key=lambda g: -weight[id(g)])[:3]
    rest = [g for g in holds if g not in said]
    said += sorted(rest, key=lambda g: -weight[id(g)])[: _MOST_GAPS_SAID - len(said)]
    # the same turn of phrase three times running is a list, not a colleague
    compared = dict.fromkeys((True, False), 0)
    told: set[tuple[str, str, str]] = set()
    for gap in said:
        pair = (layers[gap.a].name, _short(layers[gap.b]), gap.says)
        if pair in told or (_short(layers[gap.a]), layers[gap.b].name, gap.says) in told:
            continue
        told |= {pair, (_short(layers[gap.a]), layers[gap.b].name, gap.says)}
        kind = _swaps(gap)
        compared[kind] += gap.says == "holds"
        out.append(_gap_sentence(gap, layers, curve, grade, compare=compared[kind] <= 2))
    if len(open_gaps) == 1:
        out.append(_gap_sentence(open_gaps[0], layers, curve, grade))
    elif open_gaps:
        worst = sorted(open_gaps, key=lambda g: -weight[id(g)])
        pairs = _listed([f"{layers[g.a].name} with {layers[g.b].name}" for g in worst[:3]])
        left = len(worst) - 3
        more = "" if left <= 0 else ", and one lesser edge" if left == 1 else f", and {left} lesser edges"
        text = f"Too close to call: {pairs}{more}. A test frame will tell."
        out.append(Sentence(text, gap_evidence(worst[0], grade), worst[0].edge_xy))
    return out


def _worth(gap: Gap, layers: tuple[Layer, ...]) -> float:
    """How much a gap matters to the picture: both layers large, a large step, a change from colour."""
    size = min(layers[gap.a].share, layers[gap.b].share) ** 0.5
    return float(size) * (0.3 + min(abs(gap.zones), 2.5) + 0.4 * min(abs(gap.zones - gap.visible_zones), 2.0))


def _sky_sentences(
    sky: Sky, sky_share: float, layers: tuple[Layer, ...], curve: PrintCurve, movement: Movement | None
) -> list[Sentence]:
    at = max(
        (layer for layer in layers if layer.class_name in ("clear_sky", "cloud")), key=lambda la: la.share, default=None
    )
    if sky.word == "none" or at is None:
        return [Sentence("There is no sky to speak of in the frame.", "less than 2 % of the picture is sky", None)]
    tone = tone_word(float(curve.lightness(sky.clear_zone.likely if sky.clear_zone else at.zone.likely)))
    feel = texture_word(sky.texture_stops)
    okta = "sky wholly covered" if sky.okta == 8 else f"{sky.okta} eighths of cloud"
    evidence = (
        f"{okta}, texture {sky.texture_stops:.2f} stops (below {BLANK_STOPS:g} blank, from {FAINT_STOPS:g} lively)"
    )
    if sky.clear_zone is not None:
        evidence += (
            f"; clear part zone {sky.clear_zone.likely:.1f} ({sky.clear_zone.low:.1f} to {sky.clear_zone.high:.1f})"
        )
    small = sky_share < 0.12
    if sky.word == "clear":
        text = f"The sky is clear and comes out {tone} and empty" + (
            ", but there is little of it." if small else "; wait for cloud if it is to do any work."
        )
    elif sky.word == "hazy":
        text = "The sky is pale with haze: it will not go dark, and far things lose contrast" + (
            "." if small else "; wait for clearer air or for cloud."
        )
    elif sky.word == "overcast":
        text = f"The cloud cover is even and comes out {tone_word(float(curve.lightness(at.zone.likely)))}" + (
            "." if small else " without form; wait for breaks in it."
        )
    elif feel in ("blank", "faint"):
        text = f"There is cloud, {sky.okta} eighths of it, but hardly any form in it: expect a quiet sky."
    elif sky.okta is not None and sky.okta >= 7:
        text = f"The cloud cover has form, {feel} enough for a print."
    else:
        dark = f" against {tone} gaps" if sky.clear_zone is not None and tone in ("black", "dark") else ""
        text = f"There is enough in the sky: {sky.okta} eighths of cloud{dark}, {feel} in texture."
    out = [Sentence(text, evidence, at.centre_xy)]
    if sky.after_shutter and movement is not None and "cloud" in movement.classes:
        drift = movement.classes["cloud"].share_of_height
        out.append(
            Sentence(
                f"At {shutter_text(movement.shutter_s)} {sky.after_shutter}.",
                f"drift {100 * drift.likely:.1f} % of the height ({100 * drift.low:.1f} to {100 * drift.high:.1f})",
                at.centre_xy,
            )
        )
    return out


def _wind_text(wind: float) -> str:
    return f"{wind:.0f} m/s" if wind >= 3 else f"{wind:.1f} m/s"


def _turn_text(turns: Range) -> str:
    low, likely, high = (_wind_text(w) for w in (turns.low, turns.likely, turns.high))
    return f"{likely} ({low.removesuffix(' m/s')} to {high.removesuffix(' m/s')})"


def _standing_text(candidate: Candidate, layers: tuple[Layer, ...], curve: PrintCurve) -> tuple[str, str]:
    """How the leading layer stands against what it parts from best, and the evidence."""
    layer, gap = candidate.layer, candidate.best_gap
    assert layer is not None
    share = f"{100 * layer.share:.0f} % of the frame"
    if gap is None:
        return "", share
    if gap.says == "merges":
        part = f"{100 * gap.edge_share_holding:.0f} % of the edge parts, {share}"
        return ("its edge parts though the middle tones match" if gap.edge_share_holding >= 0.35 else ""), part
    other = layers[gap.b if gap.a == layer.index else gap.a]
    own = tone_word(float(curve.lightness(layer.zone.likely)))
    behind = tone_word(float(curve.lightness(other.zone.likely)))
    step = f"{abs(gap.zones):.1f} zones from {_the(other)}, {abs(gap.print_step.likely):.0f} L* on the print, {share}"
    doubt = ", if that edge holds" if gap.says == "cannot_tell" else ""
    if own != behind:
        return f"{own} against {behind} {_short(other)}{doubt}", step
    more = "lighter" if layer.zone.likely > other.zone.likely else "darker"
    return f"{_stops(gap.zones)} {more} than {_the(other)}{doubt}", step


def _lead_sentences(
    lead: Lead, layers: tuple[Layer, ...], curve: PrintCurve, conditions: Conditions | None, movement: Movement | None
) -> list[Sentence]:
    out: list[Sentence] = []
    wind = conditions.wind_m_s if conditions else None
    best = next((c for c in lead.candidates if c.choice == lead.choice and c.layer is not None), None)
    if lead.choice == "structure" and best is not None and best.layer is not None:
        how, evidence = _standing_text(best, layers, curve)
        out.append(
            Sentence(
                f"Build the picture on {_the(best.layer)}{': ' + how if how else ''}.", evidence, best.layer.centre_xy
            )
        )
    elif lead.choice == "foliage" and best is not None and best.layer is not None:
        how, evidence = _standing_text(best, layers, curve)
        out.append(Sentence(f"Let {_the(best.layer)} lead{': ' + how if how else ''}.", evidence, best.layer.centre_xy))
    elif lead.choice == "sky" and best is not None and best.layer is not None:
        out.append(
            Sentence(
                "Let the sky lead: it has more going on than the land below.",
                f"strength {best.strength:.2f} of 1, from {LEADS_FROM:g} it can lead",
                best.layer.centre_xy,
            )
        )
    elif lead.choice == "wait":
        out += _wait_sentences(lead, layers, movement)
    else:
        top = lead.candidates[0] if lead.candidates else None
        out.append(
            Sentence(
                "Nothing leads here: no building, tree or sky stands out enough in infrared. Try another standpoint.",
                f"the strongest candidate reaches {top.strength:.2f} of 1, {lead.needed:.2f} is needed"
                if top
                else "no candidate",
                top.layer.centre_xy if top and top.layer else None,
            )
        )
    out += _movement_sentences(lead, wind, movement)
    if lead.runner_up is not None and lead.runner_up.layer is not None and lead.choice != "wait":
        layer = lead.runner_up.layer
        what = "the sky" if lead.runner_up.choice == "sky" else _the(layer)
        out.append(
            Sentence(
                f"It is close: {what} could lead as well.",
                f"strengths {lead.strength:.2f} and {lead.runner_up.strength:.2f} of 1",
                layer.centre_xy,
            )
        )
    return out


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


def _wait_sentences(lead: Lead, layers: tuple[Layer, ...], movement: Movement | None) -> list[Sentence]:
    sky = max((la for la in layers if la.class_name in ("clear_sky", "cloud")), key=lambda la: la.share, default=None)
    at = sky.centre_xy if sky else None
    top = lead.candidates[0].strength if lead.candidates else 0.0
    evidence = f"the strongest candidate reaches {top:.2f} of 1, {lead.needed:.2f} is needed"
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
        text = f"Wait for a lull{turn}: the trees would lead, but in this wind they do not hold still. {how_long}"
        text += _shorter(movement)
        tree = next((c.layer for c in lead.candidates if c.choice == "foliage" and c.layer), None)
        at = tree.centre_xy if tree else at
    return [Sentence(text, evidence, at)]


def _movement_sentences(lead: Lead, wind: float | None, movement: Movement | None) -> list[Sentence]:
    smear = lead.foliage_print_mm
    tree = next((c for c in lead.candidates if c.choice == "foliage" and c.layer is not None), None)
    if tree is None or tree.layer is None or smear is None or movement is None:
        return []
    time = shutter_text(movement.shutter_s)
    air = f"in {_wind_text(wind)} of wind" if wind is not None else "with the wind unknown"
    evidence = (
        f"smear {smear.likely:.2g} mm ({smear.low:.2g} to {smear.high:.2g}) on a 30 x 40 cm print at {time}; "
        f"{SHARP_PRINT_MM:g} mm still looks sharp"
    )
    out = []
    if smear.likely <= SHARP_PRINT_MM:
        text = f"At {time} {air} the leaves stay sharp."
        if smear.high > SHARP_PRINT_MM:
            text = text[:-1] + ", though a gust can smear them."
    elif smear.likely <= 3 * SHARP_PRINT_MM:
        text = f"At {time} {air} the leaves go soft, a mass more than a drawing."
    else:
        text = f"At {time} {air} the leaves smear into plain tone."
    out.append(Sentence(text, evidence, tree.layer.centre_xy))
    if lead.turns_at_wind_m_s is not None and lead.turns_to is not None and lead.wait_for != "lull":
        turn = _turn_text(lead.turns_at_wind_m_s)
        if lead.choice == "foliage":
            takes = {
                "structure": "the building takes over",
                "sky": "the sky takes over",
                "wait": "wait for a lull",
                "none": "nothing leads",
            }.get(lead.turns_to, "")
            text = (
                f"From about {turn} of wind {takes}."
                if lead.turns_to != "wait"
                else f"From about {turn} of wind, wait for a lull."
            )
        else:
            text = f"Under about {turn} of wind the trees would lead at this shutter."
        out.append(Sentence(text, f"where the smear at {time} takes the lead from the leaves", tree.layer.centre_xy))
    return out


def _composition_sentences(composition: Mapping[str, object]) -> list[Sentence]:
    out = []
    horizon, sky = composition["horizon_height"], composition["sky_share"]
    if isinstance(horizon, float) and isinstance(sky, float):
        where = "low" if horizon < 0.38 else "high" if horizon > 0.62 else "near the middle"
        text = f"The skyline lies {where}, {100 * horizon:.0f} % up; the sky takes {100 * sky:.0f} % of the frame."
        out.append(Sentence(text, "median foot of the sky over the columns that show it", (0.5, 1 - horizon)))
    edge = composition["strongest_edge"]
    if isinstance(edge, Mapping):
        one, other = edge["between"]
        out.append(
            Sentence(
                f"The strongest edge runs between {one} and {other}.",
                f"step of {edge['print_step']} L* on the print over a long edge",
                (float(edge["x"]), float(edge["y"])),
            )
        )
    return out


def say_all(
    layers: tuple[Layer, ...],
    gaps: tuple[Gap, ...],
    sky: Sky,
    sky_share: float,
    lead: Lead,
    composition: Mapping[str, object],
    curve: PrintCurve,
    rendering: Rendering,
    conditions: Conditions | None,
    movement: Movement | None,
    grade: float,
) -> tuple[tuple[Sentence, ...], tuple[Sentence, ...]]:
    """(reasons for the lead, everything else), each in the order in which it is said."""
    reasons = _lead_sentences(lead, layers, curve, conditions, movement)
    sentences = _layer_sentences(layers, gaps, curve, grade)
    if lead.shade.everything:
        sentences.insert(
            0,
            Sentence(
                "Everything on the land lies in shade: without sun the leaves stay grey and infrared is flat.",
                lead.shade.evidence,
                None,
            ),
        )
    sentences += _sky_sentences(sky, sky_share, layers, curve, movement)
    sentences += _composition_sentences(composition)
    if rendering.light.planned:
        sentences.append(
            Sentence(
                "This is a what-if: another light is laid over the snap's own shadows.", rendering.light.how_known, None
            )
        )
    return tuple(reasons), tuple(sentences)
