"""Photos in: from a file, or its bytes, to upright sRGB pixels and checked facts.

In this order, so that nothing large or broken gets far: is it a file at all; what kind, by its first bytes; is all
of it there; how many pixels, by its header; only then is it decoded, turned upright and brought to sRGB.
"""

from __future__ import annotations

import contextlib
import ctypes
import hashlib
import io
import logging
import re
import warnings
from collections.abc import Callable, Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from functools import lru_cache, partial
from pathlib import Path
from typing import Any, TypeAlias

import cv2
import numpy as np
from PIL import Image, JpegImagePlugin, PngImagePlugin, TiffImagePlugin, WebPImagePlugin
from pillow_heif.as_plugin import HeifImageFile

from irpreview.core.imaging.resize import within
from irpreview.core.scene.photo_doubts import pixel_doubts
from irpreview.errors import BadPhoto, BadValue, IrpreviewError
from irpreview.io.colour_profiles import to_srgb
from irpreview.io.jpeg_damage import BREAKS_OFF, block_px, decoded, step_strength
from irpreview.io.ordinary_file import HEAD_BYTES, Wanted, read_bytes
from irpreview.io.photo_facts import EXIF_FOLDER, GPS_FOLDER, ORIENTATION, Facts, facts_of, time_zone
from irpreview.io.picture_files import check_whole, exif_is_sound, is_raw_tiff, kind_of
from irpreview.records import (
    WORKING_SIDE_PX,
    ByteArray,
    Photo,
    PhotoDoubt,
    PhotoDoubtKind,
    frozen_array,
)

MOST_MEGAPIXELS = 65.0
"""Decoded at full size: about 3.3 GB at work. 0.3 to 50 megapixels is ordinary."""
MOST_MEGAPIXELS_REDUCED = 220.0
"""For a JPEG that is read at a fraction of its size, which never holds the whole in memory."""
MOST_FILE_MB = 600.0
LEAST_SIDE_PX = 64
MOST_ASPECT = 20.0
_WANTED = Wanted(BadPhoto, "", "give the path of a photo", int(MOST_FILE_MB * 1e6), "save it smaller or as JPEG")
Picture: TypeAlias = Image.Image | ByteArray
"""A decoded picture, not turned: as its reader holds it, or (h, w, 3) colours."""
_PILLOW_QUIET = ("ignore", None, Warning, re.compile(r"PIL\."), 0)
_ADDRESS = re.compile(r"^\s*(?:[a-z][a-z0-9+.-]+://|data:|mailto:)", re.IGNORECASE)


def load_photo(
    source: str | Path | bytes,
    *,
    zone: str | None = None,
    max_side: int | None = None,
    name: str | None = None,
) -> Photo:
    """Read one photo: JPEG, HEIC, PNG, WebP or TIFF.

    source: path of a file, or the bytes of one. zone: time zone of a photo that does not say its own ("Europe/Oslo",
    "+02:00"). max_side: read it no larger than this on its long side [px], which is much faster for JPEG.
    name: what to call it in messages when only bytes are given. Raises BadPhoto, with one line that says what is
    wrong and what to do; BadValue for an unknown zone or a max_side below 64.
    """
    if zone is not None:
        time_zone(zone)
    if max_side is not None and max_side < LEAST_SIDE_PX:
        raise BadValue(f"a photo cannot be read at {max_side} px; its long side must be {LEAST_SIDE_PX} px or more")
    data, name = _read(source, name)
    try:
        return _photo_of(data, name, zone, max_side)
    except IrpreviewError:
        raise
    except Exception as error:  # offsets and lengths in a file may be any number, and its readers raise anything
        raise _damaged(name, error) from error


