"""The card on paper: one A5 page in letters that can be read outdoors, its back only where one page does not hold all.

Above: title, both pictures, the few figures that matter in large letters, and the cautions. Below: the parts in two
columns. No letter is smaller than `LEAST_PT`; what does not fit at that size goes on the back, nothing is cut off.
"""

from __future__ import annotations

import io
import itertools
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Any
from xml.sax.saxutils import escape

from PIL import Image

from irpreview.core.card.blocks import Block, Figure, card_blocks, footer_words, key_figures
from irpreview.errors import CannotWrite
from irpreview.io.print_style import ACCENT, INK, LINE, MM, QUIET, font_files, held
from irpreview.records import ByteArray, ShotCard

A5_PT = (148.0 * MM, 210.0 * MM)
LEAST_PT = 7.0
"""No text on paper is smaller than this."""
TEXT_SIZES_PT = tuple(round(8.5 - 0.1 * step, 1) for step in range(16))
"""Sizes of the body text that are tried, large to small; the last is LEAST_PT."""
NARROW = 0.9
"""Letters are set this narrow, as in the family's own condensed cut: as wide as other sans-serifs, and higher."""

_EDGE, _GUTTER = 5.0 * MM, 3.2 * MM
_PICTURES_PT = ((114.0, 86.0), (96.0, 72.0))
"""Most width and height of each of the two pictures; the smaller where that saves the back."""
_PAD = 5.0
_PICTURE_GAP = 5.0
_LEAST_CAUTIONS_PT = 200.0
"""Least width of the cautions, also below narrow pictures."""
_NOTES_PT = 36.0
"""Least room for a pencil."""


def card_pdf(card: ShotCard) -> bytes:
    """The card as PDF, text as large as fits: one A5 page, or front and back where one page is too small.

    Raises CannotWrite when both sides do not hold it at `LEAST_PT`.
    """
    from reportlab.pdfgen.canvas import Canvas

    _register_fonts()
    pictures = [_jpeg(pixels) for pixels in (card.snap, card.infrared)]
    large, small = _PICTURES_PT
    plan = _largest(card, 1, large) or _largest(card, 1, small) or _largest(card, 2, large)
    if plan is None:
        raise CannotWrite("the card has more text than fits on both sides of an A5 page; leave out some sentences")
    buffer = io.BytesIO()
    canvas = Canvas(buffer, pagesize=A5_PT, pageCompression=1, invariant=1)
    canvas.setTitle(f"Infrared card: {card.title}")
    canvas.setCreator("irpreview")
    plan.draw(canvas, pictures)
    canvas.save()
    return buffer.getvalue()


def _largest(card: ShotCard, sides: int, most: tuple[float, float]) -> _Plan | None:
    """The plan with the largest text that fits; most: width and height that a picture may take [pt]"""
    found = _Plan.of(card, LEAST_PT, sides, most)
    if found is None:
        return None
    low, high = 0, len(TEXT_SIZES_PT) - 2
    while low <= high:  # the smaller the text, the surer it fits
        middle = (low + high) // 2
        plan = _Plan.of(card, TEXT_SIZES_PT[middle], sides, most)
        if plan is None:
            low = middle + 1
        else:
            found, high = plan, middle - 1
    return found


def _register_fonts() -> None:
    from reportlab.pdfbase import pdfmetrics
    from reportlab.pdfbase.ttfonts import TTFont

    fonts = font_files()
    pdfmetrics.registerFont(TTFont("Card", str(fonts["regular"])))
    pdfmetrics.registerFont(TTFont("Card-Bold", str(fonts["bold"])))
    pdfmetrics.registerFontFamily("Card", normal="Card", bold="Card-Bold", italic="Card", boldItalic="Card-Bold")


def _jpeg(pixels: ByteArray) -> bytes:

    packed = io.BytesIO()
    Image.fromarray(pixels).save(packed, "JPEG", quality=88)
    return packed.getvalue()


