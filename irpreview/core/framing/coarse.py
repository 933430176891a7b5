"""The coarse look at every frame: what lies in it, counted by sums over the snap's own layers.

How large a thing would be, whether an edge cuts it, how the edges inside the frame part, how much of it is empty sky,
what the wind leaves. All frames are counted at once; no picture is touched.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

import cv2
import numpy as np
from numpy.typing import NDArray

from irpreview.core.framing.frame_movement import PLANTS
from irpreview.core.framing.frames import placed, steps
from irpreview.core.motion.print_blur import felt_mm, kept_by
from irpreview.core.verdict.judging import Parted
from irpreview.core.verdict.subjects import parting
from irpreview.records import Movement
from irpreview.records.framing import Frame, FramingRole

Grid = NDArray[np.float64]
FIRST, SECOND = 9, 5
"""Positions along each side in the first look, and again about the best."""
DIFFER = 0.55
"""Two framings that share more of their area than that are one picture."""
LOOKED_AT_ONCE = 0.45
"""The same for frames that are looked at more closely: the fewer alike, the more there is to choose from."""
ROLE_CLASSES: Mapping[FramingRole, tuple[str, ...]] = MappingProxyType(
    {"structure": ("structure",), "foliage": ("tree", "grass"), "sky": ("cloud", "clear_sky"), "water": ("water",)}
)
_SIZE: Mapping[FramingRole, tuple[float, float, float]] = MappingProxyType(
    {
        # share of the frame: large enough from, too large from, fills it at (common practice, no source)
        "structure": (0.12, 0.30, 0.75),
        "foliage": (0.35, 0.75, 0.95),
        "sky": (0.45, 0.75, 0.92),
        "water": (0.35, 0.65, 0.90),
    }
)
_UPRIGHT = ("structure", "tree")
_ONE_THING = 0.12
"""Share of the snap from which something built is a street and trees are a wood, of which a part may be taken."""
_CUT_COSTS = 0.4
_OUTSIDE = 0.06
"""Share of a thing that may lie on the other side of the frame's edge."""
_STRIP_PX = 3
_EMPTY_FROM, _EMPTY_AT, _EMPTY_COSTS = 0.40, 0.80, 0.5
"""Share of a frame that is clear sky: costs something from, all at, how much (common practice, no source)."""
_NARROW, _NARROW_COSTS = 1.7, 0.15
"""Higher than that over its width a frame is hard to fill (common practice, no source)."""
_TIGHT_FROM, _TIGHT_AT = 1.8, 4.0
_TIGHT_COSTS: Mapping[FramingRole, float] = MappingProxyType(
    {"structure": 0.10, "foliage": 0.20, "sky": 0.25, "water": 0.25}
)
"""A long lens isolates a figure; of a wood, a sky or a lake it leaves a detail (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Tables:
    """The snap's layers as sums, so that a frame is counted in a few look-ups."""

    width: int
    height: int
    layers: Grid
    """(layers, height + 1, width + 1)."""
    classes: tuple[str, ...]
    edges: Grid
    """(edges, height + 1, width + 1)."""
    edge_worth: Grid
    edge_classes: tuple[frozenset[str], ...]
    felt: Mapping[str, float]
    """Blur of plants in the snap's framing [mm on the print]."""
    figures: tuple[int, ...]
    """Layers that are looked at as one upright thing: a tower, a building, a tree or a few."""

    def cut_by(self, frame: Frame) -> bool:
        """Whether a side of the frame cuts through such a thing."""
        left, top = round(frame.left * self.width), round(frame.top * self.height)
        right = min(self.width, round((frame.left + frame.width) * self.width))
        bottom = min(self.height, round((frame.top + frame.height) * self.height))
        box = np.array([(left, top, right, bottom)])
        for i in self.figures:
            whole = float(self.layers[i, -1, -1])
            kept = float(_inside(self.layers[i], box)[0]) / max(whole, 1.0)
            if _OUTSIDE < kept < 1 - _OUTSIDE:
                return True
        return False


@dataclass(frozen=True, slots=True)
class Places:
    """Frames as numbers, (n,) each, in shares of the snap."""

    base: NDArray[np.int64]
    left: Grid
    top: Grid
    width: Grid
    height: Grid

    def overlaps(self, one: int) -> Grid:
        """Shared area of every frame with one of them over their joint area, 0..1."""
        across = np.minimum(self.left + self.width, self.left[one] + self.width[one]) - np.maximum(
            self.left, self.left[one]
        )
        down = np.minimum(self.top + self.height, self.top[one] + self.height[one]) - np.maximum(
            self.top, self.top[one]
        )
        both = np.maximum(across, 0) * np.maximum(down, 0)
        joint = self.width * self.height + self.width[one] * self.height[one] - both
        return np.asarray(both / joint, np.float64)


