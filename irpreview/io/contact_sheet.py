"""The contact sheet as PDF on A4: each view a row of snap, infrared picture and words, to take along or to print."""

from __future__ import annotations

import io
from collections.abc import Callable
from typing import Any
from xml.sax.saxutils import escape

from PIL import Image

from irpreview.core.scouting.places import length_text
from irpreview.core.scouting.sheet import Entry, PlaceMap, Section, Sheet
from irpreview.io.print_style import ACCENT, INK, LINE, MM, QUIET, register_fonts

A4_PT = (210.0 * MM, 297.0 * MM)
LEAST_PT = 9.0
"""No text on the sheet is smaller than this."""
_EDGE = 13.0 * MM
_PICTURE_WIDE, _PICTURE_HIGH = 56.0 * MM, 42.0 * MM
_GAP = 2.0 * MM
_ROW_GAP = 4.5 * MM
Pictures = Callable[[str], tuple[bytes, bytes]]


def contact_pdf(sheet: Sheet, pictures: Pictures) -> bytes:
    """The whole sheet. pictures: key of an entry -> JPEGs of snap and infrared picture. Same sheet, same bytes."""
    return _Paper(sheet, pictures).made()


class _Paper:
    """Pages that are filled from the top."""

    def __init__(self, sheet: Sheet, pictures: Pictures) -> None:
        from reportlab.pdfgen.canvas import Canvas

        register_fonts("Sheet")
        self.sheet, self.pictures = sheet, pictures
        self.buffer = io.BytesIO()
        self.canvas = Canvas(self.buffer, pagesize=A4_PT, pageCompression=1, invariant=1)
        self.canvas.setTitle(sheet.title)
        self.canvas.setCreator("irpreview")
        self.width = A4_PT[0] - 2 * _EDGE
        self.y = A4_PT[1] - _EDGE
        self.page = 1

    def made(self) -> bytes:
        self.say(self.sheet.title, 15, bold=True, after=4)
        for line in self.sheet.summary:
            self.say(line, LEAST_PT, after=1.5)
        self.y -= 6
        for place_map in self.sheet.maps:
            self.map(place_map)
        for section in self.sheet.sections:
            self.section(section)
        if self.sheet.refused:
            self.heading("Could not be used", "")
            for line in self.sheet.refused:
                self.say(line, LEAST_PT, after=1.5)
        self.heading("Before you go", "")
        for line in self.sheet.cautions:
            self.say(line, LEAST_PT, after=1.5)
        self.foot()
        self.canvas.save()
        return self.buffer.getvalue()

    def paragraph(self, text: str, size: float, *, bold: bool = False, colour: str = INK) -> Any:
        from reportlab.lib.colors import HexColor
        from reportlab.lib.styles import ParagraphStyle
        from reportlab.platypus import Paragraph

        style = ParagraphStyle(
            "words",
            fontName="Sheet-Bold" if bold else "Sheet",
            fontSize=size,
            leading=size * 1.28,
            textColor=HexColor(colour),
            splitLongWords=1,
        )
        return Paragraph(escape(text), style)

    def room(self, high: float) -> None:
        """Start a new page unless this much is left on the page."""
        if self.y - high < _EDGE + 10:
            self.foot()
            self.canvas.showPage()
            self.page += 1
            self.y = A4_PT[1] - _EDGE

    def foot(self) -> None:
        self.canvas.setFont("Sheet", LEAST_PT)
        self.canvas.setFillColor(QUIET)
        self.canvas.drawString(
            _EDGE, _EDGE - 4, "Predicted from daylight snaps by irpreview; a test exposure in the place decides."
        )
        self.canvas.drawRightString(A4_PT[0] - _EDGE, _EDGE - 4, str(self.page))

    def say(self, text: str, size: float, *, bold: bool = False, colour: str = INK, after: float = 0.0) -> None:
        words = self.paragraph(text, size, bold=bold, colour=colour)
        _, high = words.wrap(self.width, 1e6)
        self.room(high)
        words.drawOn(self.canvas, _EDGE, self.y - high)
        self.y -= high + after

    def heading(self, text: str, note: str) -> None:
        self.y -= 4
        self.room(40)
        self.say(text, 11.5, bold=True, colour=ACCENT, after=1)
        if note:
            self.say(note, LEAST_PT, colour=QUIET)
        self.y -= 4

    def section(self, section: Section) -> None:
        rows = [(entry, *self.measured(entry)) for entry in section.entries]
        if section.heading:
            # a heading stays with its first row
            self.room(34 + (rows[0][2] if rows else 0))
            self.heading(section.heading, section.note)
        elif section.note:
            self.say(section.note, LEAST_PT, colour=QUIET, after=4)
        for entry, words, high in rows:
            self.room(high)
            self.row(entry, words, high)
            self.y -= high + _ROW_GAP

    def measured(self, entry: Entry) -> tuple[list[tuple[Any, float, float]], float]:
        """The words beside the pictures as (paragraph, height, space after), and the height of the row."""
        wide, tall = _fitted(self.pictures(entry.key)[0])
        beside = self.width - 2 * (wide + _GAP) - 1.5 * MM
        lines = [
            (self.paragraph(f"{entry.rank}  {entry.name}", 9.5, bold=True), 1.5),
            (self.paragraph(entry.sentence, 9.5, colour=ACCENT), 2.5),
            (self.paragraph(f"Layered contrast {entry.contrast}", LEAST_PT, bold=True), 0.5),
            (self.paragraph(", ".join(entry.figures), LEAST_PT, colour=QUIET), 0.5),
        ]
        if entry.taken:
            lines.append((self.paragraph(entry.taken, LEAST_PT, colour=QUIET), 0.5))
        if entry.alike:
            lines.append((self.paragraph(entry.alike, LEAST_PT, colour=QUIET), 0))
        words = [(line, float(line.wrap(beside, 1e6)[1]), after) for line, after in lines]
        high = sum(h + after for _, h, after in words)
        return words, max(high, tall, 20 * MM)

    def row(self, entry: Entry, words: list[tuple[Any, float, float]], high: float) -> None:
        from reportlab.lib.utils import ImageReader

        for index, jpeg in enumerate(self.pictures(entry.key)):
            wide, tall = _fitted(jpeg)
            x = _EDGE + index * (wide + _GAP)
            self.canvas.drawImage(ImageReader(io.BytesIO(jpeg)), x, self.y - tall, wide, tall)
        x, y = _EDGE + 2 * (wide + _GAP) + 1.5 * MM, self.y
        for line, line_high, after in words:
            line.drawOn(self.canvas, x, y - line_high)
            y -= line_high + after
        self.canvas.setStrokeColor(LINE)
        self.canvas.setLineWidth(0.3)
        self.canvas.line(_EDGE, self.y - high - _ROW_GAP / 2, A4_PT[0] - _EDGE, self.y - high - _ROW_GAP / 2)

    def map(self, place_map: PlaceMap) -> None:
        """A sketch map, north up, and beside it what is to be found at its places."""
        plan = place_map.plan
        scale = min(110.0 * MM / plan.width_m, 90.0 * MM / plan.height_m)
        wide, tall = plan.width_m * scale, plan.height_m * scale
        self.room(tall + 34)
        left, bottom = _EDGE, self.y - tall - 16
        pen = self.canvas
        pen.setStrokeColor(LINE)
        pen.setLineWidth(0.5)
        pen.rect(left, bottom, wide, tall + 16)
        pen.setFillColor(ACCENT)
        for x, y in zip(plan.east_m, plan.north_m, strict=True):
            pen.circle(left + x * scale, bottom + 16 + y * scale, 2.6, stroke=0, fill=1)
        pen.setFillColor(INK)
        pen.setFont("Sheet-Bold", LEAST_PT)
        for name, (x, y) in zip(plan.names, plan.label_at, strict=True):
            pen.drawCentredString(left + x * scale, bottom + 16 + y * scale - 3, name)
        pen.setStrokeColor(INK)
        pen.setLineWidth(0.7)
        bar, bar_left, bar_y = plan.bar_m * scale, left + 8, bottom + 6
        pen.line(bar_left, bar_y, bar_left + bar, bar_y)
        for x in (bar_left, bar_left + bar):
            pen.line(x, bar_y, x, bar_y + 3)
        pen.setFont("Sheet", LEAST_PT)
        pen.drawString(bar_left + bar + 4, bar_y - 1, length_text(plan.bar_m))
        north, top = left + wide - 12, bottom + tall + 8
        pen.line(north, top - 16, north, top)
        pen.line(north - 3, top - 5, north, top)
        pen.line(north + 3, top - 5, north, top)
        pen.drawCentredString(north, top - 24, "N")
        self.y = bottom - 3
        beside, y = left + wide + 4 * MM, bottom + tall + 16
        for at, (name, words) in enumerate(place_map.lines):
            line = self.paragraph(f"{name}: {words}", LEAST_PT)
            _, high = line.wrap(A4_PT[0] - _EDGE - beside, 1e6)
            if y - high < bottom + 10:
                pen.setFont("Sheet", LEAST_PT)
                pen.drawString(beside, bottom, f"and {len(place_map.lines) - at} more places, see below")
                break
            line.drawOn(pen, beside, y - high)
            y -= high + 2
        self.say(
            "Where the places lie to each other, drawn from the snaps' own positions; no paths, walls or water are on "
            "it.",
            LEAST_PT,
            colour=QUIET,
            after=6,
        )


def _fitted(jpeg: bytes) -> tuple[float, float]:
    """Width and height on the page. [pt]"""
    width, height = Image.open(io.BytesIO(jpeg)).size
    scale = min(_PICTURE_WIDE / width, _PICTURE_HIGH / height)
    return width * scale, height * scale