# ---- what stands where -------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Part:
    """Flowables that stay together, with their height [pt] at the width they were made for."""

    flowables: tuple[Any, ...]
    height: float
    heading: str = ""

    @classmethod
    def of(cls, flowables: Iterable[Any], width: float, heading: str = "") -> _Part:
        made = tuple(flowables)
        return cls(made, sum(one.wrap(width / NARROW, 1e5)[1] for one in made), heading)

    def draw(self, canvas: Any, left: float, top: float, width: float) -> float:
        """Draw below `top` [pt]; returns where it ends."""
        y = top
        for one in self.flowables:
            y -= one.wrapOn(canvas, width / NARROW, 1e5)[1]
            canvas.saveState()
            canvas.translate(left, y)
            canvas.scale(NARROW, 1.0)
            one.drawOn(canvas, 0, 0)
            canvas.restoreState()
        return y


@dataclass(frozen=True, slots=True)
class _Head:
    """The band above the columns: title, pictures and cautions at the left, the large figures framed at the right."""

    title: _Part
    shown: tuple[tuple[float, float], ...]
    """Width and height of both pictures [pt]"""
    cautions: _Part
    figures: _Part
    wide: float
    """Of the left side [pt]"""
    gap: float

    @classmethod
    def of(
        cls, card: ShotCard, blocks: Sequence[Block], styles: _Styles, most: tuple[float, float]
    ) -> tuple[_Head, list[Block]]:
        """The band, and the blocks that are not in it. Short ones fill what room the figures leave in their frame."""
        shown = _shown_sizes(card, most)
        wide = max(sum(width for width, _ in shown) + _PICTURE_GAP, _LEAST_CAUTIONS_PT)
        title = _Part.of([styles.paragraph(card.title, "title")], wide)
        cautions = [one for block in blocks if block.kind == "care" for one in styles.block(block, wide)]
        figures = styles.figures(key_figures(card))
        for block in blocks:
            if block.kind == "settings":
                figures += styles.others(block)
        beside = A5_PT[0] - 2 * _EDGE - wide - _GUTTER - 2 * _PAD
        made = cls(title, shown, _Part.of(cautions, wide), _Part.of(figures, beside), wide, styles.gap)
        rest = [block for block in blocks if block.kind not in ("care", "settings")]
        for block in [block for block in rest if block.kind in ("run", "text") and not block.table]:
            more = _Part.of([*figures, *styles.others(block)], beside)
            if more.height + 2 * _PAD <= made._left_height():
                figures = [*more.flowables]
                made = replace(made, figures=more)
                rest.remove(block)
        return made, rest

    def _left_height(self) -> float:
        return self.title.height + 2 * self.gap + _pictures_height(self.shown) + self.cautions.height

    @property
    def height(self) -> float:
        return max(self._left_height(), self.figures.height + 2 * _PAD)

    def draw(self, canvas: Any, pictures: Sequence[bytes], top: float) -> None:
        y = self.title.draw(canvas, _EDGE, top, self.wide) - self.gap
        _draw_pictures(canvas, self.shown, pictures, _EDGE, y)
        self.cautions.draw(canvas, _EDGE, y - _pictures_height(self.shown) - self.gap, self.wide)
        left, right = _EDGE + self.wide + _GUTTER, A5_PT[0] - _EDGE
        canvas.setStrokeColor(INK)
        canvas.setLineWidth(0.9)
        canvas.roundRect(left, top - self.height, right - left, self.height, 3)
        self.figures.draw(canvas, left + _PAD, top - _PAD, right - left - 2 * _PAD)


