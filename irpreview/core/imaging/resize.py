"""Making pictures smaller: one rule for sizes, one filter."""

from __future__ import annotations

from typing import TypeVar

import cv2
import numpy as np
from numpy.typing import NDArray

T = TypeVar("T", bound=np.generic)


def size_within(height: int, width: int, side_px: int) -> tuple[int, int]:
    """(height, width) [px] of a picture scaled down so that its long side is at most `side_px`."""
    k = min(1.0, side_px / max(height, width))
    return max(1, round(height * k)), max(1, round(width * k))


def within(picture: NDArray[T], side_px: int) -> NDArray[T]:
    """The picture (H, W) or (H, W, 3) with a long side of at most `side_px` [px], averaged; the same if it fits."""
    height, width = size_within(int(picture.shape[0]), int(picture.shape[1]), side_px)
    if (height, width) == picture.shape[:2]:
        return picture
    smaller: NDArray[T] = cv2.resize(picture, (width, height), interpolation=cv2.INTER_AREA)
    return smaller
