"""The card as files: PDF on A5 for the bag, PNG for the phone, JSON for programs.

All three show the same blocks (`core.card_blocks`). Text in the PDF is vector text in an embedded font, so
it can be searched, copied and printed anywhere.
"""

from __future__ import annotations

import io
import json
import os
import re
import tempfile
from collections.abc import Sequence
from functools import lru_cache
from importlib import resources
from importlib.util import find_spec
from pathlib import Path
from typing import Any, Literal
from xml.sax.saxutils import escape

import numpy as np

from irpreview.core.card_blocks import Block, card_blocks, footer_words
from irpreview.core.shotcard import card_dict
from irpreview.errors import BadValue, CannotWrite
from irpreview.records import ByteArray, ShotCard

CardKind = Literal["pdf", "png", "json"]
CARD_KINDS: tuple[CardKind, ...] = ("pdf", "png", "json")

PNG_WIDTH_PX = 1080
"""A phone's width in pixels; text stays readable without zooming."""
MM = 72.0 / 25.4
A5_PT = (148.0 * MM, 210.0 * MM)
PICTURE_HEIGHT_PT = 31.0 * MM
TEXT_SIZES_PT = tuple(round(6.5 - 0.1 * step, 1) for step in range(32))
"""Sizes of the body text that are tried, large to small."""
INK = "#1c1b19"
QUIET = "#55524d"
PAPER = "#ffffff"
LINE = "#b9b4aa"
ACCENT = "#7a2e1d"


def card_json(card: ShotCard) -> str:
    """The card as one JSON object, `data/schemas/card.json`."""
    return json.dumps(card_dict(card), ensure_ascii=False, indent=1, allow_nan=False) + "\n"


def card_schema() -> dict[str, Any]:
    """The JSON schema that `card_json` keeps."""
    text = resources.files("irpreview").joinpath("data/schemas/card.json").read_text(encoding="utf-8")
    schema: dict[str, Any] = json.loads(text)
    return schema


def file_stem(title: str) -> str:
    """A safe file name from a title: letters, digits, dash and underscore."""
    stem = re.sub(r"[^A-Za-z0-9_-]+", "-", title).strip("-._")[:60]
    return stem or "card"


def write_card(card: ShotCard, folder: Path, kinds: Sequence[CardKind] = CARD_KINDS) -> tuple[Path, ...]:
    """Write the card in the asked kinds into `folder` (made if missing); returns the paths in that order.

    Each file appears whole or not at all. Raises CannotWrite, and BadValue for an unknown kind.
    """
    stem = file_stem(card.title) + "-card"
    written = []
    for kind in kinds:
        if kind == "pdf":
            data = card_pdf(card)
        elif kind == "png":
            data = card_png(card)
        elif kind == "json":
            data = card_json(card).encode()
        else:
            raise BadValue(f"a card can be pdf, png or json, not {kind!r}; choose one of these")
        written.append(_write_whole(folder / f"{stem}.{kind}", data))
    return tuple(written)


def _write_whole(path: Path, data: bytes) -> Path:
    name = None
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with tempfile.NamedTemporaryFile(dir=path.parent, prefix=".card-", delete=False) as file:
            name = file.name
            file.write(data)
        os.chmod(name, 0o644)
        os.replace(name, path)
    except OSError as error:
        if name is not None:
            Path(name).unlink(missing_ok=True)
        raise CannotWrite(
            f"cannot write {path}: {error.strerror or error}; choose a folder that you may write to"
        ) from error
    return path


# ---- fonts -------------------------------------------------------------------------------------------------------


@lru_cache(maxsize=1)
def font_files() -> dict[str, Path]:
    """Regular and bold of a free font with wide coverage, as it comes with the plotting library."""
    spec = find_spec("matplotlib")
    if spec is None or spec.origin is None:
        raise CannotWrite("the card's font is missing: matplotlib is not installed; install irpreview again")
    folder = Path(spec.origin).parent / "mpl-data" / "fonts" / "ttf"
    files = {"regular": folder / "DejaVuSans.ttf", "bold": folder / "DejaVuSans-Bold.ttf"}
    for path in files.values():
        if not path.is_file():
            raise CannotWrite(f"the card's font {path.name} is missing from matplotlib; install irpreview again")
    return files