@dataclass(frozen=True, slots=True)
class _Plan:
    """Everything placed, for one size of text."""

    size: float
    head: _Head
    footer: _Part
    back_footer: _Part
    front: tuple[tuple[_Part, ...], ...]
    back: tuple[tuple[_Part, ...], ...]
    back_title: _Part

    @classmethod
    def of(cls, card: ShotCard, size: float, sides: int, most: tuple[float, float]) -> _Plan | None:
        """The card at body text of `size` [pt] on one or two sides, or None when it does not fit."""
        width, height = A5_PT
        inner, column = width - 2 * _EDGE, (width - 2 * _EDGE - _GUTTER) / 2
        styles = _Styles(size)
        gap = styles.gap
        head, rest = _Head.of(card, card_blocks(card), styles, most)
        parts = [
            _Part.of(styles.block(block, column), column, block.heading) for block in rest if block.kind != "notes"
        ]
        title = _Part.of([styles.paragraph(card.title, "title")], inner)
        footer = _Part.of([styles.paragraph(footer_words(card), "quiet")], inner)
        room = height - 2 * _EDGE - head.height - gap - footer.height - gap
        if sides == 1:
            columns, left = _packed(parts, (room, room), gap, spare=_NOTES_PT)
            if left:
                return None
            return cls(size, head, footer, footer, columns, (), title)
        room -= 2 * footer.height  # the front's footer also names what stands on the back
        # What is needed first stays on the front, so here no other choice is tried.
        first, later = _filled_in_order(parts, room, gap)
        second, left = _filled_in_order(later, room, gap)
        columns = (tuple(first), tuple(second))
        full = height - 2 * _EDGE - title.height - gap - footer.height - gap
        # The back has room for long sentences: what is taller than a column there may run on.
        if _filled(left, gap) > 2.0 * full:
            return None  # before anything long is cut in vain
        back, over = _packed(_in_pieces(left, full, column), (full, full), gap, spare=_NOTES_PT)
        if over:
            return None
        names = "; ".join(dict.fromkeys(part.heading for part in left if part.heading))
        told = [
            styles.paragraph(f"On the back: {names}; notes.", "quiet"),
            styles.paragraph(footer_words(card), "quiet"),
        ]
        return cls(size, head, _Part.of(told, inner), footer, columns, back, title)

    def draw(self, canvas: Any, pictures: Sequence[bytes]) -> None:
        top, inner, gap = A5_PT[1] - _EDGE, A5_PT[0] - 2 * _EDGE, self.head.gap
        self.head.draw(canvas, pictures, top)
        self._columns(canvas, self.front, top - self.head.height - gap, self.footer, notes=not self.back)
        canvas.showPage()
        if self.back:
            top = self.back_title.draw(canvas, _EDGE, top, inner) - gap
            self._columns(canvas, self.back, top, self.back_footer, notes=True)
            canvas.showPage()

    def _columns(
        self, canvas: Any, columns: Sequence[Sequence[_Part]], top: float, footer: _Part, *, notes: bool
    ) -> None:
        width = A5_PT[0]
        column = (width - 2 * _EDGE - _GUTTER) / 2
        least = _Styles(self.size).gap
        footer.draw(canvas, _EDGE, _EDGE + footer.height, width - 2 * _EDGE)
        bottom = _EDGE + footer.height + least
        for index, parts in enumerate(columns):
            left = _EDGE + index * (column + _GUTTER)
            ruled = notes and index == len(columns) - 1
            spare = top - bottom - _filled(parts, least)
            # Room left over goes between the parts, so that columns end level.
            gap = least if ruled or len(parts) < 2 else least + min(spare / (len(parts) - 1), 2.0 * least)
            y = top
            for part in parts:
                y = part.draw(canvas, left, y, column) - gap
            if ruled:
                _draw_notes(canvas, left, bottom, column, y - bottom, self.size)


def _filled(parts: Sequence[_Part], gap: float) -> float:
    return sum(part.height + gap for part in parts)


def _packed(
    parts: Sequence[_Part], rooms: tuple[float, float], gap: float, spare: float = 0.0
) -> tuple[tuple[tuple[_Part, ...], ...], list[_Part]]:
    """Parts into two columns of the given heights, whole and in order where it goes; and those that found no room.

    spare: what has to stay free below the second column [pt]. When filling in order leaves something over, the parts
    of the first column are picked so that least of it stays empty.
    """
    if _filled(parts, gap) > sum(rooms) - spare + 2.0 * gap:
        return ((), ()), list(parts)
    first, later = _filled_in_order(parts, rooms[0], gap)
    second, left = _filled_in_order(later, rooms[1] - spare, gap)
    if left and len(parts) <= _MOST_TRIED:
        best = 0.0
        for others in itertools.product((True, False), repeat=max(len(parts) - _STAY, 0)):
            picked = ((True,) * _STAY + others)[: len(parts)]
            some = [part for part, here in zip(parts, picked, strict=True) if here]
            if best < (height := _filled(some, gap)) <= rooms[0] + gap:
                best, first = height, some
        second, left = _filled_in_order([part for part in parts if part not in first], rooms[1] - spare, gap)
    return (tuple(first), tuple(second)), left


