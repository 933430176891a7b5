"""The sheet of frames brought home, A4 across: predicted beside real, where they differ, what that says and teaches."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from irpreview.core.field_log.difference_picture import TICKS, scale_colours, tick_at
from irpreview.core.field_log.homecoming import Homecoming, RealFrame
from irpreview.core.words.home_words import (
    clock_words,
    exposure_words,
    headline,
    lesson_words,
    outcome_words,
    where_words,
)
from irpreview.core.words.phrases import cap
from irpreview.io.paper import (
    A4_PT,
    ACCENT,
    INK,
    QUIET,
    drawing,
    entry,
    letters,
    pdf_of,
    picture,
    stroke,
    style,
    table,
    words,
)
from irpreview.io.pictures import jpeg_bytes
from irpreview.records import ByteArray

if TYPE_CHECKING:
    from reportlab.pdfgen.canvas import Canvas

SCREEN_PX = 1760
"""Width of the sheet as a picture."""
_SIZE = (A4_PT[1], A4_PT[0])
_EDGE, _GAP, _HEAD = 28.0, 8.0, 36.0
_WIDE, _HIGH = _SIZE[0] - 2 * _EDGE, _SIZE[1] - 2 * _EDGE
_PICTURE, _TALLEST = 172.0, 158.0
"""Three frames go on a page, upright ones too."""
_COLUMNS = (*[_PICTURE + _GAP] * 3, _WIDE - 3 * (_PICTURE + _GAP))
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


def home_pdf(home: Homecoming, pictures: Sequence[SheetPictures], how_on: str = "") -> bytes:
    """The whole sheet, the heads of its columns on each page. how_on: what to do next, in a line at the end."""
    from reportlab.platypus import NextPageTemplate, Spacer

    plain = style(9.5, spaceAfter=3)
    made = [NextPageTemplate("more"), words(cap(headline(home)), style(16.0, bold=True, leading=1.2, spaceAfter=4))]
    made += [words(text, plain) for text in (*lesson_words(home), f"{cap(clock_words(home.clocks))}.")]
    made += [Spacer(1, 6.0), _heads()]
    made += [_row(one, shown) for one, shown in zip(home.frames, pictures, strict=True)]
    last = [f"Could not be used: {name}: {why}" for name, why in home.unusable] + ([how_on] if how_on else [])
    made += [words(text, style(colour=QUIET, spaceBefore=4)) for text in last]
    first, more = (_EDGE, _EDGE, _WIDE, _HIGH), (_EDGE, _EDGE, _WIDE, _HIGH - _HEAD)
    return pdf_of("Frames brought home", _SIZE, {"first": ([first], _nothing), "more": ([more], _headed)}, made)[0]


def _nothing(_canvas: Canvas, _document: Any) -> None:
    """On the first page the heads stand below the words."""


def _headed(canvas: Canvas, document: Any) -> None:
    heads = _heads(f"page {document.page}")
    heads.wrapOn(canvas, _WIDE, _HEAD)
    heads.drawOn(canvas, _EDGE, _SIZE[1] - _EDGE - _HEAD)


def _heads(last: str = "") -> Any:
    """Heads of the columns, the third with the scale of its colours; as high as `_HEAD`, and never alone at a foot."""
    bold, right = style(10.0, ACCENT, bold=True), style(colour=QUIET, alignment=2)
    cells = [[words(head, bold)] for head in HEADS]
    cells[2] += _scale()
    made = table([[*cells, words(last, right)]], _COLUMNS, high=_HEAD)
    made.keepWithNext = 1
    return made


def _row(one: RealFrame, shown: SheetPictures) -> Any:
    colour = INK if one.taken_in else QUIET
    said = (where_words(one), exposure_words(one), *outcome_words(one))
    text = [words(f"{one.number}. {one.name}", style(9.5, colour, bold=True, spaceAfter=3))]
    text += [words(f"{cap(line)}.", style(9.5, colour, spaceAfter=3)) for line in said if line]
    cells = [
        words(none, style(colour=QUIET)) if pixels is None else picture(jpeg_bytes(pixels), _PICTURE, _TALLEST)
        for pixels, none in ((shown.predicted, "none"), (shown.real, "none"), (shown.difference, "not compared"))
    ]
    return entry([*cells, text], _COLUMNS, _HIGH - _HEAD, _GAP)


def _scale() -> list[Any]:
    """The colours of the difference in stops."""
    at = [tick_at(tick) * _PICTURE for tick in TICKS]
    marks = [
        *(stroke(x, 9, x, 12) for x in at),
        letters(0.0, 1, f"{TICKS[0]:+d} darker", "start"),
        letters(_PICTURE / 2, 1, "0 stops"),
        letters(_PICTURE, 1, f"{TICKS[-1]:+d} brighter", "end"),
    ]
    strip = np.repeat(scale_colours(344)[None], 12, axis=0)
    return [picture(jpeg_bytes(strip), _PICTURE, 6), drawing(_PICTURE, 12, marks)]
