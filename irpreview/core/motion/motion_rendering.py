"""The infrared picture as it would look at a shutter time: foliage, clouds, water, people and the tripod's own shake.

A long exposure is the mean of all the positions that a thing took. So foliage is moved, not blurred: its own texture is
laid over itself along sways that differ from branch to branch (dense core, faint halo of gusts), its edge mixing with
what stands behind. Clouds are averaged along the drift of a flat layer, which a plane homography carries exactly.
Buildings, rock and ground stay as sharp as the tripod.
"""

from __future__ import annotations

import math

import cv2
import numpy as np

from irpreview.core.imaging.picture_geometry import ASSUMED_FOCAL_35MM_MM, pixels_per_radian
from irpreview.core.motion.motion_stage import LEVELS, Foliage, Stage, continued, prepare_stage
from irpreview.errors import BadValue
from irpreview.records import FloatArray, Movement, SceneMap

LEAST_PX = 0.2
"""Movement below this does not show. [px]"""
HALO_SHARE = 0.12
"""Share of the time that gusts carry foliage into the halo (assumed)."""
CARRIED_FURTHEST = 1.5
"""Cloud drift beyond this many picture widths is a veil already."""


def picture_in_motion(
    tones: FloatArray,
    scene: SceneMap,
    movement: Movement,
    *,
    stage: Stage | None = None,
    focal_35mm_mm: float = ASSUMED_FOCAL_35MM_MM,
) -> FloatArray:
    """Linear tones (h, w) as the shutter time of `movement` would draw them.

    tones: (h, w) linear, at the snap's size or smaller in the same shape; movement is in shares of the picture's height
    and scaled to it. stage: from `prepare_stage(tones, scene)`, so that a change of wind or shutter is quick.
    """
    if tones.ndim != 2 or min(tones.shape) < 8:
        raise BadValue(f"tones of shape {tones.shape} cannot be set in motion: (height, width) of at least 8 x 8 px")
    if stage is None or stage.tones.shape != tones.shape:
        stage = prepare_stage(tones, scene)
    height = stage.tones.shape[0]
    picture = stage.tones.copy()
    sky = _sky(stage, movement, focal_35mm_mm)
    if sky is not None and stage.sky_alpha is not None:
        picture += stage.sky_alpha * (sky - picture)
    if stage.water is not None and "water" in movement.classes:
        picture = _water(picture, stage, movement)
    picture = _things(picture, stage, movement)
    if stage.foliage is not None:
        picture = _foliage(picture, stage.foliage, sky, movement, height)
    shake = movement.tripod.share_of_height.likely * height
    if shake > 2.0 * LEAST_PX:
        picture = cv2.GaussianBlur(picture, (0, 0), shake / 2.83)
    return np.asarray(picture, np.float32)


def _levels(core_px: float, cycles: float) -> list[float]:
    """Half steps of the successive splittings whose sum spreads like the sway. [px]

    A part of one swing is an even smear (halving steps). Many swings spread like a bell of sigma = core / 2.83
    (steps that shrink slowly, so that neither gaps nor copies show).
    """
    if core_px < LEAST_PX:
        return []
    count = int(np.clip(math.ceil(math.log2(max(core_px, 1.0))) + 2, 2, LEVELS))
    if cycles < 0.8:
        return [core_px * 0.5 ** (i + 2) for i in range(count)]
    ratio = 0.6
    steps = np.array([ratio**i for i in range(count)])
    # steps far below a pixel change nothing that shows
    steps = steps[(steps * core_px / 2.83 * 0.8 > 0.45) | (steps == 1.0)]
    return [float(v) for v in core_px / 2.83 * steps / math.sqrt(float((steps**2).sum()))]


