"""The verdict in words: a headline that names the picture, reasons, findings and doubts, each short with its evidence.

Everything is made from the typed verdict; nothing here is read back.
"""

from __future__ import annotations

from dataclasses import replace

from irpreview.core.motion.wind import beaufort_of
from irpreview.core.units import shutter_text, tone_word
from irpreview.core.verdict.plausibility import sky_is_empty, sky_worth_waiting_for
from irpreview.core.verdict.sky import texture_word
from irpreview.core.words.lead_words import GATE_WORDS, edges_told, lead_reasons, lead_text, shade_evidence, why_line
from irpreview.core.words.phrases import (
    cap,
    is_plural,
    listed,
    percent,
    short,
    sky_facts,
    subject_name,
    wind_name,
    zones_text,
)
from irpreview.records import CloudLook, Layer, Sentence, Separation, Verdict, VerdictDoubt

__all__ = [
    "also_merging",
    "full_name",
    "headline",
    "name_in_pair",
    "neighbours_words",
    "reasons",
    "sentences",
    "short_headline",
    "what_merges",
    "why_line",
]

_SAME_IN_COLOUR = 0.4
"""[zones] below this the colour photo shows one grey."""
_MOST_SAID = 5
_MOST_NAMES_WORDS = 5
CLOUD_WORDS: dict[CloudLook, str] = {
    "still": "Clouds stay sharp",
    "softened": "Clouds soften a little",
    "blurred": "Clouds blur along their drift",
    "streaks": "Clouds streak",
    "veil": "Clouds turn into a veil",
    "formless": "The cloud cover loses its form",
    "even_grey": "The cloud cover turns into an even grey",
}


def reasons(verdict: Verdict) -> tuple[Sentence, ...]:
    """Why it leads, or what to wait for."""
    if not verdict.gate.landscape:
        return (_gate_sentence(verdict),)
    return tuple(lead_reasons(verdict))


def sentences(verdict: Verdict) -> tuple[Sentence, ...]:
    """What else there is to say, doubts last."""
    out = [Sentence(balance, _counts(verdict), None)] if (balance := _balance(verdict)) else []
    if verdict.shade.everything:
        text = "All the land lies in shade: the foliage stays grey, infrared is flat."
        out.append(Sentence(text, shade_evidence(verdict), None))
    out += _separation_sentences(verdict) + _sky_sentences(verdict) + _composition_sentences(verdict)
    return tuple(out + [_doubt_sentence(doubt) for doubt in verdict.doubts])


# ---- the headline


def short_headline(verdict: Verdict) -> str:
    """What leads and what merges, in at most about twenty words."""
    if not verdict.gate.landscape:
        return f"Not a daylight landscape: {GATE_WORDS[verdict.gate.reasons[0]]}."
    return " ".join(f"{cap(part)}." for part in (lead_text(verdict), _weak_words(verdict, most=1)) if part)


def also_merging(verdict: Verdict, most: int = 2) -> list[tuple[str, str]]:
    """What merges besides what `short_headline` says, the heaviest first."""
    return [(one, other) for _, one, other in _pairs(verdict, "merges")[1 : 1 + most]]


def headline(verdict: Verdict) -> str:
    """The picture named: what leads, what separates well, what merges."""
    if not verdict.gate.landscape:
        return _gate_sentence(verdict).text
    return " ".join(part for part in (f"{cap(lead_text(verdict))}.", _balance(verdict)) if part)


def _balance(verdict: Verdict) -> str:
    """What separates well and what merges, as one sentence; empty where there is neither."""
    both = "; ".join(part for part in (_good_words(verdict), _weak_words(verdict, most=2)) if part)
    return f"{cap(both)}." if both else ""


def _name(layer: Layer, verdict: Verdict) -> str:
    for subject in verdict.subjects:
        if subject.choice != "sky" and layer.index == subject.layer and layer.class_name in ("structure", "tree"):
            return subject_name(subject, verdict.layers)
    return short(layer)


def full_name(layer: Layer, verdict: Verdict) -> str:
    """Its name with where it is; what could lead is called there what it is called here."""
    return layer.name.replace(short(layer), _name(layer, verdict))


def _pairs(verdict: Verdict, word: str) -> list[tuple[float, str, str]]:
    """(weight, near name, far name) of the edges of which that is said, heaviest first, each pair of names once."""
    found: dict[frozenset[str], tuple[float, str, str]] = {}
    subject = verdict.subject
    lead = set() if subject is None else {subject.layer}
    for s in verdict.separations:
        a, b = verdict.layers[s.a], verdict.layers[s.b]
        one, other = _name(a, verdict), _name(b, verdict)
        if s.says != word or one == other or "objects" in (one, other):
            continue
        weight = _worth(s, verdict.layers) * (2.0 if {s.a, s.b} & lead else 1.0)
        key = frozenset((one, other))
        if key not in found or found[key][0] < weight:
            found[key] = (weight, one, other)
    return sorted(found.values(), key=lambda row: -row[0])


