"""What a picture needs once, before any wind or shutter is chosen: its layers, what stands behind, how places sway.

Everything here depends on the scene and its tones only, so a change of wind or shutter need not repeat it.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from irpreview.core.imaging.picture_geometry import horizon_row
from irpreview.records import CLASS_ID, ByteArray, FloatArray, SceneMap

LEVELS = 8
"""Most successive splittings of a sway: 2^8 positions."""
SEED = 11
FIELD_SHRINK = 4


@dataclass(frozen=True, slots=True)
class Foliage:
    """Trees and grass as one layer inside a box of the picture."""

    box: tuple[int, int, int, int]
    alpha: FloatArray
    """(h, w) 0..1 soft edge."""
    tones: FloatArray
    """(h, w) tones, continued past the edge so that no sky or wall is carried along."""
    behind: FloatArray
    """(h, w) tones of what stands behind."""
    sky_behind: FloatArray
    """(h, w) 1 where that is sky, 0 where it is something else."""
    tree_gain: FloatArray
    """(h, w) sway of this place over the class's own: more at tips and nearer plants, little at trunks; 0 off trees."""
    grass_gain: FloatArray
    unit: tuple[FloatArray, ...]
    """Direction fields (right, down) of unit rms, kept at a quarter size; from whole crowns to single twigs."""
    cell_px: tuple[float, ...]
    """Over how far each of these fields changes. [px]"""
    shield: FloatArray
    """(h, w) 1 where foliage may pass in front, 0 where a building stands before it."""


@dataclass(frozen=True, slots=True)
class Stage:
    """Layers of one picture, at its own size."""

    tones: FloatArray
    horizon: float
    sky_alpha: FloatArray | None
    foliage: Foliage | None
    water: FloatArray | None
    """(H, W) soft mask."""
    water_median_row: float
    things: tuple[tuple[int, int, int, int], ...]
    things_alpha: FloatArray | None
    things_behind: FloatArray | None


def soft_mask(mask: NDArray[np.bool_], guide: FloatArray, radius: int = 3) -> FloatArray:
    """A mask whose edge follows the picture: guided filter (He 2010) on log tones. (H, W) 0..1."""
    p = mask.astype(np.float32)
    size = (2 * radius + 1, 2 * radius + 1)
    mean_i, mean_p = cv2.blur(guide, size), cv2.blur(p, size)
    cov = cv2.blur(guide * p, size) - mean_i * mean_p
    var = cv2.blur(guide * guide, size) - mean_i * mean_i
    a = cov / (var + 0.05)
    b = mean_p - a * mean_i
    soft = cv2.blur(a, size) * guide + cv2.blur(b, size)
    # at most a pixel beyond the label, or a moving sky would lie over a roof
    near = cv2.dilate(p, np.ones((3, 3), np.uint8))
    deep = cv2.erode(p, np.ones(size, np.uint8))
    return np.clip(np.where(deep > 0, 1.0, np.where(near > 0, soft, 0.0)), 0.0, 1.0).astype(np.float32)


