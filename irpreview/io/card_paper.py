"""The card set by reportlab from its model of blocks: A5 front and back for the bag, narrow pages for the phone.

One setter for both: only the page differs. The front is one page, its picture as large as the words leave room for; the
back runs on to another page where one does not hold it. No letter is smaller than `LEAST_PT`, nothing is cut off.
"""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any
from xml.sax.saxutils import escape

from PIL import Image

from irpreview.core.card.blocks import Block, Front, card_blocks, card_front
from irpreview.core.card.shot_card import ShotCard
from irpreview.core.words.phrases import held
from irpreview.errors import CannotWrite
from irpreview.io.print_style import ACCENT, INK, LINE, MM, NARROW, QUIET, register_fonts
from irpreview.records import ByteArray

if TYPE_CHECKING:
    from reportlab.pdfgen.canvas import Canvas

LEAST_PT = 9.0
"""No text on the card is smaller than this."""
_GAP = 5.0
_NOTES_PT, _RULE_PT = 52.0, 17.0


@dataclass(frozen=True, slots=True)
class Paper:
    """A page for the card. [pt]"""

    width: float
    height: float
    edge: float
    columns: int
    """Of the back."""
    small_picture: float
    """Width of the small pictures beside the words of the front; 0 = below them."""
    text: float
    """Size of the front's text; the lead and the setting are larger."""
    pictures: tuple[float, ...]
    """Heights of the large picture that are tried, large to small."""

    @property
    def inner(self) -> float:
        """Width between the edges."""
        return self.width - 2 * self.edge


A5 = Paper(148.0 * MM, 210.0 * MM, 15.0, 2, 112.0, 11.5, tuple(range(290, 119, -10)))
PHONE = Paper(270.0, 585.0, 12.0, 1, 0.0, 10.5, tuple(range(200, 89, -10)))
"""As wide as a phone's screen is high by 6 to 13, so that 9 pt are 13 px on a screen of 390 px."""


def card_pdf(card: ShotCard, paper: Paper = A5) -> bytes:
    """The card as PDF: front, then back. Same card, same bytes. Raises CannotWrite where the front does not fit."""
    blocks = card_blocks(card)
    made, pages = _set(card, blocks, paper)
    # no new page is begun for the pencil alone
    bare, fewer = _set(card, [one for one in blocks if one.kind != "notes"], paper) if pages > 2 else (made, pages)
    return bare if fewer < pages else made


def _set(card: ShotCard, blocks: Sequence[Block], paper: Paper) -> tuple[bytes, int]:
    """(the PDF, how many pages)."""
    from reportlab.platypus import BaseDocTemplate, Frame, NextPageTemplate, PageBreak, PageTemplate

    register_fonts("Card")
    setter = _Setter(paper)
    front = setter.front(card_front(card))
    buffer = io.BytesIO()
    document = BaseDocTemplate(
        buffer,
        pagesize=(paper.width, paper.height),
        title=f"Infrared card: {card.title}",
        creator="irpreview",
        invariant=1,
    )
    edge, gutter = paper.edge, 10.0
    column = (paper.inner - (paper.columns - 1) * gutter) / paper.columns
    high = paper.height - 2 * edge

    def frame(left: float, width: float) -> Any:
        sides: dict[str, Any] = {"leftPadding": 0, "rightPadding": 0, "topPadding": 0, "bottomPadding": 0}
        return Frame(left / NARROW, edge, width / NARROW, high, **sides)

    frames = [frame(edge + i * (column + gutter), column) for i in range(paper.columns)]
    document.addPageTemplates(
        [
            PageTemplate("front", [frame(edge, paper.inner)], onPage=_narrowed),
            PageTemplate("back", frames, onPage=_narrowed),
        ]
    )
    document.build([*front, NextPageTemplate("back"), PageBreak(), *setter.back(blocks, column)])
    return buffer.getvalue(), document.page


def _narrowed(canvas: Canvas, _document: object) -> None:
    """Letters are set this narrow, as in a family's condensed cut; pictures are widened before by as much."""
    canvas.scale(NARROW, 1.0)


