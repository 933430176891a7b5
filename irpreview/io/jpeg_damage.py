"""Whether a JPEG came through whole: what its decoder had to mend, and the step that a lost bit leaves in the picture.

A JPEG decoder shows what it can of damaged data and says so only in warnings, which most readers drop. Some damage it
does not even notice: the codes fall into step again by themselves, and only the running brightness of the blocks
(ITU-T T.81, F.1.2.1: each is stored as the difference to the one before) stays wrong, from there to the end.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np
import simplejpeg
from numpy.typing import NDArray

from irpreview.records import ByteArray

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
    turned = pixels.swapaxes(0, 1)
    both = (
        _steps([pixels[tall + k : rows * tall : tall] for k in (-2, -1)] + _below(pixels, tall, rows)),
        _steps([turned[wide + k : columns * wide : wide] for k in (-2, -1)] + _below(turned, wide, columns)),
    )
    return max(
        _strongest(np.clip(both[0], -largest, largest), np.clip(both[1], -largest, largest), block, (rows, columns))
        / limit
        for largest, limit in STEP_LIMITS
    )


def _strongest(
    across: NDArray[np.float32], beside: NDArray[np.float32], block: tuple[int, int], size: tuple[int, int]
) -> float:
    """Of the steps between rows of blocks (channels, rows - 1, width) and columns (channels, columns - 1, height)."""
    (tall, wide), (rows, columns) = block, size
    across = _mean_of_each(across, columns, wide)
    # sums left of each place: over the block to the right, under it to the left
    left = np.concatenate([np.zeros_like(across[..., :1]), np.cumsum(across, -1)], -1)
    path = ((left[..., -1:] - left)[:, :-1] + left[:, 1:]) / columns
    beside = _mean_of_each(beside, rows, tall).swapaxes(1, 2)
    edge = np.zeros_like(path)
    edge[..., 1:columns] = beside[:, 1 : 1 + path.shape[1]]
    return max(_strength(path[channel], edge[channel]) for channel in range(len(path)))


def _mean_of_each(steps: NDArray[np.float32], count: int, side: int) -> NDArray[np.float32]:
    """Mean over each block's side of steps along the blocks (channels, places, along)."""
    of_blocks = steps[..., : count * side].reshape(*steps.shape[:2], count, side)
    return np.asarray(of_blocks @ np.full(side, 1.0 / side, np.float32), np.float32)  # a third of the time of mean()


def _below(pixels: ByteArray, step: int, count: int) -> list[ByteArray]:
    first = pixels[step : count * step : step]
    return [first, pixels[step + 1 : count * step + 1 : step][: len(first)]]


def _steps(lines: list[ByteArray]) -> NDArray[np.float32]:
    """Step between the second and third of four lines beyond the slope around it, (channels, places, along)."""
    count = min(len(line) for line in lines)
    far, near, here, next_ = (line[:count].astype(np.int16) for line in lines)
    # (here - near) - half of the slopes on both sides, doubled to stay whole
    here -= near
    here *= 3
    here += far
    here -= next_
    return _channels(here) * np.float32(0.5)


def _channels(values: NDArray[np.int16]) -> NDArray[np.float32]:
    """Brightness and two differences of colour, (channels, places, along), of grey or of red, green, blue."""
    if values.ndim == 2:
        return values[None].astype(np.float32)
    out = np.empty((3, *values.shape[:2]), np.float32)
    red, green, blue = values[..., 0], values[..., 1], values[..., 2]
    np.multiply(red + 2 * green + blue, np.float32(0.25), out=out[0])
    np.subtract(blue, green, out=out[1])
    np.subtract(red, green, out=out[2])
    return out


def _strength(path: NDArray[np.float32], edge: NDArray[np.float32]) -> float:
    size = np.abs(path)
    most = size.max(-1)
    row = int(most.argmax())
    others = np.delete(most, range(max(row - 1, 0), min(row + 2, len(most))))
    usual = 1.0 + (np.quantile(others, 0.9) if len(others) else 0.0)
    over = size[row] / usual
    usual_edge = 1.0 + np.quantile(np.abs(edge), 0.9)
    beside = np.clip(np.sign(path[row]) * edge[row] / usual_edge, -1.0, over)
    return float((over + beside).max())