def continued(tones: FloatArray, weight: FloatArray) -> FloatArray:
    """Tones where weight is 1, carried smoothly on into where it is 0 (pyramid of weighted means). (h, w)."""
    height, width = tones.shape
    levels = [(tones * weight, weight)]
    while min(levels[-1][0].shape) > 3 and len(levels) < 10:
        over, under = levels[-1]
        size = (max(1, (over.shape[1] + 1) // 2), max(1, (over.shape[0] + 1) // 2))
        levels.append(
            (
                cv2.resize(over, size, interpolation=cv2.INTER_AREA),
                cv2.resize(under, size, interpolation=cv2.INTER_AREA),
            )
        )
    over, under = levels[-1]
    total = float(under.sum())
    mean = float(over.sum()) / total if total > 1e-6 else float(tones.mean())
    filled = np.full(over.shape, mean, np.float32)
    for over, under in reversed(levels):
        filled = cv2.resize(filled, over.shape[::-1], interpolation=cv2.INTER_LINEAR)
        known = np.minimum(under * 4.0, 1.0)
        filled = known * over / np.maximum(under, 1e-6) + (1.0 - known) * filled
    return np.asarray(filled, np.float32).reshape(height, width)


def wandering(rng: np.random.Generator, shape: tuple[int, int], cell_px: float) -> FloatArray:
    """Smooth random field of zero mean and unit rms that changes over about cell_px. (h, w)."""
    rows, columns = max(3, int(shape[0] / cell_px) + 2), max(3, int(shape[1] / cell_px) + 2)
    coarse = rng.normal(0.0, 1.0, (rows, columns)).astype(np.float32)
    field = cv2.resize(coarse, shape[::-1], interpolation=cv2.INTER_CUBIC)
    return np.asarray(field / max(float(field.std()), 1e-6), np.float32)


def prepare_stage(tones: FloatArray, scene: SceneMap) -> Stage:
    """Take a picture apart for redrawing in motion. tones (h, w) linear, any size of the scene's shape."""
    tones = np.ascontiguousarray(tones, np.float32)
    height, width = tones.shape
    label = scene.label
    if label.shape != (height, width):
        label = np.asarray(cv2.resize(label, (width, height), interpolation=cv2.INTER_NEAREST), np.uint8)
    guide = np.log2(np.maximum(tones, 1e-3)).astype(np.float32)
    label = _with_thin_twigs(label, guide)
    sky = np.isin(label, (CLASS_ID["clear_sky"], CLASS_ID["cloud"]))
    cloud_share = float((label == CLASS_ID["cloud"]).mean())
    sky_alpha = soft_mask(sky, guide) if sky.any() and cloud_share > 0.002 else None
    water = label == CLASS_ID["water"]
    boxes, alpha, behind = _things(tones, label, guide)
    return Stage(
        tones=tones,
        horizon=horizon_row(label).row.likely,
        sky_alpha=sky_alpha,
        foliage=_foliage(tones, label, guide),
        water=soft_mask(water, guide, 2) if water.mean() > 0.001 else None,
        water_median_row=float(np.median(np.nonzero(water)[0])) if water.any() else 0.0,
        things=boxes,
        things_alpha=alpha,
        things_behind=behind,
    )


def _with_thin_twigs(label: ByteArray, guide: FloatArray) -> ByteArray:
    """Twigs, leaves and wires at the edge of the sky, too thin for a scene map: given to what they hang on.

    Sky near a tree or building with fine parts a third of a stop off their surroundings is not sky there.
    """
    sky = np.isin(label, (CLASS_ID["clear_sky"], CLASS_ID["cloud"]))
    solid = np.isin(label, [CLASS_ID[n] for n in ("tree", "structure", "ground", "other")])
    if not sky.any() or not solid.any():
        return label
    height = label.shape[0]
    reach = max(2, height // 60)
    kernel = np.ones((2 * reach + 1, 2 * reach + 1), np.uint8)
    near = (cv2.dilate(solid.astype(np.uint8), kernel) > 0) & sky
    # thin and darker or lighter than the sky on both its sides; a cloud is neither thin nor hard
    thin = np.ones((9, 9), np.uint8)
    odd = near & (np.maximum(_hat(guide, cv2.MORPH_BLACKHAT, thin), _hat(guide, cv2.MORPH_TOPHAT, thin)) > 0.33)
    _, nearest = cv2.distanceTransformWithLabels(
        (~solid).astype(np.uint8), cv2.DIST_L2, 3, labelType=cv2.DIST_LABEL_PIXEL
    )
    names = np.zeros(int(nearest.max()) + 1, np.uint8)
    names[nearest[solid]] = label[solid]
    return np.where(odd, names[nearest], label).astype(np.uint8)


def _hat(guide: FloatArray, kind: int, kernel: ByteArray) -> FloatArray:
    return np.asarray(cv2.morphologyEx(guide, kind, kernel), np.float32)


def box_of(mask: NDArray[np.bool_], pad: int) -> tuple[int, int, int, int]:
    """(top, bottom, left, right) of a mask with a margin, inside the picture [px]."""
    rows, columns = np.flatnonzero(mask.any(axis=1)), np.flatnonzero(mask.any(axis=0))
    return (
        max(int(rows[0]) - pad, 0),
        max(int(columns[0]) - pad, 0),
        min(int(rows[-1]) + pad + 1, mask.shape[0]),
        min(int(columns[-1]) + pad + 1, mask.shape[1]),
    )


def _foliage(tones: FloatArray, label: ByteArray, guide: FloatArray) -> Foliage | None:
    tree, grass = label == CLASS_ID["tree"], label == CLASS_ID["grass"]
    plants = tree | grass
    if plants.mean() < 0.001:
        return None
    height, width = label.shape
    top, left, bottom, right = box = box_of(plants, max(8, width // 16))
    cut = (slice(top, bottom), slice(left, right))
    alpha = soft_mask(plants[cut], guide[cut])
    inner = cv2.erode(plants[cut].astype(np.uint8), np.ones((3, 3), np.uint8)).astype(np.float32)
    if inner.sum() < 16:
        inner = plants[cut].astype(np.float32)
    here = continued(tones[cut], inner)
    here = np.where(inner > 0, tones[cut], np.where(plants[cut], 0.5 * (tones[cut] + here), here)).astype(np.float32)
    outside = (cv2.dilate(plants[cut].astype(np.uint8), np.ones((5, 5), np.uint8)) == 0).astype(np.float32)
    behind = continued(tones[cut], outside) if outside.any() else here
    sky = np.isin(label[cut], (CLASS_ID["clear_sky"], CLASS_ID["cloud"])).astype(np.float32)
    sky_behind = continued(sky, outside) if outside.any() else np.zeros_like(sky)
    rng = np.random.default_rng(SEED)
    shape = alpha.shape
    branch = max(8.0, 0.022 * height)
    small = (max(2, shape[0] // FIELD_SHRINK), max(2, shape[1] // FIELD_SHRINK))
    cells = [branch * size for size in (9.0, 6.5, 4.5, 3.2, 2.2, 1.5, 1.0, 0.7)]
    unit = [
        np.stack([share * wandering(rng, small, cell / FIELD_SHRINK) for share in (1.0, 0.4)], axis=-1)
        for cell in cells
    ]
    uneven = np.exp(0.45 * wandering(rng, shape, 1.3 * branch) + 0.25 * wandering(rng, shape, 0.5 * branch))
    tree_gain = _tree_gain(tree)[cut] * uneven
    grass_gain = _grass_gain(label, grass)[cut] * uneven
    for gain, mask in ((tree_gain, tree[cut]), (grass_gain, grass[cut])):
        if mask.any():
            gain /= max(float(np.sqrt((gain[mask] ** 2).mean())), 1e-6)
    soften = (9, 9)
    return Foliage(
        box=box,
        alpha=alpha,
        tones=here,
        behind=behind,
        sky_behind=np.clip(2.0 * sky_behind - 0.5, 0.0, 1.0),
        tree_gain=np.asarray(cv2.blur(tree_gain.astype(np.float32), soften), np.float32),
        grass_gain=np.asarray(cv2.blur(grass_gain.astype(np.float32), soften), np.float32),
        unit=tuple(unit),
        cell_px=tuple(cells),
        shield=_shield(label, plants)[cut],
    )


def _tree_gain(tree: NDArray[np.bool_]) -> FloatArray:
    """Trees swing more towards their tops and edges than at the foot; nearer (taller) trees more than far ones."""
    height, width = tree.shape
    small = (max(1, width // 4), max(1, height // 4))
    mask = cv2.resize(tree.astype(np.uint8), small, interpolation=cv2.INTER_AREA)
    count, parts, stats, _ = cv2.connectedComponentsWithStats(mask, connectivity=8)
    gain = np.zeros(mask.shape, np.float32)
    rows = np.arange(mask.shape[0], dtype=np.float32)[:, None]
    tallest = max((stats[i, cv2.CC_STAT_HEIGHT] for i in range(1, count)), default=1)
    for i in range(1, count):
        top, tall = stats[i, cv2.CC_STAT_TOP], stats[i, cv2.CC_STAT_HEIGHT]
        up = np.clip((top + tall - rows) / max(tall, 1), 0.0, 1.0)
        wooded_slope = tall > 0.45 * small[1] and top + tall > 0.9 * small[1] and stats[i, cv2.CC_STAT_WIDTH] > tall
        if wooded_slope:
            # one tree above the other up a slope: the lower in the picture, the nearer
            place = 0.2 + 1.1 * (1.0 - up) ** 1.2
        else:
            place = np.clip(tall / tallest, 0.25, 1.0) * (0.1 + 1.15 * up**0.9)
        gain = np.where(parts == i, place, gain)
    # beyond the silhouette the gain of the nearest tree goes on, or its moving edge would be cut off
    spread = max(3, small[0] // 24)
    wide = cv2.dilate(gain, np.ones((2 * spread + 1, 2 * spread + 1), np.uint8))
    gain = np.where(mask > 0, gain, wide)
    return np.asarray(cv2.resize(gain.astype(np.float32), (width, height), interpolation=cv2.INTER_LINEAR), np.float32)


def _grass_gain(label: ByteArray, grass: NDArray[np.bool_]) -> FloatArray:
    """Grass near the camera shows its sway larger: in proportion to the rows below the horizon."""
    height, width = grass.shape
    if not grass.any():
        return np.zeros((height, width), np.float32)
    horizon = horizon_row(label).row.likely
    below = np.maximum(np.arange(height, dtype=np.float32) - horizon, 0.02 * height)[:, None]
    near = cv2.dilate(grass.astype(np.uint8), np.ones((2 * (width // 60) + 1,) * 2, np.uint8))
    return np.asarray(near * np.clip(below / float(np.median(below[np.nonzero(grass)[0], 0])), 0.1, 4.0), np.float32)


def _shield(label: ByteArray, plants: NDArray[np.bool_]) -> FloatArray:
    """0 where a building or rock stands before the plants above it (a roof line), else 1. (H, W)."""
    static = np.isin(label, (CLASS_ID["structure"], CLASS_ID["ground"], CLASS_ID["snow"], CLASS_ID["water"]))
    height, width = label.shape
    reach = max(3, width // 80)
    # a static pixel with plants above and none below is a roof or crest before them
    kernel_up = np.zeros((2 * reach + 1, 1), np.uint8)
    kernel_up[:reach] = 1
    p = plants.astype(np.uint8)
    above = cv2.dilate(p, kernel_up) > 0
    below = cv2.dilate(p, kernel_up[::-1].copy()) > 0
    foot = np.where(plants.any(axis=0), height - 1 - np.argmax(plants[::-1], axis=0), -1)
    static_foot = np.where(static.any(axis=0), height - 1 - np.argmax(static[::-1], axis=0), -1)
    column_before = (
        cv2.blur((foot >= static_foot - 0.02 * height).astype(np.float32)[None], (2 * reach + 1, 1))[0] > 0.5
    )
    blocked = static & above & ~below & ~column_before[None]
    return np.where(blocked, 0.0, 1.0).astype(np.float32)


def _things(
    tones: FloatArray, label: ByteArray, guide: FloatArray
) -> tuple[tuple[tuple[int, int, int, int], ...], FloatArray | None, FloatArray | None]:
    """People and boats: blobs of 'other' that are small; wide or large ones (a car, a bench) are taken to stay."""
    mask = label == CLASS_ID["other"]
    if not mask.any():
        return (), None, None
    height, width = mask.shape
    count, parts, stats, _ = cv2.connectedComponentsWithStats(mask.astype(np.uint8), connectivity=8)
    boxes: list[tuple[int, int, int, int]] = []
    keep = np.zeros_like(mask)
    for i in range(1, min(count, 60)):
        left, top, wide, tall, area = (int(v) for v in stats[i])
        if area < 12 or tall > 0.35 * height or wide > 0.35 * width:
            continue
        foot = label[min(top + tall, height - 1), left : left + wide]
        floats = bool((foot == CLASS_ID["water"]).mean() > 0.5)
        if not floats and wide > 1.2 * tall:
            continue
        boxes.append((top, left, top + tall, left + wide))
        keep |= parts == i
    if not boxes:
        return (), None, None
    grown = cv2.dilate(keep.astype(np.uint8), np.ones((5, 5), np.uint8)) > 0
    behind = continued(tones, (~grown).astype(np.float32))
    return tuple(boxes), soft_mask(keep, guide, 2), behind
