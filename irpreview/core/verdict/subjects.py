"""What could lead a picture: each thing that stands out, with a strength 0..1 made of what can be seen and measured.

How far it parts from what lies around it on the print, how large it is, where it lies, whether it rises. Figure and
ground: a figure is rather small, enclosed, of high contrast, upright and low in the frame (Rubin, as reviewed by
Wagemans et al. 2012; Vecera et al. 2002); looks start at the middle whatever the picture shows (Tatler 2007). Rules
such as thirds are not scored. That leaves lead where they shine, that a strip along the horizon is a backdrop, that
rock and snow of one mountain are one thing: common practice, no source.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import replace

import cv2
import numpy as np

from irpreview.core.rendering.finishing import PrintCurve
from irpreview.core.verdict.layer_split import masked_mean
from irpreview.core.verdict.layers import Ground, edge_lengths
from irpreview.core.verdict.separation import WIDE
from irpreview.records import CLASS_ID, Layer, LeadChoice, Separation, Sky, Subject, SubjectKind

_MIDDLE_LIMIT = 11.0
"""[L*] the middle of the limits of `separations`."""
FULL_STEP = 30.0
"""[L*] a step on the print that leaves nothing to wish."""
_SKY = ("clear_sky", "cloud")
_MOUNTAIN = ("ground", "snow")
_BAND_HEIGHT, _BAND_SHAPE = (0.03, 0.15), (0.2, 0.8)
"""Mean height of a figure, share of the frame's, and over its own width: a strip along the horizon is a backdrop."""
_RELIEF = (0.015, 0.06)
"""Height of a skyline over its lowest part, share of the frame's width, that make it a hill (chosen, no source)."""
_SIDE_TO_SIDE = (0.5, 0.8)
"""Share of the frame's columns that a region takes as a floor from side to side (chosen, no source)."""
_HAND_TILT = 0.05
"""Slope of a level line in a snap held by hand: three degrees (common practice, no source)."""
_GREY_LEAVES, _GREY_LEAVES_ALONE, _LIGHT_LEAVES = 55.0, 45.0, 80.0
"""[L*] of the lightest quarter: crowns whose leaves in light print mid-grey (50, and half a shade up) are a backdrop;
near-white ones are what infrared foliage is known for. In 82 research pairs woods that lead in the sun print from 66
to 82, bare or shaded ones mostly below 64. A tree with sides of its own before the sky has an outline as well, and
may print darker."""
_BACKDROP = 0.35
_LONE_TREE = 0.03
"""Share of the frame at which a tree that stands free against the sky is large enough."""
_SKY_WEIGHT = 0.7
_CARRIES_STOPS = (0.05, 0.10)
"""Texture over which a sky comes to carry a picture: a faint one (below 0.08) leads next to nothing, and from 0.09 on
each has form that carries in the real infrared picture (see `sky`). Of 82 research pairs none lies from 0.073 to 0.095,
so that a little more or less texture in a copy of the snap turns no lead."""
STEPS_BACK = 0.8
"""Share of its strength that the sky loses to a figure of full weight: it is the ground that the figure stands on."""
_FIGURE_ANYWAY = 0.85
"""What a building alone in open country keeps as a lead though its tones match what lies around it: the eye goes to
what people built (figure and ground as above; common practice), and the words say that it hardly separates."""
_RECOGNISED = (0.15, 0.6)
"""Probability of the class over which a thing counts as recognised, in full above even odds: what is less
likely than not is another thing in the next copy of the snap. Nine classes by chance give 0.11."""
_WOOD_STEPS_BACK = 0.5
"""Share of its strength that a wood or hedge loses to a built figure of full weight; a lone tree loses nothing."""
_LONG_EDGE = 0.15
"""Share of an outline from which one of its edges is worth a word."""


def ramp(value: float, low: float, high: float) -> float:
    """0 up to low, 1 from high, straight between."""
    return min(max((value - low) / (high - low), 0.0), 1.0)


def parting(separation: Separation) -> float:
    """How well a separation parts two layers, 0..1: the likely step, times the chance that it is one; or along the
    edge.

    The chance is smooth, not the verdict's word, so that a hair's breadth turns no lead. Areas of equal middle tone may
    still part along their edge, as a side-lit tower does from the sky.
    """
    step = abs(separation.print_step.likely)
    sigma = max(separation.print_step.width / (2 * WIDE), 1.0)
    chance = 0.5 * (1 + math.erf((step - _MIDDLE_LIMIT) / (sigma * math.sqrt(2))))
    return max(chance * ramp(step, 2.0, FULL_STEP), 0.75 * separation.edge_share_separating)


