"""The infrared tones of a snap: class factors, colour within the class, and a bounded local residual.

In stops (log2), at a working size of about 1024 px, for kit K and light L:

    base_K   = visible + sum_c p_c * (factor_c(K, L, direction) + colour_c) + shade(K, L)
    residual = clip(steady(reference tone of the network - base of the reference kit in the snap's light))
    tone_K   = base_K + residual

`visible` is the snap's linear luminance placed on an absolute scale (a white surface in this light = 0 stops), for all
kits but the reference with the camera's development of highlights undone: the infrared photographs of the research
pairs were developed as their colour ones, the light of a scene is not. p_c are the class probabilities. Over a stretch
the network's word is drawn to its class by what it is usually off there (`_STRAYS`), so that no tone bleeds over an
edge. The network learned the look of the research pairs, so its tone belongs to the kit `reference-pairs`; every other
kit and light departs from it by that development, by class factors, by what direction does to sky and water (where the
light is known, `view_factors`) and by how dark open shade is, because the residual is the same. Where a person
repainted, the residual is off and the class speaks alone. The tones are then carried to the photo's full size along its
own edges.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

import cv2
import numpy as np
from numpy.typing import NDArray

from irpreview.core.imaging.resize import size_within
from irpreview.core.rendering.finishing import PrintCurve, place_print
from irpreview.core.rendering.full_size import HIGHEST_TONE, LOWEST_TONE, FullSize, fine_texture, print_root
from irpreview.core.rendering.per_class import (
    SAMPLE_STEP,
    ClassWeights,
    PairsTable,
    PerClass,
    class_median,
    class_weights,
    colour_rows,
    label_weights,
    likely_row,
    placement,
    spread_rows,
)
from irpreview.core.rendering.snap_light import AROUND_STEP, shade_share, snap_light, undeveloped_stops
from irpreview.core.rendering.view_factors import ViewFactors, enlarged
from irpreview.core.scene.edge_guide import EdgeGuide
from irpreview.core.scene.scene_map import (
    class_planes,
    evened,
    layers_of,
    probability_at,
    working_of,
)
from irpreview.records import (
    CLASS_NAMES,
    DEFAULT_GRADE,
    WORKING_SIDE_PX,
    ClassTone,
    FloatArray,
    Kit,
    Light,
    Photo,
    Range,
    Rendering,
    SceneMap,
    frozen_array,
    zone_of,
)

REFERENCE_KIT = "reference-pairs"
RESIDUAL_LIMIT_STOPS = 3.0
"""The local residual may not overrule a class by more than this."""
_BEYOND_BLUE = 0.67
"""Share of what direction does to the sky that its blue, as the snap shows it, does not already say. With none of it or
all of it the gradient of one demo sky of three is off (tests/reference/test_view_factors.py), at two thirds of none."""
_STRAYS = (0.0, 0.0, 0.0, 0.3, 0.1, 0.5, 0.6, 0.5, 0.5)
"""Share of what the network's word departs by from its class over a stretch that proves wrong, by class: regressed on
the 29 pairs held back, each picture alike (tree 0.2, grass 0.1, structure 0.45, ground 0.5, snow 0.6, water 0.35, where
it gains nothing), then moved by what rank, order and PSNR of those pairs say together. Sky has its own line."""
_STRAY_SHARE = 0.012
"""Of the long side: finer than that the network's word stands."""


@dataclass(frozen=True, slots=True)
class ClassPhysics:
    """What physics says of each class for one kit and light."""

    factor_stops: Mapping[str, Range]
    visible_reflectance: Mapping[str, Range]
    """In the snap's own light."""
    open_shade_stops: float
    """How much darker open shade is in the band than a visible meter predicts. [stops]"""
    reference_open_shade_stops: float
    """The same for the kit of the research pairs in the snap's own light, as the network learned it. [stops]"""
    reference_change_stops: Mapping[str, float] = field(default_factory=lambda: MappingProxyType({}))
    """What a planned light changes of the factors of the research pairs' kit; empty in the snap's own. [stops]"""
    view: ViewFactors | None = None
    """What direction does to sky and water; None where the light is not known."""
    brightness_change: tuple[FloatArray, FloatArray] | None = None
    """Coarse maps of how much brighter sky and water look in a planned light; None in the snap's own. [stops]"""