# ---- PDF ---------------------------------------------------------------------------------------------------------


def card_pdf(card: ShotCard) -> bytes:
    """One A5 page. The text is as large as fits, a little smaller when there is more to say; nothing is cut off."""
    pictures = [_jpeg(pixels) for pixels in (card.snap, card.infrared)]
    found = None
    low, high = 0, len(TEXT_SIZES_PT) - 1
    while low <= high:  # the smaller the text, the surer it fits
        middle = (low + high) // 2
        data = _pdf_at(card, TEXT_SIZES_PT[middle], pictures)
        if data is None:
            low = middle + 1
        else:
            found, high = data, middle - 1
    if found is not None:
        return found
    raise CannotWrite("the card has more text than fits on one A5 page; leave out some sentences")


def _jpeg(pixels: ByteArray) -> bytes:
    from PIL import Image

    packed = io.BytesIO()
    Image.fromarray(pixels).save(packed, "JPEG", quality=88)
    return packed.getvalue()


def _pdf_at(card: ShotCard, size_pt: float, pictures: Sequence[bytes]) -> bytes | None:
    """The page with body text of `size_pt`, or None when it does not fit. pictures: snap and infrared as JPEG."""
    from reportlab.pdfbase import pdfmetrics
    from reportlab.pdfbase.ttfonts import TTFont
    from reportlab.pdfgen.canvas import Canvas
    from reportlab.platypus import Frame

    fonts = font_files()
    pdfmetrics.registerFont(TTFont("Card", str(fonts["regular"])))
    pdfmetrics.registerFont(TTFont("Card-Bold", str(fonts["bold"])))
    pdfmetrics.registerFontFamily("Card", normal="Card", bold="Card-Bold", italic="Card", boldItalic="Card-Bold")

    width, height = A5_PT
    edge, gutter = 6.0 * MM, 3.5 * MM
    column = (width - 2 * edge - gutter) / 2
    buffer = io.BytesIO()
    canvas = Canvas(buffer, pagesize=A5_PT, pageCompression=1, invariant=1)
    canvas.setTitle(f"Infrared card: {card.title}")
    canvas.setCreator("irpreview")
    top = height - edge
    canvas.setFillColor(INK)
    canvas.setFont("Card-Bold", 11)
    canvas.drawString(edge, top - 9, _fitted(card.title, "Card-Bold", 11, width - 2 * edge))
    top -= 15
    picture_height = _draw_pictures(canvas, card, pictures, edge, top, column, gutter)
    top -= picture_height + 4
    bottom = edge + 8
    canvas.setFont("Card", 4.6)
    canvas.setFillColor(QUIET)
    canvas.drawString(edge, edge - 1, _fitted(footer_words(card), "Card", 4.6, width - 2 * edge))
    blocks = card_blocks(card)
    story = [flowable for block in blocks if block.kind != "notes" for flowable in _flowables(block, size_pt, column)]
    for index in range(2):
        left = edge + index * (column + gutter)
        frame = Frame(left, bottom, column, top - bottom, 0, 0, 0, 0, showBoundary=0)
        frame.addFromList(story, canvas)
        lowest = frame._y
    if story or lowest - bottom < 44:
        return None
    _draw_notes(canvas, edge + column + gutter, bottom, column, lowest - bottom - 4)
    canvas.showPage()
    canvas.save()
    return buffer.getvalue()


def _fitted(text: str, font: str, size: float, width: float) -> str:
    from reportlab.pdfbase.pdfmetrics import stringWidth

    if stringWidth(text, font, size) <= width:
        return text
    while text and stringWidth(text + "…", font, size) > width:
        text = text[:-1]
    return text.rstrip() + "…"


def _draw_pictures(
    canvas: Any, card: ShotCard, pictures: Sequence[bytes], left: float, top: float, column: float, gutter: float
) -> float:
    """Snap and infrared picture side by side with captions; returns the height used [pt]."""
    from reportlab.lib.utils import ImageReader

    used = 0.0
    pairs: tuple[tuple[ByteArray, str], ...] = ((card.snap, "as the eye sees it"), (card.infrared, "as infrared"))
    for index, (pixels, caption) in enumerate(pairs):
        rows, columns = pixels.shape[:2]
        scale = min(column / columns, PICTURE_HEIGHT_PT / rows)
        wide, high = columns * scale, rows * scale
        x = left + index * (column + gutter) + (column - wide) / 2
        canvas.drawImage(ImageReader(io.BytesIO(pictures[index])), x, top - high, wide, high)
        canvas.setFont("Card", 5)
        canvas.setFillColor(QUIET)
        canvas.drawString(x, top - high - 6.5, caption)
        used = max(used, high + 8)
    return used


