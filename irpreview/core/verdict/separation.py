"""How far two neighbouring layers lie apart, on the negative in zones and on the print in L*.

The criterion: two touching areas hold apart when their step on the print is above the limit

    limit = clip(1.3 * rms texture of the two [L*], 8, 15)

Sources of the figures. A quarter stop is about the least print change that the unaided eye readily separates; half a
stop (a ratio of 1.41, seven just noticeable steps of 1.05) is one "shade of grey" of the ergonomics handbooks: 3.9
and 8.0 L* at mid grey. CIE 1976 L* (CIE 15). The print is the finished picture's own paper (core.finishing: ISO range
of ISO 6846:1992). Texture: two tones nearer than about one standard deviation of their texture overlap too much to
read as two (d' = 1 to 1.5 of detection theory); the cap of 15 L* is common practice: a whole shade and more parts
even rough textures.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from irpreview.core.rendering.finishing import PrintCurve, place_print
from irpreview.core.verdict.layer_split import masked_mean
from irpreview.core.verdict.layers import REFERENCE_KIT, Ground, edge_lengths
from irpreview.records import FloatArray, Layer, Range, Rendering, Separation, SeparationWord

LEAST_STEP = 8.0
"""[L*] below this two areas melt whatever their texture: half a stop at mid grey."""
GREATEST_LIMIT = 15.0
"""[L*] above this two areas part whatever their texture."""
TEXTURE_FACTOR = 1.3

SIGMA_FLOOR, SIGMA_PER_SPREAD = 0.12, 0.31
"""One standard deviation of a separation [zones]: floor, and share of the rendering's own spread; added as squares.

By 554 separations of all 123 pairs, each judged by a network that had not seen it (models/evaluate_gaps.py --held-back
--fit). `low` .. `high` covers 0.897 of them, and 0.97 of the 134 of the 29 pairs that the network for tests has not
seen: the other three networks were taught without teachers.
"""
FACTOR_SHARE, LEAVES_SHARE = 0.12, 0.05
"""Share of a class factor's squared doubt that is open in a separation: about half is common to both layers (haze,
filter curve, sensor edge) and cancels, two thirds of the rest are seen in the snap (pale or dark stone, fresh or dry
grass). Between
two layers of leaves nearly all is common: one pigment. Assumed; the true separations of the demo scenes fit it
(tests/reference/test_demo_scenes.py)."""
CLEAR_SKY_SIGMA = 0.34
"""[zones] one standard deviation more where one of the two is clear sky and the kit is not that of the research pairs:
how dark a sky goes hangs on the haze, which the snap hardly shows. In the pairs it is 0.6 stop darker than a grey,
physics of a clean day says 1.5 (models/README.md)."""
WIDE = 2.015
"""Standard deviations: the 5 and 95 % ends that are reported as `low` and `high`, of Student's t with five degrees of
freedom (table value), as which the deviation is fitted: a few separations are far off."""
SEPARATES_AT, MERGES_AT, SIGN_AT = 0.68, 0.34, 1.28
"""Standard deviations: the ends that the words ask to clear the limit (25 % for `separates`, 73 % for `merges`).

With the 5 and 95 % ends 45 % of all separations of real pictures would stay open, more than anyone is helped by. With
these `separates` is right in 96 % and `merges` in 85 % of the cases on the 29 pairs that the network for tests has not
seen, and 22 % stay open; on all 123 pairs held back in turn it is 95, 76 and 22 %.
`merges` asks less because its price is lower: who is told that two layers merge takes a test exposure or another
viewpoint; who is told that they separate goes home with the picture.
"""


def print_curve(zones: FloatArray, grade: float) -> PrintCurve:
    """The print of a picture given as scene zones (h, w). Raises BadValue for a grade outside 0..5."""
    return place_print(np.asarray(np.sqrt(0.18 * 2.0 ** (zones.astype(np.float32) - 5)), np.float32), grade)


def texture_limit(texture_a: float, texture_b: float) -> float:
    """Least step [L*] that holds two touching areas apart, from the rms textures of both [L*]"""
    pooled = math.sqrt((texture_a**2 + texture_b**2) / 2)
    return min(max(LEAST_STEP, TEXTURE_FACTOR * pooled), GREATEST_LIMIT)


def says_of(step: Range, limit: float) -> SeparationWord:
    """`separates`, `merges` or `uncertain` for a signed step in print L*, its ends, and the limit they must clear."""
    if step.low > limit or step.high < -limit:
        return "separates"
    if -limit < step.low and step.high < limit:
        return "merges"
    return "uncertain"


@dataclass(frozen=True, slots=True)
class LayerTones:
    """What a layer's pixels say in one picture: median zone, its print L*, and its texture."""

    zone: float
    lightness: float
    texture: float
    """rms [L*] of what is left after the slow shading is taken off."""


