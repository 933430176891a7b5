"""Raw files as linear frames, through rawpy (the optional extra `irpreview[raw]`)."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from PIL import Image, UnidentifiedImageError

from irpreview.core.exposure.frame_pairs import Frame
from irpreview.errors import BadPhoto
from irpreview.io.ordinary_file import Wanted, check_ordinary
from irpreview.records import Shot

_SUFFIXES = "3fr arw cr2 cr3 crw dng erf iiq kdc mef mos mrw nef nrw orf pef raf raw rw2 srw x3f"
RAW_SUFFIXES = frozenset(f".{name}" for name in _SUFFIXES.split())


def is_raw(path: Path) -> bool:
    """Whether the name ends like a raw file's."""
    return path.suffix.lower() in RAW_SUFFIXES


def load_raw(path: Path) -> Frame:
    """A raw file at half size: black taken off, full scale 1, camera's daylight balance applied and told in `gains`.

    Raises BadPhoto when rawpy is not installed or the file cannot be read.
    """
    try:
        import rawpy
    except ImportError as error:
        raise BadPhoto(
            f"{path}: reading raw files needs the optional part: pip install 'irpreview[raw]'; or give JPEG files"
        ) from error
    check_ordinary(path, Wanted(BadPhoto, "the raw file", "give the file as the camera wrote it"))
    try:
        with rawpy.imread(str(path)) as raw:
            mosaic = raw.raw_image_visible.astype(np.float32)
            colours = np.asarray(raw.raw_colors_visible)
            black = np.asarray(raw.black_level_per_channel, np.float32)
            white = float(raw.white_level)
            balance = [float(g) for g in (raw.daylight_whitebalance or raw.camera_whitebalance)[:3]]
            shot = _shot_of(raw, path)
    except (rawpy.LibRawError, OSError, ValueError) as error:
        raise BadPhoto(
            f"{path}: cannot be read as a raw file ({error}); give the file as the camera wrote it"
        ) from error
    if black.size < 4 or white <= black.max():
        raise BadPhoto(f"{path}: its black and white levels make no sense; give the file as the camera wrote it")
    green = balance[1] if balance[1] > 0 else 1.0
    gains = (balance[0] / green or 1.0, 1.0, balance[2] / green or 1.0)
    return frame_from_mosaic(mosaic, colours, black, white, gains, shot, path.name)


def frame_from_mosaic(
    mosaic: np.ndarray[tuple[int, int], np.dtype[np.float32]],
    colours: np.ndarray[tuple[int, int], np.dtype[np.uint8]],
    black: np.ndarray[tuple[int], np.dtype[np.float32]],
    white: float,
    gains: tuple[float, float, float],
    shot: Shot,
    name: str,
) -> Frame:
    """Average each 2 x 2 cell of a mosaic into one pixel.

    mosaic, colours (H, W); colours 0 red, 1 and 3 green, 2 blue.
    """
    tall, wide = (mosaic.shape[0] // 2) * 2, (mosaic.shape[1] // 2) * 2
    value = (mosaic[:tall, :wide] - black[colours[:tall, :wide]]) / np.maximum(
        white - black[colours[:tall, :wide]], 1.0
    )
    cells = value.reshape(tall // 2, 2, wide // 2, 2)
    kind = colours[:tall, :wide].reshape(tall // 2, 2, wide // 2, 2)
    linear = np.zeros((tall // 2, wide // 2, 3), np.float32)
    clipped = np.zeros(linear.shape, np.bool_)
    for channel, codes in enumerate(((0,), (1, 3), (2,))):
        mine = np.isin(kind, codes)
        count = np.maximum(mine.sum(axis=(1, 3)), 1)
        linear[..., channel] = np.where(mine, cells, 0.0).sum(axis=(1, 3)) / count * gains[channel]
        clipped[..., channel] = (mine & (cells >= 0.985)).any(axis=(1, 3))
    return Frame(np.maximum(linear, 0.0), shot, name, None, True, gains, clipped)


def _shot_of(raw: object, path: Path) -> Shot:
    """Exposure data as LibRaw read them, else from the file's own tags."""
    other = getattr(raw, "other", None)
    iso, shutter, aperture = (getattr(other, n, None) for n in ("iso_speed", "shutter_speed", "aperture"))
    if iso and shutter and aperture:
        return Shot(iso=float(iso), shutter_s=float(shutter), f_number=float(aperture))
    return _shot_from_tags(path)


def _shot_from_tags(path: Path) -> Shot:
    """Raw files built on TIFF keep the ordinary tags where Pillow finds them."""
    try:
        with Image.open(path) as picture:
            tags = picture.getexif().get_ifd(0x8769)
    except (UnidentifiedImageError, OSError, ValueError, SyntaxError):
        return Shot()

    def number(tag: int) -> float | None:
        value = tags.get(tag)
        value = value[0] if isinstance(value, tuple) and value else value
        try:
            return float(value) if value else None
        except (TypeError, ValueError, ZeroDivisionError):
            return None

    return Shot(f_number=number(0x829D), iso=number(0x8827), shutter_s=number(0x829A))
