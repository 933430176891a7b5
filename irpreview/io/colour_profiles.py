"""From the colour profile in a file to sRGB. Phones write Display P3, so this is the usual way, not the rare one.

Profiles made of three colorants and three curves (ICC.1:2022 annex F.3) are turned by two tables and a matrix, in
strips: 12 megapixels in about a tenth of the time of the general engine, which does all other kinds.
"""

from __future__ import annotations

import io
import struct
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageCms

from irpreview.core.imaging.srgb import to_display
from irpreview.records import ByteArray

_STRIP_ROWS = 256
_FULL = 65535.0
# sRGB's colorants seen from the profile white D50, as columns R, G, B (IEC 61966-2-1 with the Bradford change of
# white, the values of the ICC's own sRGB profile).
_SRGB_COLORANTS = np.array(
    [[0.43607, 0.38515, 0.14307], [0.22249, 0.71687, 0.06061], [0.01392, 0.09708, 0.71410]], np.float64
)
Curve = Callable[[NDArray[np.float64]], NDArray[np.float64]]


@dataclass(frozen=True)
class _Tables:
    """A colorant-and-curve profile, ready to apply."""

    decode: NDArray[np.uint16]
    """(1, 256, 3) code to linear, full scale 65535."""
    matrix: NDArray[np.float32]
    """(3, 3) to linear sRGB."""
    is_srgb: bool


def _tags(profile: bytes) -> dict[bytes, bytes]:
    number = struct.unpack_from(">I", profile, 128)[0]
    if number > 200:
        raise ValueError("too many tags")
    tags = {}
    for i in range(number):
        name, offset, length = struct.unpack_from(">4sII", profile, 132 + 12 * i)
        if offset + length > len(profile):
            raise ValueError("a tag leaves the profile")
        tags[name] = profile[offset : offset + length]
    return tags


def _xyz(tag: bytes) -> list[float]:
    if tag[:4] != b"XYZ ":
        raise ValueError("a colorant is missing")
    return [v / 65536.0 for v in struct.unpack_from(">3i", tag, 8)]


def _curve(tag: bytes) -> Curve:
    """A tone curve, ICC.1:2022 10.6 (sampled) and 10.18 (parametric)."""
    if tag[:4] == b"curv":
        count = struct.unpack_from(">I", tag, 8)[0]
        if count == 0:
            return lambda x: x
        samples = np.frombuffer(tag, ">u2", count, 12).astype(np.float64)
        if count == 1:
            gamma = float(samples[0]) / 256.0
            return lambda x: x**gamma
        grid = np.linspace(0.0, 1.0, count)
        return lambda x: np.interp(x, grid, samples / 65535.0)
    if tag[:4] != b"para":
        raise ValueError("a curve is missing")
    kind = struct.unpack_from(">H", tag, 8)[0]
    number = (1, 3, 4, 5, 7)[kind]
    g, a, b, c, d, e, f = ([v / 65536.0 for v in struct.unpack_from(f">{number}i", tag, 12)] + [0.0] * 7)[:7]
    if kind == 0:
        return lambda x: x**g
    if kind == 1:
        return lambda x: np.where(x >= -b / a, np.maximum(a * x + b, 0.0) ** g, 0.0)
    if kind == 2:
        return lambda x: np.where(x >= -b / a, np.maximum(a * x + b, 0.0) ** g, 0.0) + c
    return lambda x: np.where(x >= d, np.maximum(a * x + b, 0.0) ** g + e, c * x + f)


