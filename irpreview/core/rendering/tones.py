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
from irpreview.core.imaging.srgb import LUMINANCE_WEIGHTS, UNDEVELOPED_OF_LEVEL
from irpreview.core.rendering.finishing import PrintCurve, place_print
from irpreview.core.rendering.full_size import HIGHEST_TONE, LOWEST_TONE, FullSize, fine_texture, print_root
from irpreview.core.rendering.view_factors import ViewFactors, enlarged
from irpreview.core.scene.edge_guide import EdgeGuide
from irpreview.core.scene.scene_map import (
    DARKEST_SEEN,
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
    ByteArray,
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
_AROUND_STEP = 4
_SAMPLE_STEP = 3
"""Medians are taken over every third pixel each way: the same value for a ninth of the time."""


@dataclass(frozen=True, slots=True)
class PairsTable:
    """What the research pairs taught about each class; see models/fit_class_tones.py."""

    factor_stops: Mapping[str, Range]
    colour_stops: FloatArray
    """(9, 3): per class, stops per stop of redness log2(R/G), blueness log2(B/G), lightness."""
    colour_centre: FloatArray
    """(9, 3): where those three are neutral for the class."""
    residual_stops: Mapping[str, float]
    """Half the 5-95 % range of the error of the network's tone on pictures held back. [stops]"""


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


def linear_light(pixels: ByteArray) -> FloatArray:
    """Linear light 0..1 of sRGB bytes (IEC 61966-2-1), same shape, float32."""
    return np.asarray(_SRGB_TO_LINEAR[pixels], np.float32)


def _srgb_table() -> FloatArray:
    x = np.arange(256) / 255.0
    return np.where(x <= 0.04045, x / 12.92, ((x + 0.055) / 1.055) ** 2.4).astype(np.float32)


_SRGB_TO_LINEAR = _srgb_table()
_FLOORED = np.maximum(_SRGB_TO_LINEAR, np.float32(DARKEST_SEEN))
_FLOORED_STOPS = np.log2(_FLOORED)
_UNDEVELOPED_LUMINANCE = [
    np.asarray(weight * np.maximum(UNDEVELOPED_OF_LEVEL, np.float32(DARKEST_SEEN / 3.5)), np.float32)
    for weight in LUMINANCE_WEIGHTS
]


def decode_display(display: FloatArray) -> FloatArray:
    """Linear light of display tones 0..1 by the sRGB curve (IEC 61966-2-1), any 2-D shape."""
    x = np.maximum(display, 0).astype(np.float32)
    curved = cv2.pow((x + np.float32(0.055)) * np.float32(1 / 1.055), 2.4)
    return np.asarray(np.where(x <= 0.04045, x / np.float32(12.92), curved), np.float32)


_BIN_STOPS = 1 / 32
_BIN_FROM, _BIN_TO = -16.0, 6.0


@dataclass(frozen=True, slots=True)
class _Weights:
    """Weight of each class in each pixel; only classes that are somewhere."""

    index: tuple[int, ...]
    maps: FloatArray
    """(k, h, w), sums to 1."""
    sample: FloatArray
    """(k, n) every third pixel each way."""

    def of(self, index: int) -> FloatArray | None:
        """(h, w), None for a class that is nowhere."""
        return self.maps[self.index.index(index)] if index in self.index else None


def _weights(scene: SceneMap, fine: FloatArray, painted: NDArray[np.bool_] | None) -> _Weights:
    """Weights from class probabilities (9, h, w): a surface is one thing or another.

    Cubed, since half-decided strips along edges would glow in the print. Painted pixels are wholly their class.
    """
    h, w = fine.shape[1:]
    label = None if painted is None else cv2.resize(scene.label, (w, h), interpolation=cv2.INTER_NEAREST)
    brushed = set() if label is None or painted is None else {int(i) - 1 for i in np.unique(label[painted])}
    index = tuple(i for i in range(len(fine)) if i in brushed or fine[i].any())
    maps = np.empty((len(index), h, w), np.float32)
    total = np.full((h, w), 1e-12, np.float32)
    for k, i in enumerate(index):
        np.multiply(fine[i], fine[i], out=maps[k])
        maps[k] *= fine[i]
        total += maps[k]
    np.divide(1, total, out=total)
    for k, i in enumerate(index):
        maps[k] *= total
        if painted is not None and label is not None:
            maps[k][painted] = label[painted] == i + 1
    sample = maps[:, ::_SAMPLE_STEP, ::_SAMPLE_STEP].reshape(len(index), -1)
    return _Weights(index, maps, np.ascontiguousarray(sample))


def _by_label(scene: SceneMap, h: int, w: int) -> _Weights:
    """Each pixel wholly of its label: what is said of a class is said of the region that carries its name."""
    label = cv2.resize(scene.label, (w, h), interpolation=cv2.INTER_NEAREST)[::_SAMPLE_STEP, ::_SAMPLE_STEP].ravel()
    index = tuple(int(i) - 1 for i in np.unique(label))
    sample = np.stack([(label == i + 1).astype(np.float32) for i in index])
    return _Weights(index, sample, sample)


def _class_median(value: FloatArray, weights: _Weights) -> tuple[np.ndarray, np.ndarray]:
    """Weighted median of a map in stops (h, w) per class, and each class's share, (9,) each; nan where absent.

    By counting into bins of 1/32 stop with a straight line inside the bin: much faster than sorting, exact enough.
    """
    v = value[::_SAMPLE_STEP, ::_SAMPLE_STEP].ravel()
    bins = ((np.clip(v, _BIN_FROM, _BIN_TO - 1e-3) - _BIN_FROM) / _BIN_STOPS).astype(np.intp)
    medians, shares = np.full(len(CLASS_NAMES), np.nan), np.zeros(len(CLASS_NAMES))
    for i, w in zip(weights.index, weights.sample, strict=True):
        shares[i] = float(w.mean())
        if shares[i] > 5e-4:
            total = np.cumsum(np.bincount(bins, w))
            k = int(np.searchsorted(total, 0.5 * total[-1]))
            below = total[k - 1] if k else 0.0
            inside = (0.5 * total[-1] - below) / max(total[k] - below, 1e-12)
            medians[i] = _BIN_FROM + (k + inside) * _BIN_STOPS
    return medians, shares


def _placement(
    medians: np.ndarray, shares: np.ndarray, visible_reflectance: Mapping[str, Range]
) -> tuple[float, float]:
    """Offset that puts the snap's luminance on an absolute scale, and its standard error. [stops]

    A phone chooses exposure and tone curve by itself, so the only anchor is what the classes usually reflect: each
    class votes with its area and the narrowness of its range.
    """
    votes, weights = [], []
    for i, name in enumerate(CLASS_NAMES):
        if np.isnan(medians[i]):
            continue
        expected = visible_reflectance[name]
        low, likely, high = (np.log2(max(v, 1e-4)) for v in (expected.low, expected.likely, expected.high))
        sigma = max((high - low) / 3.29, 0.3)
        votes.append(likely - medians[i])
        weights.append(min(shares[i], 0.3) / sigma**2)
    if not votes:
        return 0.0, 1.5
    vote, weight = np.array(votes), np.array(weights)
    offset = float(np.average(vote, weights=weight))
    scatter = float(np.sqrt(np.average((vote - offset) ** 2, weights=weight)))
    return offset, float(np.hypot(0.45, 0.5 * scatter))


def _likely(ranges: Mapping[str, Range]) -> np.ndarray:
    return np.array([ranges[name].likely for name in CLASS_NAMES])


def _colour_rows(medians: np.ndarray, pairs: PairsTable) -> np.ndarray:
    """(4, 9): slopes for redness, blueness, lightness, and the constant that makes each class's middle neutral."""
    slope, centre = pairs.colour_stops, pairs.colour_centre
    constant = -(slope[:, 0] * centre[:, 0] + slope[:, 1] * centre[:, 1] + slope[:, 2] * medians)
    return np.vstack([slope.T, constant])


def _spread_rows(
    factors: Mapping[str, Range], pairs: PairsTable, placement_error: float, is_reference: bool
) -> np.ndarray:
    """(2, 9): half the 5-95 % range per class, as predicted and where a person repainted. [stops]

    The network's error on held-back pictures; for other kits also the physics of the class and the placement of the
    whole snap on the absolute scale, which pairs of unknown exposure cannot show. A repainted class has no residual,
    so the whole spread of its factor is open.
    """
    learned = np.array([pairs.residual_stops[name] for name in CLASS_NAMES])
    physics = np.array([factors[name].width / 2 for name in CLASS_NAMES])
    placement = 0.0 if is_reference else 1.645 * placement_error
    predicted = np.sqrt(learned**2 + (0.0 if is_reference else 1.0) * physics**2 + placement**2)
    return np.vstack([predicted, np.sqrt(learned**2 + physics**2 + placement**2)])


@dataclass(frozen=True, slots=True)
class _PerClass:
    """Rows of one value per class, to be blended to maps by the weights of the classes."""

    reference: np.ndarray
    factor: np.ndarray
    colour: np.ndarray
    """(4, 9): by redness, blueness, lightness, and constant."""
    spread: np.ndarray
    """(2, 9): as predicted, and where a person repainted."""

    def blend(self, row: np.ndarray, weights: _Weights) -> FloatArray:
        """A row of one value per class as a map (h, w)."""
        out = np.multiply(weights.maps[0], np.float32(row[weights.index[0]]))
        for k, i in enumerate(weights.index[1:], 1):
            cv2.scaleAdd(weights.maps[k], float(row[i]), out, dst=out)
        return np.asarray(out, np.float32)


def shade_share(visible_stops: FloatArray, blueness: FloatArray, land: FloatArray) -> FloatArray:
    """How far each pixel lies in open shade, 0..1, (h, w): darker and bluer than its surroundings on land.

    A guess from one picture: dark material and shade look alike, so it stays below 1 unless both signs agree.
    land: share of land in each pixel, (h, w).
    """
    h, w = visible_stops.shape
    size = max(3, round(0.12 * max(h, w) / _AROUND_STEP) | 1)

    def around(m: FloatArray) -> FloatArray:  # so smooth that a quarter of the size holds it
        reduced = cv2.resize(m, (-(-w // _AROUND_STEP), -(-h // _AROUND_STEP)), interpolation=cv2.INTER_AREA)
        smooth = cv2.blur(reduced, (size, size), borderType=cv2.BORDER_REFLECT)
        return np.asarray(cv2.resize(smooth, (w, h), interpolation=cv2.INTER_LINEAR), np.float32)

    share = around(visible_stops)
    share -= visible_stops
    share -= np.float32(0.7)
    share *= np.float32(1 / 1.3)
    np.clip(share, 0, 1, out=share)
    bluer = blueness - around(blueness)
    bluer += np.float32(0.1)
    bluer *= np.float32(1 / 0.5)
    np.clip(bluer, 0, 1, out=bluer)
    bluer *= np.float32(0.6)
    bluer += np.float32(0.4)
    share *= bluer
    share *= land
    return share


@dataclass(frozen=True, slots=True)
class _Snap:
    """The snap at its working size, (h, w) each. [stops]"""

    redness: FloatArray
    """log2(R / G)"""
    blueness: FloatArray
    """log2(B / G)"""
    luminance: FloatArray
    """log2 of linear luminance, full scale = 0."""


def _snap(small: ByteArray) -> _Snap:
    channels = cv2.split(small)
    red, green, blue = (np.asarray(cv2.LUT(c, _FLOORED_STOPS), np.float32) for c in channels)
    luminance = np.zeros(green.shape, np.float32)
    for channel, weight in zip(channels, (0.2126, 0.7152, 0.0722), strict=True):
        luminance += cv2.LUT(channel, np.asarray(weight * _FLOORED, np.float32))
    red -= green
    blue -= green
    return _Snap(red, blue, np.log2(luminance, out=luminance))


def _steady(residual: FloatArray, weights: _Weights) -> None:
    """Take back `_STRAYS` of what the residual (h, w) departs by from its class over a stretch, in place."""
    h, w = residual.shape
    reduced = (-(-w // _AROUND_STEP), -(-h // _AROUND_STEP))
    size = max(3, round(_STRAY_SHARE * max(h, w) / _AROUND_STEP) | 1)

    def around(m: FloatArray) -> FloatArray:
        return np.asarray(cv2.blur(cv2.blur(m, (size, size)), (size, size)), np.float32)

    medians, _ = _class_median(residual, weights)
    small = cv2.resize(residual, reduced, interpolation=cv2.INTER_AREA)
    for k, i in enumerate(weights.index):
        if _STRAYS[i] == 0 or np.isnan(medians[i]):
            continue
        of_class = cv2.resize(weights.maps[k], reduced, interpolation=cv2.INTER_AREA)
        stray = around(of_class * (small - np.float32(medians[i])))
        stray /= around(of_class) + np.float32(1e-3)
        stray *= np.float32(-_STRAYS[i])
        cv2.accumulateProduct(cv2.resize(stray, (w, h), interpolation=cv2.INTER_LINEAR), weights.maps[k], residual)


def undeveloped_stops(small: ByteArray) -> FloatArray:
    """log2 of the luminance of the scene (h, w), white = 0: with the development of highlights undone. [stops]"""
    luminance = np.zeros(small.shape[:2], np.float32)
    for channel, of_level in zip(cv2.split(small), _UNDEVELOPED_LUMINANCE, strict=True):
        luminance += cv2.LUT(channel, of_level)
    return np.asarray(np.log2(luminance, out=luminance), np.float32)


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
    fine, network, cloud_share = scene.fine, scene.network_stops, scene.cloud_share
    if fine is None or network is None or fine.shape[1:] != (h, w) or network.shape != (h, w):
        edges = EdgeGuide(small)
        even = evened(scene.probability, small)
        fine = probability_at(edges, class_planes(even, edges))
        layers = layers_of(small, scene.probability, scene.mix, edges, even, fine)
        network, cloud_share = layers.network_stops, layers.cloud_share
        assert network is not None
    unsure = 1 - _highest(fine)
    painted = _painted(scene, h, w)
    weights = _weights(scene, fine, painted)

    is_reference = kit.name == REFERENCE_KIT
    snap = _snap(small)
    developed, visible = snap.luminance, snap.luminance if is_reference else undeveloped_stops(small)
    medians, shares = _class_median(visible, weights)
    offset, placement_error = _placement(medians, shares, physics.visible_reflectance)
    visible += np.float32(offset)
    if not is_reference:
        medians, _ = _class_median(developed, weights)
        developed += np.float32(offset)

    factors = _factors(physics, pairs, is_reference)
    per_class = _PerClass(
        reference=_likely(pairs.factor_stops),
        factor=_likely(factors) + np.array([kit.class_correction_stops.get(n, 0.0) for n in CLASS_NAMES]),
        colour=_colour_rows(np.nan_to_num(medians) + offset, pairs),
        spread=_spread_rows(factors, pairs, placement_error, is_reference),
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
    residual -= np.float32(np.median(residual[::_SAMPLE_STEP, ::_SAMPLE_STEP]))
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
    texture = fine_texture(residual, not_sky)
    root = print_root(stops, texture)
    curve = place_print(root, grade)
    classes = _class_tones(stops, texture, spread, _by_label(scene, h, w), factors, curve)
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
    weights: _Weights,
    per_class: _PerClass,
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
    weights: _Weights,
    factors: Mapping[str, Range],
    curve: PrintCurve,
) -> dict[str, ClassTone]:
    tone_median, shares = _class_median(stops, weights)
    printed_median, _ = _class_median(stops + texture, weights)  # what the print shows beyond the tones
    spread_median, _ = _class_median(spread, weights)
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