def _photo_of(data: bytes, name: str, zone: str | None, max_side: int | None) -> Photo:
    kind = kind_of(data[:HEAD_BYTES], name)
    check_whole(data, kind, name)
    if kind == "TIFF" and is_raw_tiff(data):
        raise BadPhoto(f"{name} is a camera raw file; develop it to JPEG or TIFF first")
    _keep_pillow_quiet()
    doubts: list[PhotoDoubt] = []
    image = _open(data, kind, name)
    _check_size(image, kind, name, max_side)
    full_size = (image.height, image.width)
    if kind in ("PNG", "WEBP", "TIFF") and getattr(image, "is_animated", False):
        doubts.append(PhotoDoubt(PhotoDoubtKind.SEVERAL_PICTURES))
    # The analysis sees the same pixels whatever size the photo is read at: a JPEG read larger is decoded once more, at
    # the same time.
    again = kind == "JPEG" and max(full_size) > WORKING_SIDE_PX and (max_side is None or max_side > WORKING_SIDE_PX)
    with ThreadPoolExecutor(1) as beside:
        decoding = beside.submit(_decode, image, data, kind, name, max_side, doubts)
        smaller = _decode(_open(data, kind, name), data, kind, name, WORKING_SIDE_PX, []) if again else None
        small = decoding.result() if smaller is None else smaller
        shifting = beside.submit(_step_doubts, data, small, full_size[1]) if kind == "JPEG" else None
        profile = image.info.get("icc_profile")
        working = within(_to_pixels(small, profile, name, []), WORKING_SIDE_PX) if again else None
        picture = decoding.result()
        doubts += [] if shifting is None else shifting.result()
    facts = _facts(image, zone, doubts)
    orientation = _orientation(image, kind, doubts)
    pixels = _to_pixels(picture, profile, name, doubts)
    del image, picture, small, smaller
    if max_side is not None:
        pixels = within(pixels, max_side)
    pixels = _upright(pixels, orientation)
    working = within(pixels, WORKING_SIDE_PX) if working is None else _upright(working, orientation)
    doubts += facts.doubts
    doubts += pixel_doubts(working, facts.shot)
    return Photo(
        pixels=frozen_array(pixels),
        name=name,
        taken_at=facts.taken_at,
        taken_at_naive=facts.taken_at_naive,
        place=facts.place,
        heading_deg=facts.heading_deg,
        shot=facts.shot,
        content_sha256=hashlib.sha256(data).hexdigest(),
        doubts=tuple(dict.fromkeys(doubts)),
        working=frozen_array(working),
        file_size=full_size if orientation < 5 else full_size[::-1],
    )


def read_facts(source: str | Path | bytes, *, zone: str | None = None, name: str | None = None) -> Facts:
    """Time, place and exposure of a photo, without decoding its pixels. Raises BadPhoto as `load_photo` does."""
    data, name = _read(source, name)
    kind = kind_of(data[:HEAD_BYTES], name)
    _keep_pillow_quiet()
    try:
        return _facts(_open(data, kind, name), zone, [])
    except IrpreviewError:
        raise
    except Exception as error:
        raise _damaged(name, error) from error


def _read(source: str | Path | bytes, name: str | None) -> tuple[bytes, str]:
    if isinstance(source, (bytes, bytearray, memoryview)):
        return bytes(source), name or "the photo"
    if not isinstance(source, (str, Path)):
        raise BadPhoto(f"a photo is given as a path or as bytes, not as {type(source).__name__}")
    text = str(source)
    if isinstance(source, str) and _ADDRESS.match(source):
        raise BadPhoto(f"{text[:80]!r} is an address; only files on this computer are opened, so save the photo first")
    if not text.strip() or "\x00" in text:
        raise BadPhoto(f"{text[:80]!r} is no name of a file; give the path of a photo")
    path = Path(source)
    name = name or path.name or text
    wanted = replace(_WANTED, if_folder=f"name the photos in it, for example {text.rstrip('/')}/*.jpg")
    # `kind_of` refuses a film before its gigabytes are read
    return read_bytes(path, wanted, partial(kind_of, name=name)), name


def _keep_pillow_quiet() -> None:
    """Stop what Pillow and its libraries say by themselves about odd files: it becomes a refusal or a doubt here.

    Put in place once and left there: switching filters to and fro is not safe between threads.
    """
    if _PILLOW_QUIET not in warnings.filters:
        warnings.filterwarnings("ignore", module=_PILLOW_QUIET[3].pattern)
    _quiet_libraries()


@lru_cache(maxsize=1)
def _quiet_libraries() -> None:
    logging.getLogger("PIL").addHandler(logging.NullHandler())  # else Python prints errors that nobody handles
    # libtiff writes straight to stderr unless told not to; where it is not found it may do so, which harms nothing
    site = Path(Image.__file__).parent
    for library in [*site.parent.glob("pillow.libs/libtiff*"), *site.glob(".dylibs/libtiff*")]:
        with contextlib.suppress(OSError, AttributeError):
            loaded = ctypes.CDLL(str(library))
            for name in ("TIFFSetErrorHandler", "TIFFSetWarningHandler"):
                setter = getattr(loaded, name)
                setter.argtypes, setter.restype = [ctypes.c_void_p], ctypes.c_void_p
                setter(None)


def _plugin(kind: str) -> Callable[..., Image.Image]:
    # The readers themselves instead of Image.open: no guessing among all formats, and no pixel limit kept in a
    # variable of the whole process (MAX_IMAGE_PIXELS), which another thread could change under us.
    if kind == "HEIF":
        reader: Callable[..., Image.Image] = HeifImageFile
        return reader
    readers: dict[str, Callable[..., Image.Image]] = {
        "JPEG": JpegImagePlugin.jpeg_factory,
        "PNG": PngImagePlugin.PngImageFile,
        "TIFF": TiffImagePlugin.TiffImageFile,
        "WEBP": WebPImagePlugin.WebPImageFile,
    }
    return readers[kind]


