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
from dataclasses import dataclass

import cv2
import numpy as np

from irpreview.core.rendering.finishing import PrintCurve
from irpreview.core.verdict.layer_split import masked_mean
from irpreview.core.verdict.layers import Ground, edge_lengths
from irpreview.core.verdict.sky import BLANK_STOPS, DRAMATIC_STOPS
from irpreview.records import CLASS_ID, Layer, LeadChoice, Separation, Sky

_MIDDLE_LIMIT = 11.0
"""[L*] the middle of the limits of `separations`."""
FULL_STEP = 30.0
"""[L*] a step on the print that leaves nothing to wish."""
_SKY = ("clear_sky", "cloud")
_MOUNTAIN = ("ground", "snow")
_BAND_HEIGHT, _BAND_SHAPE = (0.03, 0.15), (0.2, 0.8)
"""Mean height of a figure, share of the frame's, and over its own width: a strip along the horizon is a backdrop."""
_GREY_LEAVES, _LIGHT_LEAVES = 45.0, 80.0
"""[L*] of the lightest quarter: crowns whose leaves in light print mid-grey are a backdrop; near-white ones are what
infrared foliage is known for."""
_BACKDROP = 0.35
_LONE_TREE = 0.03
"""Share of the frame at which a tree that stands free against the sky is large enough."""
_SKY_WEIGHT = 0.7
STEPS_BACK = 0.6
"""Share of its strength that the sky loses to a figure of full strength: it is the ground that the figure stands on."""


@dataclass(frozen=True, slots=True)
class Candidate:
    choice: LeadChoice
    strength: float
    """0..1 before movement."""
    layer: Layer | None
    best_separation: Separation | None
    sky_outline: float = 0.0
    """Share of the outline that stands against the sky."""
    share: float = 0.0
    """Share of the frame."""
    name: str = ""
    """What it is called where that is not the layer's own name: "rock and snow"."""


def ramp(value: float, low: float, high: float) -> float:
    """0 up to low, 1 from high, straight between."""
    return min(max((value - low) / (high - low), 0.0), 1.0)


def parting(separation: Separation) -> float:
    """How well a separation parts two layers, 0..1: the likely step, times the chance that it is one; or along the edge.

    The chance is smooth, not the verdict's word, so that a hair's breadth turns no lead. Areas of equal middle tone may
    still part along their edge, as a side-lit tower does from the sky.
    """
    step = abs(separation.print_step.likely)
    sigma = max(separation.print_step.width / (2 * 1.645), 1.0)
    chance = 0.5 * (1 + math.erf((step - _MIDDLE_LIMIT) / (sigma * math.sqrt(2))))
    return max(chance * ramp(step, 2.0, FULL_STEP), 0.75 * separation.edge_share_separating)


def _place(layer: Layer) -> float:
    """1 in the middle of the frame, 0.7 in a corner."""
    x, y = layer.centre_xy
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
) -> tuple[float, Separation | None]:
    """How well the outline of one or more layers parts, 0..1, and the separation that does most for it."""
    own = {layer.index for layer in members}
    kinds = {layers[i].class_name for i in own}
    total = weighted = 0.0
    best: Separation | None = None
    best_worth = -1.0
    for separation in separations:
        if (separation.a in own) == (separation.b in own):
            continue
        layer, other = (
            layers[i] for i in ((separation.a, separation.b) if separation.a in own else (separation.b, separation.a))
        )
        if other.class_name in kinds:
            continue
        edge = float(length[separation.a, separation.b])
        # an outline against the sky is what makes a figure; the foot may well melt into the ground
        weight = edge * (1.6 if other.class_name in _SKY else 1.0)
        if {layer.class_name, other.class_name} == {"tree", "grass"}:
            weight *= 0.4  # leaves against leaves are one mass
        worth = (
            weight
            * parting(separation)
            * (_shining(separation, layer) if layer.class_name in ("tree", "grass") else 1.0)
        )
        total += weight
        weighted += worth
        # what is told is an edge that surely holds, where there is one
        worth *= 1.0 if separation.says == "separates" else 0.4
        if worth > best_worth:
            best, best_worth = separation, worth
    if total == 0:
        return 0.0, None
    # a figure need not part all round: 60 % of its outline is enough (common practice)
    return min(1.0, weighted / (0.6 * total)), best


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


