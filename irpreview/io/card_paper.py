"""The card set by reportlab from its model of blocks: A5 front and back for the bag, narrow pages for the phone.

One setter for both: only the page differs. The front is one page, its picture as large as the words leave room for; the
back runs on to another page where one does not hold it. No letter is smaller than `LEAST_PT`, nothing is cut off.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from irpreview.core.card.blocks import Block, Front, card_blocks, card_front
from irpreview.core.card.shot_card import ShotCard
from irpreview.errors import CannotWrite
from irpreview.io.paper import ACCENT, LEAST_PT, MM, QUIET, pdf_of, picture, ruled, style, table, words
from irpreview.io.pictures import jpeg_bytes
from irpreview.records import ByteArray

if TYPE_CHECKING:
    from reportlab.pdfgen.canvas import Canvas

NARROW = 0.9
"""Letters of the card are set this narrow, as in the family's own condensed cut: as wide as other sans-serifs, and
higher."""
_GAP, _GUTTER = 5.0, 10.0 / NARROW
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
        """Width between the edges, in the points that the narrow letters are set in."""
        return (self.width - 2 * self.edge) / NARROW


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
    from reportlab.platypus import NextPageTemplate, PageBreak

    setter = _Setter(paper)
    column = (paper.inner - (paper.columns - 1) * _GUTTER) / paper.columns
    high = paper.height - 2 * paper.edge

    def frame(index: int, width: float) -> tuple[float, float, float, float]:
        return (paper.edge / NARROW + index * (column + _GUTTER), paper.edge, width, high)

    pages = {
        "front": ([frame(0, paper.inner)], _narrowed),
        "back": ([frame(index, column) for index in range(paper.columns)], _narrowed),
    }
    front, back = setter.front(card_front(card)), setter.back(blocks, column)
    size = (paper.width, paper.height)
    return pdf_of(f"Infrared card: {card.title}", size, pages, [*front, NextPageTemplate("back"), PageBreak(), *back])


def _narrowed(canvas: Canvas, _document: object) -> None:
    """Letters are set this narrow, as in a family's condensed cut; pictures are widened before by as much."""
    canvas.scale(NARROW, 1.0)


class _Setter:
    """Flowables for one paper; widths in its narrow points."""

    def __init__(self, paper: Paper) -> None:
        self.paper = paper
        text = paper.text
        self.styles = {
            "title": style(max(LEAST_PT, text - 1.0), QUIET, bold=True, leading=1.2),
            "lead": style(text + 8.5, bold=True, leading=1.12),
            "row": style(text, leading=1.2),
            "label": style(text, ACCENT, bold=True, leading=1.2),
            "caption": style(colour=QUIET, leading=1.2, spaceAfter=4.0),
            "head": style(10.0, ACCENT, bold=True, leading=1.15),
            "body": style(leading=1.12),
            "bold": style(bold=True, leading=1.12),
            "listed": style(leading=1.12, leftIndent=13),
        }

    def text(self, text: str, name: str, mark: str | None = None) -> Any:
        return words(text, self.styles[name], mark)

    # ---- the front ---------------------------------------------------------------------------------------------------

    def front(self, front: Front) -> list[Any]:
        """The front, with the largest picture that leaves room for the words. Raises CannotWrite where none does."""
        for high in self.paper.pictures:
            made = self._front_with(front, high)
            room = self.paper.height - 2 * self.paper.edge
            if sum(one.wrap(self.paper.inner, 1e5)[1] for one in made) <= room:
                return made
        raise CannotWrite("the front of the card has more words than fit on it; give it a shorter title")

    def _front_with(self, front: Front, high: float) -> list[Any]:
        from reportlab.platypus import Spacer

        paper = self.paper
        gap = Spacer(1, _GAP)
        lead = [self.text(front.lead, "lead"), *([self.text(front.why, "row")] if front.why else []), gap]
        setting = [self.text(front.setting, "lead")]
        setting += [self.text(front.setting_range, "row")] if front.setting_range else []
        small = [("as the eye sees it", front.snap)]
        if front.framed is not None:
            small.append((front.framed_caption, front.framed))
        head = [
            self.text(front.title, "title"),
            Spacer(1, 3.0),
            self.picture(front.infrared, paper.inner, high),
            gap,
        ]
        if paper.small_picture:
            aside = paper.small_picture / NARROW
            left = paper.inner - aside - _GUTTER
            said = [*lead, *setting, gap, self._rows(front.rows, left)]
            beside = [one for caption, pixels in small for one in self._captioned(caption, pixels, aside, 84.0)]
            return [*head, table([[said, beside]], [left + _GUTTER, aside])]
        half = (paper.inner - _GUTTER) / 2
        pair = [self._captioned(*one, half, 70.0) for one in small]
        below = table([[*pair, []][:2]], [half + _GUTTER, half])
        return [*head, *lead, *setting, gap, self._rows(front.rows, paper.inner), gap, below]

    def _rows(self, rows: Sequence[tuple[str, str]], width: float) -> Any:
        label = 54.0 / NARROW
        cells = [[self.text(name, "label"), self.text(text, "row")] for name, text in rows]
        return table(cells, [label, width - label], below=3.0)

    def _captioned(self, caption: str, pixels: ByteArray, width: float, high: float) -> list[Any]:
        return [self.picture(pixels, width, high), self.text(caption, "caption")]

    def picture(self, pixels: ByteArray, width: float, high: float) -> Any:
        """A picture as large as fits into width and height."""
        return picture(jpeg_bytes(pixels, 90), width, high, NARROW)

    # ---- the back ----------------------------------------------------------------------------------------------------

    def back(self, blocks: Sequence[Block], width: float) -> list[Any]:
        """The parts of the back below each other; a part stays together where a column holds it."""
        from reportlab.platypus import KeepTogether, Spacer

        made: list[Any] = []
        for block in blocks:
            parts = self._notes(width) if block.kind == "notes" else self._block(block, width)
            made += [KeepTogether(parts), Spacer(1, _GAP)]
        return made[:-1]

    def _block(self, block: Block, width: float) -> list[Any]:
        if block.kind == "run":
            return [words(" ".join(block.lines), self.styles["body"], run_in=f"{block.heading}.")]
        made = [self.text(block.heading, "head")]
        for index, line in enumerate(block.lines):
            mark = {"numbered": f"{index + 1}.", "care": "•"}.get(block.kind)
            made.append(self.text(line, "listed" if mark else "body", mark))
        if block.table:
            made.insert(2 if block.lines else 1, self._table(block, width))
        return made

    def _table(self, block: Block, width: float) -> Any:
        cells = [
            [self.text(text, "body" if index else "bold") for text in row] for index, row in enumerate(block.table)
        ]
        above, right = ("TOPPADDING", (0, 0), (-1, -1), 0.5), ("RIGHTPADDING", (0, 0), (-1, -1), 3)
        return table(cells, [width * share for share in block.shares], ruled(), above, right, below=1.5)

    def _notes(self, width: float) -> list[Any]:
        """Ruled room for a pencil."""
        count = int(_NOTES_PT / _RULE_PT)
        return [self.text("Notes", "head"), table([[""]] * count, [width], ruled(0.4), high=_RULE_PT)]
