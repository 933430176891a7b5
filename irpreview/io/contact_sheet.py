"""The contact sheet as PDF on A4: each view a row of snap, infrared picture and words, to take along or to print."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from typing import TYPE_CHECKING, Any

from irpreview.core.scouting.places import SketchMap, length_text
from irpreview.core.scouting.sheet import Entry, PlaceMap, Section, Sheet
from irpreview.io.paper import (
    A4_PT,
    ACCENT,
    BOLD,
    FONT,
    LEAST_PT,
    LINE,
    MM,
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

if TYPE_CHECKING:
    from reportlab.pdfgen.canvas import Canvas

_EDGE, _FOOT = 13.0 * MM, 10.0
_WIDE, _HIGH = A4_PT[0] - 2 * _EDGE, A4_PT[1] - 2 * _EDGE - _FOOT
_PICTURE_WIDE, _PICTURE_HIGH = 53.4 * MM, 40.0 * MM
_GAP, _ROW_GAP = 2.0 * MM, 4.0 * MM
_COLUMNS = (_PICTURE_WIDE + _GAP, _PICTURE_WIDE + 1.5 * _GAP, _WIDE - 2 * _PICTURE_WIDE - 2.5 * _GAP)
_FOOT_WORDS = "Predicted from daylight snaps by irpreview; a test exposure in the place decides."
Pictures = Callable[[str], tuple[bytes, bytes]]


def contact_pdf(sheet: Sheet, pictures: Pictures) -> bytes:
    """The whole sheet. pictures: key of an entry -> JPEGs of snap and infrared picture. Same sheet, same bytes."""
    made = [words(sheet.title, style(15.0, bold=True, spaceAfter=4)), *_lines(sheet.summary)]
    for place_map in sheet.maps:
        made += _map(place_map)
    for section in sheet.sections:
        made += _section(section, pictures)
    if sheet.refused:
        made += [*_heading("Could not be used"), *_lines(sheet.refused)]
    made += [*_heading("Before you go"), *_lines(sheet.cautions, together=True)]
    frame = (_EDGE, _EDGE + _FOOT, _WIDE, _HIGH)
    return pdf_of(sheet.title, A4_PT, {"page": ([frame], _foot)}, made)[0]


def _foot(canvas: Canvas, document: Any) -> None:
    canvas.setFont(FONT, LEAST_PT)
    canvas.setFillColor(QUIET)
    canvas.drawString(_EDGE, _EDGE - 4, _FOOT_WORDS)
    canvas.drawRightString(A4_PT[0] - _EDGE, _EDGE - 4, str(document.page))


def _heading(text: str, note: str = "") -> Iterator[Any]:
    """It stays with what follows."""
    yield words(text, style(11.5, ACCENT, bold=True, spaceBefore=10, spaceAfter=3, keepWithNext=1))
    if note:
        yield words(note, style(colour=QUIET, keepWithNext=1))


def _lines(lines: Sequence[str], together: bool = False) -> list[Any]:
    return [words(line, style(spaceAfter=1.5, keepWithNext=int(together and line != lines[-1]))) for line in lines]


def _section(section: Section, pictures: Pictures) -> Iterator[Any]:
    if section.heading:
        yield from _heading(section.heading, section.note)
    elif section.note:
        yield words(section.note, style(colour=QUIET, keepWithNext=1))
    for one in section.entries:
        shown = [picture(jpeg, _PICTURE_WIDE, _PICTURE_HIGH) for jpeg in pictures(one.key)]
        yield entry([*shown, _beside(one)], _COLUMNS, _HIGH, _ROW_GAP)


def _beside(one: Entry) -> list[Any]:
    quiet = style(colour=QUIET, spaceAfter=0.5)
    return [
        words(f"{one.rank}  {one.name}", style(9.5, bold=True, spaceAfter=1.5)),
        words(one.sentence, style(9.5, ACCENT, spaceAfter=2.5)),
        words(f"Layered contrast {one.contrast}", style(bold=True, spaceAfter=0.5)),
        *(words(text, quiet) for text in (", ".join(one.figures), one.taken, one.alike) if text),
    ]


# ---- the map ---------------------------------------------------------------------------------------------------------


def _map(place_map: PlaceMap) -> Iterator[Any]:
    """A sketch map, north up, and beside it what is to be found at its places."""
    plan = place_map.plan
    scale = min(110.0 * MM / plan.width_m, 90.0 * MM / plan.height_m)
    left = plan.width_m * scale + 4 * MM
    beside, high = [], plan.height_m * scale + 4
    for at, (name, text) in enumerate(place_map.lines):
        line = words(f"{name}: {text}", style(spaceAfter=2))
        high -= line.wrap(_WIDE - left, high)[1] + 2
        if high < 0:
            beside.append(words(f"and {len(place_map.lines) - at} more places, see below", style()))
            break
        beside.append(line)
    above = ("TOPPADDING", (0, 0), (-1, -1), 8)
    yield table([[drawing(*_shapes(plan, scale)), beside]], [left, _WIDE - left], above, below=3)
    said = (
        "Where the places lie to each other, drawn from the snaps' own positions; no paths, walls or water are on it."
    )
    yield words(said, style(colour=QUIET, spaceAfter=6))


def _shapes(plan: SketchMap, scale: float) -> tuple[float, float, list[Any]]:
    """Width, height and parts of the map: the places, in a strip below them the length of a bar and where north is."""
    from reportlab.graphics.shapes import Circle, Rect
    from reportlab.lib.colors import HexColor

    dot: Any = {"fillColor": HexColor(ACCENT), "strokeColor": None}
    frame: Any = {"fillColor": None, "strokeColor": HexColor(LINE), "strokeWidth": 0.5}
    strip = 16.0
    wide, tall, bar = plan.width_m * scale, plan.height_m * scale + strip, plan.bar_m * scale
    made: list[Any] = [Rect(0, 0, wide, tall, **frame)]
    for x, y in zip(plan.east_m, plan.north_m, strict=True):
        made.append(Circle(x * scale, strip + y * scale, 2.6, **dot))
    for name, (x, y) in zip(plan.names, plan.label_at, strict=True):
        made.append(letters(x * scale, strip + y * scale - 3, name, font=BOLD))
    made += [stroke(8, 6, 8 + bar, 6), *(stroke(x, 6, x, 9) for x in (8, 8 + bar))]
    made.append(letters(12 + bar, 5, length_text(plan.bar_m), "start"))
    north = wide - 8
    made += [stroke(north, 3, north, 15), stroke(north - 3, 10, north, 15), stroke(north + 3, 10, north, 15)]
    made.append(letters(north - 6, 5, "N", "end"))
    return wide, tall, made
