"""The infrared tones of a snap: class factors, colour within the class, and a bounded local residual.

In stops (log2), at a working size of about 1024 px, for kit K and light L:

    base_K   = visible + sum_c p_c * (factor_c(K, L) + colour_c) + shade
    residual = clip(reference tone of the network - base of the reference kit)
    tone_K   = base_K + residual

`visible` is the snap's linear luminance placed on an absolute scale (a white surface in this light = 0 stops), p_c the
class probabilities. The network learned the look of the research pairs, so its tone belongs to the kit
`reference-pairs`; every other kit departs from it by class factors alone, because the residual is the same. Where a
person repainted, the residual is off and the class speaks alone. The tones are then carried to the photo's full size
along its own edges.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

import cv2
import numpy as np

from irpreview.core.finishing import finish
from irpreview.core.reference_tone import reference_tone
from irpreview.core.scene import (
    WORKING_SIDE_PX,
    grey_guide,
    line_coefficients,
    probability_at,
    size_within,
)
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
_SAMPLE_STEP = 3
"""Medians are taken over every third pixel each way: same value, a ninth of the time."""


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
    open_shade_stops: float
    """How much darker open shade is in the band than a visible meter predicts. [stops]"""


def linear_light(pixels: ByteArray) -> FloatArray:
    """Linear light 0..1 of sRGB bytes (IEC 61966-2-1), same shape, float32."""
    return _SRGB_TO_LINEAR[pixels]


def _srgb_table() -> FloatArray:
    x = np.arange(256) / 255.0
    return np.where(x <= 0.04045, x / 12.92, ((x + 0.055) / 1.055) ** 2.4).astype(np.float32)


_SRGB_TO_LINEAR = _srgb_table()


def decode_display(display: FloatArray) -> FloatArray:
    """Linear light of display tones 0..1 by the sRGB curve (IEC 61966-2-1), any shape."""
    x = np.clip(display, 0, None)
    return np.where(x <= 0.04045, x / 12.92, ((x + 0.055) / 1.055) ** 2.4).astype(np.float32)


def _weighted_median(value: FloatArray, weight: FloatArray) -> float:
    order = np.argsort(value)
    total = np.cumsum(weight[order])
    return float(value[order][np.searchsorted(total, 0.5 * total[-1])])


def _class_median(value: FloatArray, probability: FloatArray) -> tuple[np.ndarray, np.ndarray]:
    """Probability-weighted median of a map (h, w) per class, and each class's share; nan where a class is absent."""
    v = value[::_SAMPLE_STEP, ::_SAMPLE_STEP].ravel()
    medians, shares = np.full(len(probability), np.nan), np.zeros(len(probability))
    for i, p in enumerate(probability):
        # cubed: mixed edge pixels hardly vote
        w = p[::_SAMPLE_STEP, ::_SAMPLE_STEP].ravel() ** 3
        shares[i] = float(w.sum()) / v.size
        if shares[i] > 5e-4:
            keep = w > 1e-3
            medians[i] = _weighted_median(v[keep], w[keep])
    return medians, shares


def place_visible(
    visible_stops: FloatArray, probability: FloatArray, visible_reflectance: Mapping[str, Range]
) -> tuple[float, float]:
    """Offset that puts the snap's luminance on an absolute scale, and its standard error. [stops]

    A phone chooses exposure and tone curve by itself, so the only anchor is what the classes usually reflect: each
    class votes with its area and the narrowness of its range.
    """
    medians, shares = _class_median(visible_stops, probability)
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
    small = photo.pixels if full_is_small else cv2.resize(photo.pixels, (w, h), interpolation=cv2.INTER_AREA)
    guide = grey_guide(small)
    probability = probability_at(scene.probability, guide)
    painted = None
    if scene.repainted is not None:
        painted = _force_painted(scene, probability)

    red, green, blue = (np.maximum(c, _VISIBLE_FLOOR) for c in cv2.split(linear_light(small)))
    luminance = 0.2126 * red + 0.7152 * green + 0.0722 * blue
    log_green = np.log2(green)
    redness, blueness = np.log2(red) - log_green, np.log2(blue) - log_green
    visible = np.log2(luminance)
    offset, placement_error = place_visible(visible, probability, physics.visible_reflectance)
    visible += np.float32(offset)

    within = _within_class(visible, redness, blueness, probability, pairs)
    shade = shade_share(visible, blueness, probability)
    shade_stops = np.float32(physics.open_shade_stops) * shade

    def factor_map(factors: Mapping[str, Range], correction: Mapping[str, float]) -> FloatArray:
        stops = np.array([factors[name].likely + correction.get(name, 0.0) for name in CLASS_NAMES], np.float32)
        return np.asarray(np.tensordot(stops, probability, axes=1), np.float32)

    reference_base = visible + factor_map(pairs.factor_stops, {}) + within + shade_stops
    learned = np.log2(np.maximum(decode_display(reference_tone(small, scene.mix)), 2.0**-9))
    difference = learned - reference_base
    sample = difference[::_SAMPLE_STEP, ::_SAMPLE_STEP]
    residual = np.clip(difference - np.median(sample), -RESIDUAL_LIMIT_STOPS, RESIDUAL_LIMIT_STOPS)
    if painted is not None:
        residual = np.where(painted, 0, residual)

    is_reference = kit.name == REFERENCE_KIT
    factors = pairs.factor_stops if is_reference else physics.factor_stops
    factor = factor_map(factors, kit.class_correction_stops)
    stops = visible + factor + within + shade_stops + residual
    tones_small = np.clip(np.exp2(stops), LOWEST_TONE, HIGHEST_TONE).astype(np.float32)

    spread_small = _spread(probability, factors, pairs, placement_error, is_reference, painted)
    if full_is_small:
        root = np.sqrt(tones_small)
        spread = spread_small
    else:
        root = _carry_root(np.sqrt(tones_small), guide, photo.pixels)
        spread = cv2.resize(spread_small, (width, height), interpolation=cv2.INTER_LINEAR)
    tones = np.asarray(cv2.multiply(root, root), np.float32)
    classes = _class_tones(stops, spread_small, probability, factors)
    return Rendering(
        tones=frozen_array(tones),
        spread_stops=frozen_array(np.asarray(spread, np.float32)),
        classes=MappingProxyType(classes),
        picture=frozen_array(finish(root, grade=grade, film_look=film_look)),
        kit=kit,
        light=light,
        parts_stops=MappingProxyType(
            {
                "visible": frozen_array(visible),
                "factor": frozen_array(factor),
                "within_class": frozen_array(within),
                "shade": frozen_array(shade_stops),
                "residual": frozen_array(np.asarray(residual, np.float32)),
            }
        ),
    )


