"""The scene as the few regions a person would name, ordered from near to far.

Everything is decided at one working size (long side 512 px) on a smoothed vote of the labels, so that a snap at half
size, re-encoded or cropped a little gives the same regions. Tones of a layer are medians: a few strayed pixels move
nothing.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from irpreview.core.imaging.srgb import linear_pixels, luminance
from irpreview.core.verdict.layer_split import LEAST_SHARE_TO_SPLIT, split_by_distance
from irpreview.errors import BadValue
from irpreview.records import CLASS_NAMES, FloatArray, Layer, Photo, Range, Rendering, SceneMap, frozen_array

REFERENCE_KIT = "reference-pairs"
WORKING_SIDE_PX = 512
MOST_LAYERS = 8
SMALLEST_SHARE = 0.02
SMALLEST_UPRIGHT_SHARE = 0.012
"""Buildings and trees standing up are named even when small: a tower is."""
_UPRIGHT = frozenset(("structure", "tree"))
_VOTE_SIGMA_PX = 2.5
_FLOOR_TONE = 0.18 * 2.0**-8
_KINSHIP = {
    frozenset(("clear_sky", "cloud")): 6.0,
    frozenset(("tree", "grass")): 2.0,
    frozenset(("ground", "grass")): 1.5,
    frozenset(("ground", "structure")): 1.5,
    frozenset(("ground", "snow")): 1.5,
    frozenset(("other", "structure")): 1.5,
    frozenset(("other", "ground")): 1.5,
}
"""How much longer a shared edge counts when a region too small to name looks for the neighbour to join."""
_SKY = frozenset(("clear_sky", "cloud"))
NOISE_SHARE, LEAST_TRUST = 0.5, 0.4
"""Share of the rendering's own squared spread that shows as exaggeration of a picture's tones; and the least trust.

Fitted to 646 separations of pictures held back, one figure for all classes and categories: best at 0.50, and from 0.38
to 0.52 with any category left out (models/evaluate_gaps.py --held-back FOLDER --fit).
"""


@dataclass(frozen=True, slots=True)
class Ground:
    """What the verdict is measured on: everything at the working size."""

    vote: FloatArray
    """(9, h, w) smoothed class votes, sums to 1."""
    winner: NDArray[np.intp]
    """(h, w) index of the class with most votes."""
    infrared_zone: FloatArray
    """(h, w) zones of the predicted tones."""
    visible_zone: FloatArray
    """(h, w) zones of the colour photo's luminance."""
    spread_stops: FloatArray
    """(h, w) half the 5-95 % range of the predicted tones."""
    confidence: FloatArray
    pixels: NDArray[np.uint8]
    """(h, w, 3) sRGB."""
    trust: float = 1.0
    """Real over predicted distance of a layer's tone from the picture's mean, 0..1."""

    @property
    def shape(self) -> tuple[int, int]:
        """(height, width) of the maps [px]."""
        return int(self.infrared_zone.shape[0]), int(self.infrared_zone.shape[1])


def zones_of(tones: FloatArray) -> FloatArray:
    """Zones of linear tones (white surface = 1), floored at zone -3."""
    return np.asarray(5 + np.log2(np.maximum(tones, _FLOOR_TONE) / 0.18), np.float32)


def trust_in(zones: FloatArray, spread_stops: FloatArray) -> float:
    """How much of a picture's predicted contrast (zones, h x w) is real, 0..1, from its spread (5-95 % half, stops).

    A prediction is the truth and an error on top, so its tones scatter more than the true ones, and the best guess of a
    tone lies nearer to the mean: by 1 - (variance of the error) / (variance of the prediction), the textbook's
    attenuation of a straight line (regression to the mean; Stein 1956, James and Stein 1961).
    """
    error = NOISE_SHARE * float(np.mean((spread_stops / 1.645) ** 2))
    scatter = float(np.var(zones, dtype=np.float64))
    return 1.0 if error == 0 else max(LEAST_TRUST, 1 - error / max(scatter, 1e-6))


def _working_size(height: int, width: int) -> tuple[int, int]:
    """(height, width) [px]; a photo smaller than the working size is brought up to it, so that both decide alike."""
    k = WORKING_SIDE_PX / max(height, width)
    return max(16, round(height * k)), max(16, round(width * k))