def _damaged(name: str, error: BaseException) -> BadPhoto:
    if isinstance(error, MemoryError):
        return BadPhoto(f"{name} needs more memory than there is; close other programs or save the photo smaller")
    return BadPhoto(
        f"{name} is damaged or of a rare kind and cannot be decoded; copy it again from the phone, "
        "or save it anew as JPEG"
    )


def _open(data: bytes, kind: str, name: str) -> Image.Image:
    try:
        return _plugin(kind)(io.BytesIO(data), "")  # no name: the decoder is to open nothing by itself
    except Exception as error:  # a decoder in front of broken bytes raises anything
        raise _damaged(name, error) from error


def _check_size(image: Image.Image, kind: str, name: str, max_side: int | None) -> None:
    """Refuse by the header alone, before any pixel is decoded."""
    width, height = image.size
    megapixels = width * height / 1e6
    reduced = kind == "JPEG" and max_side is not None and not image.info.get("progressive")
    most = MOST_MEGAPIXELS_REDUCED if reduced else MOST_MEGAPIXELS
    if min(width, height) < LEAST_SIDE_PX:
        raise BadPhoto(
            f"{name} is {width} x {height} pixels; both sides need at least {LEAST_SIDE_PX}: use the original photo"
        )
    if max(width, height) > MOST_ASPECT * min(width, height):
        raise BadPhoto(
            f"{name} is {width} x {height} pixels; one side may be at most {MOST_ASPECT:.0f} times the other: crop it"
        )
    if megapixels > most:
        raise BadPhoto(
            f"{name} is {width} x {height} pixels = {megapixels:.0f} megapixels; at most {most:.0f} can be opened "
            "(0.3 to 50 is ordinary; phones with a mode of 108 or 200 megapixels exist): "
            "take it in the ordinary mode or save it smaller"
        )