def _steady(residual: FloatArray, weights: ClassWeights) -> None:
    """Take back `_STRAYS` of what the residual (h, w) departs by from its class over a stretch, in place."""
    h, w = residual.shape
    reduced = (-(-w // AROUND_STEP), -(-h // AROUND_STEP))
    size = max(3, round(_STRAY_SHARE * max(h, w) / AROUND_STEP) | 1)

    def around(m: FloatArray) -> FloatArray:
        return np.asarray(cv2.blur(cv2.blur(m, (size, size)), (size, size)), np.float32)

    medians, _ = class_median(residual, weights)
    small = cv2.resize(residual, reduced, interpolation=cv2.INTER_AREA)
    for k, i in enumerate(weights.index):
        if _STRAYS[i] == 0 or np.isnan(medians[i]):
            continue
        of_class = cv2.resize(weights.maps[k], reduced, interpolation=cv2.INTER_AREA)
        stray = around(of_class * (small - np.float32(medians[i])))
        stray /= around(of_class) + np.float32(1e-3)
        stray *= np.float32(-_STRAYS[i])
        cv2.accumulateProduct(cv2.resize(stray, (w, h), interpolation=cv2.INTER_LINEAR), weights.maps[k], residual)


def render_tones(
    photo: Photo,
    scene: SceneMap,
    kit: Kit,
    light: Light,
    physics: ClassPhysics,
    pairs: PairsTable,
    *,
    grade: float = DEFAULT_GRADE,
    film_look: bool = False,
) -> Rendering:
    """The predicted infrared picture of a snap for one kit and light.

    physics: for this kit and light. pairs: what the research pairs taught. Tones and spread come at the photo's size.
    """
    # the scene may be that of a smaller copy of the photo: then its working size is the one to keep to
    h, w = size_within(photo.height, photo.width, WORKING_SIDE_PX)
    small = scene.small
    if small is not None and abs(small.shape[0] - h) <= 2 and abs(small.shape[1] - w) <= 2:
        h, w = small.shape[:2]
    else:
        small = working_of(photo)
    fine, network, cloud_share, apart = scene.fine, scene.network_stops, scene.cloud_share, scene.unmixed
    if fine is None or network is None or fine.shape[1:] != (h, w) or network.shape != (h, w):
        edges = EdgeGuide(small)
        even = evened(scene.probability, small)
        fine = probability_at(edges, class_planes(even, edges))
        layers = layers_of(small, scene.probability, scene.mix, edges, even, fine)
        network, cloud_share, apart = layers.network_stops, layers.cloud_share, layers.unmixed
        assert network is not None
    unsure = 1 - _highest(fine)
    painted = _painted(scene, h, w)
    weights = class_weights(scene, fine, painted)

    is_reference = kit.name == REFERENCE_KIT
    seen = small if apart is None or apart.shape != small.shape else apart
    snap = snap_light(seen)
    developed, visible = snap.luminance, snap.luminance if is_reference else undeveloped_stops(seen)
    medians, shares = class_median(visible, weights)
    offset, placement_error = placement(medians, shares, physics.visible_reflectance)
    visible += np.float32(offset)
    if not is_reference:
        medians, _ = class_median(developed, weights)
        developed += np.float32(offset)

    factors = _factors(physics, pairs, is_reference)
    per_class = PerClass(
        reference=likely_row(pairs.factor_stops),
        factor=likely_row(factors) + np.array([kit.class_correction_stops.get(n, 0.0) for n in CLASS_NAMES]),
        colour=colour_rows(np.nan_to_num(medians) + offset, pairs),
        spread=spread_rows(factors, pairs, placement_error, is_reference),
    )
    reference_factor, factor = (per_class.blend(row, weights) for row in (per_class.reference, per_class.factor))
    within = per_class.blend(per_class.colour[3], weights)
    for row, value in zip(per_class.colour[:3], (snap.redness, snap.blueness, developed), strict=True):
        cv2.accumulateProduct(per_class.blend(row, weights), value, within)
    np.clip(within, -2, 2, out=within)
    not_sky = np.ones((h, w), np.float32)
    for of_class in (weights.of(0), weights.of(1)):
        if of_class is not None:
            not_sky -= of_class
    water = weights.of(2)
    shaded = shade_share(developed, snap.blueness, not_sky if water is None else not_sky - water)
    sky_weight = _soften_clouds(cloud_share, weights, per_class, factor, painted)
    if physics.view is not None:
        _add_directions(physics.view, is_reference, {0: sky_weight, 2: weights.of(2)}, factor, reference_factor)

    residual = network - developed
    residual -= within
    residual -= reference_factor
    residual -= np.float32(np.median(residual[::SAMPLE_STEP, ::SAMPLE_STEP]))
    _steady(residual, weights)
    residual -= shaded * np.float32(physics.reference_open_shade_stops)
    np.clip(residual, -RESIDUAL_LIMIT_STOPS, RESIDUAL_LIMIT_STOPS, out=residual)
    if painted is not None:
        residual[painted] = 0

    shaded *= np.float32(physics.open_shade_stops)
    parts = {"visible": visible, "factor": factor, "within_class": within, "shade": shaded, "residual": residual}
    if physics.brightness_change is not None:
        parts["planned"] = _brighter(physics.brightness_change, sky_weight, weights.of(2), h, w)
    stops = visible + factor
    for name in parts:
        if name not in ("visible", "factor"):
            stops += parts[name]

    spread = per_class.blend(per_class.spread[0], weights)
    spread += unsure  # doubt about the class itself, up to a stop
    if painted is not None:
        spread[painted] = per_class.blend(per_class.spread[1], weights)[painted]
    texture = fine_texture(residual, _soft_things(not_sky, weights))
    root = print_root(stops, texture)
    curve = place_print(root, grade)
    classes = _class_tones(stops, texture, spread, label_weights(scene, h, w), factors, curve)
    # maps that are done with make room before the picture at full size, where the memory needed is highest
    del weights, of_class, value, snap, developed, reference_factor, not_sky, water, unsure, sky_weight, network, fine
    full = FullSize(photo.pixels, small, stops, texture, root, spread)
    return Rendering(
        maps=full.maps,
        classes=MappingProxyType(classes),
        picture=frozen_array(full.picture(curve, film_look)),
        kit=kit,
        light=light,
        parts_stops=MappingProxyType({name: frozen_array(part) for name, part in parts.items()}),
        grade=grade,
        placed_stops=curve.shift_stops,
        negative_gamma=curve.gamma,
    )


def _soft_things(not_sky: FloatArray, weights: ClassWeights) -> FloatArray:
    """Share of what the network learned too soft, (h, w): all land but walls and other made things.

    Contrast of the finest texture, print against the infrared photographs of the 29 pairs held back: trees 0.70
    without and 0.86 with the texture taken back, grass 0.80 and 0.84, ground 0.95 and 0.99; but walls 1.02 and 1.11,
    other things 1.27 and 1.41 (2026-11-28). With it the joints of a wall in the shade go black.
    """
    made = [m for m in (weights.of(5), weights.of(7)) if m is not None]
    out = not_sky
    for m in made:
        out = out - m
    return np.maximum(out, 0) if made else out


def _highest(fine: FloatArray) -> FloatArray:
    """Largest probability in each pixel, (h, w)."""
    best = fine[0].copy()
    for p in fine[1:]:
        if p.any():
            cv2.max(p, best, dst=best)
    return np.asarray(best, np.float32)


def _brighter(
    change: tuple[FloatArray, FloatArray], sky: FloatArray | None, water: FloatArray | None, h: int, w: int
) -> FloatArray:
    """How much brighter sky and water get in a planned light, (h, w). [stops]"""
    out = np.zeros((h, w), np.float32)
    for weight, grid in zip((sky, water), change, strict=True):
        if weight is not None:
            out += weight * enlarged(grid, h, w)
    return out


def _factors(physics: ClassPhysics, pairs: PairsTable, is_reference: bool) -> Mapping[str, Range]:
    """Factor per class of this kit in this light. [stops]"""
    if is_reference:
        change = physics.reference_change_stops
        return {name: pairs.factor_stops[name] + change.get(name, 0.0) for name in CLASS_NAMES}
    if physics.view is None:
        return physics.factor_stops
    return {**physics.factor_stops, "clear_sky": physics.view.sky_factor, "water": physics.view.water_factor}


def _soften_clouds(
    share: FloatArray | None,
    weights: ClassWeights,
    per_class: PerClass,
    factor: FloatArray,
    painted: NDArray[np.bool_] | None,
) -> FloatArray | None:
    """Let what sky and cloud depart from the reference by follow the sky's own colour, in place on `factor`.

    share: of white in the sky, (h, w). Where haze thins out into blue the classes meet at a line that nobody sees; a
    change of light or filter that set in along it would print as a band. Returns the weight of clear sky that goes with
    it, (h, w); None where there is no sky.
    """
    of_both = [m for m in (weights.of(0), weights.of(1)) if m is not None]
    if not of_both:
        return None
    sky = weights.of(0)
    if share is None or share.shape != of_both[0].shape:
        return None if sky is None else np.asarray(sky, np.float32)
    departs = per_class.factor[:2] - per_class.reference[:2]
    move = np.sum(of_both, axis=0, dtype=np.float32)
    move *= share
    if (cloud := weights.of(1)) is not None:
        move -= cloud
    if painted is not None:
        move[painted] = 0
    factor += np.float32(departs[1] - departs[0]) * move
    return np.asarray(-move if sky is None else sky - move, np.float32)


def _add_directions(
    view: ViewFactors,
    is_reference: bool,
    weights: Mapping[int, FloatArray | None],
    factor: FloatArray,
    reference_factor: FloatArray,
) -> None:
    """Add to both maps (h, w), in place, how sky and water depart from their class by direction.

    weights: share of clear sky (0) and of water (2) in each pixel, (h, w).
    """
    h, w = factor.shape
    maps = {0: (view.sky, view.reference_sky), 2: (view.water, view.reference_water)}
    for index, weight in weights.items():
        own, reference = maps[index]
        if weight is None or float(weight.max()) < 0.5:
            continue
        if index == 0:
            weight = weight * np.float32(_BEYOND_BLUE)
        by_reference = weight * enlarged(reference, h, w)
        reference_factor += by_reference
        factor += by_reference if is_reference else weight * enlarged(own, h, w)


def _painted(scene: SceneMap, h: int, w: int) -> NDArray[np.bool_] | None:
    """Where a person painted, at (h, w)."""
    if scene.repainted is None:
        return None
    return np.asarray(cv2.resize(scene.repainted.astype(np.uint8), (w, h), interpolation=cv2.INTER_NEAREST), bool)


def _class_tones(
    stops: FloatArray,
    texture: FloatArray,
    spread: FloatArray,
    weights: ClassWeights,
    factors: Mapping[str, Range],
    curve: PrintCurve,
) -> dict[str, ClassTone]:
    tone_median, shares = class_median(stops, weights)
    printed_median, _ = class_median(stops + texture, weights)  # what the print shows beyond the tones
    spread_median, _ = class_median(spread, weights)
    out = {}
    for i, name in enumerate(CLASS_NAMES):
        if np.isnan(tone_median[i]):
            continue
        likely = zone_of(float(np.clip(2.0 ** tone_median[i], LOWEST_TONE, HIGHEST_TONE)))
        half = float(spread_median[i])
        scene_zone = Range(likely - half, likely, likely + half)
        out[name] = ClassTone(
            share=float(shares[i]),
            zone=curve.zone_range(scene_zone + float(printed_median[i] - tone_median[i])),
            scene_zone=scene_zone,
            factor_stops=factors[name],
        )
    return out
