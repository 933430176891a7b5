"""The verdict in sentences, as a colleague at the tripod would say them: short, concrete, each with evidence."""

from __future__ import annotations

from collections.abc import Mapping

from irpreview.core.rendering.finishing import PrintCurve
from irpreview.core.units import shutter_text
from irpreview.core.verdict.lead import Lead
from irpreview.core.verdict.sky import texture_word
from irpreview.core.words.lead_words import lead_sentences
from irpreview.core.words.phrases import (
    cap,
    counted,
    eighths,
    listed,
    short,
    sky_facts,
    the,
    they_are,
    tone_word,
    verb,
    zones_text,
)
from irpreview.records import Conditions, Layer, Movement, Rendering, Sentence, Separation, Sky

__all__ = ["say_all", "tone_word"]

_SAME_IN_COLOUR = 0.4
"""[zones] below this the colour photo shows one grey."""
_MOST_SAID = 5


def separation_evidence(separation: Separation, grade: float) -> str:
    step = abs(separation.print_step.likely)
    return (
        f"{separation.zones:+.1f} zones in infrared ({separation.low:+.1f} to {separation.high:+.1f}), {separation.visible_zones:+.1f} in colour; "
        f"a step of {step:.0f} L* on grade {grade:g} paper, "
        f"{100 * separation.edge_share_separating:.0f} % of the shared edge parts"
    )


def _swaps(separation: Separation) -> bool:
    """Whether the darker of the two in colour is the lighter one in infrared."""
    return abs(separation.visible_zones) >= _SAME_IN_COLOUR and separation.visible_zones * separation.zones < 0


def _separation_sentence(
    separation: Separation, layers: tuple[Layer, ...], curve: PrintCurve, grade: float, compare: bool = True
) -> Sentence:
    """One separation; `compare` = say how it differs from the colour photo, else another of its kind was told before it."""
    a, b = layers[separation.a], layers[separation.b]
    wa, wb = (tone_word(float(curve.lightness(layer.zone.likely))) for layer in (a, b))
    grey_in_colour = compare and abs(separation.visible_zones) < _SAME_IN_COLOUR
    swaps = compare and _swaps(separation)
    more = "lighter" if separation.zones > 0 else "darker"
    if separation.says == "separates":
        if swaps:
            other = "darker" if more == "lighter" else "lighter"
            if abs(separation.zones) > 1.2 and wa != wb:
                against = f"{wa} against {wb} {short(b)}"
                text = f"In infrared {the(a)} {verb(a, 'turn')} {against}; in colour {they_are(a)} {other}."
            else:
                text = (
                    f"In infrared {the(a)} {verb(a, 'come')} out {more} than {the(b)}; in colour {they_are(a)} {other}."
                )
        elif grey_in_colour and wa != wb:
            tones = f"{the(a)} {verb(a, 'go')} {wa}, {the(b)} {verb(b, 'go')} {wb}"
            text = f"Infrared parts what colour shows as one grey: {tones}."
        elif grey_in_colour:
            text = (
                f"Infrared parts {the(a)} from {the(b)} by {zones_text(separation.zones)}; in colour they are one grey."
            )
        elif wa != wb:
            text = f"{cap(the(a))} {verb(a, 'stand')} {wa} against {wb} {short(b)}."
        else:
            text = (
                f"{cap(the(a))} {verb(a, 'stay')} {zones_text(separation.zones)} {more} than {the(b)}: enough to part."
            )
        if separation.edge_share_separating < 0.4:
            text = text[:-1] + ", but where they meet the edge is soft."
    elif separation.says == "merges":
        if wa == wb:
            both = f"both come out {wa}"
        elif abs(separation.zones) < 0.6:
            both = f"{'' if abs(separation.zones) < 0.2 else 'only '}{zones_text(separation.zones)} between them"
        else:
            both = f"one prints {wa}, the other {wb}, too little between them"
        if compare and abs(separation.visible_zones) >= 0.6:
            text = f"Colour keeps {the(a)} apart from {the(b)}, infrared does not: {both}."
        elif not compare:
            text = f"{cap(the(a))} {verb(a, 'melt')} into {the(b)} too: {both}."
        else:
            text = f"{cap(the(a))} {verb(a, 'melt')} into {the(b)}: {both}."
        if separation.edge_share_separating >= 0.35:
            text = text[:-1] + ", though along much of the edge they still part."
    else:
        least = 0.0 if separation.low * separation.high < 0 else min(abs(separation.low), abs(separation.high))
        most = max(abs(separation.low), abs(separation.high))
        reach = f"{'nothing' if least < 0.2 else zones_text(least)} to {zones_text(most)}"
        text = f"{cap(the(a))} and {the(b)}: too close to call, anything from {reach}."
    return Sentence(text, separation_evidence(separation, grade), separation.edge_xy)


