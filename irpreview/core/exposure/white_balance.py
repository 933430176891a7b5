"""Where to take a custom white balance: the largest sunlit patch of grass or leaves in the photo."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import cv2
import numpy as np
from numpy.typing import NDArray

from irpreview.records import CLASS_ID, Photo, SceneMap

WORKING_SIDE_PX = 192
LEAST_SHARE = 0.002
"""Smaller patches are not worth walking to: about 1/22 of the picture's width squared."""


Plant = Literal["grass", "leaves", "green"]
"""`green` = grass or leaves, not known which."""
Across = Literal["left", "middle", "right"]
Up = Literal["high", "half_way", "low"]


@dataclass(frozen=True, slots=True)
class ReadingPatch:
    """A rectangle of the photo in its own pixels."""

    x: int
    y: int
    width: int
    height: int
    plant: Plant
    across: Across
    up: Up
    """Where in the picture."""


def patch_for_white_balance(photo: Photo, scene: SceneMap | None = None) -> ReadingPatch | None:
    """The largest upright rectangle of sunlit grass or leaves, or None.

    With a scene its grass and trees count (grass first, it is even); without one, what is green in the photo.
    """
    scale = min(1.0, WORKING_SIDE_PX / max(photo.height, photo.width))
    size = (max(1, round(photo.width * scale)), max(1, round(photo.height * scale)))
    small = cv2.resize(np.ascontiguousarray(photo.pixels), size, interpolation=cv2.INTER_AREA).astype(np.float32) / 255
    green = (small[..., 1] > small[..., 2] * 1.08) & (small[..., 1] >= small[..., 0] * 0.92)
    candidates: list[tuple[Plant, NDArray[np.bool_]]] = []
    if scene is None:
        candidates.append(("green", green))
    else:
        label = cv2.resize(np.ascontiguousarray(scene.label), size, interpolation=cv2.INTER_NEAREST)
        candidates = [
            ("grass", (label == CLASS_ID["grass"]) & green),
            ("leaves", (label == CLASS_ID["tree"]) & green),
        ]
    found = None
    for word, mask in candidates:
        box = _largest(mask & _sunlit(small, mask))
        if box is not None and (found is None or box[2] * box[3] > 1.5 * found[1][2] * found[1][3]):
            found = (word, box)
    if found is None or found[1][2] * found[1][3] < LEAST_SHARE * size[0] * size[1]:
        return None
    word, (x, y, wide, tall) = found
    fx, fy = photo.width / size[0], photo.height / size[1]
    return ReadingPatch(
        round(x * fx),
        round(y * fy),
        max(1, int(wide * fx)),
        max(1, int(tall * fy)),
        word,
        *_where(x + wide / 2, y + tall / 2, size),
    )


def _sunlit(small: NDArray[np.float32], mask: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Bright enough among its own kind, not blown out."""
    light = cv2.blur(small @ np.array([0.2126, 0.7152, 0.0722], np.float32), (3, 3))
    if not mask.any():
        return mask
    inside = light[mask]
    dark, bright = float(np.quantile(inside, 0.05)), float(np.quantile(inside, 0.95))
    # shade is two stops and more under sun: less than about half the coded value; an even patch is all one light
    bar = dark + 0.45 * (bright - dark) if dark < 0.6 * bright else 0.9 * dark
    return np.asarray((light >= bar) & (small.max(axis=2) < 0.985) & (light > 0.12), np.bool_)


def _largest(mask: NDArray[np.bool_]) -> tuple[int, int, int, int] | None:
    """(x, y, width, height) of the largest rectangle of a mask whose small holes are closed."""
    kernel = np.ones((3, 3), np.uint8)
    closed = cv2.morphologyEx(mask.astype(np.uint8), cv2.MORPH_CLOSE, kernel)
    best, area = None, 0
    columns = np.zeros(closed.shape[1] + 1, np.int64)
    for y, row in enumerate(closed):
        columns[:-1] = (columns[:-1] + 1) * row
        high: list[int] = columns.tolist()  # a list is read several times as fast, number by number
        stack: list[int] = []
        for x, tall in enumerate(high):
            while stack and high[stack[-1]] >= tall:
                height = high[stack.pop()]
                left = stack[-1] + 1 if stack else 0
                if height * (x - left) > area:
                    area = height * (x - left)
                    best = (left, y - height + 1, x - left, height)
            stack.append(x)
    return best


def _where(x: float, y: float, size: tuple[int, int]) -> tuple[Across, Up]:
    across: tuple[Across, ...] = ("left", "middle", "right")
    up: tuple[Up, ...] = ("high", "half_way", "low")
    return across[min(2, int(3 * x / size[0]))], up[min(2, int(3 * y / size[1]))]
