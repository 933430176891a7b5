"""The prediction checked against the infrared frame that was taken, and what that teaches about a kit.

The frame's exposure and tone curve are unknown, so its zones are first matched to the predicted ones by a straight
line (exposure and contrast), robustly; what is left is compared per class and per layer. From several frames follows a
personal correction of the class factors, shrunk toward none: posterior mean of a normal with the spread of kits as its
prior (James and Stein 1961 is the idea).
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType

import cv2
import numpy as np
from numpy.typing import NDArray

from irpreview.core.field_log.difference_picture import difference_picture
from irpreview.core.field_log.entries import ToneDifference
from irpreview.core.imaging.registration import Registration
from irpreview.errors import BadPair
from irpreview.records import CLASS_ID, CLASS_NAMES, CLASS_WORDS, ByteArray, FloatArray, Layer, Range, frozen_array

WORKING_SIDE_PX = 512
FLOOR_ZONE, CEILING_ZONE = -1.0, 10.5
CONTRAST_RANGE = (0.5, 2.0)
FULL_SCALE_ZONE = 5.0 + math.log2(1.0 / 0.18)
NEAR_GREY_ZONES = 1.5
LEAST_SHARE = 0.01
LEAST_COMPARED = 0.15
"""Least share of the snap that must be comparable."""
CLEAR_ZONES = 0.3
"""A difference worth a sentence; below it the eye sees none on a print (common practice, no source)."""
KIT_SPREAD_STOPS = 0.35
"""How far a kit's class factors depart from the general ones (one standard deviation, assumed)."""
PAIR_SPREAD_STOPS, PAIR_SPREAD_COUNT = 0.3, 10.0
"""How far one pair's class difference scatters (one standard deviation), and how many differences this counts as beside
those at hand: 0.21 on the research pairs, whose kit the network knows; more is assumed of another."""
LEAST_PAIRS_TO_CHECK = 3


@dataclass(frozen=True, slots=True)
class PartDifference:
    """One class or layer: how much brighter the frame came out than predicted."""

    name: str
    share: float
    zones: Range
    """Taken minus predicted: 5, 50 and 95 % of its pixels. [zones]"""
    predicted_zone: float
    taken_zone: float


@dataclass(frozen=True, slots=True)
class Comparison:
    """Predicted against taken, everything on the snap."""

    classes: Mapping[str, PartDifference]
    layers: tuple[PartDifference, ...]
    exposure_zones: float
    """What was added to the frame's zones to match."""
    contrast: float
    """Predicted over taken contrast; 1 = the same."""
    rank: float
    """Rank correlation of predicted and taken tones in 24 x 16 cells, -1..1."""
    mean_error_zones: float
    compared_share: float
    registration: Registration
    picture: ByteArray
    """(H, W, 3) sRGB: grey where they agree, orange where the frame is brighter, blue where darker."""

    grey_came_out_stops: float = 0.0
    """How much brighter (+) than middle grey a neutral grey in this light came out on the frame. [stops]

    From all parts that were predicted near middle grey: bright leaves or a dark sky do not count as exposure, as they
    do in the mean of the frame."""


def compare(
    predicted_tones: FloatArray,
    label: NDArray[np.uint8],
    frame_linear: FloatArray,
    placed: Registration,
    layers: Sequence[Layer] = (),
    layer_map: NDArray[np.int16] | None = None,
) -> Comparison:
    """Compare predicted tones (H, W) with the infrared frame (h, w), linear as far as its curve allows, 1 = full scale.

    label: class ids (H, W). Raises BadPair where too little can be compared.
    """
    tall, wide = predicted_tones.shape
    k = min(1.0, WORKING_SIDE_PX / max(tall, wide))
    size = (max(16, round(wide * k)), max(16, round(tall * k)))
    laid = placed.lay_over(np.asarray(frame_linear, np.float32), tall, wide)
    usable = np.isfinite(laid) & (laid < 0.985) & (laid > 0.001)
    share_usable = cv2.resize(usable.astype(np.float32), size, interpolation=cv2.INTER_AREA)
    taken = cv2.resize(np.where(usable, laid, 0.0).astype(np.float32), size, interpolation=cv2.INTER_AREA)
    good = share_usable > 0.7
    taken = _zones(taken / np.maximum(share_usable, 0.05))
    predicted = _zones(cv2.resize(predicted_tones, size, interpolation=cv2.INTER_AREA))
    # an edge that lies half a pixel off is no difference of tone
    edge = cv2.GaussianBlur(predicted, (0, 0), 2.0)
    steep = np.hypot(cv2.Sobel(edge, cv2.CV_32F, 1, 0), cv2.Sobel(edge, cv2.CV_32F, 0, 1)) / 8.0
    good &= steep < max(0.25, float(np.quantile(steep, 0.8)))
    if good.mean() < LEAST_COMPARED:
        raise BadPair(
            f"only {good.mean():.0%} of the snap can be compared (at least {LEAST_COMPARED:.0%} is needed): the frame "
            "is blown out, black, or covers too little of it; take one that covers more, exposed between"
        )
    exposure, contrast = _matched(predicted[good], taken[good])
    matched = exposure + contrast * taken
    difference = np.where(good, matched - predicted, np.nan).astype(np.float32)
    small_label = cv2.resize(label, size, interpolation=cv2.INTER_NEAREST)
    classes = {}
    for name in CLASS_NAMES:
        part = _part(CLASS_WORDS[name], small_label == CLASS_ID[name], good, difference, predicted, matched)
        if part is not None:
            classes[name] = part
    parts = []
    if layer_map is not None:
        small_map = cv2.resize(layer_map, size, interpolation=cv2.INTER_NEAREST)
        for layer in layers:
            part = _part(layer.name, small_map == layer.index, good, difference, predicted, matched)
            if part is not None:
                parts.append(part)
    whole = cv2.resize(difference, (wide, tall), interpolation=cv2.INTER_NEAREST)
    error = float(np.mean(np.abs(difference[good])))
    rank = _rank(predicted, matched, good)
    return Comparison(
        MappingProxyType(classes),
        tuple(parts),
        exposure,
        contrast,
        rank,
        error,
        float(good.mean()),
        placed,
        frozen_array(difference_picture(whole, _zones(predicted_tones))),
        _grey_came_out(predicted, laid, size, steep),
    )


