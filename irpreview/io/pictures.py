"""Pictures out: whole or not at all, and with nothing in them but pixels.

Each file is written beside its place under another name and moved there when it is complete, so that a full disk or
a pulled plug leaves the old file, never half a new one. Time, place and camera of the snap are not copied.
"""

from __future__ import annotations

import contextlib
import errno
import io
import os
import secrets
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image

from irpreview.errors import CannotWrite
from irpreview.records import ByteArray, FloatArray

JPEG_QUALITY = 92
_PNG_LEVEL = 3
"""Of 9: a third larger than the smallest file, five times as fast."""


def write_jpeg(path: Path | str, pixels: ByteArray, quality: int = JPEG_QUALITY) -> Path:
    """Write grey (H, W) or sRGB (H, W, 3) uint8 as JPEG. Raises CannotWrite."""
    return write_file(path, jpeg_bytes(pixels, quality))


def jpeg_bytes(pixels: ByteArray, quality: int = JPEG_QUALITY) -> bytes:
    """Grey (H, W) or sRGB (H, W, 3) uint8 as the bytes of a JPEG file."""
    if pixels.ndim == 2:  # the same bytes, without passing through a copy of the picture
        return bytes(cv2.imencode(".jpg", pixels, [cv2.IMWRITE_JPEG_QUALITY, quality])[1])
    return _packed(pixels, "JPEG", quality=quality)


def write_png(path: Path | str, pixels: NDArray[np.uint8] | NDArray[np.uint16]) -> Path:
    """Write grey (H, W) uint8 or uint16, or sRGB (H, W, 3) uint8, as PNG. Raises CannotWrite."""
    level = 1 if pixels.dtype == np.uint16 else _PNG_LEVEL  # sixteen bits hardly get smaller, only slower
    return write_file(path, _packed(pixels, "PNG", compress_level=level))


def write_labels(path: Path | str, label: ByteArray) -> Path:
    """Write class ids 1..9 (H, W) as an 8-bit grey PNG: the value is the id, so it looks black. Raises CannotWrite."""
    return write_png(path, label)


def write_tones(path: Path | str, tones: FloatArray) -> float:
    """Write linear tones (H, W) as a 16-bit grey PNG and return the tone of value 65535. Raises CannotWrite.

    tone = value / 65535 * full scale; 1.0 = a matt white surface in the same light.
    """
    full_scale = tones_full_scale(tones)
    # in place on one copy: 12 megapixels take 48 MB, not 150
    scaled = np.multiply(tones, np.float32(65535.0 / full_scale))
    np.rint(np.clip(scaled, 0.0, 65535.0, out=scaled), out=scaled)
    write_png(path, scaled.astype(np.uint16))
    return full_scale


def tones_full_scale(tones: FloatArray) -> float:
    """Full scale of a 16-bit picture of these tones: 1, or the next power of two that holds the brightest."""
    brightest = float(tones.max(initial=0.0))
    return float(2.0 ** max(np.ceil(np.log2(max(brightest, 1e-9))), 0.0))


def make_folder(folder: Path | str) -> Path:
    """The folder, made with its parents if missing. Raises CannotWrite."""
    folder = Path(folder)
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except FileExistsError:
        raise CannotWrite(f"{folder} is a file, not a folder; name another folder") from None
    except NotADirectoryError:
        raise CannotWrite(f"{folder} cannot be made: a part of its path is a file; name another folder") from None
    except (OSError, ValueError) as error:
        raise CannotWrite(_reason(folder, error)) from error
    return folder


def settle(folder: Path) -> None:
    """Have the folder itself written down, so that a power cut does not take a new name back; not on every system."""
    with contextlib.suppress(OSError):
        number = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(number)
        finally:
            os.close(number)


def write_file(path: Path | str, data: bytes) -> Path:
    """Write the whole file or leave what was there, through a power cut as well.

    Raises CannotWrite with one line that says why and what to do.
    """
    path = Path(path)
    if os.path.isdir(path):  # unlike Path.is_dir, never raises
        raise CannotWrite(f"{path} is a folder; name a file in it")
    waiting = path.with_name(f".{path.name[:100]}.{secrets.token_hex(6)}.part")
    try:
        # 0o666 less the umask, as for any new file; a temporary-file function would make it private
        with os.fdopen(os.open(waiting, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o666), "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        os.replace(waiting, path)
        settle(path.parent)
    except (OSError, ValueError) as error:
        raise CannotWrite(_reason(path, error)) from error
    finally:
        with contextlib.suppress(OSError, ValueError):
            waiting.unlink(missing_ok=True)
    return path


def _reason(path: Path, error: OSError | ValueError) -> str:
    number = getattr(error, "errno", None)
    if number in (errno.ENOSPC, errno.EDQUOT):
        return f"{path} could not be written: the disk is full; free some space or name another folder"
    if number in (errno.EACCES, errno.EPERM, errno.EROFS):
        return f"{path} may not be written (no permission); name another folder"
    if number == errno.ENOENT:
        return f"{path} could not be written: its folder does not exist; make it or name another"
    if number == errno.ENOTDIR:
        return f"{path} could not be written: a part of its path is a file; name another folder"
    if number == errno.ENAMETOOLONG:
        return f"{str(path)[:80]}... could not be written: the name is too long; name a shorter one"
    said = " ".join(str(getattr(error, "strerror", None) or error).split())
    return f"{path} could not be written ({said}); name another folder"


def _packed(pixels: NDArray[np.uint8] | NDArray[np.uint16], kind: str, **options: int) -> bytes:
    out = io.BytesIO()
    Image.fromarray(np.ascontiguousarray(pixels)).save(out, kind, **options)
    return out.getvalue()