@lru_cache(maxsize=8)
def _read_tables(profile: bytes) -> _Tables | None:
    """The fast form of a profile, or None if it is of another kind."""
    try:
        if profile[16:24] != b"RGB XYZ " or b"A2B0" in (tags := _tags(profile)):
            return None
        colorants = np.array([_xyz(tags[name]) for name in (b"rXYZ", b"gXYZ", b"bXYZ")]).T
        codes = np.arange(256) / 255.0
        with np.errstate(all="ignore"):  # a curve of nonsense gives nonsense, which is refused below
            curves = np.stack([_curve(tags[name])(codes) for name in (b"rTRC", b"gTRC", b"bTRC")], -1)
    except (KeyError, ValueError, IndexError, ZeroDivisionError, FloatingPointError, struct.error):
        return None
    if not (np.isfinite(colorants).all() and np.isfinite(curves).all()) or abs(colorants[1].sum() - 1.0) > 0.02:
        return None
    like_srgb = np.abs(colorants - _SRGB_COLORANTS).max() < 0.002
    like_srgb = like_srgb and np.abs(to_display(curves) - codes[:, None]).max() < 1.0 / 255.0
    return _Tables(
        decode=np.round(np.clip(curves, 0, 1) * _FULL).astype(np.uint16)[None],
        matrix=(np.linalg.inv(_SRGB_COLORANTS) @ colorants).astype(np.float32),
        is_srgb=bool(like_srgb),
    )


@lru_cache(maxsize=1)
def _encode_table() -> ByteArray:
    return np.round(to_display(np.arange(65536) / _FULL) * 255.0).astype(np.uint8)[None]


def _gather(table: ByteArray, index: NDArray[np.uint16]) -> ByteArray:
    try:
        return np.asarray(cv2.LUT(index, table), np.uint8)
    except cv2.error:  # before OpenCV 5 the index must be 8 bit
        return np.asarray(table[0].take(index), np.uint8)


def _apply(pixels: ByteArray, tables: _Tables) -> ByteArray:
    out, encode = np.empty_like(pixels), _encode_table()
    for row in range(0, len(pixels), _STRIP_ROWS):
        linear = cv2.LUT(pixels[row : row + _STRIP_ROWS], tables.decode)
        out[row : row + _STRIP_ROWS] = _gather(encode, cv2.transform(linear, tables.matrix))
    return out


def to_srgb(image: Image.Image | ByteArray, profile: bytes | None) -> tuple[ByteArray, bool]:
    """Pixels (H, W, 3) uint8 in sRGB, and whether the profile could be used; else they are as they were.

    image: loaded, mode RGB, L or CMYK, or colours (H, W, 3). profile: the bytes of the ICC profile in the file, or
    None = sRGB.
    """
    if not profile:
        return _pixels(image), True
    if isinstance(image, Image.Image) and image.mode == "L" and profile[16:20] == b"RGB ":
        image = image.convert("RGB")
    is_colour = not isinstance(image, Image.Image) or image.mode == "RGB"
    if is_colour and (tables := _read_tables(bytes(profile))) is not None:
        pixels = _pixels(image)
        return (pixels if tables.is_srgb else _apply(pixels, tables)), True
    try:
        source = ImageCms.ImageCmsProfile(io.BytesIO(profile))
        target = ImageCms.createProfile("sRGB")
        intent = ImageCms.Intent.RELATIVE_COLORIMETRIC
        held = image if isinstance(image, Image.Image) else Image.fromarray(image)
        turned = ImageCms.profileToProfile(held, source, target, intent, outputMode="RGB")
    except (ImageCms.PyCMSError, OSError, ValueError, TypeError):
        return _pixels(image), False
    return _pixels(turned if turned is not None else image), True


def _pixels(image: Image.Image | ByteArray) -> ByteArray:
    """Pixels (H, W, 3), in strips: the whole at once would pass through two more copies of itself."""
    if not isinstance(image, Image.Image):
        return image
    image = image if image.mode == "RGB" else image.convert("RGB")
    width, height = image.size
    pixels = np.empty((height, width, 3), np.uint8)
    for row in range(0, height, _STRIP_ROWS):
        end = min(row + _STRIP_ROWS, height)
        pixels[row:end] = np.asarray(image.crop((0, row, width, end)))
    return pixels