def _layer_sentences(
    layers: tuple[Layer, ...], separations: tuple[Separation, ...], curve: PrintCurve, grade: float
) -> list[Sentence]:
    out: list[Sentence] = []
    names = listed([layer.name for layer in layers])
    holds = [g for g in separations if g.says == "separates"]
    merges = [g for g in separations if g.says == "merges"]
    open_ones = [g for g in separations if g.says == "uncertain"]
    if len(layers) == 1:
        only = layers[0]
        text = f"{cap(the(only))} {verb(only, 'fill')} the frame: there are no layers to hold apart."
        return [Sentence(text, f"{100 * only.share:.0f} % of the picture", only.centre_xy)]
    if len(holds) == len(separations):
        judged = "and every edge between them holds" if len(separations) > 1 else "and they hold apart"
    elif not holds and merges:
        judged = "and nothing holds apart for certain"
    elif not holds:
        judged = "and none of the edges is sure"
    else:
        judged = f"and {counted(len(holds))} of {counted(len(separations))} edges hold"
    text = f"From near to far: {names}, {judged}."
    evidence = f"{len(layers)} layers, {len(separations)} shared edges: {len(holds)} hold, {len(merges)} merge, {len(open_ones)} open"
    out.append(Sentence(text, evidence, None))
    weight = {id(g): _worth(g, layers) for g in separations}
    said = sorted(merges, key=lambda g: -weight[id(g)])[:3]
    rest = [g for g in holds if g not in said]
    said += sorted(rest, key=lambda g: -weight[id(g)])[: _MOST_SAID - len(said)]
    # the same turn of phrase three times running is a list, not a colleague
    compared = dict.fromkeys((True, False), 0)
    melted = 0
    told: set[tuple[str, str, str]] = set()
    for separation in said:
        pair = (layers[separation.a].name, short(layers[separation.b]), separation.says)
        if pair in told or (short(layers[separation.a]), layers[separation.b].name, separation.says) in told:
            continue
        told |= {pair, (short(layers[separation.a]), layers[separation.b].name, separation.says)}
        kind = _swaps(separation)
        compared[kind] += separation.says == "separates"
        compare = melted == 0 if separation.says == "merges" else compared[kind] <= 2
        melted += separation.says == "merges"
        out.append(_separation_sentence(separation, layers, curve, grade, compare))
    if len(open_ones) == 1:
        out.append(_separation_sentence(open_ones[0], layers, curve, grade))
    elif open_ones:
        worst = sorted(open_ones, key=lambda g: -weight[id(g)])
        pairs = listed([f"{layers[g.a].name} with {layers[g.b].name}" for g in worst[:3]])
        left = len(worst) - 3
        more = "" if left <= 0 else ", and one lesser edge" if left == 1 else f", and {counted(left)} lesser edges"
        text = f"Too close to call: {pairs}{more}. A test frame will tell."
        out.append(Sentence(text, separation_evidence(worst[0], grade), worst[0].edge_xy))
    return out


def _worth(separation: Separation, layers: tuple[Layer, ...]) -> float:
    """How much a separation matters to the picture: both layers large, a large step, a change from colour."""
    size = min(layers[separation.a].share, layers[separation.b].share) ** 0.5
    return float(size) * (
        0.3 + min(abs(separation.zones), 2.5) + 0.4 * min(abs(separation.zones - separation.visible_zones), 2.0)
    )


