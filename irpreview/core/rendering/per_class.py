"""What is said of each class, and how it is laid over the picture: weights, medians, rows of one value per class."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from irpreview.records import CLASS_NAMES, FloatArray, Range, SceneMap

SAMPLE_STEP = 3
"""Medians are taken over every third pixel each way: the same value for a ninth of the time."""
_BIN_STOPS = 1 / 32
_BIN_FROM, _BIN_TO = -16.0, 6.0


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
class ClassWeights:
    """Weight of each class in each pixel; only classes that are somewhere."""

    index: tuple[int, ...]
    maps: FloatArray
    """(k, h, w), sums to 1."""
    sample: FloatArray
    """(k, n) every third pixel each way."""

    def of(self, index: int) -> FloatArray | None:
        """(h, w), None for a class that is nowhere."""
        return self.maps[self.index.index(index)] if index in self.index else None


def class_weights(scene: SceneMap, fine: FloatArray, painted: NDArray[np.bool_] | None) -> ClassWeights:
    """Weights from class probabilities (9, h, w): a surface is one thing or another.

    To the power of 1.5, since half-decided strips along edges would glow in the print; not harder, or where the network
    wavers over something even its wavering sets in like an edge. Of 1, 1.5, 2 and 3 this gives the least error near an
    edge on the demo scenes (0.211, 0.210, 0.210, 0.213 stop), and more PSNR on the 29 pairs held back than 2 and 3
    (by 0.01 and 0.02 dB). Painted pixels are wholly their class.
    """
    h, w = fine.shape[1:]
    label = None if painted is None else cv2.resize(scene.label, (w, h), interpolation=cv2.INTER_NEAREST)
    brushed = set() if label is None or painted is None else {int(i) - 1 for i in np.unique(label[painted])}
    index = tuple(i for i in range(len(fine)) if i in brushed or fine[i].any())
    maps = np.empty((len(index), h, w), np.float32)
    total = np.full((h, w), 1e-12, np.float32)
    for k, i in enumerate(index):
        np.sqrt(fine[i], out=maps[k])
        maps[k] *= fine[i]
        total += maps[k]
    np.divide(1, total, out=total)
    for k, i in enumerate(index):
        maps[k] *= total
        if painted is not None and label is not None:
            maps[k][painted] = label[painted] == i + 1
    sample = maps[:, ::SAMPLE_STEP, ::SAMPLE_STEP].reshape(len(index), -1)
    return ClassWeights(index, maps, np.ascontiguousarray(sample))


def label_weights(scene: SceneMap, h: int, w: int) -> ClassWeights:
    """Each pixel wholly of its label: what is said of a class is said of the region that carries its name."""
    label = cv2.resize(scene.label, (w, h), interpolation=cv2.INTER_NEAREST)[::SAMPLE_STEP, ::SAMPLE_STEP].ravel()
    index = tuple(int(i) - 1 for i in np.unique(label))
    sample = np.stack([(label == i + 1).astype(np.float32) for i in index])
    return ClassWeights(index, sample, sample)


def class_median(value: FloatArray, weights: ClassWeights) -> tuple[np.ndarray, np.ndarray]:
    """Weighted median of a map in stops (h, w) per class, and each class's share, (9,) each; nan where absent.

    By counting into bins of 1/32 stop with a straight line inside the bin: much faster than sorting, exact enough.
    """
    v = value[::SAMPLE_STEP, ::SAMPLE_STEP].ravel()
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


def placement(medians: np.ndarray, shares: np.ndarray, visible_reflectance: Mapping[str, Range]) -> tuple[float, float]:
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


def likely_row(ranges: Mapping[str, Range]) -> np.ndarray:
    """The likely value of each class, (9,)."""
    return np.array([ranges[name].likely for name in CLASS_NAMES])


def colour_rows(medians: np.ndarray, pairs: PairsTable) -> np.ndarray:
    """(4, 9): slopes for redness, blueness, lightness, and the constant that makes each class's middle neutral."""
    slope, centre = pairs.colour_stops, pairs.colour_centre
    constant = -(slope[:, 0] * centre[:, 0] + slope[:, 1] * centre[:, 1] + slope[:, 2] * medians)
    return np.vstack([slope.T, constant])


def spread_rows(
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
class PerClass:
    """Rows of one value per class, to be blended to maps by the weights of the classes."""

    reference: np.ndarray
    factor: np.ndarray
    colour: np.ndarray
    """(4, 9): by redness, blueness, lightness, and constant."""
    spread: np.ndarray
    """(2, 9): as predicted, and where a person repainted."""

    def blend(self, row: np.ndarray, weights: ClassWeights) -> FloatArray:
        """A row of one value per class as a map (h, w)."""
        out = np.multiply(weights.maps[0], np.float32(row[weights.index[0]]))
        for k, i in enumerate(weights.index[1:], 1):
            cv2.scaleAdd(weights.maps[k], float(row[i]), out, dst=out)
        return np.asarray(out, np.float32)