def _force_painted(scene: SceneMap, probability: FloatArray) -> np.ndarray:
    """Set painted pixels of the working-size probability to their class, in place; returns the painted mask (h, w)."""
    h, w = probability.shape[1:]
    assert scene.repainted is not None
    painted = cv2.resize(scene.repainted.astype(np.uint8), (w, h), interpolation=cv2.INTER_NEAREST).astype(bool)
    label = cv2.resize(scene.label, (w, h), interpolation=cv2.INTER_NEAREST)
    for i in range(len(CLASS_NAMES)):
        probability[i][painted] = label[painted] == i + 1
    return painted


def _within_class(
    visible: FloatArray, redness: FloatArray, blueness: FloatArray, probability: FloatArray, pairs: PairsTable
) -> FloatArray:
    """What a pixel's colour says beyond its class's factor. [stops], (h, w)."""
    medians, _ = _class_median(visible, probability)
    slope = pairs.colour_stops
    constant = -(slope[:, 0] * pairs.colour_centre[:, 0] + slope[:, 1] * pairs.colour_centre[:, 1])
    constant = constant - slope[:, 2] * np.nan_to_num(medians)

    def blend(per_class: np.ndarray) -> FloatArray:
        return np.asarray(np.tensordot(per_class.astype(np.float32), probability, axes=1), np.float32)

    out = blend(slope[:, 0]) * redness + blend(slope[:, 1]) * blueness + blend(slope[:, 2]) * visible + blend(constant)
    return np.asarray(np.clip(out, -2, 2), np.float32)


def _spread(
    probability: FloatArray,
    factors: Mapping[str, Range],
    pairs: PairsTable,
    placement_error: float,
    is_reference: bool,
    painted: np.ndarray | None,
) -> FloatArray:
    """Half the 5-95 % range per pixel. [stops], (h, w).

    The network's error on held-back pictures, doubt about the class, and for other kits the physics of the class. The
    placement error is common to the whole picture; it belongs to the zones, not to differences, but is counted here
    because a tone is an absolute claim.
    """
    learned = np.array([pairs.residual_stops[name] for name in CLASS_NAMES], np.float32)
    physics = np.array([factors[name].width / 2 for name in CLASS_NAMES], np.float32)
    if is_reference:
        per_class = np.hypot(learned, 0.0)
    else:
        per_class = np.sqrt(learned**2 + physics**2 + (1.645 * placement_error) ** 2)
    spread = np.tensordot(per_class, probability, axes=1)
    unsure = 1.0 - probability.max(0)
    if painted is not None:
        spread = np.where(painted, np.tensordot(np.hypot(per_class, physics), probability, axes=1), spread)
    return np.asarray(spread + 1.0 * unsure, np.float32)


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


def _carry_root(root_small: FloatArray, guide: FloatArray, pixels: ByteArray) -> FloatArray:
    """Square roots of tones carried to full size: local lines of the grey value, found small, applied large.

    The root is used because it is nearly even to the eye, so one epsilon serves shadows and lights, and its square is
    one multiplication.
    """
    height, width = pixels.shape[:2]
    radius = max(2, round(_CARRY_RADIUS_SHARE * max(guide.shape)))
    slope, intercept = line_coefficients(guide, root_small, radius, _CARRY_EPS)
    slope *= np.float32(1 / 255)
    out = np.empty((height, width), np.float32)
    low, high = float(np.sqrt(LOWEST_TONE)), float(np.sqrt(HIGHEST_TONE))
    rows = max(64, (1 << 21) // width)
    full_slope = cv2.resize(slope, (width, height), interpolation=cv2.INTER_LINEAR)
    full_intercept = cv2.resize(intercept, (width, height), interpolation=cv2.INTER_LINEAR)
    for top in range(0, height, rows):  # in strips, so that the work stays in the cache
        strip = slice(top, min(top + rows, height))
        grey = cv2.cvtColor(pixels[strip], cv2.COLOR_RGB2GRAY)
        value = cv2.multiply(full_slope[strip], grey, dtype=cv2.CV_32F)
        value = cv2.add(value, full_intercept[strip], dst=value)
        np.clip(value, low, high, out=out[strip])
    return out