def what_merges(verdict: Verdict) -> str:
    """The weightiest pair that merges, for one row: `Tower with sky`; where none does, one that is uncertain, or that
    nothing merges. Empty where `why_line` says already what the lead merges with.
    """
    if not verdict.gate.landscape or not verdict.separations:
        return ""
    told = edges_told(verdict)
    for word, start in (("merges", ""), ("uncertain", "could be ")):
        pairs = _heaviest(verdict, word)
        new = [one for one in pairs if all(one is not other for other in told)]
        if word == "merges" and len(new) < len(pairs):
            return ""
        if new:
            return cap(f"{start}{_pair_in_words(new[0], verdict)}")
        if pairs:
            return "Nothing for certain"
    return "Nothing"


def _pair_in_words(pair: Separation, verdict: Verdict) -> str:
    """Both by name, with where they are where that is short."""
    layers = [verdict.layers[i] for i in (pair.a, pair.b)]
    one, other = (name_in_pair(layer, verdict) for layer in layers)
    if len(f"{one} {other}".split()) > _MOST_NAMES_WORDS and _name(layers[0], verdict) != _name(layers[1], verdict):
        one, other = (_name(layer, verdict) for layer in layers)
    return f"{one} with {other}"


def neighbours_words(separating: int, pairs: int) -> str:
    """How many of the pairs of neighbours in tone separate: `4 of 6 neighbours separate`."""
    if pairs == 0:
        return "one tone"
    if pairs == 1:
        return f"the two neighbours {'separate' if separating else 'do not separate'}"
    if separating == pairs:
        return "both pairs of neighbours separate" if pairs == 2 else f"all {pairs} neighbours separate"
    if separating == 0:
        return f"none of {pairs} neighbours separates"
    return f"{separating} of {pairs} neighbours {'separates' if separating == 1 else 'separate'}"


def _heaviest(verdict: Verdict, word: str) -> list[Separation]:
    """The edges of which that is said, those of the lead and the weightiest first; what nobody can name comes last."""
    layers, lead = verdict.layers, None if verdict.subject is None else verdict.subject.layer

    def weight(one: Separation) -> tuple[bool, float]:
        named = all(layers[i].class_name != "other" for i in (one.a, one.b))
        return named, _worth(one, layers) * (2.0 if lead in (one.a, one.b) else 1.0)

    return sorted((s for s in verdict.separations if s.says == word), key=weight, reverse=True)


def name_in_pair(layer: Layer, verdict: Verdict) -> str:
    """What a layer is called; with where it is, where another bears the same name."""
    name = _name(layer, verdict)
    alone = sum(_name(one, verdict) == name for one in verdict.layers) == 1
    return name if alone else full_name(layer, verdict)


def _good_words(verdict: Verdict) -> str:
    names: list[str] = []
    weak = {name for _, one, other in _pairs(verdict, "merges") for name in (one, other)}
    for _, one, other in _pairs(verdict, "separates"):
        for name in (one, other):
            if name not in names and name != "sky" and len(names) < 3 and name not in weak:
                names.append(name)
    if not names:
        return ""
    many = len(names) > 1 or is_plural(names[0])
    return f"{listed(names)} {'separate' if many else 'separates'} well"


def _weak_words(verdict: Verdict, most: int) -> str:
    """The edges that merge, those of the lead first; an open edge of the lead where none merges."""
    pairs = _pairs(verdict, "merges")[:most]
    said = [f"{one} and {other} merge" for _, one, other in pairs]
    if not said and verdict.subject is not None and verdict.subject.weakest is not None:
        weakest = verdict.subject.weakest
        one, other = (_name(verdict.layers[i], verdict) for i in (weakest.a, weakest.b))
        if one != other and "objects" not in (one, other):
            said = [f"{one} and {other}: uncertain"]
    return ", ".join(said)


def _counts(verdict: Verdict) -> str:
    says = [s.says for s in verdict.separations]
    near_to_far = ", ".join(layer.name for layer in verdict.layers)
    return (
        f"near to far: {near_to_far}; of {len(says)} shared edges {says.count('separates')} separate, "
        f"{says.count('merges')} merge, {says.count('uncertain')} are uncertain"
    )


def _gate_sentence(verdict: Verdict) -> Sentence:
    why = listed([GATE_WORDS[reason] for reason in verdict.gate.reasons])
    text = f"Not a daylight landscape, not ranked: {why}."
    return Sentence(text, f"like a daylight landscape: {100 * verdict.gate.chance:.0f} %", None)


# ---- tonal separation


