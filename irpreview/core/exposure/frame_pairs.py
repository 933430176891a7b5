"""Two frames of one scene made comparable: linear, checked, at one size, cut into small patches that can be trusted."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from types import MappingProxyType

import cv2
import numpy as np
from numpy.typing import NDArray

from irpreview.core.imaging.srgb import to_linear
from irpreview.errors import BadPair
from irpreview.records import CLASS_ID, FloatArray, Photo, Shot

CAMERA_CURVES: Mapping[str, float] = MappingProxyType({"plain": 0.0, "soft": 2.5, "usual": 4.0, "hard": 5.5})
"""Steepness of an S-curve in coded values on top of sRGB; 0 = sRGB alone. A camera's own picture styles lie between
(assumed). Each is tried; where they disagree the answer is wider."""
CURVE_MIDDLE = 0.46
"""Coded value that the S-curve turns about: sRGB of middle grey."""
WORKING_SIDE_PX = 640
PATCH_PX = 8
LEAST_PATCHES = 24
CLIPPED_CODE = 0.975
DARK_LINEAR = {True: 0.0008, False: 0.004}
"""Least usable linear level, by raw or not."""
JPEG_GAINS = (2.0, 1.0, 1.5)
"""White-balance gains of red, green, blue in daylight; undone so that channels mean what the sensor saw (assumed)."""
USABLE_CLASSES = ("tree", "grass", "structure", "ground", "snow", "cloud")
_GREY_CHROMA = 0.12
"""Span of the channels over the greatest; leaves, green or dry, have 0.3 and more (from memory)."""


@dataclass(frozen=True, slots=True)
class Frame:
    """One exposure, linear, full scale = 1, channels at neutral balance."""

    linear: FloatArray
    """(H, W, 3)"""
    shot: Shot
    name: str = "frame"
    taken_at: datetime | None = None
    raw: bool = False
    gains: tuple[float, float, float] = JPEG_GAINS
    """White-balance gains already applied to red, green, blue."""
    clipped: NDArray[np.bool_] | None = None
    """(H, W, 3) where the file is at its ceiling."""


# --- camera curves --------------------------------------------------------------------------------------------------


def curve_linear(code: NDArray[np.float32], steepness: float) -> NDArray[np.float32]:
    """Linear value 0..1 of a coded one: sRGB under an S-curve of this steepness."""
    y = np.clip(code, 0.0, 1.0)
    if steepness > 0:
        low, high = _sigmoid_ends(steepness)
        share = np.clip(low + y * (high - low), 1e-6, 1 - 1e-6)
        y = np.clip(CURVE_MIDDLE + np.log(share / (1.0 - share)) / steepness, 0.0, 1.0)
    return np.asarray(to_linear(y), np.float32)


def _sigmoid_ends(steepness: float) -> tuple[float, float]:
    return (
        1.0 / (1.0 + math.exp(steepness * CURVE_MIDDLE)),
        1.0 / (1.0 + math.exp(-steepness * (1.0 - CURVE_MIDDLE))),
    )


def frame_from_photo(photo: Photo, steepness: float = 0.0) -> Frame:
    """A finished picture, linearised by one curve of the family."""
    code = photo.pixels.astype(np.float32) / 255.0
    return Frame(
        linear=curve_linear(code, steepness),
        shot=photo.shot,
        name=photo.name,
        taken_at=photo.taken_at or photo.taken_at_naive,
        clipped=code >= CLIPPED_CODE,
    )


# --- one pair --------------------------------------------------------------------------------------------------------


def exposure_of(frame: Frame) -> float:
    """T ISO / (100 N^2) of a frame. Raises BadPair when its file does not say."""
    shot = frame.shot
    missing = [
        word
        for word, value in (("time", shot.shutter_s), ("aperture", shot.f_number), ("ISO", shot.iso))
        if value is None or not value > 0
    ]
    if missing:
        raise BadPair(
            f"{frame.name} does not say its {' and '.join(missing)}; use the file as the camera wrote it, or type both "
            'exposures (--meter "1/125 f/10 ISO 64" --filtered "5 min f/10 ISO 64")'
        )
    assert shot.shutter_s is not None
    assert shot.f_number is not None
    assert shot.iso is not None
    return shot.shutter_s * shot.iso / (100.0 * shot.f_number**2)


def brightness(linear: FloatArray) -> FloatArray:
    """Mean of the channels, (h, w, 3) to (h, w), linear."""
    return np.asarray(linear.mean(axis=2), np.float32)


def check_levels(plain: Frame, filtered: Frame) -> None:
    """Both frames carry enough unclipped tone to be compared. Raises BadPhoto."""
    names = ("red", "green", "blue")
    for frame, need in ((plain, "plain"), (filtered, "filtered")):
        clipped = frame.clipped if frame.clipped is not None else frame.linear >= CLIPPED_CODE
        share = clipped.reshape(-1, 3).mean(axis=0)
        worst = int(share.argmax())
        if share[worst] > 0.6:
            raise BadPair(
                f"{frame.name} (the {need} frame) is blown out: {share[worst]:.0%} of its {names[worst]} channel is at "
                "the ceiling, at most 60 % can be used; take it again with less exposure"
            )
        top = float(np.quantile(frame.linear.max(axis=2)[::4, ::4], 0.95))
        if top < 3.0 * DARK_LINEAR[frame.raw]:
            raise BadPair(
                f"{frame.name} (the {need} frame) is too dark: its brightest parts reach {top:.2%} of full scale, at "
                f"least {3.0 * DARK_LINEAR[frame.raw]:.1%} is needed; take it again with more exposure"
            )


def same_size(
    plain: Frame, filtered: Frame, label: NDArray[np.uint8] | None
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray, NDArray[np.uint8] | None]:
    """Both frames and their clip masks at the working size of the plain one."""
    tall, wide = plain.linear.shape[:2]
    other_tall, other_wide = filtered.linear.shape[:2]
    if abs(math.log((wide / tall) / (other_wide / other_tall))) > 0.06:
        raise BadPair(
            f"{plain.name} is {wide} x {tall} and {filtered.name} {other_wide} x {other_tall} pixels: their shapes "
            "differ; use two frames of one camera, not turned and not cropped"
        )
    scale = min(1.0, WORKING_SIDE_PX / max(tall, wide))
    size = (max(PATCH_PX, round(wide * scale)), max(PATCH_PX, round(tall * scale)))

    def small(picture: NDArray[np.float32]) -> FloatArray:
        return np.asarray(cv2.resize(picture, size, interpolation=cv2.INTER_AREA), np.float32)

    def mask(frame: Frame) -> FloatArray:
        clipped = frame.clipped if frame.clipped is not None else frame.linear >= CLIPPED_CODE
        return small(clipped.astype(np.float32))

    ids = None if label is None else np.asarray(cv2.resize(label, size, interpolation=cv2.INTER_NEAREST), np.uint8)
    return small(plain.linear), small(filtered.linear), mask(plain), mask(filtered), ids


def _blocks(picture: NDArray[np.float32]) -> NDArray[np.float32]:
    """(H, W, ...) cut into (rows, columns, PATCH_PX^2, ...)."""
    rows, columns = picture.shape[0] // PATCH_PX, picture.shape[1] // PATCH_PX
    cut = picture[: rows * PATCH_PX, : columns * PATCH_PX]
    split = cut.reshape(rows, PATCH_PX, columns, PATCH_PX, *picture.shape[2:])
    return np.moveaxis(split, 2, 1).reshape(rows, columns, PATCH_PX * PATCH_PX, *picture.shape[2:])


Patches = tuple[
    NDArray[np.float64], NDArray[np.float64], NDArray[np.float64], NDArray[np.float64], NDArray[np.str_], float
]


def usable_patches(
    plain: FloatArray,
    moved: FloatArray,
    plain_clipped: FloatArray,
    moved_clipped: FloatArray,
    ids: NDArray[np.uint8] | None,
    plain_raw: bool,
    filtered_raw: bool,
) -> Patches:
    """Usable patches: plain luminance, filtered red and its sum, channels (3, n), kind of surface, usable share."""
    a, b = _blocks(plain), _blocks(moved)
    edge_free = np.isfinite(b).all(axis=(2, 3))
    unclipped = (_blocks(plain_clipped).mean(axis=2).max(axis=2) < 0.02) & (
        np.nan_to_num(_blocks(moved_clipped), nan=1.0).mean(axis=2).max(axis=2) < 0.02
    )
    a_mean, b_mean = a.mean(axis=2), np.nan_to_num(b).mean(axis=2)
    y = a_mean @ np.array([0.2126, 0.7152, 0.0722])
    top = b_mean.max(axis=2)
    lit = (y > DARK_LINEAR[plain_raw] * 2) & (top > DARK_LINEAR[filtered_raw])
    even = (a.std(axis=2).max(axis=2) < 0.35 * y + 0.002) & (
        np.nan_to_num(b).std(axis=2).max(axis=2) < 0.35 * top + 0.002
    )
    kind = _kinds(a_mean, ids)
    use = edge_free & unclipped & lit & even & (kind != "")
    channels = b_mean[use].T.astype(np.float64)
    return (
        y[use].astype(np.float64),
        channels[0],
        channels.sum(axis=0),
        channels,
        kind[use],
        float((edge_free & unclipped & lit).mean()),
    )


def _kinds(plain: NDArray[np.float32], ids: NDArray[np.uint8] | None) -> NDArray[np.str_]:
    """Kind of surface per patch: a class name where a label map is given, else by colour; "" = not used. Leaves
    without any colour are misread: none is as grey as stone, and taken for leaves it would shift the factor by stops.
    """
    out = np.full(plain.shape[:2], "", dtype="<U10")
    red, green, blue = plain[..., 0], plain[..., 1], plain[..., 2]
    most = np.maximum(plain.max(axis=2), 1e-6)
    chroma = (most - plain.min(axis=2)) / most
    if ids is not None:
        cut = _blocks(ids.astype(np.float32))
        first = cut[:, :, 0]
        one = (cut == first[:, :, None]).mean(axis=2) > 0.9
        for name in USABLE_CLASSES:
            out[one & (first == CLASS_ID[name])] = name
        out[np.isin(out, ("tree", "grass")) & (chroma < _GREY_CHROMA)] = "neutral"
        return out
    out[chroma < 0.22] = "neutral"
    out[(green > 1.25 * blue) & (green > 1.03 * red) & (chroma > 0.3)] = "foliage"
    return out
