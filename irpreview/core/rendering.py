"""The infrared tones of a snap: class factors, colour within the class, and a bounded local residual.

In stops (log2), at a working size of about 1024 px, for kit K and light L:

    base_K   = visible + sum_c p_c * (factor_c(K, L, direction) + colour_c) + shade(K, L)
    residual = clip(reference tone of the network - base of the reference kit in the snap's light)
    tone_K   = base_K + residual

`visible` is the snap's linear luminance placed on an absolute scale (a white surface in this light = 0 stops), p_c the
class probabilities. The network learned the look of the research pairs, so its tone belongs to the kit
`reference-pairs`; every other kit and light departs from it by class factors, by what direction does to sky and water
(where the light is known, `core.view_factors`) and by how dark open shade is, because the residual is the same. Where a
person repainted, the residual is off and the class speaks alone. The tones are then carried to the photo's full size
along its own edges.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

import cv2
import numpy as np
from numpy.typing import NDArray

from irpreview.core.finishing import finish
from irpreview.core.reference_tone import reference_tone
from irpreview.core.scene import (
    WORKING_SIDE_PX,
    EdgeGuide,
    class_planes,
    cloud_share_of_sky,
    probability_at,
    size_within,
    working_pixels,
)
from irpreview.core.view_factors import ViewFactors, enlarged
from irpreview.records import (
    CLASS_NAMES,
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
LOWEST_TONE, HIGHEST_TONE = 2.0**-10, 2.0
"""Physical bounds: a cavity still scatters a thousandth; a bright cloud edge can be twice a white card."""
_VISIBLE_FLOOR = 2.0**-9
_CARRY_RADIUS_SHARE = 0.006
_CARRY_EPS = 2e-4
_TEXTURE_SHARE, _TEXTURE_TAKEN, _TEXTURE_LIMIT_STOPS = 0.0035, 0.7, 0.7
_NO_STEP, _LEAST_SHARE = 0.02, 0.005
"""Steps between sky and cloud below this many stops, or where one hardly occurs, are left alone."""
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


def decode_display(display: FloatArray) -> FloatArray:
    """Linear light of display tones 0..1 by the sRGB curve (IEC 61966-2-1), any 2-D shape."""
    x = np.maximum(display, 0).astype(np.float32)
    curved = cv2.pow((x + np.float32(0.055)) * np.float32(1 / 1.055), 2.4)
    return np.asarray(np.where(x <= 0.04045, x / np.float32(12.92), curved), np.float32)


_BIN_STOPS = 1 / 32
_BIN_FROM, _BIN_TO = -16.0, 6.0


def _class_median(value: FloatArray, probability: FloatArray) -> tuple[np.ndarray, np.ndarray]:
    """Probability-weighted median of a map in stops (h, w) per class, and each class's share; nan where absent.

    By counting into bins of 1/32 stop with a straight line inside the bin: much faster than sorting, exact enough.
    """
    v = value[::_SAMPLE_STEP, ::_SAMPLE_STEP].ravel()
    bins = ((np.clip(v, _BIN_FROM, _BIN_TO - 1e-3) - _BIN_FROM) / _BIN_STOPS).astype(np.int32)
    medians, shares = np.full(len(probability), np.nan), np.zeros(len(probability))
    for i, p in enumerate(probability):
        w = p[::_SAMPLE_STEP, ::_SAMPLE_STEP].ravel()  # cubed: mixed edge pixels hardly vote
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
    """Rows of one value per class, blended to maps by the class probabilities in a single product."""

    reference: np.ndarray
    factor: np.ndarray
    colour: np.ndarray
    spread: np.ndarray

    def blend(self, probability: FloatArray) -> FloatArray:
        """(8, h, w): reference factor, factor, three colour slopes, constant, two spreads."""
        rows = np.vstack([self.reference, self.factor, self.colour, self.spread]).astype(np.float32)
        n, h, w = probability.shape
        return np.asarray((rows @ probability.reshape(n, h * w)).reshape(len(rows), h, w), np.float32)


def shade_share(visible_stops: FloatArray, blueness: FloatArray, probability: FloatArray) -> FloatArray:
    """How far each pixel lies in open shade, 0..1, (h, w): darker and bluer than its surroundings on land.

    A guess from one picture: dark material and shade look alike, so it stays below 1 unless both signs agree.
    """
    size = max(3, round(0.12 * max(visible_stops.shape)) | 1)
    around = cv2.blur(visible_stops, (size, size), borderType=cv2.BORDER_REFLECT)
    blue_around = cv2.blur(blueness, (size, size), borderType=cv2.BORDER_REFLECT)
    darker = np.clip((around - visible_stops - 0.7) / 1.3, 0, 1)
    bluer = np.clip((blueness - blue_around + 0.1) / 0.5, 0, 1)
    land = 1.0 - probability[:3].sum(0)
    return np.asarray(darker * (0.4 + 0.6 * bluer) * land, np.float32)


def render_tones(
    photo: Photo,
    scene: SceneMap,
    kit: Kit,
    light: Light,
    physics: ClassPhysics,
    pairs: PairsTable,
    *,
    grade: float = 4.0,
    film_look: bool = False,
) -> Rendering:
    """The predicted infrared picture of a snap for one kit and light.

    physics: for this kit and light. pairs: what the research pairs taught. Tones and spread come at the photo's size.
    """
    height, width = photo.height, photo.width
    h, w = size_within(height, width, WORKING_SIDE_PX)
    full_is_small = (h, w) == (height, width)
    small = scene.small
    if small is None or small.shape[:2] != (h, w):
        small = working_pixels(photo.pixels)
    edges = EdgeGuide(small)
    fine = scene.fine
    if fine is None or fine.shape[1:] != (h, w):
        fine = probability_at(edges, class_planes(scene.probability, edges))
    unsure = 1 - fine.max(0)
    # a surface is one thing or another: half-decided strips along edges would glow in the print
    probability = fine * fine * fine
    probability /= probability.sum(0)
    painted = _force_painted(scene, probability) if scene.repainted is not None else None

    red, green, blue = (np.maximum(c, np.float32(_VISIBLE_FLOOR)) for c in cv2.split(linear_light(small)))
    log_green = np.log2(green)
    redness, blueness = np.log2(red) - log_green, np.log2(blue) - log_green
    visible = np.log2(0.2126 * red + 0.7152 * green + 0.0722 * blue)
    medians, shares = _class_median(visible, probability)
    offset, placement_error = _placement(medians, shares, physics.visible_reflectance)
    visible += np.float32(offset)

    is_reference = kit.name == REFERENCE_KIT
    factors = _factors(physics, pairs, is_reference)
    per_class = _PerClass(
        reference=_likely(pairs.factor_stops),
        factor=_likely(factors) + np.array([kit.class_correction_stops.get(n, 0.0) for n in CLASS_NAMES]),
        colour=_colour_rows(np.nan_to_num(medians) + offset, pairs),
        spread=_spread_rows(factors, pairs, placement_error, is_reference),
    )
    reference_factor, factor, by_red, by_blue, by_light, constant, spread_small, spread_painted = per_class.blend(
        probability
    )
    within = np.clip(by_red * redness + by_blue * blueness + by_light * visible + constant, -2, 2)
    shaded = shade_share(visible, blueness, probability)
    sky_weight = _soften_clouds(small, probability, per_class, factor, painted)
    if physics.view is not None:
        weights = {0: sky_weight, 2: probability[2]}
        _add_directions(physics.view, is_reference, weights, factor, reference_factor)
    class_alone = visible + within

    mix = np.stack([edges.carry(m) for m in scene.mix])  # the network's own edges are too soft for a print
    learned = np.log2(np.maximum(decode_display(reference_tone(small, mix)), np.float32(_VISIBLE_FLOOR)))
    reference_shade = np.float32(physics.reference_open_shade_stops) * shaded
    difference = learned - (class_alone + reference_factor + reference_shade)
    middle = np.float32(np.median(difference[::_SAMPLE_STEP, ::_SAMPLE_STEP]))
    residual = np.clip(difference - middle, -RESIDUAL_LIMIT_STOPS, RESIDUAL_LIMIT_STOPS)
    if painted is not None:
        residual[painted] = 0

    shade_stops = np.float32(physics.open_shade_stops) * shaded
    stops = class_alone + factor + shade_stops + residual
    parts = {"visible": visible, "factor": factor, "within_class": within, "shade": shade_stops, "residual": residual}
    if physics.brightness_change is not None:
        by_sky, by_water = (enlarged(change, h, w) for change in physics.brightness_change)
        parts["planned"] = np.asarray(by_sky * sky_weight + by_water * probability[2], np.float32)
        stops = stops + parts["planned"]
    tones_small = np.clip(np.exp2(stops), LOWEST_TONE, HIGHEST_TONE)
    spread_small = spread_small + unsure  # doubt about the class itself, up to a stop
    if painted is not None:
        spread_small = np.where(painted, spread_painted, spread_small)

    texture = _fine_texture(residual)
    root = np.sqrt(np.clip(np.exp2(stops + texture), LOWEST_TONE, HIGHEST_TONE))
    tones, spread = tones_small, spread_small
    if not full_is_small:
        root = _carry_root(root, small, photo.pixels)
        without_texture = cv2.resize(np.exp2(-texture), (width, height), interpolation=cv2.INTER_LINEAR)
        tones = cv2.multiply(cv2.multiply(root, root), without_texture)
        np.clip(tones, LOWEST_TONE, HIGHEST_TONE, out=tones)
        spread = cv2.resize(spread_small, (width, height), interpolation=cv2.INTER_LINEAR)
    classes = _class_tones(stops, spread_small, probability, factors)
    return Rendering(
        tones=frozen_array(np.asarray(tones, np.float32)),
        spread_stops=frozen_array(np.asarray(spread, np.float32)),
        classes=MappingProxyType(classes),
        picture=frozen_array(finish(root, grade=grade, film_look=film_look)),
        kit=kit,
        light=light,
        parts_stops=MappingProxyType({name: frozen_array(part) for name, part in parts.items()}),
    )


def _factors(physics: ClassPhysics, pairs: PairsTable, is_reference: bool) -> Mapping[str, Range]:
    """Factor per class of this kit in this light. [stops]"""
    if is_reference:
        change = physics.reference_change_stops
        return {name: pairs.factor_stops[name] + change.get(name, 0.0) for name in CLASS_NAMES}
    if physics.view is None:
        return physics.factor_stops
    return {**physics.factor_stops, "clear_sky": physics.view.sky_factor, "water": physics.view.water_factor}


def _soften_clouds(
    small: ByteArray,
    probability: FloatArray,
    per_class: _PerClass,
    factor: FloatArray,
    painted: NDArray[np.bool_] | None,
) -> FloatArray:
    """Let what sky and cloud depart from the reference by meet where the snap shows an edge, in place on `factor`.

    Returns the weight of clear sky that goes with it, (h, w).
    """
    sky, cloud = probability[0], probability[1]
    departs = per_class.factor[:2] - per_class.reference[:2]
    step = float(departs[1] - departs[0])
    if abs(step) < _NO_STEP or min(float(sky.mean()), float(cloud.mean())) < _LEAST_SHARE:
        return np.asarray(sky, np.float32)
    move = (sky + cloud) * cloud_share_of_sky(small, probability) - cloud
    if painted is not None:
        move[painted] = 0
    factor += np.float32(step) * move
    return np.asarray(sky - move, np.float32)


def _add_directions(
    view: ViewFactors,
    is_reference: bool,
    weights: Mapping[int, FloatArray],
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
        if float(weight.max()) < 0.5:
            continue
        by_reference = weight * enlarged(reference, h, w)
        reference_factor += by_reference
        factor += by_reference if is_reference else weight * enlarged(own, h, w)


def _force_painted(scene: SceneMap, probability: FloatArray) -> np.ndarray:
    """Set painted pixels of the working-size probability to their class, in place; returns the painted mask (h, w)."""
    h, w = probability.shape[1:]
    assert scene.repainted is not None
    painted = np.asarray(cv2.resize(scene.repainted.astype(np.uint8), (w, h), interpolation=cv2.INTER_NEAREST), bool)
    label = cv2.resize(scene.label, (w, h), interpolation=cv2.INTER_NEAREST)
    for i in range(len(CLASS_NAMES)):
        probability[i][painted] = label[painted] == i + 1
    return painted


def _class_tones(
    stops: FloatArray, spread: FloatArray, probability: FloatArray, factors: Mapping[str, Range]
) -> dict[str, ClassTone]:
    tone_median, shares = _class_median(stops, probability)
    spread_median, _ = _class_median(spread, probability)
    out = {}
    for i, name in enumerate(CLASS_NAMES):
        if np.isnan(tone_median[i]):
            continue
        likely = zone_of(float(np.clip(2.0 ** tone_median[i], LOWEST_TONE, HIGHEST_TONE)))
        half = float(spread_median[i])
        out[name] = ClassTone(
            share=float(shares[i]), zone=Range(likely - half, likely, likely + half), factor_stops=factors[name]
        )
    return out


def _fine_texture(residual: FloatArray) -> FloatArray:
    """Texture that the finished picture shows beyond the tones. [stops], (h, w).

    The research pairs fit each other to about a pixel, so the network learned soft leaves and stones. For the eye the
    finest texture is taken back from the snap, through the class alone; the tones keep what the network says.
    """
    sigma = max(0.5, _TEXTURE_SHARE * max(residual.shape))
    fine = residual - cv2.GaussianBlur(residual, (0, 0), sigma)
    return np.asarray(np.clip(-_TEXTURE_TAKEN * fine, -_TEXTURE_LIMIT_STOPS, _TEXTURE_LIMIT_STOPS), np.float32)


def _carry_root(root_small: FloatArray, small: ByteArray, pixels: ByteArray) -> FloatArray:
    """Square roots of tones carried to full size: local lines of the grey value, found small, applied large.

    The root is used because it is nearly even to the eye, so one epsilon serves shadows and lights, and its square is
    one multiplication. At this scale grey is guide enough, and a quarter of the work of colour.
    """
    height, width = pixels.shape[:2]
    radius = max(2, round(_CARRY_RADIUS_SHARE * max(root_small.shape)))
    window = (2 * radius + 1, 2 * radius + 1)

    def mean(a: FloatArray) -> FloatArray:
        return np.asarray(cv2.blur(a, window, borderType=cv2.BORDER_REFLECT), np.float32)

    guide = cv2.cvtColor(small, cv2.COLOR_RGB2GRAY).astype(np.float32)
    mean_guide, mean_root = mean(guide), mean(root_small)
    variance = np.maximum(mean(guide * guide) - mean_guide * mean_guide, 0) + np.float32(255**2 * _CARRY_EPS)
    line = np.asarray((mean(guide * root_small) - mean_guide * mean_root) / variance, np.float32)
    slope, intercept = mean(line), mean(mean_root - line * mean_guide)

    out = np.asarray(cv2.resize(slope, (width, height), interpolation=cv2.INTER_LINEAR), np.float32)
    full_intercept = cv2.resize(intercept, (width, height), interpolation=cv2.INTER_LINEAR)
    low, high = float(np.sqrt(LOWEST_TONE)), float(np.sqrt(HIGHEST_TONE))
    rows = max(64, (1 << 20) // width)
    for top in range(0, height, rows):  # in strips, so that the work stays in the cache
        strip = slice(top, min(top + rows, height))
        grey = cv2.cvtColor(pixels[strip], cv2.COLOR_RGB2GRAY)
        value = cv2.multiply(out[strip], grey, dtype=cv2.CV_32F)
        cv2.add(value, full_intercept[strip], dst=value)
        np.clip(value, low, high, out=out[strip])
    return out