def differences_of(comparison: Comparison, kit_name: str, pair_key: str) -> tuple[ToneDifference, ...]:
    """What the log keeps of a comparison."""
    return tuple(
        ToneDifference(kit_name, name, part.zones.likely, part.share, pair_key)
        for name, part in comparison.classes.items()
    )


# --- personal correction --------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Correction:
    """What to add to one class factor of a kit."""

    stops: Range
    pairs: int
    unshrunk_stops: float


def personal_correction(differences: Sequence[ToneDifference]) -> Mapping[str, Correction]:
    """Correction per class of one kit, shrunk toward none by how little is known. [stops]

    A pair only tells how its classes lie to each other, its exposure being unknown: the level of each pair is one
    of its own, found together with the corrections by alternating robust means (a Huber weight at 1.5 spreads).
    """
    pairs = sorted({d.pair_key for d in differences})
    names = [name for name in CLASS_NAMES if any(d.class_name == name for d in differences)]
    if not pairs or not names:
        return MappingProxyType({})
    value = np.full((len(pairs), len(names)), np.nan)
    share = np.zeros_like(value)
    for d in differences:
        at = pairs.index(d.pair_key), names.index(d.class_name)
        value[at], share[at] = d.difference_stops, d.share
    known = np.isfinite(value) & (share >= LEAST_SHARE)
    value = np.where(known, value, 0.0)
    # a class that fills little of a pair is read from fewer and dirtier pixels
    base = np.where(known, np.minimum(1.0, share / 0.1), 0.0)
    level = np.zeros(len(pairs))
    step = np.zeros(len(names))
    spread = PAIR_SPREAD_STOPS
    for _ in range(100):
        residual = value - level[:, None] - step[None, :]
        spread = _pair_spread(residual[known], len(pairs) + len(names) - 1)
        weight = base * np.minimum(1.0, 1.5 * spread / np.maximum(np.abs(residual), 1e-9))
        before = step
        precision = weight.sum(axis=0) / spread**2
        step = (weight * (value - level[:, None])).sum(axis=0) / spread**2
        step = step / (precision + 1.0 / KIT_SPREAD_STOPS**2)
        total = np.maximum(weight.sum(axis=1), 1e-9)
        level = (weight * (value - step[None, :])).sum(axis=1) / total
        if float(np.abs(step - before).max()) < 1e-6:
            break
    out = {}
    for i, name in enumerate(names):
        count = int(known[:, i].sum())
        if count == 0:
            continue
        n = float((weight[:, i]).sum())
        sd = 1.0 / math.sqrt(n / spread**2 + 1.0 / KIT_SPREAD_STOPS**2)
        raw = float((weight[:, i] * (value[:, i] - level)).sum() / max(n, 1e-9))
        likely = float(step[i])
        out[name] = Correction(Range(likely - 1.645 * sd, likely, likely + 1.645 * sd), count, raw)
    return MappingProxyType(out)


def _pair_spread(residual: NDArray[np.float64], unknowns: int) -> float:
    """Scatter of one class difference, drawn to the usual one where there are few."""
    free = max(residual.size - unknowns, 0)
    if free == 0:
        return PAIR_SPREAD_STOPS
    square = (1.4826 * float(np.median(np.abs(residual)))) ** 2 * residual.size / free
    return math.sqrt((free * square + PAIR_SPREAD_COUNT * PAIR_SPREAD_STOPS**2) / (free + PAIR_SPREAD_COUNT))