def resized(array: FloatArray, size: tuple[int, int]) -> FloatArray:
    """The array (H, W) at another size (height, width), averaged where it gets smaller."""
    h, w = size
    how = cv2.INTER_AREA if array.shape[0] >= h else cv2.INTER_LINEAR
    return np.asarray(cv2.resize(array, (w, h), interpolation=how), np.float32)


def ground_of(photo: Photo, scene: SceneMap, rendering: Rendering) -> Ground:
    """Votes, tones and photo at the working size. Raises BadValue when the three differ in size."""
    if scene.label.shape != (photo.height, photo.width) or rendering.tones.shape != scene.label.shape:
        raise BadValue(
            f"photo ({photo.width} x {photo.height} px), scene {scene.label.shape[::-1]} and rendering "
            f"{rendering.tones.shape[::-1]} must have one size; render this photo again"
        )
    h, w = size = _working_size(photo.height, photo.width)
    pixels = np.asarray(
        cv2.resize(photo.pixels, (w, h), interpolation=cv2.INTER_AREA if photo.height >= h else cv2.INTER_LINEAR),
        np.uint8,
    )
    # a label map cannot be averaged, so each class votes on twice the working size
    double = (min(2 * w, photo.width), min(2 * h, photo.height))
    label = cv2.resize(scene.label, double, interpolation=cv2.INTER_NEAREST)
    sure = cv2.resize(scene.confidence, double, interpolation=cv2.INTER_NEAREST).astype(np.float32)
    vote = np.zeros((len(CLASS_NAMES), h, w), np.float32)
    for i in range(len(CLASS_NAMES)):
        inside = label == i + 1
        if inside.any():
            share = resized(inside * (0.25 + 0.75 * sure), size)
            vote[i] = cv2.GaussianBlur(share, (0, 0), _VOTE_SIGMA_PX)
    vote /= np.maximum(vote.sum(0), 1e-6)
    # zones are averaged, not light: on rough masonry the mean of light lies up to half a zone above what is drawn
    zones, spread = resized(zones_of(rendering.tones), size), resized(rendering.spread_stops, size)
    return Ground(
        vote=frozen_array(vote),
        winner=frozen_array(vote.argmax(0)),
        infrared_zone=frozen_array(zones),
        visible_zone=frozen_array(zones_of(resized(luminance(pixels), size))),
        spread_stops=frozen_array(spread),
        confidence=frozen_array(resized(scene.confidence, size)),
        pixels=frozen_array(pixels),
        # the measure in which the pictures of that kit are compared; other kits carry physics that it cannot show
        trust=trust_in(zones, spread) if rendering.kit.name == REFERENCE_KIT else 1.0,
    )


def _components(winner: NDArray[np.intp]) -> tuple[NDArray[np.int32], list[int]]:
    """Connected regions of one class: ids (h, w) from 0, and the class index of each."""
    regions = np.zeros(winner.shape, np.int32)
    classes: list[int] = []
    for i in np.unique(winner):
        count, ids = cv2.connectedComponents((winner == i).astype(np.uint8), connectivity=8)
        regions[ids > 0] = ids[ids > 0] - 1 + len(classes)
        classes.extend([int(i)] * (count - 1))
    return regions, classes


def edge_lengths(regions: NDArray[np.signedinteger], count: int) -> NDArray[np.int64]:
    """(count, count) number of neighbouring pixel pairs between regions; symmetric, diagonal 0."""
    length = np.zeros((count, count), np.int64)
    for a, b in ((regions[:, :-1], regions[:, 1:]), (regions[:-1], regions[1:])):
        at = (a != b) & (a >= 0) & (b >= 0)
        code = a[at].astype(np.int64) * count + b[at]
        length += np.bincount(code, minlength=count * count).reshape(count, count)
    return length + length.T