def _decode(
    image: Image.Image, data: bytes, kind: str, name: str, max_side: int | None, doubts: list[PhotoDoubt]
) -> Picture:
    """The picture as its file holds it; a JPEG as it is read at most so large. Raises BadPhoto for broken data, and
    adds a doubt where a decoder had to mend them.
    """
    full_size, strict = (image.height, image.width), None
    if kind == "JPEG" and image.mode == "RGB":
        scale = 1 if max_side is None else max(s for s in (1, 2, 4, 8) if s == 1 or min(full_size) // max_side >= s)
        strict = decoded(data, full_size, scale)
        if strict.pixels is not None:
            _refuse_ending_in_nothing(strict.pixels, name)
            return strict.pixels
    try:
        if max_side is not None and kind == "JPEG":
            image.draft(None, (max_side, max_side))
        image.load()
    except Exception as error:
        raise _damaged(name, error) from error
    if kind == "JPEG":
        says = strict or decoded(data, full_size, 8)
        if says.broken:
            raise _breaks_off(name)
        _refuse_ending_in_nothing(image, name)
        doubts += [PhotoDoubt(PhotoDoubtKind.DATA_SKIPPED)] if says.mended else []
    return image


def _size(picture: Picture) -> tuple[int, int]:
    """Height and width. [px]"""
    return picture.shape[:2] if isinstance(picture, np.ndarray) else picture.size[::-1]


def _step_doubts(data: bytes, picture: Picture, full_width: int) -> list[PhotoDoubt]:
    block, reduced = block_px(data), round(full_width / _size(picture)[1])
    if block is None or not (isinstance(picture, np.ndarray) or picture.mode in ("L", "RGB")):
        return []
    strength = step_strength(np.asarray(picture), (block[0] // reduced, block[1] // reduced))
    return [PhotoDoubt(PhotoDoubtKind.DATA_SHIFTED)] if strength > 1.0 else []


def _breaks_off(name: str) -> BadPhoto:
    return BadPhoto(f"{name} is damaged: {BREAKS_OFF}; copy it again from the phone, or use another photo")


def _refuse_ending_in_nothing(picture: Picture, name: str) -> None:
    """Refuse a JPEG whose last rows are the very middle grey that a decoder puts where the data are missing.

    Blocks without data have coefficients of zero, which is 128 in every channel (ITU-T T.81, A.3.1 level shift).
    """
    height, width = _size(picture)
    last = picture[-8:] if isinstance(picture, np.ndarray) else picture.crop((0, height - 8, width, height))
    if not np.all(np.asarray(last) == 128):
        return
    whole = cv2.resize(np.asarray(picture), (32, 32), interpolation=cv2.INTER_AREA)
    if float(whole.std()) > 1.0:  # a picture this grey all over is what it is
        raise _breaks_off(name)


def _facts(image: Image.Image, zone: str | None, doubts: list[PhotoDoubt]) -> Facts:
    damaged = PhotoDoubt(PhotoDoubtKind.FACTS_DAMAGED)
    block = image.info.get("exif")
    if isinstance(block, bytes) and not exif_is_sound(block):
        doubts.append(damaged)
    try:
        exif = image.getexif()
        return facts_of(exif, _folder(exif, EXIF_FOLDER), _folder(exif, GPS_FOLDER), zone)
    except Exception:  # the tags are whatever a stranger wrote
        doubts.append(damaged)
        return Facts()


def _folder(exif: Image.Exif, tag: int) -> Mapping[int, Any]:
    found: Mapping[int, Any] = exif.get_ifd(tag)
    return found


def _orientation(image: Image.Image, kind: str, doubts: list[PhotoDoubt]) -> int:
    if kind in ("HEIF", "TIFF"):  # both readers turn the picture themselves
        return 1
    try:
        value = image.getexif().get(ORIENTATION, 1)
    except Exception:
        return 1
    if isinstance(value, int) and 1 <= value <= 8:
        return value
    if value != 0:
        doubts.append(PhotoDoubt(PhotoDoubtKind.ORIENTATION, text=str(value)[:20]))
    return 1


def _upright(pixels: ByteArray, orientation: int) -> ByteArray:
    """Turn by EXIF orientation (Exif 2.32, 4.6.4): the side where the first row and column were."""
    flip = {2: 1, 3: -1, 4: 0}
    if orientation in flip:
        return np.asarray(cv2.flip(pixels, flip[orientation]), np.uint8)
    if orientation in (5, 7):
        turned = cv2.transpose(pixels)
        return np.asarray(turned if orientation == 5 else cv2.flip(turned, -1), np.uint8)
    if orientation in (6, 8):
        way = cv2.ROTATE_90_CLOCKWISE if orientation == 6 else cv2.ROTATE_90_COUNTERCLOCKWISE
        return np.asarray(cv2.rotate(pixels, way), np.uint8)
    return np.ascontiguousarray(pixels)


def _to_pixels(picture: Picture, profile: object, name: str, doubts: list[PhotoDoubt]) -> ByteArray:
    """SRGB pixels (h, w, 3) of a decoded picture. profile: the bytes of the file's ICC profile, if any."""
    known, alpha = profile if isinstance(profile, bytes) else None, None
    try:
        if not isinstance(picture, np.ndarray):
            if picture.mode.startswith("I") or picture.mode == "F":
                return np.repeat(_grey_of_many_bits(picture, name)[..., None], 3, axis=2)
            alpha = _alpha(picture, name, doubts)
            picture = picture if picture.mode in ("RGB", "L", "CMYK") else picture.convert("RGB")
        pixels, profile_used = to_srgb(picture, known)
    except BadPhoto:
        raise
    except Exception as error:
        raise _damaged(name, error) from error
    if not profile_used:
        doubts.append(PhotoDoubt(PhotoDoubtKind.PROFILE))
    if alpha is not None:
        pixels = _on_white(pixels, alpha)
    return pixels


def _on_white(pixels: ByteArray, alpha: ByteArray) -> ByteArray:
    out = np.empty_like(pixels)
    for row in range(0, len(pixels), 256):  # in strips: the fractions take four times the room of the picture
        part = slice(row, row + 256)
        weight = alpha[part, :, None].astype(np.float32) / 255.0
        out[part] = np.round(pixels[part] * weight + 255.0 * (1.0 - weight)).astype(np.uint8)
    return out


def _alpha(image: Image.Image, name: str, doubts: list[PhotoDoubt]) -> ByteArray | None:
    """Opacity where the picture has any; white paper shows through, as in any viewer."""
    if not image.has_transparency_data:
        return None
    alpha: ByteArray = np.asarray(image.convert("RGBA").getchannel("A"))
    share = float((alpha < 128).mean())
    if share > 0.98:
        raise BadPhoto(
            f"{name} is see-through all over, so there is nothing to judge; save the photo without transparency"
        )
    if alpha.min() == 255:
        return None
    if share > 0.001:
        doubts.append(PhotoDoubt(PhotoDoubtKind.SEE_THROUGH, share))
    return alpha


def _grey_of_many_bits(image: Image.Image, name: str) -> ByteArray:
    values = np.asarray(image)
    if image.mode == "F":
        raise BadPhoto(f"{name} holds floating-point values without a known white; save it with 8 or 16 bits")
    if values.size and (values.min() < 0 or values.max() > 65535):
        raise BadPhoto(f"{name} holds grey values beyond 16 bits; save it with 8 or 16 bits")
    return np.asarray(cv2.convertScaleAbs(values.astype(np.uint16), alpha=255.0 / 65535.0), np.uint8)