@dataclass(frozen=True, slots=True)
class CorrectionCheck:
    """The personal correction tried on frames that it was not learned from."""

    pairs: int
    before_zones: float
    """Mean difference between predicted and taken classes without it, exposure aside. [zones]"""
    after_zones: float

    @property
    def helps(self) -> bool:
        """Whether the personal correction lowers the error by enough to be used."""
        return self.after_zones < HELPS_SHARE * self.before_zones


HELPS_SHARE = 0.9
"""A correction that takes off less than a tenth of the differences does no more than chance."""


def check_correction(differences: Sequence[ToneDifference]) -> CorrectionCheck | None:
    """Each pair judged by what the others teach; None where there are fewer than three pairs."""
    pairs = sorted({d.pair_key for d in differences})
    if len(pairs) < LEAST_PAIRS_TO_CHECK:
        return None
    before: list[float] = []
    after: list[float] = []
    for pair in pairs:
        own = personal_correction([d for d in differences if d.pair_key != pair])
        left = [d for d in differences if d.pair_key == pair and d.share >= LEAST_SHARE]
        if len(left) < 2:
            continue
        share = np.array([d.share for d in left])
        value = np.array([d.difference_stops for d in left])
        rest = value - np.array([own[d.class_name].stops.likely if d.class_name in own else 0.0 for d in left])
        for out, v in ((before, value), (after, rest)):
            out.append(float(np.average(np.abs(v - np.average(v, weights=share)), weights=share)))
    if not before:
        return None
    return CorrectionCheck(len(before), float(np.mean(before)), float(np.mean(after)))


# --- parts ----------------------------------------------------------------------------------------------------------


def _zones(linear: FloatArray) -> FloatArray:
    return np.asarray(np.clip(5.0 + np.log2(np.maximum(linear, 1e-6) / 0.18), FLOOR_ZONE, CEILING_ZONE), np.float32)


def _matched(predicted: FloatArray, taken: FloatArray) -> tuple[float, float]:
    """(exposure, contrast): predicted = exposure + contrast * taken, matched where both are spread, extremes tamed.

    The ratio of spreads, not a regression, which would make both flatter the less they agree.
    """
    lo, hi = (np.quantile(v, (0.1, 0.9)) for v in (predicted, taken))
    contrast = float(np.clip((lo[1] - lo[0]) / max(float(hi[1] - hi[0]), 0.3), *CONTRAST_RANGE))
    return float(np.median(predicted - contrast * taken)), contrast


def _grey_came_out(predicted: FloatArray, laid: FloatArray, size: tuple[int, int], steep: FloatArray) -> float:
    """How much brighter than predicted on the scale of tones the parts near middle grey came out. [stops]

    Chosen by the prediction alone, blown out or not: whoever left out what was blown out would take the rest, which is
    darker than it was predicted, for the whole.
    """
    seen = cv2.resize(np.isfinite(laid).astype(np.float32), size, interpolation=cv2.INTER_AREA)
    taken = _zones(cv2.resize(np.nan_to_num(laid), size, interpolation=cv2.INTER_AREA) / np.maximum(seen, 0.05))
    usable = (seen > 0.7) & (steep < max(0.25, float(np.quantile(steep, 0.8))))
    middle = 0.0
    for _ in range(4):
        ceiling = min(5.0 + NEAR_GREY_ZONES, FULL_SCALE_ZONE - 0.7 - middle)
        here = usable & (np.abs(predicted - min(5.0, ceiling - NEAR_GREY_ZONES)) < NEAR_GREY_ZONES)
        if here.mean() < LEAST_SHARE:
            here = usable
        middle = float(np.median((taken - predicted)[here])) if here.any() else 0.0
    return middle


def _part(
    name: str,
    mask: NDArray[np.bool_],
    good: NDArray[np.bool_],
    difference: FloatArray,
    predicted: FloatArray,
    matched: FloatArray,
) -> PartDifference | None:
    here = mask & good
    share = float(here.mean())
    if share < LEAST_SHARE:
        return None
    low, middle, high = (float(q) for q in np.quantile(difference[here], (0.05, 0.5, 0.95)))
    return PartDifference(
        name, share, Range(low, middle, high), float(np.median(predicted[here])), float(np.median(matched[here]))
    )


def _rank(predicted: FloatArray, matched: FloatArray, good: NDArray[np.bool_]) -> float:
    """Spearman correlation over 24 x 16 cells that are known at least by half."""
    weight = cv2.resize(good.astype(np.float32), (24, 16), interpolation=cv2.INTER_AREA)
    cells = [
        cv2.resize(np.where(good, z, 0.0).astype(np.float32), (24, 16), interpolation=cv2.INTER_AREA)
        / np.maximum(weight, 1e-3)
        for z in (predicted, matched)
    ]
    use = weight > 0.5
    if use.sum() < 12:
        return math.nan
    ranks = [np.argsort(np.argsort(c[use])).astype(np.float64) for c in cells]
    return float(np.corrcoef(ranks[0], ranks[1])[0, 1])