def _merge_small(regions: NDArray[np.int32], classes: list[int]) -> tuple[NDArray[np.int32], list[int]]:
    """Regions too small to name join the neighbour they share most edge with, until at most eight are left."""
    count = len(classes)
    size = np.bincount(regions.ravel(), minlength=count).astype(np.float64) / regions.size
    touching = edge_lengths(regions, count).astype(np.float64)
    home = np.arange(count)
    alive = set(range(count))

    def worth(i: int) -> float:
        """Share over the smallest share that deserves a name."""
        name = CLASS_NAMES[classes[i]]
        return float(size[i] / (SMALLEST_UPRIGHT_SHARE if name in _UPRIGHT else SMALLEST_SHARE))

    def join(one: int, into: int) -> None:
        home[home == one] = into
        size[into] += size[one]
        touching[into] += touching[one]
        touching[:, into] += touching[:, one]
        touching[into, into] = 0
        alive.remove(one)

    while len(alive) > 1:
        least = min(alive, key=worth)
        if worth(least) >= 1 and len(alive) <= MOST_LAYERS:
            break
        others = [j for j in alive if j != least and touching[least, j] > 0]
        if not others:
            break

        def pull(j: int, least: int = least) -> float:
            pair = frozenset((CLASS_NAMES[classes[least]], CLASS_NAMES[classes[j]]))
            return float(touching[least, j] * (8.0 if len(pair) == 1 else _KINSHIP.get(pair, 1.0)))

        join(least, max(others, key=pull))
    # what lay between two regions of a kind may have gone
    for one in sorted(alive, key=lambda i: size[i]):
        for other in sorted(alive):
            if other != one and classes[one] == classes[other] and touching[one, other] > 0:
                join(one, other)
                break
    order = sorted(alive)
    new_id = {old: new for new, old in enumerate(order)}
    lookup = np.array([new_id[int(h)] for h in home], np.int32)
    return lookup[regions], [classes[i] for i in order]


_SPLIT = frozenset(("water", "tree", "grass", "ground", "snow"))
"""What goes back through a picture; a house front falls into walls and windows, not into near and far."""


def _haze(pixels: NDArray[np.uint8]) -> FloatArray:
    """Blue over red [stops], (h, w): the air between is blue."""
    channels = [np.log2(light + 0.004) for light in cv2.split(linear_pixels(pixels))]
    return np.asarray(channels[2] - channels[0], np.float32)


def _split_far(ground: Ground, regions: NDArray[np.int32], classes: list[int]) -> tuple[NDArray[np.int32], list[int]]:
    """Regions of one class that hold something near and something far come apart, the largest first."""
    classes, cues = list(classes), None
    sizes = np.bincount(regions.ravel(), minlength=len(classes))
    for i in sorted(range(len(classes)), key=lambda i: -sizes[i]):
        if len(classes) >= MOST_LAYERS or sizes[i] < LEAST_SHARE_TO_SPLIT * regions.size:
            break
        if CLASS_NAMES[classes[i]] not in _SPLIT:
            continue
        cues = cues or (_haze(ground.pixels), ground.visible_zone)
        parts = split_by_distance(regions == i, cues)
        if parts is None:
            continue
        # crumbs go to the part that they are nearer to
        to_one, to_other = (
            cv2.distanceTransform((~part).astype(np.uint8), cv2.DIST_L2, 3) for part in (parts.one, parts.other)
        )
        regions = np.where((regions == i) & (to_other < to_one), len(classes), regions).astype(np.int32)
        classes.append(classes[i])
    return regions, classes


def _row_at(above: NDArray[np.float64], share: float) -> float:
    """Height in the picture (0 top, 1 bottom) above which this share of a region lies."""
    return float(np.searchsorted(above, share)) / len(above)


def _nearness(above: NDArray[np.float64], class_name: str) -> float:
    """Larger = nearer: things stand on the ground, so the foot of a region tells its distance; sky lies behind."""
    foot = _row_at(above, 0.92)
    if class_name == "clear_sky":
        return -2 + foot
    if class_name == "cloud":
        return -1 + foot
    return 1 + foot


_WORD = {
    "clear_sky": "sky",
    "cloud": "cloud",
    "water": "water",
    "tree": "trees",
    "grass": "grass",
    "structure": "building",
    "ground": "ground",
    "other": "objects",
    "snow": "snow",
}


UNSURE_WALL = "rock or wall"
"""What a structure is called whose class is less sure than even: a pale cliff is easily taken for masonry."""
_SURE_OF_A_WALL = 0.5


def _names(
    classes: list[str], centre: list[tuple[float, float]], top: list[float], foot: list[float], unsure_wall: bool
) -> list[str]:
    """Plain words, each once. Layers come near to far."""
    names = [""] * len(classes)
    for name in dict.fromkeys(classes):
        word = UNSURE_WALL if name == "structure" and unsure_wall else _WORD[name]
        alike = [i for i, other in enumerate(classes) if other == name]
        if len(alike) == 1:
            names[alike[0]] = _alone(name, word, top[alike[0]], foot[alike[0]], bool(_SKY & set(classes)))
            continue
        sides = [_side(centre[i][0], len(alike)) for i in alike]
        deep = foot[alike[0]] - foot[alike[-1]] > 0.12 and name not in _SKY
        if len(alike) == 2 and (deep or len(set(sides)) == 1):
            found = [f"near {word}", f"far {word}"] if name not in _SKY else [f"lower {word}", f"upper {word}"]
        elif len(set(sides)) == len(alike):
            found = [f"{word} {side}" for side in sides]
        else:
            found = [f"near {word}" if deep and k == 0 else f"{word} {side}" for k, side in enumerate(sides)]
        for i, full in zip(alike, found, strict=True):
            count = sum(1 for n in names if n.endswith(full))
            names[i] = ("", "farther ", "farthest ")[min(count, 2)] + full
            while names.count(names[i]) > 1:
                names[i] = "very " + names[i]
    return names


