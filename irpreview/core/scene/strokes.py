"""From a few brush strokes to a corrected region of the photo.

Painted exactly, a stroke is what its brush covered. Grown, it spreads like water over the photo: easily over what looks
like the painted pixels (colour, roughness, the network's chances), hardly over an edge. How far it goes is one number,
which a hand can shrink or grow; it stops sooner where nothing holds it. The border follows the photo's own edges.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import dijkstra
from sklearn.mixture import GaussianMixture

from irpreview.core.imaging.resize import size_within
from irpreview.core.scene.edge_guide import EdgeGuide
from irpreview.errors import BadValue
from irpreview.records import CLASS_ID, CLASS_NAMES, FloatArray, Photo, SceneMap

Mask = NDArray[np.bool_]

GROWING_SIDE_PX = 320
"""Long side at which a stroke is grown; edges are found again at the photo's own size."""
MOST_STROKES = 200
MOST_REACH = 6
"""Steps that a grown area can be shrunk or grown by hand."""
MOST_POINTS = 4000
MOST_LOOKS = 3
"""A stroke may lie on so many different looks: sunlit and shaded stone, say."""
LEAST_SPREAD = 9.0
"""Variance that each look has at least, in steps just seen, squared: paint on one even spot must not grow nowhere."""
LIKE_QUANTILE = 0.9
PLAIN_COST, EVEN_STEP, EDGE_COST, CHANGE_COST, UNLIKE_COST = 0.01, 2.0, 0.03, 0.5, 0.05
"""Cost of one pixel on the way: as such; beyond a step of colour that is still even; per step beyond; per change of the
network's chances; per unlikeness. Chosen on strokes over the demo scenes."""
SHORT_REACH, MIDDLE_REACH, USUAL_REACH = 0.9, 2.0, 3.5
"""Cost of way from the stroke to the border: at least, half way, where an edge bounds the area. Chosen on the same."""
REACH_STEP = 1.3
OPEN_FIELD = 1.57
"""An area that still grows by this factor on the last part of the way is bounded by nothing. On the recorded strokes
those that leak grow by 1.65 and more there, the others by 1.50 at most; a wood that fills up slowly grows early on."""
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


def grow(photo: Photo, scene: SceneMap, strokes: Sequence[Stroke], reach: int = 0) -> list[tuple[Mask, str]]:
    """Strokes grown inside what they lie on: one mask (H, W) per painted class, in order of first use.

    reach: steps by which the area is made larger or smaller than it would be, -`MOST_REACH` to `MOST_REACH`. Strokes
    of different classes hold each other back. Raises BadValue as `check_strokes` does.
    """
    check_strokes(strokes)
    if not -MOST_REACH <= reach <= MOST_REACH:
        raise BadValue(f"a reach of {reach} steps cannot be used; take -{MOST_REACH} to {MOST_REACH}")
    if not strokes:
        return []
    h, w = size_within(photo.height, photo.width, GROWING_SIDE_PX)
    names = list(dict.fromkeys(stroke.class_name for stroke in strokes))
    seeds = {name: np.zeros((h, w), bool) for name in names}
    for stroke in strokes:
        mark = painted_mask(stroke, h, w)
        for name in names:
            seeds[name] = seeds[name] | mark if name == stroke.class_name else seeds[name] & ~mark
    names = [name for name in names if seeds[name].any()]
    ground = _Ground(cv2.resize(photo.pixels, (w, h), interpolation=cv2.INTER_AREA), scene)
    far = {}
    for name in names:
        way = ground.way_from(seeds[name])
        far[name] = way / (_reach_of(way) * REACH_STEP**reach)
        for rival in names:
            if rival != name:
                far[name][seeds[rival]] = np.inf
    grown = []
    guide = EdgeGuide(photo.pixels)
    for name in names:
        nearest = np.all([far[name] <= far[rival] for rival in names if rival != name], axis=0)
        kept = _hanging_together((far[name] <= 1.0) & nearest, seeds[name])
        mask = guide.carry(kept.astype(np.float32)) >= 0.5
        for stroke in strokes:
            mark = painted_mask(stroke, photo.height, photo.width)
            mask = mask | mark if stroke.class_name == name else mask & ~mark
        grown.append((mask, name))
    return grown