def _flowables(block: Block, size: float, column: float) -> list[Any]:
    from reportlab.lib.colors import HexColor
    from reportlab.lib.styles import ParagraphStyle
    from reportlab.platypus import Paragraph, Spacer, Table, TableStyle

    small = size * 0.88 if block.kind == "small" else size
    head = ParagraphStyle(
        "head", fontName="Card-Bold", fontSize=size + 0.6, leading=(size + 0.6) * 1.18, textColor=HexColor(ACCENT)
    )
    head.keepWithNext = 1
    body = ParagraphStyle("body", fontName="Card", fontSize=small, leading=small * 1.17, textColor=HexColor(INK))
    strong = ParagraphStyle(
        "strong", parent=body, fontName="Card-Bold", fontSize=size + 2.4, leading=(size + 2.4) * 1.2
    )
    listed = ParagraphStyle(
        "listed", parent=body, leftIndent=small * 1.7, bulletIndent=0, bulletFontName="Card", bulletFontSize=small
    )
    result: list[Any] = [Paragraph(escape(block.heading), head)]
    for index, line in enumerate(block.lines):
        if block.kind == "numbered":
            result.append(Paragraph(escape(line), listed, bulletText=f"{index + 1}."))
        else:
            style = strong if block.kind == "strong" and index == 0 else body
            result.append(Paragraph(escape(line), style))
    if block.table:
        cell = ParagraphStyle("cell", parent=body, fontSize=small * 0.94, leading=small * 1.1)
        first = ParagraphStyle("first", parent=cell, fontName="Card-Bold")
        cells = [
            [Paragraph(escape(text), first if index == 0 else cell) for text in row]
            for index, row in enumerate(block.table)
        ]
        shares = (0.06, 0.14, 0.33, 0.24, 0.14, 0.09)
        table = Table(cells, colWidths=[column * share for share in shares])
        table.setStyle(
            TableStyle(
                [
                    ("LINEBELOW", (0, 0), (-1, -1), 0.25, HexColor(LINE)),
                    ("VALIGN", (0, 0), (-1, -1), "TOP"),
                    ("LEFTPADDING", (0, 0), (-1, -1), 0.6),
                    ("RIGHTPADDING", (0, 0), (-1, -1), 0.6),
                    ("TOPPADDING", (0, 0), (-1, -1), 0.5),
                    ("BOTTOMPADDING", (0, 0), (-1, -1), 0.9),
                ]
            )
        )
        result.append(table)
    result.append(Spacer(1, size * 0.45))
    return result


def _draw_notes(canvas: Any, left: float, bottom: float, width: float, height: float) -> None:
    """Ruled room for a pencil."""
    canvas.setFont("Card-Bold", 6)
    canvas.setFillColor(ACCENT)
    canvas.drawString(left, bottom + height - 6, "Notes")
    canvas.setStrokeColor(LINE)
    canvas.setLineWidth(0.3)
    y = bottom + height - 18
    while y >= bottom:
        canvas.line(left, y, left + width, y)
        y -= 12


# ---- PNG ---------------------------------------------------------------------------------------------------------