class _Setter:
    """Flowables for one paper."""

    def __init__(self, paper: Paper) -> None:
        from reportlab.lib.colors import HexColor
        from reportlab.lib.styles import ParagraphStyle

        def style(name: str, points: float, *, bold: bool = False, colour: str = INK, leading: float = 1.2) -> Any:
            return ParagraphStyle(
                name,
                fontName="Card-Bold" if bold else "Card",
                fontSize=points,
                leading=points * leading,
                textColor=HexColor(colour),
            )

        self.paper = paper
        text = paper.text
        self.styles = {
            "title": style("title", max(LEAST_PT, text - 1.0), bold=True, colour=QUIET),
            "lead": style("lead", text + 8.5, bold=True, leading=1.12),
            "why": style("why", text),
            "setting": style("setting", text + 8.5, bold=True, leading=1.12),
            "row": style("row", text),
            "label": style("label", text, bold=True, colour=ACCENT),
            "caption": style("caption", LEAST_PT, colour=QUIET),
            "head": style("head", 10.0, bold=True, colour=ACCENT, leading=1.15),
            "body": style("body", LEAST_PT, leading=1.12),
            "bold": style("bold", LEAST_PT, bold=True, leading=1.12),
            "listed": ParagraphStyle(
                "listed", parent=style("listed-parent", LEAST_PT, leading=1.12), leftIndent=13, bulletFontName="Card",
                bulletFontSize=LEAST_PT,
            ),
        }  # fmt: skip

    def text(self, text: str, style: str, mark: str | None = None) -> Any:
        from reportlab.platypus import Paragraph

        return Paragraph(held(escape(text)), self.styles[style], bulletText=mark)

    # ---- the front ---------------------------------------------------------------------------------------------------

    def front(self, front: Front) -> list[Any]:
        """The front, with the largest picture that leaves room for the words. Raises CannotWrite where none does."""
        for high in self.paper.pictures:
            made = self._front_with(front, high)
            room = self.paper.height - 2 * self.paper.edge
            if sum(one.wrap(self.paper.inner / NARROW, 1e5)[1] for one in made) <= room:
                return made
        raise CannotWrite("the front of the card has more words than fit on it; give it a shorter title")

    def _front_with(self, front: Front, high: float) -> list[Any]:
        from reportlab.platypus import Spacer

        paper = self.paper
        words: list[Any] = [
            self.text(front.lead, "lead"),
            *([self.text(front.why, "why")] if front.why else []),
            Spacer(1, _GAP),
            self.text(front.setting, "setting"),
            *([self.text(front.setting_range, "why")] if front.setting_range else []),
            Spacer(1, _GAP),
        ]
        small = [("as the eye sees it", front.snap)]
        if front.framed is not None:
            small.append((front.framed_caption, front.framed))
        head = [
            self.text(front.title, "title"),
            Spacer(1, 3.0),
            self.picture(front.infrared, paper.inner, high),
            Spacer(1, _GAP),
        ]
        if paper.small_picture:
            left = paper.inner - paper.small_picture - 10.0
            words.append(self._rows(front.rows, left))
            beside = [
                one for caption, pixels in small for one in self._captioned(caption, pixels, paper.small_picture, 84.0)
            ]
            return [*head, self._columns([(left + 10.0, words), (paper.small_picture, beside)])]
        half = (paper.inner - 8.0) / 2
        pair = [(half + 8.0 * (i == 0), self._captioned(*one, half, 70.0)) for i, one in enumerate(small)]
        if len(pair) == 1:
            pair.append((half, []))
        return [*head, *words, self._rows(front.rows, paper.inner), Spacer(1, _GAP), self._columns(pair)]

    def _rows(self, rows: Sequence[tuple[str, str]], width: float) -> Any:
        label = 54.0
        cells = [[self.text(name, "label"), self.text(text, "row")] for name, text in rows]
        return self._plain_table(cells, [label, width - label], below=3.0)

    def _columns(self, columns: Sequence[tuple[float, list[Any]]]) -> Any:
        return self._plain_table([[flowables for _, flowables in columns]], [width for width, _ in columns])

    def _plain_table(self, cells: list[list[Any]], widths: Sequence[float], below: float = 0.0) -> Any:
        from reportlab.platypus import Table

        return Table(
            cells,
            colWidths=[width / NARROW for width in widths],
            hAlign="LEFT",
            style=[
                ("VALIGN", (0, 0), (-1, -1), "TOP"),
                ("LEFTPADDING", (0, 0), (-1, -1), 0),
                ("RIGHTPADDING", (0, 0), (-1, -1), 0),
                ("TOPPADDING", (0, 0), (-1, -1), 0),
                ("BOTTOMPADDING", (0, 0), (-1, -1), below),
            ],
        )

    def _captioned(self, caption: str, pixels: ByteArray, width: float, high: float) -> list[Any]:
        from reportlab.platypus import Spacer

        return [self.picture(pixels, width, high), self.text(caption, "caption"), Spacer(1, 4.0)]

    def picture(self, pixels: ByteArray, width: float, high: float) -> Any:
        """A picture as large as fits into width and height [pt]."""
        from reportlab.platypus import Image as Picture

        packed = io.BytesIO()
        Image.fromarray(pixels).save(packed, "JPEG", quality=90)
        packed.seek(0)
        rows, columns = pixels.shape[:2]
        scale = min(width / columns, high / rows)
        return Picture(packed, columns * scale / NARROW, rows * scale, hAlign="LEFT")

    # ---- the back ----------------------------------------------------------------------------------------------------

    def back(self, blocks: Sequence[Block], width: float) -> list[Any]:
        """The parts of the back below each other; a part stays together where a column holds it."""
        from reportlab.platypus import KeepTogether, Spacer

        made: list[Any] = []
        for block in blocks:
            parts = [*self._notes(width)] if block.kind == "notes" else self._block(block, width)
            made += [KeepTogether(parts), Spacer(1, _GAP)]
        return made[:-1]

    def _block(self, block: Block, width: float) -> list[Any]:
        if block.kind == "run":
            first = f'<font name="Card-Bold" color="{ACCENT}">{escape(block.heading)}.</font> '
            return [self._markup(first + escape(" ".join(block.lines)))]
        made = [self.text(block.heading, "head")]
        for index, line in enumerate(block.lines):
            mark = {"numbered": f"{index + 1}.", "care": "•"}.get(block.kind)
            made.append(self.text(line, "listed" if mark else "body", mark))
            if index == 0 and block.table:
                made.append(self._table(block, width))
        if block.table and not block.lines:
            made.append(self._table(block, width))
        return made

    def _markup(self, text: str) -> Any:
        from reportlab.platypus import Paragraph

        return Paragraph(held(text), self.styles["body"])

    def _table(self, block: Block, width: float) -> Any:
        from reportlab.lib.colors import HexColor
        from reportlab.platypus import Table

        cells = [
            [self.text(text, "bold" if index == 0 else "body") for text in row] for index, row in enumerate(block.table)
        ]
        return Table(
            cells,
            colWidths=[width / NARROW * share for share in block.shares],
            hAlign="LEFT",
            style=[
                ("LINEBELOW", (0, 0), (-1, -1), 0.3, HexColor(LINE)),
                ("VALIGN", (0, 0), (-1, -1), "TOP"),
                ("LEFTPADDING", (0, 0), (-1, -1), 0),
                ("RIGHTPADDING", (0, 0), (-1, -1), 3),
                ("TOPPADDING", (0, 0), (-1, -1), 0.5),
                ("BOTTOMPADDING", (0, 0), (-1, -1), 1.5),
            ],
        )

    def _notes(self, width: float) -> list[Any]:
        """Ruled room for a pencil."""
        from reportlab.lib.colors import HexColor
        from reportlab.platypus import HRFlowable

        rules = [
            HRFlowable(width / NARROW, 0.4, color=HexColor(LINE), spaceBefore=_RULE_PT - 1.0, spaceAfter=0)
            for _ in range(int(_NOTES_PT / _RULE_PT))
        ]
        return [self.text("Notes", "head"), *rules]