def separation_evidence(separation: Separation, grade: float) -> str:
    step = abs(separation.print_step.likely)
    return (
        f"{separation.zones:+.1f} zones in infrared ({separation.low:+.1f} to {separation.high:+.1f}), "
        f"{separation.visible_zones:+.1f} in colour; "
        f"a step of {step:.0f} L* on grade {grade:g} paper, "
        f"{100 * separation.edge_share_separating:.0f} % of the shared edge separates"
    )


def _swaps(separation: Separation) -> bool:
    """Whether the darker of the two in colour is the lighter one in infrared."""
    return abs(separation.visible_zones) >= _SAME_IN_COLOUR and separation.visible_zones * separation.zones < 0


def _separation_sentence(separation: Separation, verdict: Verdict, compare: bool = True) -> Sentence:
    """`compare` = say how it differs from the colour photo; else another of its kind was told before it."""
    a, b = (
        replace(layer, name=full_name(layer, verdict))
        for layer in (verdict.layers[separation.a], verdict.layers[separation.b])
    )
    if separation.says == "separates":
        text = _separates(separation, a, b, compare)
    elif separation.says == "merges":
        text = _merges(separation, a, b, compare)
    else:
        text = f"{cap(a.name)} and {b.name}: uncertain"
    return Sentence(text + ".", separation_evidence(separation, verdict.grade), separation.edge_xy)


def _separates(separation: Separation, a: Layer, b: Layer, compare: bool) -> str:
    wa, wb = (tone_word(layer.lightness) for layer in (a, b))
    more = "lighter" if separation.zones > 0 else "darker"
    step = f"{a.name} {zones_text(separation.zones)} {more}"
    tones = f"{wa} {short(a)}, {wb} {short(b)}" if wa != wb and short(a) != short(b) else step
    if compare and _swaps(separation):
        text = f"Infrared reverses {a.name} and {b.name}: {tones}"
    elif compare and abs(separation.visible_zones) < _SAME_IN_COLOUR:
        text = f"{cap(a.name)} and {b.name} look alike in colour, separate in infrared: {tones}"
    elif wa != wb:
        separate = "separate" if is_plural(a.name) else "separates"
        text = f"{cap(a.name)} {separate} from {b.name}: {wa} against {wb}"
    else:
        separate = "separate" if is_plural(a.name) else "separates"
        text = f"{cap(a.name)} {separate} from {b.name}: {zones_text(separation.zones)} {more}"
    return f"{text}; soft at the edge" if separation.edge_share_separating < 0.4 else text


def _merges(separation: Separation, a: Layer, b: Layer, compare: bool) -> str:
    wa, wb = (tone_word(layer.lightness) for layer in (a, b))
    if abs(separation.zones) < 0.2:
        how = "the same tone"
    elif wa == wb:
        how = f"both {wa}"
    else:
        how = f"only {zones_text(separation.zones)} apart"
    if compare and abs(separation.visible_zones) >= 0.6:
        text = f"{cap(a.name)} and {b.name} separate in colour but merge in infrared: {how}"
    else:
        text = f"{cap(a.name)} and {b.name} merge: {how}"
    return f"{text}; parts of the edge still show" if separation.edge_share_separating >= 0.35 else text


def _separation_sentences(verdict: Verdict) -> list[Sentence]:
    layers, grade = verdict.layers, verdict.grade
    if len(layers) == 1:
        only = layers[0]
        fill = "fill" if is_plural(only.name) else "fills"
        text = f"{cap(only.name)} {fill} the frame: no layers to separate."
        return [Sentence(text, f"{percent(only.share)} of the picture", only.centre_xy)]
    order = sorted(verdict.separations, key=lambda s: -_worth(s, layers))
    merges = [s for s in order if s.says == "merges"][:3]
    separates = [s for s in order if s.says == "separates"][: _MOST_SAID - len(merges)]
    uncertain = [s for s in order if s.says == "uncertain"]
    out: list[Sentence] = []
    compared, told = dict.fromkeys((True, False), 0), set()
    for separation in (*merges, *separates):
        pair = frozenset((short(layers[separation.a]), short(layers[separation.b]), separation.says))
        if pair in told:
            continue
        told.add(pair)
        kind = _swaps(separation)
        compared[kind] += separation.says == "separates"
        compare = not out if separation.says == "merges" else compared[kind] <= 2
        out.append(_separation_sentence(separation, verdict, compare))
    if len(uncertain) == 1:
        out.append(_separation_sentence(uncertain[0], verdict))
    elif uncertain:
        pairs = ", ".join(
            f"{full_name(layers[s.a], verdict)} against {full_name(layers[s.b], verdict)}" for s in uncertain[:2]
        )
        text = f"Uncertain: {pairs}{', and others' if len(uncertain) > 2 else ''}. A test exposure will tell."
        out.append(Sentence(text, separation_evidence(uncertain[0], grade), uncertain[0].edge_xy))
    return out