class _Sheet:
    """A growing sheet of paper, written from top to bottom."""

    def __init__(self, width: int, edge: int) -> None:
        from PIL import Image, ImageDraw

        self.edge, self.width = edge, width
        self.image = Image.new("RGB", (width, 2000), PAPER)
        self.pen = ImageDraw.Draw(self.image)
        self.y = edge

    @lru_cache(maxsize=16)  # noqa: B019  a sheet lives as long as one file
    def font(self, size: int, bold: bool = False) -> Any:
        from PIL import ImageFont

        return ImageFont.truetype(str(font_files()["bold" if bold else "regular"]), size)

    def room(self, height: int) -> None:
        from PIL import Image, ImageDraw

        if self.y + height + self.edge > self.image.height:
            longer = Image.new("RGB", (self.width, max(self.image.height * 2, self.y + height + self.edge)), PAPER)
            longer.paste(self.image, (0, 0))
            self.image, self.pen = longer, ImageDraw.Draw(longer)

    def wrap(self, text: str, font: Any, width: float) -> list[str]:
        lines, line = [], ""
        for word in text.split():
            longer = f"{line} {word}".strip()
            if not line or font.getlength(longer) <= width:
                line = longer
            else:
                lines.append(line)
                line = word
        return [*lines, line]

    def write(
        self, text: str, size: int, *, bold: bool = False, colour: str = INK, indent: int = 0, mark: str = ""
    ) -> None:
        font = self.font(size, bold)
        leading = int(size * 1.32)
        if mark:
            self.room(leading)
            self.pen.text((self.edge, self.y), mark, fill=colour, font=font)
        for line in self.wrap(text, font, self.width - 2 * self.edge - indent):
            self.room(leading)
            self.pen.text((self.edge + indent, self.y), line, fill=colour, font=font)
            self.y += leading

    def row(self, cells: Sequence[str], lefts: Sequence[int], size: int, *, bold: bool = False) -> None:
        font = self.font(size, bold)
        ends = [*lefts[1:], self.width - 2 * self.edge]
        wrapped = [self.wrap(cell, font, end - left - 10) for cell, left, end in zip(cells, lefts, ends, strict=True)]
        leading = int(size * 1.25)
        high = leading * max(len(lines) for lines in wrapped) + 8
        self.room(high)
        for lines, left in zip(wrapped, lefts, strict=True):
            for index, line in enumerate(lines):
                self.pen.text((self.edge + left, self.y + index * leading), line, fill=INK, font=font)
        self.y += high
        self.pen.line((self.edge, self.y - 4, self.width - self.edge, self.y - 4), fill=LINE, width=1)

    def picture(self, pixels: ByteArray, caption: str) -> None:
        from PIL import Image

        image = Image.fromarray(pixels).convert("RGB")
        scale = min((self.width - 2 * self.edge) / image.width, 900 / image.height)
        image = image.resize((round(image.width * scale), round(image.height * scale)), Image.Resampling.LANCZOS)
        self.room(image.height)
        self.image.paste(image, ((self.width - image.width) // 2, self.y))
        self.y += image.height + 6
        self.write(caption, 24, colour=QUIET)
        self.y += 12

    def finished(self) -> Any:
        return self.image.crop((0, 0, self.width, self.y + self.edge))


def card_png(card: ShotCard) -> bytes:
    """The card as one tall picture for a phone, `PNG_WIDTH_PX` wide."""
    sheet = _Sheet(PNG_WIDTH_PX, 48)
    sheet.write(card.title, 46, bold=True)
    sheet.y += 10
    sheet.picture(card.infrared, "as infrared")
    sheet.picture(card.snap, "as the eye sees it")
    for block in card_blocks(card):
        if block.kind == "notes":
            continue
        sheet.y += 12
        sheet.room(160)
        sheet.write(block.heading, 34, bold=True, colour=ACCENT)
        size = 25 if block.kind == "small" else 30
        for index, line in enumerate(block.lines):
            if block.kind == "numbered":
                sheet.write(line, size, indent=54, mark=f"{index + 1}.")
            elif block.kind == "strong" and index == 0:
                sheet.write(line, 44, bold=True)
            else:
                sheet.write(line, size)
            sheet.y += 4
        for index, cells in enumerate(block.table):
            sheet.row(cells, (0, 70, 215, 530, 700, 870), 26, bold=index == 0)
    sheet.y += 18
    sheet.write(footer_words(card), 21, colour=QUIET)
    buffer = io.BytesIO()
    sheet.finished().save(buffer, "PNG", optimize=False, compress_level=6)
    return buffer.getvalue()


def small_picture(pixels: ByteArray, longest_px: int = 900) -> ByteArray:
    """A copy no longer than `longest_px` on its long side, for the card."""
    from PIL import Image

    image = Image.fromarray(pixels)
    image.thumbnail((longest_px, longest_px), Image.Resampling.LANCZOS)
    return np.asarray(image)