def _sum_table(mask: NDArray[np.generic]) -> Grid:
    return np.asarray(cv2.integral(mask.astype(np.uint8), sdepth=cv2.CV_64F))


def _inside(tables: Grid, box: NDArray[np.int64]) -> Grid:
    """Sums in boxes (n, 4): left, top, right, bottom [px]. tables: (..., h + 1, w + 1); returns (..., n)."""
    x0, y0, x1, y1 = box.T
    return np.asarray(tables[..., y1, x1] - tables[..., y0, x1] - tables[..., y1, x0] + tables[..., y0, x0])


def tables_of(parted: Parted, movement: Movement) -> Tables:
    """The tables of a snap. movement: in the snap's own framing."""
    layer_map = parted.layer_map
    height, width = layer_map.shape
    names = tuple(layer.class_name for layer in parted.layers)
    edges = np.zeros((len(parted.separations), height + 1, width + 1))
    for k, one in enumerate(parted.separations):
        at = np.zeros(layer_map.shape, np.uint8)
        for first, second in ((np.s_[:, :-1], np.s_[:, 1:]), (np.s_[:-1], np.s_[1:])):
            a, b = layer_map[first], layer_map[second]
            at[first] |= (((a == one.a) & (b == one.b)) | ((a == one.b) & (b == one.a))).astype(np.uint8)
        edges[k] = _sum_table(at)
    figures = [i for i, la in enumerate(parted.layers) if la.class_name in _UPRIGHT and la.share < _ONE_THING]
    return Tables(
        width,
        height,
        np.stack([_sum_table(layer_map == i) for i in range(len(names))]),
        names,
        edges,
        np.array([parting(one) for one in parted.separations]),
        tuple(frozenset((names[one.a], names[one.b])) for one in parted.separations),
        MappingProxyType({n: felt_mm(movement.classes[n].print_mm) for n in PLANTS if n in movement.classes}),
        tuple(figures),
    )


def everywhere(bases: list[Frame]) -> Places:
    """Each frame at `FIRST` positions along each side."""
    rows = [
        (k, x, y, f.width, f.height)
        for k, f in enumerate(bases)
        for x in steps(1 - f.width, FIRST)
        for y in steps(1 - f.height, FIRST)
    ]
    table = np.array(rows, np.float64).reshape(-1, 5)
    return Places(table[:, 0].astype(np.int64), *table[:, 1:].T)


def _near(places: Places, one: int) -> Places:
    """The same frame at `SECOND` positions about where it is."""
    width, height = float(places.width[one]), float(places.height[one])
    reach_x, reach_y = (1 - width) / (FIRST - 1), (1 - height) / (FIRST - 1)
    x = np.clip(places.left[one] + np.linspace(-reach_x, reach_x, SECOND), 0, 1 - width)
    y = np.clip(places.top[one] + np.linspace(-reach_y, reach_y, SECOND), 0, 1 - height)
    left, top = (v.ravel() for v in np.meshgrid(x, y))
    count = left.size
    return Places(
        np.full(count, places.base[one]), left, top, np.full(count, width, float), np.full(count, height, float)
    )


@dataclass(frozen=True, slots=True)
class Counted:
    """What lies in each of n frames."""

    box: NDArray[np.int64]
    inside: Grid
    """(layers, n) [px]."""
    shares: Grid
    edges: Grid
    """(edges, n) [px]."""
    sound: Grid
    """(n,) 0..1: what holds for a frame whatever leads it."""


def counted(places: Places, tables: Tables) -> Counted:
    """Counts what lies in each frame."""
    w, h = tables.width, tables.height
    edges = (places.left * w, places.top * h, (places.left + places.width) * w, (places.top + places.height) * h)
    box = np.clip(np.rint(np.stack(edges, axis=1)).astype(np.int64), 0, (w, h, w, h))
    x0, y0, x1, y1 = box.T
    inside = _inside(tables.layers, box)
    shares = inside / np.maximum((x1 - x0) * (y1 - y0), 1)
    # several layers make a picture, one makes a surface
    depth = np.minimum(1.0, (np.exp(-np.sum(shares * np.log(np.maximum(shares, 1e-6)), axis=0)) - 1) / 2)
    clear = sum((shares[i] for i, name in enumerate(tables.classes) if name == "clear_sky"), np.zeros(len(box)))
    sound = (0.5 + 0.5 * depth) * (1 - _EMPTY_COSTS * _ramp(clear, _EMPTY_FROM, _EMPTY_AT))
    # an upright thing is not cut, whether it leads or only stands in the frame
    for i in tables.figures:
        rim = sum(_inside(tables.layers[i], strip) for strip in _strips(box))
        least = np.maximum(np.sqrt(np.maximum(inside[i], 1)), 4)
        sound *= 1.0 - _CUT_COSTS * np.minimum(1.0, rim / _STRIP_PX / least)
    return Counted(box, inside, shares, _inside(tables.edges, box), np.asarray(sound, np.float64))


