"""From a few brush strokes to a corrected region of the photo.

Painted exactly, a stroke is what its brush covered. Grown, it teaches a small classifier of this one photo: the
network's class probabilities, colour, fine texture and position of the painted pixels against those of pixels that are
surely something else. The answer is kept where it hangs together with a stroke and follows the photo's edges.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from irpreview.core.imaging.resize import size_within
from irpreview.core.scene.edge_guide import EdgeGuide
from irpreview.errors import BadValue
from irpreview.records import CLASS_ID, CLASS_NAMES, FloatArray, Photo, SceneMap

Mask = NDArray[np.bool_]

GROWING_SIDE_PX = 320
"""Long side at which a stroke is grown; edges are found again at the photo's own size."""
MOST_STROKES = 200
MOST_POINTS = 4000
TREES = 24
DEPTH = 12
SAMPLES_PER_CLASS = 400
UNLIKE_QUANTILE = 0.995
"""A pixel under the stroke's own label counts as something else beyond this quantile of the painted pixels' own
distances, times `UNLIKE_FACTOR`."""
UNLIKE_FACTOR = 2.0
GROWN_FROM = 0.5
SURE = 0.7
BORDER_PX = 4
SEED = 20240617


@dataclass(frozen=True, slots=True)
class Stroke:
    """One move of the brush."""

    class_name: str
    points_xy: tuple[tuple[float, float], ...]
    """Shares of the picture's width and height, 0..1."""
    width_share: float
    """Width of the brush as a share of the picture's width."""


@dataclass(frozen=True, slots=True)
class Region:
    """A connected area of one class, to be chosen from a list instead of painted."""

    class_name: str
    share: float
    centre_xy: tuple[float, float]
    words: str
    """Where it lies: `left, low`."""
    mask: Mask


def check_strokes(strokes: Sequence[Stroke]) -> None:
    """Raises BadValue for an unknown class, a place outside the picture, or more strokes than a hand makes."""
    if len(strokes) > MOST_STROKES:
        raise BadValue(f"{len(strokes)} strokes are too many at once; use up to {MOST_STROKES}")
    if sum(len(stroke.points_xy) for stroke in strokes) > MOST_POINTS:
        raise BadValue(f"these strokes have more than {MOST_POINTS} points; use shorter ones, a few at a time")
    for stroke in strokes:
        if stroke.class_name not in CLASS_ID:
            raise BadValue(f"there is no class '{stroke.class_name}'; take one of: {', '.join(CLASS_NAMES)}")
        if not 0.0005 <= stroke.width_share <= 0.5:
            raise BadValue(f"a brush of {stroke.width_share:g} of the width cannot be used; take 0.0005 to 0.5")
        if not stroke.points_xy:
            raise BadValue("a stroke has no points; draw it again")
        for x, y in stroke.points_xy:
            if not (0.0 <= x <= 1.0 and 0.0 <= y <= 1.0):
                raise BadValue(f"a stroke leaves the picture at {x:g}, {y:g}; keep within 0 to 1")