def layer_tones(zones: FloatArray, layer_map: NDArray[np.int16], count: int, curve: PrintCurve) -> list[LayerTones]:
    """Tones and texture of each layer of a picture given as zones (h, w)."""
    lightness = curve.lightness(zones).astype(np.float32)
    radius = max(3, round(0.03 * zones.shape[1]))
    out = []
    for i in range(count):
        whole = layer_map == i
        rows, columns = np.flatnonzero(whole.any(axis=1)), np.flatnonzero(whole.any(axis=0))
        cut = np.s_[rows[0] : rows[-1] + 1, columns[0] : columns[-1] + 1]
        inside = whole[cut]
        slow, _ = masked_mean(lightness[cut], inside, radius)
        residual = (lightness[cut] - slow)[inside]
        # robust: a bright post in dark grass is no texture
        low, high = np.percentile(residual, (16, 84))
        zone = float(np.median(zones[cut][inside]))
        out.append(LayerTones(zone, float(curve.lightness(zone)), float(high - low) / 2))
    return out


def step_range(zone_a: float, zone_b: float, low: float, high: float, curve: PrintCurve) -> Range:
    """Signed step in print L* for a separation of low .. zone_a - zone_b .. high zones about the middle of the two
    tones.
    """
    middle = (zone_a + zone_b) / 2
    half = np.array([low, min(max(zone_a - zone_b, low), high), high]) / 2
    print_l = curve.lightness(np.concatenate([middle + half, middle - half]))
    return Range(*(float(step) for step in print_l[:3] - print_l[3:]))


def word_for(zone_a: float, zone_b: float, sigma: float, limit: float, curve: PrintCurve) -> SeparationWord:
    """What is said of a separation of zone_a - zone_b, one standard deviation sigma [zones], limit in print L*.

    Whatever the print asks, a separation whose sign is not sure to 90 % holds nothing apart.
    """
    separation = zone_a - zone_b

    def said(reach: float) -> SeparationWord:
        return says_of(step_range(zone_a, zone_b, separation - reach * sigma, separation + reach * sigma, curve), limit)

    if abs(separation) > SIGN_AT * sigma and said(SEPARATES_AT) == "separates":
        return "separates"
    return "merges" if said(MERGES_AT) == "merges" else "uncertain"


EDGE_NOISE = 4.0
"""[L*] doubt of a step at one place of an edge: half of the least limit (chosen, no source)."""
_LOGISTIC = 1.702
"""Makes the logistic curve the normal one to within 0.01."""


@dataclass(frozen=True, slots=True)
class EdgeStep:
    """What the step along a shared edge does."""

    zones: float
    share_separating: float
    xy: tuple[float, float]


def edge_step(
    zones: FloatArray, layer_map: NDArray[np.int16], a: int, b: int, curve: PrintCurve, limit: float
) -> EdgeStep:
    """Median step a - b along the shared edge, within about 1 % of the height, and the share of the edge that parts.

    The two pixels next to the edge are left out: they are mixed by blur and by a label that is a little off.
    """
    in_a, in_b = layer_map == a, layer_map == b
    kernel = np.ones((3, 3), np.uint8)
    edge = (cv2.dilate(in_a.view(np.uint8), kernel) & cv2.dilate(in_b.view(np.uint8), kernel)).astype(bool)
    rows, columns = np.nonzero(edge)
    if rows.size == 0:
        return EdgeStep(0.0, 0.0, (0.5, 0.5))
    radius = max(4, round(0.01 * zones.shape[0]) + 3)
    top, bottom = max(rows.min() - 2 * radius, 0), rows.max() + 2 * radius + 1
    left, right = max(columns.min() - 2 * radius, 0), columns.max() + 2 * radius + 1
    cut = np.s_[top:bottom, left:right]
    near = cv2.dilate(edge[cut].view(np.uint8), kernel, iterations=2).astype(bool)
    here = (rows - top, columns - left)
    means = []
    for inside in (in_a[cut], in_b[cut]):
        kept = inside & ~near
        mean, cover = masked_mean(zones[cut], kept, radius)
        plain, _ = masked_mean(zones[cut], inside, radius)
        means.append(np.where(cover[here] > 0.05, mean[here], plain[here]))
    step = means[0] - means[1]
    median = float(np.median(step))
    print_step = curve.lightness(means[0]) - curve.lightness(means[1])
    # a side-lit tower is lighter than the sky on one flank and darker on the other: both flanks part. Each place counts
    # by its chance to part, so that an edge near the limit does not part today and merge in the next copy of the snap
    holding = 1 / (1 + np.exp(-_LOGISTIC * (np.abs(print_step) - limit) / EDGE_NOISE))
    # the point shown lies on the edge, near its middle
    middle = np.hypot(columns - np.median(columns), rows - np.median(rows))
    at = int(np.argmin(middle))
    h, w = zones.shape
    return EdgeStep(median, float(holding.mean()), ((float(columns[at]) + 0.5) / w, (float(rows[at]) + 0.5) / h))


