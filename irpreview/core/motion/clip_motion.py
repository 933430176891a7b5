"""Movement measured from a few seconds of film, or a burst of stills, of the scene itself.

Pure: grey frames, their rate and a class map go in. The camera's own shake is taken out by what stands still (corners
tracked on buildings and ground, robust similarity); foliage is followed by dense optical flow from the first frame and
frame to frame; clouds by normalised correlation of templates a second or more apart, because flow is pulled to zero on
soft cloud. The few things a short clip cannot tell are said in `doubts`.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from types import MappingProxyType

import cv2
import numpy as np
from numpy.typing import NDArray

from irpreview.core.motion.clip_sky import cloud_row, drift_of_sky
from irpreview.core.motion.clip_spectra import peak_frequency, upper_share
from irpreview.errors import BadClip
from irpreview.records import CLASS_ID, ByteArray, ClipDoubt, ClipDoubtKind, Doubt, FloatArray, Range

STATIC_CLASSES = ("structure", "ground", "snow")
LEAST_STATIC_SHARE = 0.05
RESIDUAL_LIMIT_PX = 0.3
FLOOR_PX = 0.1
"""Sway below this cannot be told from compression noise (assumed)."""
DISAGREE = 0.1
FASTEST_HZ = 6.0
"""Leaf flutter, the fastest that foliage does (aspen 3-5, from memory). [Hz]"""
GRID_PX = 4


@dataclass(frozen=True, slots=True)
class ClassClip:
    """One class's sway in pixels of the clip."""

    amplitude_px: Range
    """Half the peak-to-peak of the main axis, as a sine of the measured rms."""
    sigma_px: float
    extent_90_px: float
    """Width that holds nine tenths of all positions."""
    frequency_hz: Range
    direction_deg: float
    """Main axis in the picture, 0 = right, 90 = up."""
    method: str
    aliased: bool
    """True: faster than these frames can follow; the amplitude stands, the frequency does not."""


@dataclass(frozen=True, slots=True)
class ClipMotion:
    """What a clip told, in its own pixels."""

    classes: Mapping[str, ClassClip]
    size: tuple[int, int]
    fps: float
    length_s: float
    px_per_rad: float
    shake_px: float
    """Rms of the camera's own movement, taken out."""
    residual_px: float
    cloud_px_per_s: tuple[float, float] | None = None
    """Right and down."""
    cloud_deg_per_s: Range | None = None
    cloud_image_deg: float | None = None
    water_period_s: float | None = None
    doubts: tuple[Doubt, ...] = ()
    facts: Mapping[str, float] = field(default_factory=lambda: MappingProxyType({}))


def measure_motion(
    frames: Sequence[ByteArray],
    fps: float,
    label: ByteArray,
    *,
    px_per_rad: float,
    timed: bool = True,
) -> ClipMotion:
    """Sway of foliage, drift of clouds and period of waves in a clip.

    frames: grey (h, w) uint8, two or more of one size. fps: frames per second [Hz]. label: class ids (h', w') of the
    first frame, any size of the same shape. px_per_rad: of these frames. timed=False: the rate is a guess (a burst
    without times); amplitudes hold, frequencies and speeds are left out. Raises BadClip for frames that show nothing.
    """
    _check(frames, fps)
    height, width = frames[0].shape
    label = _fit(label, width, height)
    length = (len(frames) - 1) / fps
    doubts = _length_doubts(length, fps, timed)
    static = _inner(np.isin(label, [CLASS_ID[n] for n in STATIC_CLASSES]), 5)
    steady, shake, residual, shake_doubts = _stabilise(frames, static)
    doubts += shake_doubts
    valid = _common_area(shake, height, width)
    classes: dict[str, ClassClip] = {}
    for name, measured, more in _foliage(steady, label, valid, fps, residual):
        classes[name] = measured
        doubts += more
    facts: dict[str, float] = {"static_share": float(static.mean())}
    cloud = deg = image = None
    sky = np.isin(label, (CLASS_ID["clear_sky"], CLASS_ID["cloud"]))
    if sky.mean() > 0.02:
        cloud, spread_px, quality, sky_doubts = drift_of_sky(steady, _inner(sky, 4) & valid, fps, cloud_row(label))
        doubts += sky_doubts
        if cloud is not None and timed:
            speed = math.hypot(*cloud)
            error = math.hypot(0.1 * speed, spread_px)
            deg = Range(*(math.degrees(max(0.0, v) / px_per_rad) for v in (speed - error, speed, speed + error)))
            image = math.degrees(math.atan2(-cloud[1], cloud[0])) % 360.0
            facts["cloud_match"] = quality
    water = None
    mask = label == CLASS_ID["water"]
    if timed and mask.mean() > 0.02:
        water, water_doubts = _water_period(steady, mask & valid, fps, length)
        doubts += water_doubts
    if not timed:
        doubts.append(ClipDoubt(ClipDoubtKind.NOT_TIMED))
    return ClipMotion(
        classes=MappingProxyType(classes),
        size=(height, width),
        fps=fps,
        length_s=length,
        px_per_rad=px_per_rad,
        shake_px=float(np.sqrt((shake[:, :2, 2] ** 2).sum(axis=1).mean())),
        residual_px=residual,
        cloud_px_per_s=cloud if timed else None,
        cloud_deg_per_s=deg,
        cloud_image_deg=image,
        water_period_s=water,
        doubts=tuple(dict.fromkeys(doubts)),
        facts=MappingProxyType(facts),
    )