def _sky_strength(
    layers: tuple[Layer, ...], separations: tuple[Separation, ...], sky: Sky, share: float, structure: float
) -> float:
    """How well the sky could lead, 0..1: by its texture, or by cloud that stands white on a dark sky.

    Where something built comes forward, the sky steps back (figure and ground: Rubin).
    """
    texture = ramp(sky.texture_stops, BLANK_STOPS, DRAMATIC_STOPS)
    parts = max(
        (parting(g) for g in separations if {layers[g.a].class_name, layers[g.b].class_name} == set(_SKY)), default=0.0
    )
    cover = (sky.okta or 0) / 8
    drama = 0.9 * parts * 4 * cover * (1 - cover)
    return _SKY_WEIGHT * max(texture, drama) * math.sqrt(min(1.0, share / 0.4)) * (1 - STEPS_BACK * structure)


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


def candidates(
    layers: tuple[Layer, ...],
    separations: tuple[Separation, ...],
    layer_map: np.ndarray,
    ground: Ground,
    curve: PrintCurve,
    sky: Sky,
) -> tuple[Candidate, ...]:
    """What could lead, strongest first, before any movement."""
    length = edge_lengths(layer_map, len(layers)).astype(np.float64)
    sky_here = ground.winner <= 1
    out: list[Candidate] = []
    for group in _groups(layers, length):
        inside = np.isin(layer_map, [layer.index for layer in group])
        # what was too small to be a layer and went under here is no outline of this thing
        own = inside & np.isin(ground.winner, [CLASS_ID[layer.class_name] - 1 for layer in group])
        against_sky = _against_sky(own, inside, sky_here)
        standing, best = _standing(group, separations, layers, length)
        layer = max(group, key=lambda la: la.share)
        if best is not None and len(group) > 1:
            layer = next(la for la in group if la.index in (best.a, best.b))
        choice, weight, large = _KIND[layer.class_name]
        if layer.class_name in _MOUNTAIN:
            # open ground is a stage; it leads only where it rises against the sky
            weight *= ramp(against_sky, 0.08, 0.35)
        if choice == "foliage":
            lit = float(curve.lightness(float(np.percentile(ground.infrared_zone[inside], 75))))
            weight *= _BACKDROP + (1 - _BACKDROP) * ramp(lit, _GREY_LEAVES, _LIGHT_LEAVES)
        # a lead is named only of what was recognised
        weight *= ramp(float(np.median(ground.confidence[inside])), 0.2, 0.6)
        weight *= _upright(inside)
        if layer.class_name == "structure":
            weight *= 1 - (1 - _BACKDROP) * _stage(inside, against_sky)
        if layer.class_name == "tree":
            # a lone tree against the sky is a figure like a tower; a wood has to be large
            large -= (large - _LONE_TREE) * ramp(against_sky, 0.4, 0.7)
        share = float(inside.mean())
        inner = _modelling(inside, share, ground, curve)
        size = math.sqrt(min(1.0, share / large))
        strength = weight * size * _place(layer) * max(standing, 0.75 * inner)
        name = layer.name if len({la.class_name for la in group}) == 1 else "rock and snow"
        out.append(Candidate(choice, strength, layer, best, against_sky, share, name))
    share = sum(layer.share for layer in layers if layer.class_name in _SKY)
    if sky.word != "none" and share > 0:
        structure = max((c.strength for c in out if c.choice == "structure"), default=0.0)
        biggest = max((la for la in layers if la.class_name in _SKY), key=lambda la: la.share)
        out.append(
            Candidate(
                "sky", _sky_strength(layers, separations, sky, share, structure), biggest, None, 0.0, share, "sky"
            )
        )
    return tuple(sorted(out, key=lambda c: -c.strength))
