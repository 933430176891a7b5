"""Pictures for the page: small JPEGs inside the page itself, so that nothing lies in a cache and nothing is fetched."""

from __future__ import annotations

import base64
import io

import numpy as np
from numpy.typing import NDArray

from irpreview.records import CLASS_NAMES, Photo, SceneMap

THUMB_SIDE_PX = 240


def jpeg_bytes(pixels: NDArray[np.uint8], quality: int = 86) -> bytes:
    """JPEG of grey (h, w) or colour (h, w, 3) uint8, without any metadata."""
    from PIL import Image

    packed = io.BytesIO()
    Image.fromarray(np.ascontiguousarray(pixels)).save(packed, "JPEG", quality=quality)
    return packed.getvalue()


def data_address(pixels: NDArray[np.uint8], quality: int = 86) -> str:
    """The picture as a `data:` address."""
    return "data:image/jpeg;base64," + base64.b64encode(jpeg_bytes(pixels, quality)).decode()


def shrunk(pixels: NDArray[np.uint8], side_px: int) -> NDArray[np.uint8]:
    """A copy with its long side at most `side_px`."""
    import cv2

    height, width = pixels.shape[:2]
    scale = min(1.0, side_px / max(height, width))
    if scale == 1.0:
        return pixels
    size = (max(1, round(width * scale)), max(1, round(height * scale)))
    return np.asarray(cv2.resize(pixels, size, interpolation=cv2.INTER_AREA), np.uint8)


def class_overlay(photo: Photo, scene: SceneMap) -> tuple[NDArray[np.uint8], dict[str, tuple[str, str]]]:
    """The photo with its classes laid over it (h, w, 3), and colour (`#rrggbb`) and letter of each class."""
    from irpreview.core.scene.class_picture import CLASS_COLOURS, CLASS_LETTERS, class_picture

    colours = {name: ("#{:02x}{:02x}{:02x}".format(*CLASS_COLOURS[name]), CLASS_LETTERS[name]) for name in CLASS_NAMES}
    return class_picture(photo, scene), colours