class _Ground:
    """What a stroke grows over: how steep the way from each place to its neighbours is."""

    def __init__(self, small: NDArray[np.uint8], scene: SceneMap) -> None:
        self.shape = small.shape[:2]
        h, w = self.shape
        even = _lab(cv2.pyrMeanShiftFiltering(small, 4, 12))
        chance = np.stack([cv2.resize(one.astype(np.float32), (w, h)) for one in scene.probability], -1)
        lab = _lab(small)
        light = lab[..., 0]
        rough = np.sqrt(np.maximum(cv2.GaussianBlur(light**2, (0, 0), 2) - cv2.GaussianBlur(light, (0, 0), 2) ** 2, 0))
        looks = [cv2.GaussianBlur(lab, (0, 0), 2.5), 2 * rough[..., None], 25 * chance]
        self.looks = np.concatenate(looks, -1).reshape(h * w, -1).astype(np.float64)
        """(pixels, 13): colour, roughness and the network's chances, each in steps of about one just seen."""
        self._walls: list[tuple[NDArray[np.intp], NDArray[np.intp], FloatArray, float]] = []
        number = np.arange(h * w).reshape(h, w)
        for down, across in ((0, 1), (1, 0), (1, 1), (1, -1)):
            a = (slice(0, h - down), slice(0, w - across) if across >= 0 else slice(-across, w))
            b = (slice(down, h), slice(across, w) if across >= 0 else slice(0, w + across))
            step = np.sqrt(((even[a] - even[b]) ** 2).sum(-1))
            change = np.abs(chance[a] - chance[b]).sum(-1)
            wall = PLAIN_COST + EDGE_COST * np.maximum(step - EVEN_STEP, 0) + CHANGE_COST * change
            length = math.hypot(down, across)
            self._walls.append((number[a].ravel(), number[b].ravel(), (length * wall).ravel(), length))

    def way_from(self, seed: Mask) -> NDArray[np.float64]:
        """(h, w) how far each place lies from the stroke: short over what looks like it, long over edges."""
        inside = self.looks[seed.ravel()]
        spread = GaussianMixture(
            min(MOST_LOOKS, max(1, len(inside) // 40)), reg_covar=LEAST_SPREAD, random_state=SEED
        ).fit(inside)
        unlike = -spread.score_samples(self.looks)
        unlike = np.sqrt(np.maximum(unlike - np.quantile(unlike[seed.ravel()], LIKE_QUANTILE), 0))
        tails, heads, costs = [], [], []
        for a, b, wall, length in self._walls:
            for tail, head in ((a, b), (b, a)):
                tails.append(tail)
                heads.append(head)
                costs.append(wall + UNLIKE_COST * length * unlike[head])
        count = len(self.looks)
        net = coo_matrix((np.concatenate(costs), (np.concatenate(tails), np.concatenate(heads))), (count, count))
        way = dijkstra(net.tocsr(), indices=np.flatnonzero(seed.ravel()), min_only=True)
        return np.asarray(way, np.float64).reshape(self.shape)


def _reach_of(way: NDArray[np.float64]) -> float:
    """How far to go: the usual reach, or the short one where the area goes on growing as if nothing held it."""
    middle, usual = (float(np.count_nonzero(way <= reach)) for reach in (MIDDLE_REACH, USUAL_REACH))
    return SHORT_REACH if usual > OPEN_FIELD * middle else USUAL_REACH


def _lab(pixels: NDArray[np.uint8]) -> FloatArray:
    """CIE Lab with a and b weighted up, about even to the eye."""
    lab = cv2.cvtColor(pixels.astype(np.float32) / np.float32(255), cv2.COLOR_RGB2LAB)
    return np.asarray(lab * np.array([1.0, 1.5, 1.5], np.float32), np.float32)


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