def _foliage(
    picture: FloatArray, foliage: Foliage, sky: FloatArray | None, movement: Movement, height: int
) -> FloatArray:
    core: list[float] = []
    halo: list[float] = []
    cycles: list[float] = []
    for name in ("tree", "grass"):
        move = movement.classes.get(name)
        scale = 0.0 if move is None or move.blur_px.likely <= 0.0 else move.share_of_height.likely / move.blur_px.likely
        core.append(0.0 if move is None else move.core_px * scale * height)
        halo.append(0.0 if move is None else move.halo_px * scale * height)
        flows = move.flows_from_s if move is not None else None
        cycles.append(movement.shutter_s / flows * 2.0 if flows else movement.shutter_s)
    top, left, bottom, right = foliage.box
    greatest = max(core)
    if greatest < LEAST_PX:
        return picture
    whole = max(cycles)
    steps = _levels(greatest, whole)
    reach = cv2.addWeighted(foliage.tree_gain, core[0] / greatest, foliage.grass_gain, core[1] / greatest, 0.0)
    reach = np.minimum(reach, np.float32(2.5))
    reach = cv2.merge([reach, reach])
    layer = cv2.merge([foliage.tones * foliage.alpha, foliage.alpha])
    rows, columns = foliage.alpha.shape
    grid = cv2.merge(np.meshgrid(np.arange(columns, dtype=np.float32), np.arange(rows, dtype=np.float32)))
    line = whole < 0.8
    # great swings carry a whole crown, small ones a twig: a field must not change much within its own step
    fields = [_field_for(foliage, step) for step in steps]
    for i, step in enumerate(steps):
        layer = _split(layer, grid, reach, foliage.unit[fields[0] if line else _unused(fields, i)], step)
    extra = max(halo) - greatest
    if extra > LEAST_PX and whole > 1.0:
        wide = _split(layer, grid, reach, foliage.unit[0], 0.35 * extra)
        layer = (1.0 - HALO_SHARE) * layer + HALO_SHARE * wide
    over, alpha = layer[..., 0], layer[..., 1]
    inside = foliage.alpha > 0.99
    # the sum over all positions keeps the light; what the uneven sways gained or lost is given back
    before, after = float(foliage.tones[inside].mean()), float((over / np.maximum(alpha, 1e-3))[inside].mean())
    over = over * (before / max(after, 1e-6))
    box = (slice(top, bottom), slice(left, right))
    here = picture[box]
    uncovered = foliage.behind
    if sky is not None:
        uncovered = uncovered + foliage.sky_behind * (sky[box] - uncovered)
    back = here + foliage.alpha * (uncovered - here)
    drawn = over + (1.0 - alpha) * back
    # a building that stands before the trees is not crossed
    kept = foliage.shield
    picture[box] = here + kept * (drawn - here)
    return picture


def _field_for(foliage: Foliage, step: float) -> int:
    """The finest direction field that changes over no less than four steps, and over a branch at least."""
    fitting = [i for i, cell in enumerate(foliage.cell_px) if cell >= 4.0 * step]
    return min(max(fitting, default=0), len(foliage.cell_px) - 2)


def _unused(fields: list[int], i: int) -> int:
    """A field not taken by an earlier step, so that steps add as independent movements."""
    taken = set()
    for k in range(i + 1):
        choice = fields[k]
        while choice in taken and choice > 0:
            choice -= 1
        while choice in taken:
            choice += 1
        taken.add(choice)
    return choice