def _check(frames: Sequence[ByteArray], fps: float) -> None:
    if len(frames) < 2:
        raise BadClip(f"{len(frames)} frame shows no movement: at least 2 are needed, 3 to 10 s are best; film again")
    if not (math.isfinite(fps) and 0.05 <= fps <= 1000.0):
        raise BadClip(f"{fps:g} frames per second cannot be used: 0.05 to 1000; give the rate with --clip-fps")
    first = frames[0]
    if any(f.shape != first.shape or f.ndim != 2 for f in frames):
        raise BadClip("the frames differ in size: all must be alike; use stills from one burst, none of them turned")
    if first.shape[0] < 32 or first.shape[1] < 32:
        raise BadClip(f"frames of {first.shape[1]} x {first.shape[0]} px are too small: at least 32 x 32 px")
    deviations = [float(f[::4, ::4].std()) for f in (first, frames[len(frames) // 2], frames[-1])]
    brightest = max(int(f[::4, ::4].max()) for f in (first, frames[len(frames) // 2], frames[-1]))
    if brightest < 8:
        raise BadClip(f"the clip is black (brightest pixel {brightest} of 255): uncover the lens and film again")
    if max(deviations) < 1.0:
        raise BadClip(
            f"the clip is flat (contrast {max(deviations):.1f} of 255): nothing in it can be followed; film the scene"
        )


def _length_doubts(length: float, fps: float, timed: bool) -> list[Doubt]:
    doubts: list[Doubt] = []
    if timed and length < 3.0:
        doubts.append(ClipDoubt(ClipDoubtKind.SHORT, length))
    if timed and fps < 15.0:
        doubts.append(ClipDoubt(ClipDoubtKind.SLOW, fps))
    return doubts


def _fit(label: ByteArray, width: int, height: int) -> ByteArray:
    if label.shape == (height, width):
        return label
    return np.asarray(cv2.resize(label, (width, height), interpolation=cv2.INTER_NEAREST), np.uint8)


def _inner(mask: NDArray[np.bool_], px: int) -> NDArray[np.bool_]:
    """The mask without a border, so that edges of moving things do not count."""
    kernel = np.ones((2 * px + 1, 2 * px + 1), np.uint8)
    return np.asarray(cv2.erode(mask.astype(np.uint8), kernel, borderType=cv2.BORDER_REPLICATE) > 0)


def _stabilise(
    frames: Sequence[ByteArray], static: NDArray[np.bool_]
) -> tuple[list[ByteArray], FloatArray, float, list[Doubt]]:
    """Frames moved back onto the first; the movement taken out (n, 2, 3); residual [px]; doubts."""
    still = np.tile(np.eye(2, 3, dtype=np.float32), (len(frames), 1, 1))
    doubts: list[Doubt] = []
    if static.mean() < LEAST_STATIC_SHARE:
        return (
            list(frames),
            still,
            float("nan"),
            [ClipDoubt(ClipDoubtKind.LITTLE_STANDS, float(static.mean()))],
        )
    corners = cv2.goodFeaturesToTrack(frames[0], 250, 0.005, 8, mask=static.astype(np.uint8) * 255, blockSize=5)
    if corners is None or len(corners) < 12:
        found = 0 if corners is None else len(corners)
        return (
            list(frames),
            still,
            float("nan"),
            [ClipDoubt(ClipDoubtKind.SMOOTH_STANDS, found)],
        )
    height, width = frames[0].shape
    steady = [frames[0]]
    residuals = []
    guess = corners.copy()
    lost = 0
    for k in range(1, len(frames)):
        points, status, _ = cv2.calcOpticalFlowPyrLK(
            frames[0],
            frames[k],
            corners,
            guess.copy(),
            winSize=(17, 17),
            maxLevel=3,
            criteria=(3, 20, 0.01),
            flags=cv2.OPTFLOW_USE_INITIAL_FLOW,
        )
        good = status.ravel() == 1
        matrix = None
        if good.sum() >= 8:
            cv2.setRNGSeed(7)
            matrix, inlier = cv2.estimateAffinePartial2D(
                corners[good], points[good], method=cv2.RANSAC, ransacReprojThreshold=1.0
            )
        if matrix is None or inlier.sum() < 8:
            lost += 1
            matrix = still[k - 1].astype(np.float64)
        else:
            keep = inlier.ravel() > 0
            back = corners[good][keep][:, 0] @ matrix[:, :2].T + matrix[:, 2]
            residuals.append(float(np.sqrt(((points[good][keep][:, 0] - back) ** 2).sum(axis=1).mean())))
        still[k] = matrix.astype(np.float32)
        guess = (corners[:, 0] @ matrix[:, :2].T + matrix[:, 2]).astype(np.float32)[:, None]
        steady.append(
            np.asarray(
                cv2.warpAffine(
                    frames[k],
                    matrix,
                    (width, height),
                    flags=cv2.INTER_CUBIC | cv2.WARP_INVERSE_MAP,
                    borderMode=cv2.BORDER_REPLICATE,
                ),
                np.uint8,
            )
        )
    # the fit averages over many corners, so the similarity itself is surer than one corner by their number's root
    residual = float(np.median(residuals)) if residuals else float("nan")
    if lost > 0.2 * len(frames) or not residuals:
        doubts.append(ClipDoubt(ClipDoubtKind.CAMERA_LOST, lost, len(frames)))
    elif residual > RESIDUAL_LIMIT_PX:
        doubts.append(ClipDoubt(ClipDoubtKind.STILL_MOVES, residual))
    return steady, still, residual, doubts


def _common_area(shake: FloatArray, height: int, width: int) -> NDArray[np.bool_]:
    """Pixels that every steadied frame shows. (h, w)."""
    corners = np.array([[0, 0], [width, 0], [0, height], [width, height]], np.float32)
    moved = corners @ shake[:, :, :2].transpose(0, 2, 1) + shake[:, None, :, 2] - corners
    far = int(min(math.ceil(float(np.abs(moved).max())) + 1, min(height, width) // 4))
    valid = np.zeros((height, width), bool)
    valid[far : height - far, far : width - far] = True
    return valid


def _foliage(
    steady: list[ByteArray], label: ByteArray, valid: NDArray[np.bool_], fps: float, residual: float
) -> list[tuple[str, ClassClip, list[Doubt]]]:
    # flow near an edge is dragged by what lies beyond: keep well inside where there is room
    masks = {}
    for name in ("tree", "grass"):
        for border in (10, 4):
            mask = _inner(label == CLASS_ID[name], border) & valid
            if mask.mean() > 0.005:
                masks[name] = mask
                break
    if not masks:
        return []
    wanted = np.zeros_like(valid)
    for mask in masks.values():
        wanted |= mask
    rows, columns = np.flatnonzero(wanted.any(axis=1)), np.flatnonzero(wanted.any(axis=0))
    pad = 24
    top, bottom = max(rows[0] - pad, 0), min(rows[-1] + pad + 1, label.shape[0])
    left, right = max(columns[0] - pad, 0), min(columns[-1] + pad + 1, label.shape[1])
    crops = [np.ascontiguousarray(f[top:bottom, left:right]) for f in steady]
    picked = {name: mask[top:bottom, left:right][::GRID_PX, ::GRID_PX] for name, mask in masks.items()}
    direct = _flow_from_first(crops)
    summed = _flow_summed(crops) if _lost(crops, direct, wanted[top:bottom, left:right]) else None
    textured = _texture(crops[0])[::GRID_PX, ::GRID_PX]
    found = []
    for name, mask in picked.items():
        use = mask & (textured > 2.0)
        if use.sum() < 30:
            use = mask
        along = None if summed is None else summed[:, use]
        measured, doubts = _sway_of(name, direct[:, use], along, fps, residual)
        found.append((name, measured, doubts))
    return found


def _flow_from_first(crops: list[ByteArray]) -> FloatArray:
    """Displacement of every frame from the first, on a grid. (n, h/4, w/4, 2) [px]"""
    flow = cv2.DISOpticalFlow.create(cv2.DISOPTICAL_FLOW_PRESET_MEDIUM)
    paths = [flow.calc(crops[0], crop, None)[::GRID_PX, ::GRID_PX] for crop in crops[1:]]
    return np.stack([np.zeros_like(paths[0]), *paths])


def _flow_summed(crops: list[ByteArray]) -> FloatArray:
    """The same by adding frame to frame: follows great sways, wanders slowly. (n, h/4, w/4, 2) [px]"""
    flow = cv2.DISOpticalFlow.create(cv2.DISOPTICAL_FLOW_PRESET_MEDIUM)
    paths = [flow.calc(a, b, None)[::GRID_PX, ::GRID_PX] for a, b in itertools.pairwise(crops)]
    return np.cumsum(np.stack([np.zeros_like(paths[0]), *paths]), axis=0, dtype=np.float32)


def _lost(crops: list[ByteArray], direct: FloatArray, mask: NDArray[np.bool_]) -> bool:
    """Whether flow from the first frame fails where things are furthest from rest: the pictures do not match."""
    picked = mask[::GRID_PX, ::GRID_PX]
    away = np.sqrt((direct[:, picked] ** 2).sum(axis=2)).mean(axis=1)
    if float(np.percentile(away, 90)) > 4.0:
        return True
    k = int(np.argmax(away))
    if away[k] < 0.5:
        return False
    height, width = mask.shape
    flow = cv2.resize(direct[k], (width, height), interpolation=cv2.INTER_LINEAR)
    x, y = np.meshgrid(np.arange(width, dtype=np.float32), np.arange(height, dtype=np.float32))
    back = cv2.remap(crops[k], x + flow[..., 0], y + flow[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    first = crops[0].astype(np.float32)
    after = float(np.abs(back.astype(np.float32) - first)[mask].mean())
    before = float(np.abs(crops[k].astype(np.float32) - first)[mask].mean())
    return after > 0.6 * before and after > 4.0


def _texture(frame: ByteArray) -> FloatArray:
    f = frame.astype(np.float32)
    mean = cv2.blur(f, (9, 9))
    return np.asarray(np.sqrt(np.maximum(cv2.blur(f * f, (9, 9)) - mean * mean, 0.0)), np.float32)


def _about_rest(path: FloatArray, summed: bool) -> FloatArray:
    """Positions about their mean; summed flow also loses its slow wandering. (n, points, 2)."""
    if summed and len(path) > 4:
        t = np.linspace(-1.0, 1.0, len(path), dtype=np.float32)
        base = np.stack([np.ones_like(t), t], axis=1)
        flat = path.reshape(len(path), -1)
        path = (flat - base @ np.linalg.lstsq(base, flat, rcond=None)[0]).reshape(path.shape)
    return np.asarray(path - path.mean(axis=0, keepdims=True), np.float32)


def _sway_of(
    name: str, direct: FloatArray, summed: FloatArray | None, fps: float, residual: float
) -> tuple[ClassClip, list[Doubt]]:
    path, method = _about_rest(direct, False), "from the first frame"
    sigma_d = sigma_s = float(np.sqrt((path**2).sum(axis=2).mean()))
    use_summed = False
    if summed is not None:
        other = _about_rest(summed, True)
        sigma_s = float(np.sqrt((other**2).sum(axis=2).mean()))
        use_summed = sigma_s > sigma_d and sigma_s - sigma_d > DISAGREE * sigma_s
        if use_summed:
            path, method = other, "frame to frame, summed"
    flat = path.reshape(-1, 2).astype(np.float64)
    covariance = flat.T @ flat / len(flat)
    values, vectors = np.linalg.eigh(covariance)
    axis = vectors[:, 1]
    sigma = math.sqrt(max(values[1], 0.0))
    along = path @ axis.astype(np.float32)
    extent = float(np.median(np.percentile(along, 95, axis=0) - np.percentile(along, 5, axis=0)))
    amplitude = math.sqrt(2.0) * sigma
    frequency = peak_frequency(along, fps)
    length = (len(path) - 1) / fps
    doubts: list[Doubt] = []
    # leaves flutter up to 6 Hz: where that would fold back onto what is read, the reading may be false
    aliased = frequency > min(0.3 * fps, max(fps - FASTEST_HZ, 0.0)) or upper_share(along, fps) > 0.5
    if amplitude < 2.0 * FLOOR_PX:
        aliased = False
        doubts.append(ClipDoubt(ClipDoubtKind.AT_THE_FLOOR, amplitude, class_name=name))
    elif aliased:
        doubts.append(ClipDoubt(ClipDoubtKind.TOO_FAST, frequency, fps, name))
    if use_summed and sigma_s > 1.5 * sigma_d:
        doubts.append(ClipDoubt(ClipDoubtKind.SUMMED, class_name=name))
    # seconds of a random sway: 0.59 to 1.36 of the truth at 5 s and 0.6 Hz, and leaves are read 10 to 50 % low
    cycles = max(frequency * length, 0.5)
    factor = 1.0 + 0.4 * min(1.5, math.sqrt(6.0 / (cycles + 3.0)))
    low = max(0.0, amplitude - FLOOR_PX) / factor
    high = (amplitude + (FLOOR_PX if math.isnan(residual) else 0.0) + FLOOR_PX / 2.0) * factor
    resolution = 0.5 / max(length, 0.1)
    f_range = Range(max(frequency - resolution, 0.02), max(frequency, 0.02), max(frequency, 0.02) + resolution)
    direction = math.degrees(math.atan2(-axis[1], axis[0])) % 180.0
    clip = ClassClip(Range(low, amplitude, high), sigma, extent, f_range, direction, method, aliased)
    return clip, doubts


def _water_period(
    steady: list[ByteArray], mask: NDArray[np.bool_], fps: float, length: float
) -> tuple[float | None, list[Doubt]]:
    """Period of the waves from the flicker of the water [s], if the clip is long enough to hold two of them."""
    mask = _inner(mask, 3)
    if mask.sum() < 400:
        return None, []
    rows, columns = np.nonzero(mask)
    step = max(1, len(rows) // 1500)
    series = np.stack([cv2.blur(f, (5, 5))[rows[::step], columns[::step]] for f in steady]).astype(np.float32)
    series -= series.mean(axis=0)
    if float(series.std()) < 1.0:
        return None, [ClipDoubt(ClipDoubtKind.WATER_STILL)]
    frequency = peak_frequency(series, fps)
    if frequency * length < 2.0:
        return None, [ClipDoubt(ClipDoubtKind.WATER_SLOW, length)]
    if frequency > 0.4 * fps:
        return None, [ClipDoubt(ClipDoubtKind.WATER_FAST, fps)]
    return 1.0 / frequency, []