def spread_in_zones(layer_a: Layer, layer_b: Layer) -> float:
    """What the rendering itself says of the doubt of both layers together, one standard deviation [zones]"""
    return math.hypot(layer_a.zone.width, layer_b.zone.width) / 2 / 1.645


def separation_sigma(layer_a: Layer, layer_b: Layer, rendering: Rendering) -> float:
    """One standard deviation of a predicted separation [zones]

    Fitted to the separations of pictures held back from training (models/evaluate_gaps.py prints the fit). With a kit
    other than the one of the research pairs, the doubt of the class factors comes on top: it shifts whole classes.
    """
    variance = SIGMA_FLOOR**2 + (SIGMA_PER_SPREAD * spread_in_zones(layer_a, layer_b)) ** 2
    if rendering.kit.name != REFERENCE_KIT and layer_a.class_name != layer_b.class_name:
        if "clear_sky" in (layer_a.class_name, layer_b.class_name):
            variance += CLEAR_SKY_SIGMA**2
        share = LEAVES_SHARE if {layer_a.class_name, layer_b.class_name} == {"tree", "grass"} else FACTOR_SHARE
        for layer in (layer_a, layer_b):
            tone = rendering.classes.get(layer.class_name)
            if tone is not None:
                variance += share * (tone.factor_stops.width / 2 / 1.645) ** 2
    return math.sqrt(variance)


_LEAST_EDGE_SHARE = 0.012
"""Two layers are neighbours when their shared edge is at least this share of the picture's half circumference."""


def neighbours(layer_map: NDArray[np.int16], layers: tuple[Layer, ...]) -> list[tuple[int, int, int]]:
    """(a, b, edge length [px]) of each pair that shares an edge worth judging, near layer first."""
    count = len(layers)
    length = edge_lengths(layer_map, count)
    least = _LEAST_EDGE_SHARE * sum(layer_map.shape)
    return [(a, b, int(length[a, b])) for a in range(count) for b in range(a + 1, count) if length[a, b] >= least]


def measure_separations(
    ground: Ground, layers: tuple[Layer, ...], layer_map: NDArray[np.int16], rendering: Rendering, grade: float
) -> tuple[tuple[Separation, ...], PrintCurve]:
    """Each pair of neighbours judged, in the order of the layers, and the print it was judged on."""
    curve = print_curve(ground.infrared_zone, grade)
    tones = layer_tones(ground.infrared_zone, layer_map, len(layers), curve)
    out = []
    for a, b, _ in neighbours(layer_map, layers):
        zone_a, zone_b = layers[a].zone.likely, layers[b].zone.likely
        zones = zone_a - zone_b
        sigma = separation_sigma(layers[a], layers[b], rendering)
        low, high = zones - WIDE * sigma, zones + WIDE * sigma
        step = step_range(zone_a, zone_b, low, high, curve)
        limit = texture_limit(tones[a].texture, tones[b].texture)
        pooled = math.sqrt((tones[a].texture ** 2 + tones[b].texture ** 2) / 2)
        edge = edge_step(ground.infrared_zone, layer_map, a, b, curve, limit)
        out.append(
            Separation(
                a=a,
                b=b,
                zones=zones,
                low=low,
                high=high,
                visible_zones=layers[a].visible_zone - layers[b].visible_zone,
                says=word_for(zone_a, zone_b, sigma, limit, curve),
                edge_zones=edge.zones * ground.trust,
                edge_share_separating=edge.share_separating,
                print_step=step,
                separability=abs(step.likely) / max(pooled, 0.5),
                edge_xy=edge.xy,
            )
        )
    return tuple(out), curve