_STAY = 3
"""The first parts begin the first column on every card: they are looked for with cold hands."""
_MOST_TRIED = 16
"""Parts up to which every choice is tried: 2^13 sums, some hundredths of a second."""


def _filled_in_order(parts: Sequence[_Part], room: float, gap: float) -> tuple[list[_Part], list[_Part]]:
    """Those that fit one below the other, and the others."""
    here: list[_Part] = []
    later: list[_Part] = []
    for part in parts:
        (here if _filled([*here, part], gap) <= room + gap else later).append(part)
    return here, later


def _in_pieces(parts: Iterable[_Part], room: float, width: float) -> list[_Part]:
    """Parts taller than a column, cut between their sentences and lines; the heading stays with what follows it."""
    cut = []
    for part in parts:
        if part.height <= room:
            cut.append(part)
            continue
        pieces = [piece for one in part.flowables for piece in _cut(one, room / 3.0, width)]
        cut.append(_Part.of(pieces[:2], width, part.heading))
        cut += [_Part.of([piece], width, part.heading) for piece in pieces[2:]]
    return cut


def _cut(one: Any, most: float, width: float) -> list[Any]:
    """A paragraph in pieces of at most that height [pt]; a table stays whole."""
    if one.wrap(width / NARROW, 1e5)[1] <= most:
        return [one]
    first, *rest = one.split(width / NARROW, most) or [one]
    return [first, *(piece for left in rest for piece in _cut(left, most, width))]


def _shown_sizes(card: ShotCard, most: tuple[float, float]) -> tuple[tuple[float, float], ...]:
    """Width and height of both pictures on paper [pt]"""
    sizes = []
    for pixels in (card.snap, card.infrared):
        rows, columns = pixels.shape[:2]
        scale = min(most[0] / columns, most[1] / rows)
        sizes.append((columns * scale, rows * scale))
    return tuple(sizes)


def _pictures_height(shown: Iterable[tuple[float, float]]) -> float:
    """Of the pictures with their captions [pt]"""
    return max(high for _, high in shown) + 1.25 * LEAST_PT


def _draw_pictures(
    canvas: Any, shown: Iterable[tuple[float, float]], pictures: Sequence[bytes], left: float, top: float
) -> None:
    from reportlab.lib.utils import ImageReader

    x = left
    for (wide, high), data, caption in zip(shown, pictures, ("as the eye sees it", "as infrared"), strict=True):
        canvas.drawImage(ImageReader(io.BytesIO(data)), x, top - high, wide, high)
        canvas.setFont("Card", LEAST_PT)
        canvas.setFillColor(QUIET)
        canvas.drawString(x, top - high - 1.1 * LEAST_PT, caption)
        x += wide + _PICTURE_GAP


def _draw_notes(canvas: Any, left: float, bottom: float, width: float, height: float, size: float) -> None:
    """Ruled room for a pencil."""
    canvas.setFont("Card-Bold", size + 1)
    canvas.setFillColor(ACCENT)
    canvas.drawString(left, bottom + height - size, "Notes")
    canvas.setStrokeColor(LINE)
    canvas.setLineWidth(0.4)
    y = bottom
    while y <= bottom + height - size - 10:
        canvas.line(left, y, left + width, y)
        y += 14


# ---- letters -----------------------------------------------------------------------------------------------------


