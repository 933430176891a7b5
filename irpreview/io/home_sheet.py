"""The sheet of frames brought home: predicted beside real, where they differ, what that says and teaches."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np

from irpreview.core.field_log.difference_picture import with_scale
from irpreview.core.field_log.homecoming import Homecoming, RealFrame
from irpreview.core.imaging.lettering import text_width, write
from irpreview.core.words.home_words import (
    clock_words,
    exposure_words,
    headline,
    lesson_words,
    outcome_words,
    where_words,
)
from irpreview.core.words.phrases import cap
from irpreview.records import ByteArray

WIDE_PX = 1760
_EDGE, _GAP = 40, 16
_PICTURE_PX = 360
_TALLEST_PX = 360
_TEXT, _SMALL, _TITLE = 21, 17, 34
_LEADING = 1.36
_PAPER, _INK, _QUIET, _LINE, _ACCENT = (250, 249, 246), (28, 27, 25), (85, 82, 77), (205, 200, 190), (122, 46, 29)
HEADS = ("Predicted", "Real, laid over the snap", "Real against predicted")


@dataclass(frozen=True, slots=True)
class SheetPictures:
    """Of one frame, each at most 440 px long; None = there is none."""

    predicted: ByteArray | None
    """(h, w)"""
    real: ByteArray | None
    """(h, w)"""
    difference: ByteArray | None
    """(h, w, 3)"""


def home_sheet(home: Homecoming, pictures: Sequence[SheetPictures], how_on: str = "") -> ByteArray:
    """The whole sheet (H, 1760, 3) sRGB. how_on: what to do next, in a line at the end."""
    blocks = [_head(home)]
    for one, shown in zip(home.frames, pictures, strict=True):
        blocks.append(_row(one, shown))
    blocks.append(_foot(home, how_on))
    return np.vstack(blocks)


def _blank(tall: int) -> ByteArray:
    canvas = np.empty((tall, WIDE_PX, 3), np.uint8)
    canvas[:] = _PAPER
    return canvas


def _head(home: Homecoming) -> ByteArray:
    lines = [*lesson_words(home), f"{cap(clock_words(home.clocks))}."]
    canvas = _blank(70 + _lines_high(lines, WIDE_PX - 2 * _EDGE, _TEXT) + 2 * _TEXT + 50)
    write(canvas, f"{cap(headline(home))}", (_EDGE, 58), _TITLE, _INK, 650)
    y = _said(canvas, lines, _EDGE, 80, WIDE_PX - 2 * _EDGE, _TEXT, _INK)
    for i, head in enumerate(HEADS):
        write(canvas, head, (_EDGE + i * (_PICTURE_PX + _GAP), y + 40), _TEXT, _ACCENT, 650)
    return canvas[: y + 54]


def _row(one: RealFrame, shown: SheetPictures) -> ByteArray:
    across = _EDGE + 3 * (_PICTURE_PX + _GAP) + 4
    room = WIDE_PX - _EDGE - across
    said = [
        f"{cap(where_words(one))}.",
        *(f"{cap(text)}." for text in (exposure_words(one), *outcome_words(one)) if text),
    ]
    cells = [_fitted(shown.predicted), _fitted(shown.real), _fitted(shown.difference, scale=True)]
    tallest = max(cell.shape[0] for cell in cells if cell is not None) if any(c is not None for c in cells) else 60
    high = max(tallest, 34 + _lines_high(said, room, _TEXT)) + 34
    canvas = _blank(high)
    canvas[0:1, _EDGE:-_EDGE] = _LINE
    for i, cell in enumerate(cells):
        x = _EDGE + i * (_PICTURE_PX + _GAP)
        if cell is None:
            write(canvas, "none" if i != 2 else "not compared", (x, 44), _SMALL, _QUIET)
            continue
        canvas[16 : 16 + cell.shape[0], x : x + cell.shape[1]] = cell
    colour = _INK if one.taken_in else _QUIET
    write(canvas, _shortened(f"{one.number}. {one.name}", room, _TEXT), (across, 36), _TEXT, colour, 650)
    _said(canvas, said, across, 44, room, _TEXT, colour)
    return canvas


def _foot(home: Homecoming, how_on: str) -> ByteArray:
    lines = [f"Could not be used: {name}: {why}" for name, why in home.unusable]
    lines += [how_on] if how_on else []
    canvas = _blank(60 + _lines_high(lines, WIDE_PX - 2 * _EDGE, _TEXT))
    canvas[0:1, _EDGE:-_EDGE] = _LINE
    _said(canvas, lines, _EDGE, 14, WIDE_PX - 2 * _EDGE, _TEXT, _QUIET)
    return canvas


def _fitted(picture: ByteArray | None, scale: bool = False) -> ByteArray | None:
    """(h, w, 3) in the room of one picture."""
    if picture is None:
        return None
    tall, wide = picture.shape[:2]
    k = min(_PICTURE_PX / wide, _TALLEST_PX / tall)
    size = (max(1, round(wide * k)), max(1, round(tall * k)))
    out = cv2.resize(picture, size, interpolation=cv2.INTER_AREA if k < 1 else cv2.INTER_LINEAR)
    if out.ndim == 2:
        out = np.repeat(out[..., None], 3, axis=2)
    return with_scale(out) if scale else np.asarray(out, np.uint8)


# --- lines ----------------------------------------------------------------------------------------------------------


def _wrapped(text: str, room: int, size: int) -> list[str]:
    """The text in lines no wider than the room; a word that is wider alone is cut."""
    lines: list[str] = []
    line = ""
    for word in text.split():
        longer = f"{line} {word}".strip()
        if not line or text_width(longer, size) <= room:
            line = longer
        else:
            lines.append(line)
            line = word
    return [_shortened(one, room, size) for one in (*lines, line) if one]


def _shortened(text: str, room: int, size: int) -> str:
    """A line that fits, its middle left out where it must be: names of files end in what tells them apart."""
    if text_width(text, size) <= room:
        return text
    keep = len(text)
    while keep > 8 and text_width(f"{text[: keep // 2]}...{text[-(keep // 2) :]}", size) > room:
        keep -= 2
    return f"{text[: keep // 2]}...{text[-(keep // 2) :]}"


def _lines_high(texts: Sequence[str], room: int, size: int) -> int:
    return round(sum(len(_wrapped(text, room, size)) * size * _LEADING + 0.35 * size for text in texts))


def _said(
    canvas: ByteArray, texts: Sequence[str], x: int, y: int, room: int, size: int, colour: tuple[int, int, int]
) -> int:
    """Write paragraphs from the top; returns where they end."""
    at = float(y)
    for text in texts:
        for line in _wrapped(text, room, size):
            at += size * _LEADING
            write(canvas, line, (x, round(at)), size, colour)
        at += 0.35 * size
    return round(at)