def painted_mask(stroke: Stroke, height: int, width: int) -> Mask:
    """(height, width) True where the brush went."""
    canvas = np.zeros((height, width), np.uint8)
    points = np.array([(x * (width - 1), y * (height - 1)) for x, y in stroke.points_xy])
    thick = max(1, round(stroke.width_share * width))
    whole = np.rint(points).astype(np.int32)
    if len(whole) > 1:
        cv2.polylines(canvas, [whole.reshape(-1, 1, 2)], False, 1, thick, cv2.LINE_8)
    for x, y in (whole[0], whole[-1]):
        cv2.circle(canvas, (int(x), int(y)), max(thick // 2, 1) if thick > 1 else 0, 1, -1)
    return canvas.astype(bool)


def paint(scene: SceneMap, strokes: Sequence[Stroke]) -> list[tuple[Mask, str]]:
    """Strokes as masks at the photo's size, exactly as painted, in order."""
    check_strokes(strokes)
    height, width = scene.label.shape
    return [(painted_mask(stroke, height, width), stroke.class_name) for stroke in strokes]


def grow(photo: Photo, scene: SceneMap, strokes: Sequence[Stroke]) -> list[tuple[Mask, str]]:
    """Strokes grown to the edges of what they lie on: one mask (H, W) per painted class, in order of first use.

    Strokes of different classes hold each other back. Raises BadValue as `check_strokes` does.
    """
    check_strokes(strokes)
    if not strokes:
        return []
    h, w = size_within(photo.height, photo.width, GROWING_SIDE_PX)
    small = cv2.resize(photo.pixels, (w, h), interpolation=cv2.INTER_AREA)
    features = _features(small, scene)
    label = cv2.resize(scene.label, (w, h), interpolation=cv2.INTER_NEAREST)
    names = list(dict.fromkeys(stroke.class_name for stroke in strokes))
    seeds = {name: np.zeros((h, w), bool) for name in names}
    for stroke in strokes:
        mark = painted_mask(stroke, h, w)
        for name in names:
            seeds[name] = seeds[name] | mark if name == stroke.class_name else seeds[name] & ~mark
    names = [name for name in names if seeds[name].any()]
    any_seed = np.any([seeds[name] for name in names], axis=0)
    rng = np.random.default_rng(SEED)
    flat = features.reshape(-1, features.shape[-1])
    rows: list[NDArray[np.intp]] = []
    targets: list[NDArray[np.intp]] = []
    for index, name in enumerate(names):
        chosen = _sample(np.flatnonzero(seeds[name]), SAMPLES_PER_CLASS, rng)
        rows.append(chosen)
        targets.append(np.full(len(chosen), index))
    other = len(names)
    elsewhere = _surely_else(flat, label.ravel(), [seeds[name].ravel() for name in names]) & ~any_seed.ravel()
    # Mixed pixels along borders teach nothing about either side.
    around = np.ones((2 * BORDER_PX + 1,) * 2, np.uint8)
    elsewhere &= (cv2.dilate(label, around) == cv2.erode(label, around)).ravel()
    for class_id in np.unique(label):
        chosen = _sample(np.flatnonzero(elsewhere & (label.ravel() == class_id)), SAMPLES_PER_CLASS, rng)
        rows.append(chosen)
        targets.append(np.full(len(chosen), other))
    row, target = np.concatenate(rows), np.concatenate(targets)
    if not (target == other).any():
        # Nothing in the picture differs from the stroke: all of it is meant.
        chance = np.zeros((h * w, other + 1), np.float32)
        chance[:, 0] = 1.0
    else:
        chance = _learn(flat, row, target)
        # A stroke covers a small spot, and its place would weigh too much: learn once more from what it surely reached.
        more = [
            _sample(np.flatnonzero((chance[:, index] >= SURE) & ~any_seed.ravel()), SAMPLES_PER_CLASS, rng)
            for index in range(other)
        ]
        row = np.concatenate([row, *more])
        target = np.concatenate([target, *(np.full(len(found), index) for index, found in enumerate(more))])
        chance = _learn(flat, row, target)
    grown = []
    guide = EdgeGuide(photo.pixels)
    for index, name in enumerate(names):
        field = np.asarray(cv2.GaussianBlur(chance[:, index].reshape(h, w), (0, 0), 1.0), np.float32)
        field[seeds[name]] = 1.0
        for rival in names:
            if rival != name:
                field[seeds[rival]] = 0.0
        kept = _hanging_together(field >= GROWN_FROM, seeds[name])
        soft = np.where(kept, np.maximum(field, 0.5), np.minimum(field, 0.3)).astype(np.float32)
        soft[kept] = 1.0
        soft[~kept] = 0.0
        full = guide.carry(soft)
        mask = full >= 0.5
        for stroke in strokes:
            mark = painted_mask(stroke, photo.height, photo.width)
            mask = mask | mark if stroke.class_name == name else mask & ~mark
        grown.append((mask, name))
    return grown


def _learn(flat: FloatArray, row: NDArray[np.intp], target: NDArray[np.intp]) -> FloatArray:
    """Chance of each target (n, targets) for every pixel, taught by the pixels `row`."""
    from sklearn.ensemble import ExtraTreesClassifier

    trees = ExtraTreesClassifier(TREES, max_depth=DEPTH, class_weight="balanced", n_jobs=1, random_state=SEED)
    return np.asarray(trees.fit(flat[row], target).predict_proba(flat), np.float32)


def _features(small: NDArray[np.uint8], scene: SceneMap) -> FloatArray:
    """(h, w, 17): 9 class probabilities, Lab colour fine and smoothed, local contrast, position."""
    h, w = small.shape[:2]
    lab = cv2.cvtColor(small.astype(np.float32) / np.float32(255), cv2.COLOR_RGB2LAB) / np.float32(100)
    smooth = cv2.GaussianBlur(lab, (0, 0), 3.0)
    light = lab[..., :1]
    contrast = np.sqrt(
        np.maximum(cv2.GaussianBlur(light**2, (0, 0), 2.0) - cv2.GaussianBlur(light, (0, 0), 2.0) ** 2, 0)
    )
    # The calmest contrast nearby: a border between two regions is no texture of either.
    contrast = cv2.erode(contrast, np.ones((11, 11), np.uint8))
    y, x = np.mgrid[0:h, 0:w].astype(np.float32)
    place = np.stack([x / w, y / h], -1) * np.float32(0.7)
    chance = np.moveaxis(
        np.stack([cv2.resize(p.astype(np.float32), (w, h), interpolation=cv2.INTER_LINEAR) for p in scene.probability]),
        0,
        -1,
    )
    parts = [chance, lab, smooth, contrast.reshape(h, w, 1) * np.float32(4), place]
    return np.ascontiguousarray(np.concatenate(parts, -1), np.float32)


def _surely_else(flat: FloatArray, label: NDArray[np.uint8], seeds: Sequence[NDArray[np.bool_]]) -> NDArray[np.bool_]:
    """Pixels that are no part of any stroke's region: another label, or under the same label quite another look."""
    look = flat[:, 9:16]
    sure = np.ones(len(flat), bool)
    for seed in seeds:
        under = np.unique(label[seed])
        mean = look[seed].mean(0)
        spread = np.cov(look[seed].T) if seed.sum() > 8 else np.diag(look.var(0) * 0.05)
        spread = np.atleast_2d(spread) + np.diag(look.var(0) * 0.02 + 1e-6)
        offset = look - mean
        distance = np.sqrt(np.einsum("ij,jk,ik->i", offset, np.linalg.inv(spread), offset))
        limit = UNLIKE_FACTOR * max(float(np.quantile(distance[seed], UNLIKE_QUANTILE)), 1.0)
        sure &= ~np.isin(label, under) | (distance > limit)
    return sure


def _sample(index: NDArray[np.intp], most: int, rng: np.random.Generator) -> NDArray[np.intp]:
    return index if len(index) <= most else np.sort(rng.choice(index, most, replace=False))


def _hanging_together(mask: Mask, seed: Mask) -> Mask:
    """The parts of `mask` that touch `seed`, without pinholes."""
    joined = (mask | seed).astype(np.uint8)
    _, parts = cv2.connectedComponents(joined, connectivity=4)
    wanted = np.unique(parts[seed])
    kept = np.isin(parts, wanted[wanted > 0])
    count, holes, stats, _ = cv2.connectedComponentsWithStats((~kept).astype(np.uint8), connectivity=4)
    for index in range(1, count):
        if stats[index, cv2.CC_STAT_AREA] <= 0.0005 * kept.size and not seed[holes == index].any():
            kept[holes == index] = True
    return np.asarray(kept, bool)


def regions(scene: SceneMap, least_share: float = 0.004, most: int = 14) -> tuple[Region, ...]:
    """The connected areas of the scene map, largest first, for correcting without a brush."""
    h, w = size_within(scene.label.shape[0], scene.label.shape[1], GROWING_SIDE_PX)
    small = cv2.resize(scene.label, (w, h), interpolation=cv2.INTER_NEAREST)
    found = []
    for class_id in np.unique(small):
        count, parts, stats, centres = cv2.connectedComponentsWithStats(
            (small == class_id).astype(np.uint8), connectivity=8
        )
        for index in range(1, count):
            share = stats[index, cv2.CC_STAT_AREA] / small.size
            if share >= least_share:
                x, y = centres[index][0] / w, centres[index][1] / h
                found.append((share, CLASS_NAMES[int(class_id) - 1], (float(x), float(y)), parts == index))
    found.sort(key=lambda one: -one[0])
    height, width = scene.label.shape
    result = []
    for share, name, centre, part in found[:most]:
        large = cv2.resize(part.astype(np.uint8), (width, height), interpolation=cv2.INTER_NEAREST).astype(bool)
        mask = large & (scene.label == CLASS_ID[name])
        result.append(Region(name, float(share), centre, where_words(*centre), mask))
    return tuple(result)


def where_words(x: float, y: float) -> str:
    """Where a point lies in the picture: `top left`, `middle`, `bottom right`."""
    across = "left" if x < 0.36 else "right" if x > 0.64 else ""
    down = "top" if y < 0.36 else "bottom" if y > 0.64 else "middle"
    return f"{down} {across}".strip()