def _split(layer: FloatArray, grid: FloatArray, reach: FloatArray, unit: FloatArray, step: float) -> FloatArray:
    """Mean of the layer moved forth and back by `step` times the local reach along a field. (h, w, 2)."""
    away = cv2.resize(unit, (grid.shape[1], grid.shape[0]), interpolation=cv2.INTER_LINEAR)
    cv2.multiply(away, reach, dst=away, scale=step)
    forth = cv2.remap(layer, cv2.add(grid, away), None, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    back = cv2.remap(layer, cv2.subtract(grid, away), None, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    return np.asarray(cv2.addWeighted(forth, 0.5, back, 0.5, 0.0), np.float32)


def _sky(stage: Stage, movement: Movement, focal_35mm_mm: float) -> FloatArray | None:
    """The sky averaged along the drift, continued behind what stands before it; None where nothing drifts. (H, W)."""
    move = movement.classes.get("cloud")
    if stage.sky_alpha is None or move is None or movement.clouds is None:
        return None
    height, width = stage.tones.shape
    length = move.share_of_height.likely * height
    if length < 2.0 * LEAST_PX:
        return None
    length = min(length, CARRIED_FURTHEST * width)
    sky_rows = np.flatnonzero(stage.sky_alpha.max(axis=1) > 0.5)
    if len(sky_rows) == 0:
        return None
    bottom = int(min(sky_rows[-1] + 2, height))
    half = length > 10.0
    scale = 0.5 if half else 1.0
    size = (max(8, round(width * scale)), max(8, round(bottom * scale)))
    mask = cv2.resize(stage.sky_alpha[:bottom], size, interpolation=cv2.INTER_AREA)
    mask = np.where(mask > 0.95, mask, 0.0).astype(np.float32)
    tones = cv2.resize(stage.tones[:bottom], size, interpolation=cv2.INTER_AREA)
    ground = _sky_ground(tones, mask)
    # behind what stands before it the sky goes on as its nearest parts suggest, at a weight that yields to real sky
    weight = np.maximum(mask, 1e-3)
    layer = cv2.merge([continued(tones - ground, mask) * weight, weight])
    focal = pixels_per_radian(width, height, focal_35mm_mm) * scale
    horizon = max(stage.horizon, bottom + 0.04 * height) * scale
    away, right = _drift_on_ground(move.direction_deg, size, horizon, focal, mask)
    centre = float((mask.sum(axis=1) * np.arange(size[1])).sum() / max(float(mask.sum()), 1.0))
    travel = length * scale / _px_per_unit(away, right, horizon - centre, focal)
    travel = min(travel, 1.2 * focal / max(abs(away) * horizon, 1e-3))
    count = int(np.clip(math.ceil(math.log2(max(length * scale / 1.2, 2.0))), 1, 10))
    for i in range(count):
        step = travel * 0.5 ** (i + 2)
        forth, back = (_carried(layer, s * step * away, s * step * right, horizon, focal) for s in (1.0, -1.0))
        layer = cv2.addWeighted(forth, 0.5, back, 0.5, 0.0)
    streaked = ground + layer[..., 0] / np.maximum(layer[..., 1], 1e-4)
    inside = mask > 0.5
    np.clip(streaked, float(tones[inside].min()), float(tones[inside].max()), out=streaked)
    streaked *= float(tones[inside].mean()) / max(float(streaked[inside].mean()), 1e-6)
    whole = stage.tones.copy()
    whole[:bottom] = cv2.resize(streaked.astype(np.float32), (width, bottom), interpolation=cv2.INTER_CUBIC)
    return whole


def _sky_ground(tones: FloatArray, mask: FloatArray) -> FloatArray:
    """The sky's own even gradient, which does not drift with the clouds: a plane within the tones there are. (h, w)."""
    height, width = tones.shape
    y, x = np.mgrid[-1.0 : 1.0 : height * 1j, -1.0 : 1.0 : width * 1j]
    base = np.stack([np.ones_like(x), x, y], axis=-1).astype(np.float32)
    step = max(1, int(math.sqrt(mask.size / 4000)))
    picked = mask[::step, ::step] > 0.5
    known = tones[::step, ::step][picked]
    if len(known) < 30:
        return np.zeros_like(tones)
    answer = np.linalg.lstsq(base[::step, ::step][picked], known, rcond=None)[0]
    low, high = np.percentile(known, (5, 95))
    return np.clip(base @ answer.astype(np.float32), low, high).astype(np.float32)


def _drift_on_ground(
    image_deg: float | None, size: tuple[int, int], horizon: float, focal: float, mask: FloatArray
) -> tuple[float, float]:
    """Unit drift of the layer (away, right). Unknown direction: mostly across, a little towards the camera."""
    if image_deg is None:
        away, right = -0.45, 0.89
    else:
        rows = float((mask.sum(axis=1) * np.arange(size[1])).sum() / max(float(mask.sum()), 1.0))
        up = max(horizon - rows, 1.0)
        a = math.radians(image_deg)
        away, right = -math.sin(a) * focal / up, math.cos(a)
    norm = math.hypot(away, right)
    return away / norm, right / norm


def _px_per_unit(away: float, right: float, up: float, focal: float) -> float:
    """Picture speed at `up` rows above the horizon, below the middle column, of a unit drift at unit height. [px]"""
    return max(up * math.hypot(right, away * up / focal), 1e-3)


def _carried(layer: FloatArray, away: float, right: float, horizon: float, focal: float) -> FloatArray:
    """The cloud layer after a drift, exactly: a plane moved along itself is a homography of its picture."""
    height, width = layer.shape[:2]
    # (x right, u up of the middle of the horizon): x' = (x + right u) / (1 + away u / f), u' = u / (1 + away u / f)
    to_centre = np.array([[1.0, 0.0, -width / 2.0], [0.0, -1.0, horizon], [0.0, 0.0, 1.0]])
    move = np.array([[1.0, right, 0.0], [0.0, 1.0, 0.0], [0.0, away / focal, 1.0]])
    matrix = np.linalg.inv(to_centre) @ move @ to_centre
    return np.asarray(
        cv2.warpPerspective(layer, matrix, (width, height), flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_REFLECT),
        np.float32,
    )


def _water(picture: FloatArray, stage: Stage, movement: Movement) -> FloatArray:
    """Water averaged over the waves that pass: streaks along them, then a smooth or misty surface; mean kept."""
    move = movement.classes["water"]
    assert stage.water is not None
    height = picture.shape[0]
    periods = movement.water.periods.likely if movement.water is not None else 0.0
    extent = move.share_of_height.likely * height
    if extent < LEAST_PX:
        return picture
    rows = np.flatnonzero(stage.water.max(axis=1) > 0.5)
    if len(rows) == 0:
        return picture
    top, bottom = max(int(rows[0]) - 2, 0), min(int(rows[-1]) + 3, height)
    mask = np.where(stage.water[top:bottom] > 0.9, 1.0, 0.0).astype(np.float32)
    here = picture[top:bottom]
    falls = move.direction_deg == 270.0
    median = max(stage.water_median_row - stage.horizon, 0.02 * height)
    below = np.maximum(np.arange(top, bottom, dtype=np.float32) - stage.horizon, 0.02 * height)
    near = np.ones_like(below) if falls else np.clip(below / median, 0.2, 4.0)
    along = min(extent, 0.12 * height)
    # crests run by; the heap of their mirror images is drawn out upright, as reflections are
    across = along * (0.16 if not falls else 0.0) + 0.35 * min(periods, 12.0) * height / 1000.0
    wide, tall = (along, across) if not falls else (0.1 * along, along)
    levels = [0.25, 0.7, 2.0, 4.0]
    # far off a few pixels hold many waves, and those average out as well
    least = 0.015 * height * min(1.0, periods / 4.0)
    smooth = [_masked_blur(here, mask, max(f * wide / 3.0, least), max(f * tall / 3.0, 0.7 * least)) for f in levels]
    place = np.interp(np.log(near), np.log(levels), np.arange(len(levels))).astype(np.float32)
    melted = np.zeros_like(here)
    for i, plane in enumerate(smooth):
        melted += np.maximum(0.0, 1.0 - np.abs(place - i))[:, None] * plane
    # as many independent waves as periods went by: their texture fades with the root of their number
    left = 1.0 if extent < 1.0 else 1.0 / math.sqrt(1.0 + 3.0 * max(periods, 0.0))
    left = 0.0 if periods > 30.0 else max(0.0, left - 0.15) / 0.85
    drawn = melted + left * 0.35 * (here - melted)
    inside = mask > 0.5
    if inside.any():
        drawn *= float(here[inside].mean()) / max(float(drawn[inside].mean()), 1e-6)
    result = picture.copy()
    result[top:bottom] = here + stage.water[top:bottom] * (drawn - here)
    return result


def _masked_blur(tones: FloatArray, mask: FloatArray, sigma_x: float, sigma_y: float) -> FloatArray:
    """Blur from masked pixels alone, so that nothing leaks across a shore. (h, w)."""
    if max(sigma_x, sigma_y) < 0.3:
        return tones
    shrink_x, shrink_y = (int(np.clip(s / 3.0, 1, 8)) for s in (sigma_x, sigma_y))
    height, width = tones.shape
    small = (max(4, width // shrink_x), max(4, height // shrink_y))
    layer = cv2.merge([tones * mask, mask])
    if small != (width, height):
        layer = cv2.resize(layer, small, interpolation=cv2.INTER_AREA)
    layer = cv2.GaussianBlur(
        layer,
        (0, 0),
        max(sigma_x / shrink_x, 0.1),
        sigmaY=max(sigma_y / shrink_y, 0.1),
        borderType=cv2.BORDER_REFLECT,
    )
    if small != (width, height):
        layer = cv2.resize(layer, (width, height), interpolation=cv2.INTER_LINEAR)
    return np.asarray(
        np.where(layer[..., 1] > 1e-3, layer[..., 0] / np.maximum(layer[..., 1], 1e-3), tones), np.float32
    )


def _things(picture: FloatArray, stage: Stage, movement: Movement) -> FloatArray:
    """People walk out of the picture, boats rock: each smeared over its path and thinned, the rest shows through."""
    move = movement.classes.get("other")
    if move is None or stage.things_alpha is None or stage.things_behind is None:
        return picture
    height, width = picture.shape
    extent = move.share_of_height.likely * height
    if extent < LEAST_PX:
        return picture
    for top, left, bottom, right in stage.things:
        wide = right - left
        reach = int(min(extent, 8.0 * wide, width)) + 4
        cut = (slice(max(top - 6, 0), min(bottom + 6, height)), slice(max(left - reach, 0), min(right + reach, width)))
        alpha = stage.things_alpha[cut].copy()
        own = max(left - 4 - cut[1].start, 0)
        alpha[:, :own] = 0.0
        alpha[:, right + 4 - cut[1].start :] = 0.0
        behind, here = stage.things_behind[cut], picture[cut]
        clean = here + alpha * (behind - here)
        size = max(1, round(extent)) | 1
        layer = cv2.merge([here * alpha, alpha])
        if size <= alpha.shape[1]:
            layer = cv2.blur(layer, (size, 1), borderType=cv2.BORDER_CONSTANT)
        else:
            # longer than the drawn path: each place is covered for the share of time that the path passes it
            layer = cv2.blur(layer, (alpha.shape[1] | 1, 1), borderType=cv2.BORDER_CONSTANT) * (alpha.shape[1] / size)
        picture[cut] = clean * (1.0 - layer[..., 1]) + layer[..., 0]
    return picture