def _place(inside: np.ndarray) -> float:
    """1 in the middle of the frame, 0.7 in a corner, by the centre of the whole region (h, w).

    Not by the point shown for one of its layers, which jumps where the region is parted otherwise.
    """
    rows, columns = (np.flatnonzero(line) for line in (inside.any(axis=1), inside.any(axis=0)))
    if not rows.size:
        return 1.0
    x = float(np.average(columns, weights=inside[:, columns].sum(axis=0)) + 0.5) / inside.shape[1]
    y = float(np.average(rows, weights=inside[rows].sum(axis=1)) + 0.5) / inside.shape[0]
    return 1 - 0.3 * min(1.0, math.hypot(x - 0.5, y - 0.5) / 0.7)


def _modelling(inside: np.ndarray, share: float, ground: Ground, curve: PrintCurve) -> float:
    """How much light and dark a region has in itself, 0..1: a wood that fills the frame has no outline to stand by."""
    fills = ramp(share, 0.35, 0.75)
    if fills == 0.0:
        return 0.0
    lightness = curve.lightness(ground.infrared_zone).astype(np.float32)
    slow, _ = masked_mean(lightness, inside, max(2, round(0.02 * lightness.shape[1])))
    low, high = np.percentile(slow[inside], (10, 90))
    return float(fills * ramp(float(high - low), 8.0, 55.0))


def _shining(separation: Separation, layer: Layer) -> float:
    """How much an edge of leaves counts, 0.35..1: in full where the leaves are the lighter of the two."""
    lighter = separation.zones if separation.a == layer.index else -separation.zones
    return _BACKDROP + (1 - _BACKDROP) * ramp(lighter, -0.6, 0.4)


def _standing(
    members: Iterable[Layer], separations: tuple[Separation, ...], layers: tuple[Layer, ...], length: np.ndarray
) -> tuple[float, Separation | None, Separation | None]:
    """How well the outline of one or more layers parts, 0..1, the edge that does most for it and the weakest one."""
    own = {layer.index for layer in members}
    kinds = {layers[i].class_name for i in own}
    rows = []
    for separation in separations:
        if (separation.a in own) == (separation.b in own):
            continue
        pair = (separation.a, separation.b) if separation.a in own else (separation.b, separation.a)
        layer, other = (layers[i] for i in pair)
        if other.class_name in kinds:
            continue
        edge = float(length[separation.a, separation.b])
        # an outline against the sky is what makes a figure; the foot may well melt into the ground
        weight = edge * (1.6 if other.class_name in _SKY else 1.0)
        if {layer.class_name, other.class_name} == {"tree", "grass"}:
            weight *= 0.4  # leaves against leaves are one mass
        shining = _shining(separation, layer) if layer.class_name in ("tree", "grass") else 1.0
        rows.append((separation, edge, weight, weight * parting(separation) * shining))
    total = sum(weight for _, _, weight, _ in rows)
    if total == 0:
        return 0.0, None, None
    # what is told is an edge that surely separates, where there is one
    best = max(rows, key=lambda r: r[3] * (1.0 if r[0].says == "separates" else 0.4))[0]
    around = sum(edge for _, edge, _, _ in rows)
    weak = [r for r in rows if r[1] >= _LONG_EDGE * around and r[0].says != "separates"]
    weakest = max(weak, key=lambda r: r[2] * (1 - parting(r[0])))[0] if weak else None
    # a figure need not part all round: 60 % of its outline is enough (common practice)
    return min(1.0, sum(worth for *_, worth in rows) / (0.6 * total)), best, weakest


def _against_sky(own: np.ndarray, inside: np.ndarray, sky: np.ndarray) -> float:
    """Share of a region's outline inside the frame that stands against sky, (h, w) masks.

    own: the part of the region that is of its kind. Counted from what lies there, not from the layers: a strip of far
    water between rock and sky may or may not be large enough to be a layer.
    """
    kernel = np.ones((7, 7), np.uint8)
    ring = cv2.dilate(own.astype(np.uint8), kernel).astype(bool) & ~inside
    # a region that fills the frame has hardly any outline inside it: a speck of sky would be all of it
    least = 3 * 0.5 * inside.shape[1]
    return float(sky[ring].sum() / max(float(ring.sum()), least))


def _stage(inside: np.ndarray, against_sky: float) -> float:
    """How far a region is the floor of the picture, 0..1: a wall along the lower edge is no figure."""
    columns = inside.any(axis=0)
    on_edge = float(inside[-2:].any(axis=0).sum()) / max(1, int(columns.sum()))
    return ramp(on_edge, 0.3, 0.8) * (1 - ramp(against_sky, 0.0, 0.1)) * (1 - ramp(float(inside.mean()), 0.35, 0.6))