def _strips(box: NDArray[np.int64]) -> list[NDArray[np.int64]]:
    """Narrow strips along the left, right, upper and lower side."""
    x0, y0, x1, y1 = box.T
    out = ((x0, y0, x0 + _STRIP_PX, y1), (x1 - _STRIP_PX, y0, x1, y1), (x0, y0, x1, y0 + _STRIP_PX))
    return [np.stack(one, axis=1) for one in (*out, (x0, y1 - _STRIP_PX, x1, y1))]


def _ramp(x: Grid, low: float, high: float) -> Grid:
    return np.clip((x - low) / (high - low), 0.0, 1.0)


def fitness(places: Places, found: Counted, role: FramingRole, tables: Tables) -> Grid:
    """How well each frame could be led by this, (n,) 0..1."""
    own = [i for i, name in enumerate(tables.classes) if name in ROLE_CLASSES[role]]
    share, count = found.shares[own].sum(axis=0), found.inside[own].sum(axis=0)
    table = tables.layers[own].sum(axis=0)
    enough, much, fills = _SIZE[role]
    size = np.sqrt(np.minimum(1.0, share / enough)) * (1 - 0.8 * _ramp(share, much, fills))
    # nothing is cut off at the sides and the top; a foot may stand on the lower edge
    cut = sum(_inside(table, strip) for strip in _strips(found.box)[:3])
    costs = 0.8 if role == "structure" else 0.15
    uncut = 1.0 - costs * np.minimum(1.0, cut / _STRIP_PX / np.sqrt(np.maximum(count, 1)))
    x0, y0, x1, y1 = found.box.T
    wanted = set(ROLE_CLASSES[role])
    weight = tables.edge_worth * np.array([1.0 if names & wanted else 0.4 for names in tables.edge_classes])
    contrast = np.minimum(1.0, weight @ found.edges / (0.35 * (x1 - x0 + y1 - y0)))
    zoom = 1.0 / np.maximum(places.width, places.height)
    tight = 1 - _TIGHT_COSTS[role] * _ramp(zoom, _TIGHT_FROM, _TIGHT_AT)
    narrow = 1 - _NARROW_COSTS * ((y1 - y0) > _NARROW * (x1 - x0))
    score = size * uncut * (0.35 + 0.65 * contrast) * found.sound * tight * narrow
    if role == "foliage":
        score = score * _calm(found, zoom, tables)
    if role == "structure":
        score = score * _place(table, found.box, count)
    return np.asarray(score, np.float64)


def _place(table: Grid, box: NDArray[np.int64], count: Grid) -> Grid:
    """A figure dead in the middle or at the rim costs a little; bands have no place."""
    x0, _, x1, _ = box.T
    # where the middle of its mass lies, from the shares left of a few verticals
    at = np.zeros(len(box))
    parts = 12
    for k in range(1, parts):
        to = box.copy()
        to[:, 2] = x0 + (x1 - x0) * k // parts
        at += 1 - _inside(table, to) / np.maximum(count, 1)
    off = np.abs((at + 0.5) / parts - 0.5)
    return np.asarray(1.0 - 0.12 * np.exp(-((off / 0.06) ** 2)) - 0.5 * _ramp(off, 0.25, 0.42))


def _calm(found: Counted, zoom: Grid, tables: Tables) -> Grid:
    """What the wind leaves of each frame, 0..1: plants in it blur more the longer the lens."""
    left: Grid = np.ones(len(zoom))
    kinds, which = np.unique(zoom, return_inverse=True)
    for i, name in enumerate(tables.classes):
        if name in tables.felt:
            kept = np.array([kept_by(tables.felt[name] * float(k)) for k in kinds])
            left -= found.shares[i] * (1 - kept[which])
    return left


def best_frames(
    role: FramingRole,
    bases: list[Frame],
    places: Places,
    found: Counted,
    tables: Tables,
    pixels_per_rad: float,
    keep: int,
    least: float = 0.0,
) -> list[Frame]:
    """The best few that differ, best first. least: share of the best one's fitness that the others must reach."""
    score = fitness(places, found, role, tables)
    free = np.ones(len(score), bool)
    out: list[Frame] = []
    while len(out) < keep and free.any():
        one = int(np.argmax(np.where(free, score, -1.0)))
        if score[one] < least * score.max():
            break
        near = _near(places, one)
        at = int(np.argmax(fitness(near, counted(near, tables), role, tables)))
        base = bases[int(places.base[one])]
        left, top = float(near.left[at]), float(near.top[at])
        out.append(placed(base, left, top, pixels_per_rad, tables.width, tables.height))
        free &= places.overlaps(one) < LOOKED_AT_ONCE
    return out
