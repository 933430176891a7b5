"""Pictures for the page: small JPEGs inside the page itself, so that nothing lies in a cache and nothing is fetched."""

from __future__ import annotations

import base64
import io
from collections.abc import Callable, Mapping, Sequence
from types import MappingProxyType
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image

from irpreview.analysis import Analysis
from irpreview.core.imaging.resize import within
from irpreview.core.motion.motion_rendering import picture_in_motion
from irpreview.core.motion.motion_stage import Stage, prepare_stage
from irpreview.core.rendering.finishing import finish
from irpreview.core.scene.class_picture import class_picture
from irpreview.core.verdict.verdict_picture import draw_layers
from irpreview.records import ByteArray, FloatArray, SceneMap

THUMB_SIDE_PX = 240
SIDE_BY_SIDE_PX = 640
MOTION_SIDE_PX = 720
"""Long side of the picture that answers the sliders, small enough to answer at once."""
NARROW_LETTERS = 1.8
"""Numbers and figures 14 px high where 1100 px are shown on a screen 390 px wide."""
UNSURE_BELOW = 0.5
"""Places of the map are marked unsure below this confidence (a choice)."""
LEAST_UNSURE_SHARE = 0.004
_DOTS_PX = 13


def jpeg_bytes(pixels: NDArray[np.uint8], quality: int = 86) -> bytes:
    """JPEG of grey (h, w) or colour (h, w, 3) uint8, without any metadata."""
    packed = io.BytesIO()
    Image.fromarray(np.ascontiguousarray(pixels)).save(packed, "JPEG", quality=quality)
    return packed.getvalue()


def jpeg_address(packed: bytes) -> str:
    """A packed JPEG as a `data:` address."""
    return "data:image/jpeg;base64," + base64.b64encode(packed).decode()


def data_address(pixels: NDArray[np.uint8], quality: int = 86) -> str:
    """The picture as a `data:` address."""
    return jpeg_address(jpeg_bytes(pixels, quality))


def download_address(packed: bytes) -> str:
    """A file's bytes as a `data:` address, for saving from the browser."""
    return "data:application/octet-stream;base64," + base64.b64encode(packed).decode()


def shrunk(pixels: NDArray[np.uint8], side_px: int) -> NDArray[np.uint8]:
    """A copy with its long side at most `side_px`."""
    return np.asarray(within(pixels, side_px), np.uint8)


# ---- views ----------------------------------------------------------------------------------------------------------


def _separation(analysis: Analysis) -> ByteArray:
    """The infrared picture with its layers numbered and the lines between them."""
    return draw_layers(analysis.verdict, analysis.rendering)


def _separation_narrow(analysis: Analysis) -> ByteArray:
    """The same for a phone, where the picture is shown at a third of its size."""
    return draw_layers(analysis.verdict, analysis.rendering, NARROW_LETTERS)


def unsure_places(scene: SceneMap) -> NDArray[np.bool_]:
    """(H, W) where the map is not sure, in places large enough to be corrected."""
    doubtful = (scene.confidence < UNSURE_BELOW).astype(np.uint8)
    doubtful = cv2.morphologyEx(doubtful, cv2.MORPH_OPEN, np.ones((7, 7), np.uint8))
    count, parts, stats, _ = cv2.connectedComponentsWithStats(doubtful, connectivity=8)
    large = [i for i in range(1, count) if stats[i, cv2.CC_STAT_AREA] >= LEAST_UNSURE_SHARE * doubtful.size]
    mask = np.isin(parts, large)
    return np.asarray(mask & ~scene.repainted if scene.repainted is not None else mask, bool)


def _map_narrow(analysis: Analysis) -> ByteArray:
    """The same for a phone."""
    return _map(analysis, NARROW_LETTERS)


def _map(analysis: Analysis, letters: float = 1.0) -> ByteArray:
    """The photo with its classes laid over it; unsure places are dotted."""
    drawn = np.array(class_picture(analysis.photo, analysis.scene, letters))
    rows, columns = np.indices(drawn.shape[:2])
    odd = (rows // _DOTS_PX) % 2 * (_DOTS_PX // 2)
    near = ((rows % _DOTS_PX) - _DOTS_PX // 2) ** 2 + (((columns + odd) % _DOTS_PX) - _DOTS_PX // 2) ** 2
    unsure = unsure_places(analysis.scene)
    drawn[unsure & (near <= 5)] = (20, 20, 20)
    drawn[unsure & (near <= 2)] = (255, 255, 255)
    return drawn


VIEWS: Mapping[str, Callable[[Analysis], ByteArray]] = MappingProxyType(
    {
        "infrared": lambda analysis: analysis.rendering.picture,
        "colour": lambda analysis: analysis.photo.pixels,
        "separation": _separation,
        "separation_narrow": _separation_narrow,
        "map": _map,
        "map_narrow": _map_narrow,
    }
)


# ---- movement -------------------------------------------------------------------------------------------------------


def views(analysis: Analysis, names: Sequence[str]) -> dict[str, str]:
    """Some of `VIEWS` as `data:` addresses, by their names."""
    return {name: data_address(VIEWS[name](analysis)) for name in names}


def stage_of(analysis: Analysis) -> Stage:
    """The infrared picture in layers that can move, small enough to answer a slider at once."""
    tones = analysis.rendering.tones
    scale = min(1.0, MOTION_SIDE_PX / max(tones.shape))
    size = (round(tones.shape[1] * scale), round(tones.shape[0] * scale))
    small: FloatArray = np.asarray(cv2.resize(tones, size, interpolation=cv2.INTER_AREA), np.float32)
    return prepare_stage(small, analysis.scene)


def motion_picture(analysis: Analysis, stage: Stage) -> ByteArray:
    """The finished infrared picture (h, w) with its movement."""
    focal = analysis.request.conditions.focal_35mm_mm or analysis.photo.shot.focal_35mm_mm
    known: dict[str, Any] = {} if focal is None else {"focal_35mm_mm": focal}
    tones = picture_in_motion(stage.tones, analysis.scene, analysis.movement, stage=stage, **known)
    return finish(np.sqrt(np.maximum(tones, 0)), grade=analysis.request.grade)


# ---- corrections ----------------------------------------------------------------------------------------------------


def outlines(mask: NDArray[np.bool_], most_points: int = 4000) -> list[list[list[float]]]:
    """The border of a mask as closed lines of points, shares of width and height; the longest first."""
    height, width = mask.shape
    found, _ = cv2.findContours(mask.astype(np.uint8), cv2.RETR_CCOMP, cv2.CHAIN_APPROX_SIMPLE)
    lines: list[list[list[float]]] = []
    left = most_points
    for line in sorted(found, key=len, reverse=True):
        points = cv2.approxPolyDP(line, 0.7, True)[:, 0, :]
        if len(points) < 3 or len(points) > left:
            continue
        left -= len(points)
        lines.append([[round(float(x) / width, 4), round(float(y) / height, 4)] for x, y in points])
    return lines