def _upright(inside: np.ndarray) -> float:
    """How far a region is a figure and no band, 0..1: tall in the frame, or at least as tall as it is wide."""
    columns = int(inside.any(axis=0).sum())
    if columns == 0:
        return 0.0
    mean_height_px = float(inside.sum()) / columns
    return max(ramp(mean_height_px / inside.shape[0], *_BAND_HEIGHT), ramp(mean_height_px / columns, *_BAND_SHAPE))


def _rising(inside: np.ndarray) -> float:
    """How far a region rises in the frame, 0..1: mud flats and a beach end in a line as level as the horizon, from
    side to side; what has sides of its own, such as a stack in the sea, rises whatever its top.
    """
    columns = np.flatnonzero(inside.any(axis=0))
    if columns.size < 2:
        return 0.0
    with_sides = 1 - ramp(columns.size / inside.shape[1], *_SIDE_TO_SIDE)
    top_px = inside[:, columns].argmax(axis=0).astype(np.float64)
    tilt = float(np.clip(np.polyfit(columns, top_px, 1)[0], -_HAND_TILT, _HAND_TILT))
    low, high = np.percentile(top_px - tilt * columns, (5, 95))
    return max(with_sides, ramp(float(high - low) / inside.shape[1], *_RELIEF))


def _sky_strength(
    layers: tuple[Layer, ...], separations: tuple[Separation, ...], sky: Sky, share: float, figure: float
) -> float:
    """How well the sky could lead, 0..1: by its texture, or by cloud that stands white on a dark sky.

    figure: weight of what stands before it, 0..1, built or a mountain: the sky steps back, for it is the ground that
    the figure stands on (Rubin).
    """
    texture = ramp(sky.texture_stops, *_CARRIES_STOPS)
    parts = max(
        (parting(g) for g in separations if {layers[g.a].class_name, layers[g.b].class_name} == set(_SKY)), default=0.0
    )
    cover = (sky.okta or 0) / 8
    drama = 0.9 * parts * 4 * cover * (1 - cover)
    return _SKY_WEIGHT * max(texture, drama) * math.sqrt(min(1.0, share / 0.4)) * (1 - STEPS_BACK * figure)


_KIND: dict[str, tuple[LeadChoice, float, float]] = {
    # class: choice, weight, share of the frame at which it is large enough
    "structure": ("structure", 1.0, 0.05),
    "ground": ("structure", 0.62, 0.20),
    "snow": ("structure", 0.55, 0.15),
    "tree": ("foliage", 1.0, 0.12),
    "grass": ("foliage", 0.28, 0.30),
}


def _groups(layers: tuple[Layer, ...], length: np.ndarray) -> list[list[Layer]]:
    """Layers that are looked at as one thing: near and far part of one wood, rock and snow of one mountain."""

    def kind(layer: Layer) -> str:
        return "mountain" if layer.class_name in _MOUNTAIN else layer.class_name

    groups = []
    left = [layer for layer in layers if layer.class_name in _KIND]
    while left:
        group = [left.pop(0)]
        for one in group:
            touching = [o for o in left if kind(o) == kind(one) and length[one.index, o.index] > 0]
            group += touching
            left = [other for other in left if other not in touching]
        groups.append(group)
    return groups


def _alone_in_the_open(inside: np.ndarray, share: float) -> float:
    """How far a region is one built thing in open country, 0..1: not a street, a wall across the frame or a far
    town.
    """
    columns = float(inside.any(axis=0).mean())
    return (1 - ramp(share, 0.12, 0.25)) * (1 - ramp(columns, 0.35, 0.6))


def _free_standing(inside: np.ndarray, against_sky: float) -> float:
    """How far a region has an outline of its own before the sky, 0..1: a band from side to side has none."""
    return (1 - ramp(float(inside.any(axis=0).mean()), *_SIDE_TO_SIDE)) * ramp(against_sky, 0.3, 0.5)


def _loneness(inside: np.ndarray, share: float, against_sky: float) -> float:
    """How far trees are one that stands alone, 0..1: small, narrow and free against the sky."""
    columns = float(inside.any(axis=0).mean())
    return min(1 - ramp(share, 0.08, 0.12), 1 - ramp(columns, 0.28, 0.42), ramp(against_sky, 0.3, 0.5))


