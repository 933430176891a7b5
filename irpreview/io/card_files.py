"""The card as files: PDF on A5 for the bag (`card_paper`), PNG for the phone, JSON for programs.

Paper and phone show the same parts (`core.card.blocks`); the JSON holds their facts in full. Text in the PDF is vector
text in an embedded font, so it can be searched, copied and printed anywhere.
"""

from __future__ import annotations

import io
import json
import re
from collections.abc import Sequence
from functools import lru_cache
from importlib import resources
from pathlib import Path
from typing import Any, Literal

import numpy as np
from PIL import Image, ImageDraw, ImageFont

from irpreview.answers.card import card_answer
from irpreview.core.card.blocks import Block, card_blocks, footer_words, key_figures
from irpreview.errors import BadValue, CannotWrite
from irpreview.io.card_paper import card_pdf
from irpreview.io.pictures import write_file
from irpreview.io.print_style import ACCENT, INK, LINE, PAPER, QUIET, font_files, held
from irpreview.records import ByteArray, ShotCard

CardKind = Literal["pdf", "png", "json"]
CARD_KINDS: tuple[CardKind, ...] = ("pdf", "png", "json")

PNG_WIDTH_PX = 1080
"""A phone's width in pixels; shown 390 wide, text of 39 is 14 high: readable without zooming."""
TEXT_PX = 39
SMALL_PX = 34


def card_json(card: ShotCard) -> str:
    """The card as one JSON object, `data/schemas/card.json`."""
    return json.dumps(card_answer(card).as_json(), ensure_ascii=False, indent=1, allow_nan=False) + "\n"


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
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise CannotWrite(
            f"cannot write {path}: {error.strerror or error}; choose a folder that you may write to"
        ) from error
    return write_file(path, data)


# ---- PNG ---------------------------------------------------------------------------------------------------------


class _Sheet:
    """A growing sheet of paper, written from top to bottom."""

    def __init__(self, width: int, edge: int) -> None:

        self.edge, self.width = edge, width
        self.image = Image.new("RGB", (width, 2000), PAPER)
        self.pen = ImageDraw.Draw(self.image)
        self.y = edge

    @lru_cache(maxsize=16)  # noqa: B019  a sheet lives as long as one file
    def font(self, size: int, bold: bool = False) -> Any:

        return ImageFont.truetype(str(font_files()["bold" if bold else "regular"]), size)

    def room(self, height: int) -> None:

        if self.y + height + self.edge > self.image.height:
            longer = Image.new("RGB", (self.width, max(self.image.height * 2, self.y + height + self.edge)), PAPER)
            longer.paste(self.image, (0, 0))
            self.image, self.pen = longer, ImageDraw.Draw(longer)

    def wrap(self, text: str, font: Any, width: float) -> list[str]:
        lines, line = [], ""
        for word in held(text).split(" "):
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

    def table(self, rows: Sequence[Sequence[str]], shares: Sequence[float]) -> None:
        """shares: widths of the columns, together 1."""
        inner = self.width - 2 * self.edge
        lefts = [round(inner * sum(shares[:index])) for index in range(len(shares))]
        for index, cells in enumerate(rows):
            self.row(cells, lefts, SMALL_PX, bold=index == 0)

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

        image = Image.fromarray(pixels).convert("RGB")
        scale = min((self.width - 2 * self.edge) / image.width, 900 / image.height)
        image = image.resize((round(image.width * scale), round(image.height * scale)), Image.Resampling.LANCZOS)
        self.room(image.height)
        self.image.paste(image, ((self.width - image.width) // 2, self.y))
        self.y += image.height + 6
        self.write(caption, SMALL_PX, colour=QUIET)
        self.y += 12

    def finished(self) -> Any:
        return self.image.crop((0, 0, self.width, self.y + self.edge))


def card_png(card: ShotCard) -> bytes:
    """The card as one tall picture for a phone, `PNG_WIDTH_PX` wide."""
    sheet = _Sheet(PNG_WIDTH_PX, 40)
    sheet.write(card.title, 52, bold=True)
    sheet.y += 16
    for figure in key_figures(card):
        sheet.write(figure.label, 34, bold=True, colour=ACCENT)
        sheet.write(figure.value, 66 if figure.label == "Setting" else 52, bold=True)
        for note in figure.notes:
            sheet.write(note, TEXT_PX)
        sheet.y += 18
    blocks = card_blocks(card)
    for block in blocks:
        if block.kind == "care":
            _write_block(sheet, block)
    sheet.y += 26
    sheet.picture(card.infrared, "as infrared")
    sheet.picture(card.snap, "as the eye sees it")
    for block in blocks:
        if block.kind not in ("care", "notes"):
            _write_block(sheet, block)
    sheet.y += 24
    sheet.write(footer_words(card), SMALL_PX, colour=QUIET)
    buffer = io.BytesIO()
    sheet.finished().save(buffer, "PNG", optimize=False, compress_level=6)
    return buffer.getvalue()


def _write_block(sheet: _Sheet, block: Block) -> None:
    sheet.y += 26
    sheet.room(220)
    sheet.write(block.heading, 46, bold=True, colour=ACCENT)
    sheet.y += 4
    size = SMALL_PX if block.kind == "small" else TEXT_PX
    for index, line in enumerate((" ".join(block.lines),) if block.kind in ("run", "small") else block.lines):
        mark = {"numbered": f"{index + 1}.", "care": "•"}.get(block.kind, "")
        sheet.write(line, size, indent=58 if mark else 0, mark=mark)
        sheet.y += 8
        if index == 0:
            sheet.table(block.table, block.shares)
    if not block.lines:
        sheet.table(block.table, block.shares)


def small_picture(pixels: ByteArray, longest_px: int = 900) -> ByteArray:
    """A copy no longer than `longest_px` on its long side, for the card."""
    image = Image.fromarray(pixels)
    image.thumbnail((longest_px, longest_px), Image.Resampling.LANCZOS)
    return np.asarray(image)