def _worth(separation: Separation, layers: tuple[Layer, ...]) -> float:
    """How much a separation matters to the picture: both layers large, a large step, a change from colour."""
    size = min(layers[separation.a].share, layers[separation.b].share) ** 0.5
    return float(size) * (
        0.3 + min(abs(separation.zones), 2.5) + 0.4 * min(abs(separation.zones - separation.visible_zones), 2.0)
    )


def _sky_sentences(verdict: Verdict) -> list[Sentence]:
    sky = verdict.sky
    skies = [layer for layer in verdict.layers if layer.class_name in ("clear_sky", "cloud")]
    if sky.word == "none" or not skies:
        return [Sentence("Hardly any sky in the frame.", "less than 2 % of the picture is sky", None)]
    at = max(skies, key=lambda layer: layer.share)
    clear = [layer for layer in skies if layer.class_name == "clear_sky"]
    tone = tone_word(max(clear, key=lambda layer: layer.share).lightness if clear else at.lightness)
    evidence = sky_facts(sky)
    if sky.clear_zone is not None:
        low, likely, high = sky.clear_zone.low, sky.clear_zone.likely, sky.clear_zone.high
        evidence += f"; clear part zone {likely:.1f} ({low:.1f} to {high:.1f})"
    worth = sky_worth_waiting_for(sky) and verdict.lead in ("wait", "none")
    feel = texture_word(sky.texture_stops)
    if sky_is_empty(sky) and sky.word == "clear":
        text = f"Empty sky, prints {tone}." + (" Wait for cloud." if worth else "")
    elif sky.word == "clear":
        text = f"Almost clear sky, prints {tone}."
    elif sky.word == "hazy":
        text = "Hazy sky: it will not go dark." + (" Wait for clearer air." if worth else "")
    elif sky.word == "overcast":
        text = f"Even cloud cover, prints {tone_word(at.lightness)}, no form."
    elif feel in ("blank", "faint"):
        text = f"Cloud {sky.okta or 0}/8, hardly any form."
    elif sky.okta is not None and sky.okta >= 7:
        text = f"{cap(feel)} cloud cover: enough form for a print."
    else:
        dark = f" against {tone} sky" if clear and tone in ("black", "dark") else ""
        text = f"{cap(feel)} clouds{dark}, cover {sky.okta or 0}/8."
    out = [Sentence(text, evidence, at.centre_xy)]
    look, time = sky.clouds_after_shutter, verdict.shutter_s
    if look is not None and time is not None and not (look == "still" and time < 1):
        out.append(
            Sentence(f"{CLOUD_WORDS[look]} at {shutter_text(time)}.", "drift over a cloud's width", at.centre_xy)
        )
    return out


def _composition_sentences(verdict: Verdict) -> list[Sentence]:
    made, out = verdict.composition, []
    if made.horizon_height is not None:
        height = made.horizon_height
        where = "Low skyline" if height < 0.38 else "High skyline" if height > 0.62 else "Skyline near the middle"
        text = f"{where}: sky fills {percent(made.sky_share)} of the frame."
        out.append(Sentence(text, f"median foot of the sky {100 * height:.0f} % up", (0.5, 1 - height)))
    edge = made.strongest_edge
    if edge is not None:
        names = [full_name(verdict.layers[i], verdict) for i in (edge.a, edge.b)]
        text = f"Strongest edge: {names[0]} against {names[1]}."
        out.append(Sentence(text, f"a step of {edge.print_step:.0f} L* on the print over a long edge", edge.xy))
    return out


def _doubt_sentence(doubt: VerdictDoubt) -> Sentence:
    value = doubt.value or 0.0
    if doubt.kind == "snow_unlikely":
        text, why = "What looks like snow is taken for pale ground.", "green country, low ground, or the wrong season"
    elif doubt.kind == "low_sun":
        text, why = "Low sun: long shadows, contrast uncertain.", f"sun {value:.0f} degrees high"
    elif doubt.kind == "sunset_light":
        text, why = "Sunset or dawn light: contrast uncertain.", "the sky of the photo is reddened"
    elif doubt.kind == "out_of_leaf":
        text, why = "Trees may be bare now; bare trees stay grey.", "date and latitude of the snap"
    elif doubt.kind == "small_sky":
        text, why = "Too little sky to carry the picture.", f"{percent(value)} of the frame"
    elif doubt.kind == "little_recognised":
        text, why = "Much of the picture was hard to recognise: check what is where.", f"{percent(value)} of the frame"
    elif doubt.kind == "assumed_wind":
        text, why = f"Wind not given: a {wind_name(value)} is assumed.", f"{value:g} m/s, Beaufort {beaufort_of(value)}"
    else:
        text, why = "What-if: another light on the snap's own shadows.", "planned light"
    return Sentence(text, why, doubt.at_xy)