class _Styles:
    """Paragraph styles for one size of body text [pt]"""

    def __init__(self, size: float) -> None:
        from reportlab.lib.colors import HexColor
        from reportlab.lib.styles import ParagraphStyle

        def style(name: str, points: float, *, bold: bool = False, colour: str = INK, leading: float = 1.13) -> Any:
            return ParagraphStyle(
                name,
                fontName="Card-Bold" if bold else "Card",
                fontSize=points,
                leading=points * leading,
                textColor=HexColor(colour),
            )

        self.gap = size * 0.5
        small = max(LEAST_PT, size * 0.9)
        self.styles = {
            "title": style("title", 13.0, bold=True, leading=1.1),
            "label": style("label", LEAST_PT, bold=True, colour=ACCENT),
            "value": style("value", max(11.0, size + 2.5), bold=True, leading=1.14),
            "setting": style("setting", max(14.0, size + 5.0), bold=True, leading=1.12),
            "head": style("head", size + 1.2, bold=True, colour=ACCENT),
            "body": style("body", size),
            "bold": style("bold", size, bold=True),
            "small": style("small", small),
            "quiet": style("quiet", LEAST_PT, colour=QUIET),
        }
        self.styles["listed"] = ParagraphStyle(
            "listed",
            parent=self.styles["body"],
            leftIndent=size * 1.4,
            bulletIndent=0,
            bulletFontName="Card",
            bulletFontSize=size,
        )

    def paragraph(self, text: str, style: str, mark: str | None = None) -> Any:
        from reportlab.platypus import Paragraph

        return Paragraph(held(escape(text)), self.styles[style], bulletText=mark)

    def markup(self, text: str, style: str) -> Any:
        from reportlab.platypus import Paragraph

        return Paragraph(held(text), self.styles[style])

    def figures(self, figures: Iterable[Figure]) -> list[Any]:
        """The panel of large figures."""
        from reportlab.platypus import Spacer

        made: list[Any] = []
        for figure in figures:
            if made:
                made.append(Spacer(1, 3.0))
            made.append(self.paragraph(figure.label, "label"))
            value = figure.value.replace(" min ", "\u00a0min\u00a0")
            made.append(self.paragraph(value, "setting" if figure.label == "Setting" else "value"))
            made += [self.paragraph(note, "small") for note in figure.notes]
        return made

    def others(self, block: Block) -> list[Any]:
        """The other settings below the large figures."""
        from reportlab.platypus import Spacer

        label = self.paragraph(block.heading, "label")
        lines = [" ".join(block.lines)] if block.kind == "run" else block.lines
        return [Spacer(1, 3.0), label, *(self.paragraph(line, "small") for line in lines)]

    def block(self, block: Block, width: float) -> list[Any]:
        """Heading, lines and table of one part."""
        body = "small" if block.kind == "small" else "body"
        if block.lines and (len(block.lines) == 1 or block.kind in ("run", "small")) and block.kind != "numbered":
            # A short part costs no line for its heading.
            text = " ".join(block.lines)
            first = f'<font name="Card-Bold" color="{ACCENT}">{escape(block.heading)}.</font> {escape(text)}'
            return [self.markup(first, body), *([self._table(block, width)] if block.table else [])]
        made = [self.paragraph(block.heading, "head")]
        for index, line in enumerate(block.lines):
            if block.kind in ("numbered", "care"):
                mark = f"{index + 1}." if block.kind == "numbered" else "•"
                made.append(self.paragraph(line, "listed", mark))
            else:
                made.append(self.paragraph(line, body))
            if index == 0 and block.table:
                made.append(self._table(block, width))
        if block.table and not block.lines:
            made.append(self._table(block, width))
        return made

    def _table(self, block: Block, width: float) -> Any:
        from reportlab.lib.colors import HexColor
        from reportlab.platypus import Table, TableStyle

        cells = [
            [self.paragraph(text, "bold" if index == 0 else "body") for text in row]
            for index, row in enumerate(block.table)
        ]
        table = Table(cells, colWidths=[width / NARROW * share for share in block.shares], hAlign="LEFT")
        table.setStyle(
            TableStyle(
                [
                    ("LINEBELOW", (0, 0), (-1, -1), 0.3, HexColor(LINE)),
                    ("VALIGN", (0, 0), (-1, -1), "TOP"),
                    ("LEFTPADDING", (0, 0), (-1, -1), 0),
                    ("RIGHTPADDING", (0, 0), (-1, -1), 2.5),
                    ("TOPPADDING", (0, 0), (-1, -1), 0.4),
                    ("BOTTOMPADDING", (0, 0), (-1, -1), 1.2),
                ]
            )
        )
        return table
