"""Which of many pictures shows the scene of a frame, and roughly where the frame lies on it: a cheap first look.

The template of a snap is its predicted infrared tones, not its colours: what infrared turns round (leaves, sky) is
turned round there already, so that the directions of the edges may be compared with their signs. Each picture is
reduced to the gradients of its logarithm, evened out over the picture, and slid over the other (correlation of
orientations: Fitch, Kadyrov, Christmas and Kittler, "Orientation correlation", BMVC 2002; here by plain Fourier
transform at several sizes). What follows is refined and judged by `registration`.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy import fft

from irpreview.core.imaging.registration import Matrix
from irpreview.records import FloatArray

SIDE_PX = 96
_CANVAS_PX = 192
ROUGH_ZOOMS = (0.8, 0.9, 1.0, 1.1, 1.25)
"""Size of the frame's things against the snap's, first look."""
TURNS_DEG = (-6.0, -3.0, 0.0, 3.0, 6.0)
ZOOMS = tuple(float(z) for z in 1.08 ** np.arange(-5, 6))
"""The same, second look: 0.68 to 1.47."""
FINE_SIDE_PX = 192
FINE_TURNS_DEG = (-2.0, -1.0, 0.0, 1.0, 2.0)
FINE_ZOOMS = (0.95, 0.975, 1.0, 1.025, 1.05)
_FARTHEST_SHARE = 0.6
"""How far the frame may lie aside, share of the snap's sides: further off too little is common."""
_WEAK_STOPS = 0.1
"""Gradients below this [stops per pixel] count ever less: noise and empty sky."""
_EVEN_PX = 8.0

Field = NDArray[np.float32]
"""(2, h, w): gradient across and down."""


@dataclass(frozen=True, slots=True)
class Template:
    """A snap as the frames are looked for on it."""

    spectrum: NDArray[np.complex64]
    """(2, 192, 97) of its gradients."""
    length: float
    small_shape: tuple[int, int]
    shape: tuple[int, int]


@dataclass(frozen=True, slots=True)
class RoughPlace:
    """How alike a frame and one snap are at first look, and where the frame would lie."""

    likeness: float
    """Correlation of the directions of edges, -1..1."""
    matrix: Matrix
    """(3, 3) from snap pixels to frame pixels."""


def template_of(picture: FloatArray) -> Template:
    """Make the template of a picture (H, W) of brightness, any scale: best the predicted infrared tones."""
    small = _small_log(picture, SIDE_PX)
    field = _field(small, np.ones_like(small))
    return Template(_spectrum(field), _length(field), (small.shape[0], small.shape[1]), _shape(picture))


def rough_places(templates: Sequence[Template], frame: FloatArray) -> list[RoughPlace]:
    """For each template where the frame (H, W) would lie, not turned, at the best of a few sizes."""
    found: list[RoughPlace | None] = [None] * len(templates)
    small = _small_log(frame, SIDE_PX)
    for zoom in ROUGH_ZOOMS:
        moved, steps, spectrum, length = _moved(small, 0.0, zoom)
        for i, template in enumerate(templates):
            place = _slid(template, spectrum, length, steps, moved, small.shape, frame.shape)
            best = found[i]
            if best is None or place.likeness > best.likeness:
                found[i] = place
    return [place for place in found if place is not None]


def likely_places(templates: Sequence[Template], frame: FloatArray, most: int = 3) -> list[list[RoughPlace]]:
    """For each template the likeliest placements of a frame (H, W) over turns and sizes, best first."""
    small = _small_log(frame, SIDE_PX)
    found: list[list[RoughPlace]] = [[] for _ in templates]
    for turn in TURNS_DEG:
        for zoom in ZOOMS:
            moved, steps, spectrum, length = _moved(small, turn, zoom)
            for template, places in zip(templates, found, strict=True):
                places.append(_slid(template, spectrum, length, steps, moved, small.shape, frame.shape))
    return [sorted(places, key=lambda place: -place.likeness)[:most] for places in found]


def sharper_place(snap: FloatArray, frame: FloatArray, place: RoughPlace) -> RoughPlace:
    """The same placement (of frame (H, W) on snap (h, w)), searched anew around it at twice the size: within 1 %."""
    small_snap, small_frame = _small_log(snap, FINE_SIDE_PX), _small_log(frame, FINE_SIDE_PX)
    field = _field(small_snap, np.ones_like(small_snap))
    small_shape = (small_snap.shape[0], small_snap.shape[1])
    template = Template(_spectrum(field, 2 * FINE_SIDE_PX), _length(field), small_shape, _shape(snap))
    first = np.diag([small_snap.shape[1] / snap.shape[1], small_snap.shape[0] / snap.shape[0], 1.0])
    last = np.diag([small_frame.shape[1] / frame.shape[1], small_frame.shape[0] / frame.shape[0], 1.0])
    here = last @ place.matrix @ np.linalg.inv(first)
    turn = math.degrees(math.atan2(here[1, 0], here[0, 0]))
    zoom = math.hypot(here[0, 0], here[1, 0])
    best = place
    likeness = -1.0
    for step in FINE_TURNS_DEG:
        for factor in FINE_ZOOMS:
            moved, steps, spectrum, length = _moved(small_frame, turn + step, zoom * factor, 2 * FINE_SIDE_PX)
            found = _slid(template, spectrum, length, steps, moved, small_frame.shape, frame.shape, 2 * FINE_SIDE_PX)
            if found.likeness > likeness:
                best, likeness = found, found.likeness
    return best