def _kind(group: list[Layer], inside: np.ndarray, share: float, against_sky: float) -> SubjectKind:
    """What a person would call it, from its class and its shape."""
    name = group[0].class_name
    columns, rows = int(inside.any(axis=0).sum()), int(inside.any(axis=1).sum())
    if name == "structure":
        if against_sky > 0.25 and rows > 1.3 * columns:
            return "tower"
        return "buildings" if columns > 0.6 * inside.shape[1] or share > 0.2 else "building"
    if name == "tree":
        return "lone_tree" if _loneness(inside, share, against_sky) > 0.5 else "trees"
    if name == "grass":
        return "grass"
    kinds = {layer.class_name for layer in group}
    return "mountain" if len(kinds) > 1 else "snow" if kinds == {"snow"} else "hill"


def subjects_of(
    layers: tuple[Layer, ...],
    separations: tuple[Separation, ...],
    layer_map: np.ndarray,
    ground: Ground,
    curve: PrintCurve,
    sky: Sky,
) -> tuple[Subject, ...]:
    """What could lead, strongest first, in calm air."""
    length = edge_lengths(layer_map, len(layers)).astype(np.float64)
    sky_here = ground.winner <= 1
    out: list[Subject] = []
    alone: list[tuple[int, float]] = []
    figure = mountain = 0.0
    for group in _groups(layers, length):
        inside = np.isin(layer_map, [layer.index for layer in group])
        # what was too small to be a layer and went under here is no outline of this thing
        own = inside & np.isin(ground.winner, [CLASS_ID[layer.class_name] - 1 for layer in group])
        against_sky = _against_sky(own, inside, sky_here)
        standing, best, weakest = _standing(group, separations, layers, length)
        layer = max(group, key=lambda la: la.share)
        if best is not None and len(group) > 1:
            layer = next(la for la in group if la.index in (best.a, best.b))
        choice = _KIND[layer.class_name][0]
        # rock and snow of one mountain by their shares: which of the two parts best may differ in the next copy
        weight, large = np.average(
            [_KIND[la.class_name][1:] for la in group], axis=0, weights=[la.share for la in group]
        )
        share = float(inside.mean())
        if layer.class_name in _MOUNTAIN:
            # open ground is a stage; it leads only where it rises against the sky
            weight *= ramp(against_sky, 0.08, 0.35) * _rising(inside)
        if choice == "foliage":
            lit = float(curve.lightness(float(np.percentile(ground.infrared_zone[inside], 75))))
            grey = _GREY_LEAVES + (_GREY_LEAVES_ALONE - _GREY_LEAVES) * _free_standing(inside, against_sky)
            weight *= _BACKDROP + (1 - _BACKDROP) * ramp(lit, grey, _LIGHT_LEAVES)
        # a lead is named only of what was recognised
        weight *= ramp(float(np.median(ground.confidence[inside])), *_RECOGNISED)
        weight *= _upright(inside)
        if layer.class_name == "structure":
            weight *= 1 - (1 - _BACKDROP) * _stage(inside, against_sky)
        if layer.class_name == "tree":
            # a lone tree against the sky is a figure like a tower; a wood has to be large
            large -= (large - _LONE_TREE) * ramp(against_sky, 0.4, 0.7)
            alone.append((len(out), _loneness(inside, share, against_sky)))
        salience = float(weight) * math.sqrt(min(1.0, share / large)) * _place(inside)
        stands = max(standing, 0.75 * _modelling(inside, share, ground, curve))
        if layer.class_name == "structure":
            figure = max(figure, salience)
            stands = max(stands, _FIGURE_ANYWAY * _alone_in_the_open(inside, share))
        strength = salience * stands
        if layer.class_name in _MOUNTAIN:
            mountain = max(mountain, strength)
        kind = _kind(group, inside, share, against_sky)
        out.append(
            Subject(choice, kind, layer.index, strength, strength, share, against_sky, best, weakest, layer.centre_xy)
        )
    skies = [la for la in layers if la.class_name in _SKY]
    if sky.word != "none" and skies:
        share = sum(layer.share for layer in skies)
        biggest = max(skies, key=lambda la: la.share)
        strength = _sky_strength(layers, separations, sky, share, max(figure, mountain))
        out.append(Subject("sky", "sky", biggest.index, strength, strength, share, 0.0, None, None, biggest.centre_xy))
    for at, loneness in alone:
        back = 1 - _WOOD_STEPS_BACK * figure * (1 - loneness)
        wood = out[at]
        out[at] = replace(wood, strength=wood.strength * back, strength_still=wood.strength_still * back)
    return tuple(sorted(out, key=lambda c: -c.strength))
