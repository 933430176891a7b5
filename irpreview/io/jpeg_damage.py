"""Whether a JPEG came through whole: what its decoder had to mend, and the step that a lost bit leaves in the picture.

A JPEG decoder shows what it can of damaged data and says so only in warnings, which most readers drop. Some damage it
does not even notice: the codes fall into step again by themselves, and only the running brightness of the blocks
(ITU-T T.81, F.1.2.1: each is stored as the difference to the one before) stays wrong, from there to the end.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
import simplejpeg
from numpy.typing import NDArray

from irpreview.records import ByteArray, FloatArray

BREAKS_OFF = "its picture data break off or make no sense"
STEP_LIMITS = ((10.0, 3.8), (6.0, 2.8))
"""(largest step that counts [levels], strength from which a photo is doubted).

With the smaller step the edges in a busy picture weigh less beside the long even step of a lost bit. Set on photographs
and re-encoded copies, of which fewer than 1 in 500 sound ones come over either."""
_LEAST_BLOCK_PX = 4
# libjpeg's warnings, by its jerror.h; those on marks that some programs write wrongly (JFIF number, colour transform,
# scan parameters of a plain file) leave the picture as it is
_BROKEN = re.compile(r"premature end|bad Huffman code|bad arithmetic code", re.IGNORECASE)
_MENDED = re.compile(r"corrupt JPEG data|inconsistent progression", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Decoded:
    """A JPEG as its strict decoder gives it."""

    pixels: ByteArray | None
    """(h, w, 3) uint8, not turned; None where the decoder had something to say, or leaves the kind to another."""
    broken: bool = False
    mended: bool = False


def decoded(data: bytes, size: tuple[int, int], scale: int = 1) -> Decoded:
    """Decode to colours at 1/scale of the size, and hear what the decoder warns of.

    size: (height, width) by the header. scale: 1, 2, 4 or 8.
    """
    height, width = (-(-side // scale) for side in size)
    try:
        pixels = simplejpeg.decode_jpeg(data, "RGB", min_height=height, min_width=width, strict=True)
    except ValueError as error:  # other kinds (four inks, for one) raise as well
        said = str(error)
        return Decoded(None, bool(_BROKEN.search(said)), bool(_MENDED.search(said)))
    return Decoded(pixels if pixels.shape == (height, width, 3) else None)


def block_px(data: bytes) -> tuple[int, int] | None:
    """Height and width of the blocks coded together in a plain (not progressive) JPEG. [px] None for others."""
    at = 2
    while at + 12 < len(data) and data[at] == 0xFF:
        marker = data[at + 1]
        if marker in (0xC0, 0xC1):
            number = data[at + 9]
            sampling = data[at + 11 : at + 11 + 3 * number : 3]
            if number == 1:
                return 8, 8
            return (max(s & 15 for s in sampling) * 8, max(s >> 4 for s in sampling) * 8) if sampling else None
        if marker in (0xC2, 0xDA):
            return None
        at += 1 if marker == 0xFF else 2 + int.from_bytes(data[at + 2 : at + 4], "big")
    return None


def step_strength(pixels: ByteArray, block: tuple[int, int]) -> float:
    """How plainly one step runs through the picture where a lost bit would put it; 1 = a photo is doubted from here.

    pixels: (h, w) or (h, w, 3) as decoded, not turned. block: (height, width) of the blocks coded together [px], at
    the size of these pixels. The step starts at one block, runs over it to the right edge, and under it from the left
    edge to it. Its height is measured beyond the slope on both sides, against that of the other rows of blocks.
    """
    height, width = pixels.shape[:2]
    tall, wide = block
    columns, rows = width // wide, height // tall
    if min(tall, wide) < _LEAST_BLOCK_PX or columns < 4 or rows < 6:
        return 0.0
    # whole planes, the second time with rows and columns exchanged: both ways then run along the memory
    planes = cv2.split(pixels)
    across = _steps(planes, tall, rows)
    beside = _steps([cv2.transpose(plane) for plane in planes], wide, columns)
    return max(
        _strongest(_means(across, largest, wide, columns), _means(beside, largest, tall, rows), columns) / limit
        for largest, limit in STEP_LIMITS
    )


def _strongest(across: list[FloatArray], beside: list[FloatArray], columns: int) -> float:
    """Of mean steps of brightness and of each colour: between rows of blocks (rows - 1, columns) and between columns
    of blocks (columns - 1, rows).
    """
    strongest = 0.0
    for between_rows, between_columns in zip(across, beside, strict=True):
        # sums left of each place: over the block to the right, under it to the left
        left = np.zeros((len(between_rows), columns + 1), np.float32)
        np.cumsum(between_rows, -1, out=left[:, 1:])
        path = np.asarray(((left[:, -1:] - left)[:-1] + left[1:]) / columns, np.float32)
        edge = np.zeros(path.shape, np.float32)
        edge[:, 1:columns] = between_columns.T[1 : 1 + len(path)]
        strongest = max(strongest, _strength(path, edge))
    return strongest


def _steps(planes: Sequence[ByteArray], tall: int, rows: int) -> list[tuple[NDArray[np.int16], int]]:
    """Steps between rows of blocks of so many rows of pixels each, beyond the slope around them: of brightness and two
    differences of colour (places, along), each with how many of its whole numbers are one level.

    planes: grey, or red, green and blue, (h, w) each.
    """
    of_planes = []
    for plane in planes:
        # the second last to the last row of each block, the first two of the next
        far, near, here, next_ = (plane[tall + k :: tall].astype(np.int16) for k in (-2, -1, 0, 1))
        count = min(rows - 1, len(next_))
        step = here[:count]
        # (here - near) - half of the slopes on both sides, doubled to stay whole
        step -= near[:count]
        step *= 3
        step += far[:count]
        step -= next_[:count]
        of_planes.append(step)
    if len(of_planes) == 1:
        return [(of_planes[0], 2)]
    red, green, blue = of_planes
    return [(red + 2 * green + blue, 8), (blue - green, 2), (red - green, 2)]


def _means(steps: list[tuple[NDArray[np.int16], int]], largest: float, side: int, count: int) -> list[FloatArray]:
    """Mean over each block's side of steps (places, along) held within the largest, (places, blocks) each. [levels]"""
    found = []
    for step, per_level in steps:
        limit = int(largest * per_level)
        held = np.clip(step[:, : count * side], -limit, limit).astype(np.float32).reshape(len(step), count, side)
        found.append(held @ np.full(side, 1.0 / (side * per_level), np.float32))  # a third of the time of mean()
    return found


def _strength(path: FloatArray, edge: FloatArray) -> float:
    size = np.abs(path)
    most = size.max(-1)
    row = int(most.argmax())
    others = np.delete(most, range(max(row - 1, 0), min(row + 2, len(most))))
    usual = 1.0 + (np.quantile(others, 0.9) if len(others) else 0.0)
    over = size[row] / usual
    usual_edge = 1.0 + _quantile(np.abs(edge), 0.9)
    beside = np.clip(np.sign(path[row]) * edge[row] / usual_edge, -1.0, over)
    return float((over + beside).max())


def _quantile(values: FloatArray, share: float) -> float:
    """The quantile of all values; np.quantile takes four times as long."""
    at = share * (values.size - 1)
    low = int(at)
    lower, upper = np.partition(values, (low, min(low + 1, values.size - 1)), axis=None)[
        [low, min(low + 1, values.size - 1)]
    ]
    return float(lower + (upper - lower) * (at - low))