def _alone(name: str, word: str, top: float, foot: float, sky_above: bool) -> str:
    at_feet = foot > 0.97 and top > 0.3
    if name == "ground":
        return "foreground" if at_feet else "high ground" if sky_above and top < 0.45 else word
    return f"near {word}" if at_feet and name in ("grass", "water", "snow") else word


def _side(x: float, count: int) -> str:
    if count == 2:
        return "on the left" if x < 0.5 else "on the right"
    return "on the left" if x < 0.36 else "on the right" if x > 0.64 else "in the middle"


def find_layers(ground: Ground) -> tuple[tuple[Layer, ...], NDArray[np.int16]]:
    """Layers near to far, and the working-size map (h, w) int16 of which layer each pixel belongs to."""
    regions, class_of = _split_far(ground, *_merge_small(*_components(ground.winner)))
    found = []
    for i, c in enumerate(class_of):
        inside = regions == i
        name = CLASS_NAMES[c]
        # share of the region above each row: percentiles of the rows without sorting them
        above = np.cumsum(inside.sum(axis=1)) / max(1, int(inside.sum()))
        found.append((_nearness(above, name), i, name, inside, above))
    found.sort(key=lambda f: (-f[0], f[1]))
    layer_map = np.full(regions.shape, -1, np.int16)
    middle = float(ground.infrared_zone.mean())
    layers = []
    tops, feet = [], []
    for index, (_, _, name, inside, above) in enumerate(found):
        layer_map[inside] = index
        zone = middle + ground.trust * (float(np.median(ground.infrared_zone[inside])) - middle)
        spread = float(np.median(ground.spread_stops[inside]))
        tops.append(_row_at(above, 0.03))
        feet.append(_row_at(above, 0.97))
        layers.append(
            Layer(
                index=index,
                name="",
                class_name=name,
                share=float(inside.mean()),
                zone=Range(zone - spread, zone, zone + spread),
                visible_zone=float(np.median(ground.visible_zone[inside])),
                centre_xy=_heart(inside),
            )
        )
    walls = [found[la.index][3] for la in layers if la.class_name == "structure"]
    unsure_wall = any(float(ground.confidence[wall].mean()) < _SURE_OF_A_WALL for wall in walls)
    names = _names([la.class_name for la in layers], [la.centre_xy for la in layers], tops, feet, unsure_wall)
    named = tuple(replace(layer, name=name) for layer, name in zip(layers, names, strict=True))
    return named, frozen_array(layer_map)


def _heart(inside: NDArray[np.bool_]) -> tuple[float, float]:
    """A point well inside the region, shares of width and height: where a finger would point at it."""
    height, width = inside.shape
    small = cv2.resize(inside.astype(np.uint8), (width // 2, height // 2), interpolation=cv2.INTER_NEAREST)
    if not small.any():
        rows, columns = np.nonzero(inside)
        return (float(columns[0]) + 0.5) / width, (float(rows[0]) + 0.5) / height
    depth = cv2.distanceTransform(np.pad(small, 1), cv2.DIST_L2, 3)[1:-1, 1:-1]
    rows, columns = np.nonzero(small)
    far = np.hypot(columns - columns.mean(), rows - rows.mean())
    best = int(np.argmax(depth[rows, columns] - 0.25 * far))
    return (float(columns[best]) + 0.5) / small.shape[1], (float(rows[best]) + 0.5) / small.shape[0]


def at_photo_size(layer_map: NDArray[np.int16], height: int, width: int) -> NDArray[np.int16]:
    """The working-size map (h, w) carried to the photo's own size (H, W)."""
    return frozen_array(np.asarray(cv2.resize(layer_map, (width, height), interpolation=cv2.INTER_NEAREST), np.int16))
