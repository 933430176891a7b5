"""What was recognised where, as a picture: class colours over the photo, thin edges, a word or letter on each region.

Colours: the qualitative scheme "muted" of Paul Tol, Colour Schemes, SRON/EPS/TN/09-002, issue 3.2 (2021), made to be
told apart in all forms of colour blindness. Colour is never alone: letters stand on the regions and in the legend.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

import cv2
import numpy as np
from numpy.typing import NDArray

from irpreview.core.imaging.lettering import text_width, write
from irpreview.core.units import share_text
from irpreview.records import CLASS_NAMES, CLASS_WORDS, ByteArray, Photo, SceneMap

CLASS_COLOURS: Mapping[str, tuple[int, int, int]] = MappingProxyType(
    {
        "clear_sky": (0x88, 0xCC, 0xEE),  # cyan
        "cloud": (0xDD, 0xDD, 0xDD),  # pale grey
        "water": (0x33, 0x22, 0x88),  # indigo
        "tree": (0x11, 0x77, 0x33),  # green
        "grass": (0x99, 0x99, 0x33),  # olive
        "structure": (0xCC, 0x66, 0x77),  # rose
        "ground": (0xDD, 0xCC, 0x77),  # sand
        "other": (0x88, 0x22, 0x55),  # wine
        "snow": (0x44, 0xAA, 0x99),  # teal
    }
)
"""Class name to sRGB 0..255."""
CLASS_LETTERS: Mapping[str, str] = MappingProxyType(
    {
        "clear_sky": "S",
        "cloud": "C",
        "water": "W",
        "tree": "T",
        "grass": "G",
        "structure": "B",
        "ground": "E",
        "other": "O",
        "snow": "N",
    }
)
"""One letter per class, as on the regions and in the legend."""

_BLEND = 0.62
_LEAST_REGION_SHARE = 0.006
_MOST_MARKS = 14
_SHEET_MOST_PX, _SHEET_LEAST_PX = 1600, 960
_PAPER, _INK, _FAINT, _DARK = (250, 249, 245), (35, 33, 30), (125, 120, 112), (25, 25, 25)


def class_picture(photo: Photo, scene: SceneMap, letters: float = 1.0) -> ByteArray:
    """The photo with its classes laid over it, (H, W, 3) uint8 sRGB at the photo's size.

    Regions are paler where the class is less sure. letters: size of the words, for a small screen.
    """
    return _overlay(photo.pixels, scene.label, scene.confidence, letters)


def class_sheet(photo: Photo, scene: SceneMap) -> ByteArray:
    """The same with a legend below, long side of the picture 960 to 1600 px, so that it can be read at any size."""
    height, width = photo.height, photo.width
    scale = min(max(max(height, width), _SHEET_LEAST_PX), _SHEET_MOST_PX) / max(height, width)
    size = (max(round(width * scale), 1), max(round(height * scale), 1))
    pixels, label, confidence = photo.pixels, scene.label, scene.confidence
    if scale != 1.0:
        smooth = cv2.INTER_AREA if scale < 1.0 else cv2.INTER_CUBIC
        pixels = np.asarray(cv2.resize(pixels, size, interpolation=smooth), np.uint8)
        label = np.asarray(cv2.resize(label, size, interpolation=cv2.INTER_NEAREST), np.uint8)
        confidence = np.asarray(cv2.resize(confidence, size, interpolation=cv2.INTER_NEAREST), np.float32)
    return np.asarray(np.vstack([_overlay(pixels, label, confidence), _legend(scene.share(), size[0])]), np.uint8)


def _overlay(pixels: ByteArray, label: ByteArray, confidence: NDArray[np.float32], letters: float = 1.0) -> ByteArray:
    table = np.zeros((256, 3), np.float32)
    for i, name in enumerate(CLASS_NAMES):
        table[i + 1] = CLASS_COLOURS[name]
    grey = cv2.cvtColor(pixels, cv2.COLOR_RGB2GRAY).astype(np.float32) / 255.0
    # the class colour takes on the photo's light and dark, so that the scene stays readable through it
    tint = table[label] * (0.40 + 0.75 * grey[..., None])
    sure = np.clip((confidence.astype(np.float32) - 0.35) / 0.35, 0.3, 1.0)
    weight = (_BLEND * sure)[..., None]
    canvas: ByteArray = np.clip(pixels * (1.0 - weight) + tint * weight, 0, 255).astype(np.uint8)
    _draw_edges(canvas, label)
    _draw_marks(canvas, label, letters)
    return canvas


def _draw_edges(canvas: ByteArray, label: ByteArray) -> None:
    """A light line with a dark rim where two classes meet; its width grows with the picture."""
    edge = np.zeros(label.shape, np.uint8)
    edge[:, 1:] |= (label[:, 1:] != label[:, :-1]).astype(np.uint8)
    edge[1:] |= (label[1:] != label[:-1]).astype(np.uint8)
    width = max(1, round(max(label.shape) / 1000))
    line = cv2.dilate(edge, np.ones((width, width), np.uint8))
    rim = cv2.dilate(line, np.ones((3, 3), np.uint8)) - line
    for mask, level, strength in ((rim, 20.0, 0.35), (line, 255.0, 0.75)):
        chosen = mask.astype(bool)
        canvas[chosen] = (canvas[chosen] * (1.0 - strength) + level * strength).astype(np.uint8)


def _draw_marks(canvas: ByteArray, label: ByteArray, letters: float) -> None:
    """The class's word where its region has room for it, else its letter, at the region's deepest point."""
    size_px = max(11, round(letters * max(label.shape) / 46))
    for class_id, x, y, reach in _deepest_points(label):
        name = CLASS_NAMES[class_id - 1]
        word = CLASS_WORDS[name]
        word_px = text_width(word, size_px, 600)
        text = word if _fits(label, class_id, x, y, word_px, size_px) else CLASS_LETTERS[name]
        letter_px = min(size_px, max(9, round(1.5 * reach)))
        used_px = size_px if text == word else letter_px
        if reach < 0.45 * used_px:
            continue
        left = round(x - text_width(text, used_px, 600) / 2)
        write(canvas, text, (left, round(y + 0.36 * used_px)), used_px, (255, 255, 255), 600, edge=_DARK)


def _fits(label: ByteArray, class_id: int, x: int, y: int, word_px: int, size_px: int) -> bool:
    """Whether a word centred at (x, y) stands on its own region."""
    left, right, top, bottom = x - word_px // 2, x + word_px // 2, y - size_px // 2, y + size_px // 2
    if left < 3 or right > label.shape[1] - 3 or top < 2 or bottom > label.shape[0] - 2:
        return False
    return float((label[top:bottom, left:right] == class_id).mean()) > 0.8


def _deepest_points(label: ByteArray) -> list[tuple[int, int, int, float]]:
    """(class id, x, y, distance to its edge) of the largest regions; worked out small, as only a place is sought."""
    shrink = max(max(label.shape) / 400.0, 1.0)
    size = (max(round(label.shape[1] / shrink), 1), max(round(label.shape[0] / shrink), 1))
    small = np.asarray(cv2.resize(label, size, interpolation=cv2.INTER_NEAREST), np.uint8)
    found = []
    for class_id in np.unique(small):
        count, region, stats, _ = cv2.connectedComponentsWithStats((small == class_id).astype(np.uint8), connectivity=4)
        for i in range(1, count):
            share = float(stats[i, cv2.CC_STAT_AREA]) / small.size
            if share < _LEAST_REGION_SHARE:
                continue
            padded = cv2.copyMakeBorder((region == i).astype(np.uint8), 1, 1, 1, 1, cv2.BORDER_CONSTANT, value=0)
            depth = cv2.distanceTransform(padded, cv2.DIST_L2, 3)
            _, deepest, _, (px, py) = cv2.minMaxLoc(depth)
            found.append((share, int(class_id), px - 1, py - 1, deepest))
    found.sort(reverse=True)
    kx, ky = label.shape[1] / size[0], label.shape[0] / size[1]
    return [
        (class_id, round((px + 0.5) * kx), round((py + 0.5) * ky), depth * min(kx, ky))
        for _, class_id, px, py, depth in found[:_MOST_MARKS]
    ]


def _legend(share: Mapping[str, float], width: int) -> ByteArray:
    """Swatch with letter, word and share of each class in the picture, largest first, in as many rows as needed."""
    size_px = min(max(round(width / 52), 15), 34)
    present = sorted((n for n in CLASS_NAMES if share[n] >= 0.0005), key=lambda n: -share[n])
    pad, swatch = round(0.8 * size_px), round(1.5 * size_px)
    entries = [(n, f"{CLASS_WORDS[n]} {share_text(share[n])}") for n in present]
    cell = max((swatch + pad // 2 + text_width(t, size_px) for _, t in entries), default=0) + 2 * pad
    columns = max(min((width - pad) // max(cell, 1), len(entries)), 1)
    rows = max(-(-len(entries) // columns), 1)
    row_px = round(2.1 * size_px)
    note = "paler = less sure"
    strip = np.full((rows * row_px + round(2.4 * size_px), width, 3), _PAPER, np.uint8)
    for i, (name, text) in enumerate(entries):
        left, top = pad + (i % columns) * cell, round(0.6 * size_px) + (i // columns) * row_px
        colour = CLASS_COLOURS[name]
        cv2.rectangle(strip, (left, top), (left + swatch, top + swatch), colour, -1)
        cv2.rectangle(strip, (left, top), (left + swatch, top + swatch), _FAINT, 1)
        letter = CLASS_LETTERS[name]
        ink = _INK if sum(w * c for w, c in zip((0.299, 0.587, 0.114), colour, strict=True)) > 120 else (255, 255, 255)
        at = (left + (swatch - text_width(letter, size_px, 600)) // 2, top + round(0.5 * swatch + 0.36 * size_px))
        write(strip, letter, at, size_px, ink, 600)
        write(strip, text, (left + swatch + pad // 2, top + round(0.5 * swatch + 0.36 * size_px)), size_px, _INK, 400)
    write(strip, note, (pad, len(strip) - round(0.6 * size_px)), round(0.75 * size_px), _FAINT, 400)
    return strip