# --- within ---------------------------------------------------------------------------------------------------------


def _shape(picture: FloatArray) -> tuple[int, int]:
    return int(picture.shape[0]), int(picture.shape[1])


def _small_log(picture: FloatArray, side_px: int) -> FloatArray:
    tall, wide = picture.shape
    k = side_px / max(tall, wide)
    size = (max(16, round(wide * k)), max(16, round(tall * k)))
    small = np.maximum(cv2.resize(np.asarray(picture, np.float32), size, interpolation=cv2.INTER_AREA), 0.0)
    floor = 0.02 * float(np.quantile(small, 0.9)) + 1e-6
    return np.asarray(np.log2(small + np.float32(floor)), np.float32)


def _field(log_small: FloatArray, inside: FloatArray) -> Field:
    """Gradients with strong ones held back, evened out, faded at the rim. inside: 1 where there is a picture."""
    soft = cv2.GaussianBlur(log_small, (0, 0), 1.0)
    across, down = cv2.Sobel(soft, cv2.CV_32F, 1, 0) / 8.0, cv2.Sobel(soft, cv2.CV_32F, 0, 1) / 8.0
    strength = np.hypot(across, down)
    weight = inside / (strength + np.float32(_WEAK_STOPS))
    around = np.sqrt(cv2.GaussianBlur((strength * weight) ** 2, (0, 0), _EVEN_PX)) + np.float32(0.05)
    scale = weight / around * cv2.erode(_faded(inside), None)
    return np.stack((across * scale, down * scale)).astype(np.float32)


def _faded(inside: FloatArray) -> FloatArray:
    """1 well inside, falling to 0 at the border of the picture."""
    rim = max(2, min(inside.shape) // 12)
    padded = cv2.copyMakeBorder((inside > 0.5).astype(np.uint8), 1, 1, 1, 1, cv2.BORDER_CONSTANT, value=0)
    distance = cv2.distanceTransform(padded, cv2.DIST_L2, 3)[1:-1, 1:-1]
    return np.asarray(np.minimum(distance / rim, 1.0), np.float32)


def _spectrum(field: Field, canvas_px: int = _CANVAS_PX) -> NDArray[np.complex64]:
    return np.asarray(fft.rfft2(field, (canvas_px, canvas_px)), np.complex64)


def _length(field: Field) -> float:
    return math.sqrt(float(np.sum(field**2))) + 1e-6


def _moved(
    log_small: FloatArray, turn_deg: float, zoom: float, canvas_px: int = _CANVAS_PX
) -> tuple[Matrix, tuple[int, int], NDArray[np.complex64], float]:
    """The frame turned back and at the snap's scale: (matrix small frame -> moved, its shape, spectrum, length)."""
    tall, wide = log_small.shape
    k = 1.0 / zoom
    c, s = abs(math.cos(math.radians(turn_deg))), abs(math.sin(math.radians(turn_deg)))
    size = (
        min(canvas_px, math.ceil((wide * c + tall * s) * k)),
        min(canvas_px, math.ceil((wide * s + tall * c) * k)),
    )
    rotation = cv2.getRotationMatrix2D((wide / 2.0, tall / 2.0), turn_deg, k)
    rotation[:, 2] += np.array(size) / 2.0 - np.array([wide, tall]) / 2.0
    picture = cv2.warpAffine(log_small, rotation, size, borderMode=cv2.BORDER_REPLICATE)
    inside = cv2.warpAffine(np.ones_like(log_small), rotation, size)
    field = _field(picture, inside)
    return np.vstack((rotation, [0.0, 0.0, 1.0])), (size[1], size[0]), _spectrum(field, canvas_px), _length(field)


def _slid(
    template: Template,
    spectrum: NDArray[np.complex64],
    length: float,
    moved_shape: tuple[int, int],
    moved: Matrix,
    small_shape: tuple[int, ...],
    shape: tuple[int, ...],
    canvas_px: int = _CANVAS_PX,
) -> RoughPlace:
    """Where the moved frame correlates best with the template."""
    cross = fft.irfft2(np.sum(template.spectrum * np.conj(spectrum), axis=0), (canvas_px, canvas_px))
    # the middle of the frame stays near the middle of the snap, not only its corner
    rows, columns = (_reachable(a, b, canvas_px) for a, b in zip(template.small_shape, moved_shape, strict=True))
    cut = cross[np.ix_(rows, columns)]
    y, x = np.unravel_index(int(np.argmax(cut)), cut.shape)
    down, across = int(rows[y]), int(columns[x])
    shift = np.eye(3)
    shift[:2, 2] = (_signed(across, canvas_px), _signed(down, canvas_px))
    to_small = np.linalg.inv(shift @ moved)
    first = np.diag([template.small_shape[1] / template.shape[1], template.small_shape[0] / template.shape[0], 1.0])
    last = np.diag([shape[1] / small_shape[1], shape[0] / small_shape[0], 1.0])
    return RoughPlace(float(cut[y, x]) / (template.length * length), last @ to_small @ first)


def _signed(index: int, canvas_px: int) -> int:
    return index - canvas_px if index > canvas_px // 2 else index


def _reachable(side: int, moved_side: int, canvas_px: int) -> NDArray[np.intp]:
    """Displacements along one axis that are tried, as indices of the transform."""
    middle = (side - moved_side) / 2.0
    reach = _FARTHEST_SHARE * side
    steps = np.arange(math.ceil(middle - reach), math.floor(middle + reach) + 1)
    return np.asarray(np.unique(steps % canvas_px), np.intp)