def _sky_sentences(
    sky: Sky,
    sky_share: float,
    layers: tuple[Layer, ...],
    curve: PrintCurve,
    movement: Movement | None,
    waits: bool,
) -> list[Sentence]:
    at = max(
        (layer for layer in layers if layer.class_name in ("clear_sky", "cloud")), key=lambda la: la.share, default=None
    )
    if sky.word == "none" or at is None:
        return [Sentence("There is no sky to speak of in the frame.", "less than 2 % of the picture is sky", None)]
    tone = tone_word(float(curve.lightness(sky.clear_zone.likely if sky.clear_zone else at.zone.likely)))
    feel = texture_word(sky.texture_stops)
    evidence = sky_facts(sky)
    if sky.clear_zone is not None:
        evidence += (
            f"; clear part zone {sky.clear_zone.likely:.1f} ({sky.clear_zone.low:.1f} to {sky.clear_zone.high:.1f})"
        )
    small = sky_share < 0.12
    if sky.word == "clear":
        clear = "The sky is all but clear" if sky.okta else "The sky is clear"
        empty = "" if sky.okta else " and empty"
        text = f"{clear} and comes out {tone}{empty}" + (
            ", but there is little of it." if small else "; wait for cloud if it is to do any work."
        )
    elif sky.word == "hazy":
        text = "The sky is pale with haze: it will not go dark, and far things lose contrast" + (
            "." if small else "; wait for clearer air or for cloud."
        )
    elif sky.word == "overcast":
        text = f"The cloud cover is even and comes out {tone_word(float(curve.lightness(at.zone.likely)))}" + (
            "."
            if small
            else " without form; wait for breaks in it."
            if waits
            else " without form; breaks in it would help."
        )
    elif feel in ("blank", "faint"):
        text = f"There is cloud, {eighths(sky.okta or 0)}, but hardly any form in it: expect a quiet sky."
    elif sky.okta is not None and sky.okta >= 7:
        text = f"The cloud cover has form, {feel} enough for a print."
    else:
        dark = f" against {tone} separations" if sky.clear_zone is not None and tone in ("black", "dark") else ""
        text = f"There is enough in the sky: {eighths(sky.okta or 0)}{dark}, {feel} in texture."
    out = [Sentence(text, evidence, at.centre_xy)]
    still = sky.after_shutter == "the clouds stand still"
    if (
        sky.after_shutter
        and movement is not None
        and "cloud" in movement.classes
        and not (still and movement.shutter_s < 1)
    ):
        drift = movement.classes["cloud"].share_of_height
        out.append(
            Sentence(
                f"At {shutter_text(movement.shutter_s)} {sky.after_shutter}.",
                f"drift {100 * drift.likely:.1f} % of the height ({100 * drift.low:.1f} to {100 * drift.high:.1f})",
                at.centre_xy,
            )
        )
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
                f"The strongest edge is the one between {one} and {other}.",
                f"step of {edge['print_step']} L* on the print over a long edge",
                (float(edge["x"]), float(edge["y"])),
            )
        )
    return out


def say_all(
    layers: tuple[Layer, ...],
    separations: tuple[Separation, ...],
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
    reasons = lead_sentences(lead, layers, sky, curve, conditions, movement)
    sentences = _layer_sentences(layers, separations, curve, grade)
    if lead.shade.everything:
        sentences.insert(
            0,
            Sentence(
                "Everything on the land lies in shade: without sun the leaves stay grey and infrared is flat.",
                lead.shade.evidence,
                None,
            ),
        )
    sentences += _sky_sentences(sky, sky_share, layers, curve, movement, lead.choice == "wait")
    sentences += _composition_sentences(composition)
    if rendering.light.planned:
        sentences.append(
            Sentence(
                "This is a what-if: another light is laid over the snap's own shadows.", rendering.light.how_known, None
            )
        )
    return tuple(reasons), tuple(sentences)
