"""What card, contact sheet and sheet of frames share on paper: fonts, words, pictures, rows, pages.

All three are reportlab's flowables, which run on from page to page; a picture for a screen is drawn from the PDF.
"""

from __future__ import annotations

import io
from collections.abc import Callable, Iterable, Mapping, Sequence
from functools import lru_cache
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal
from xml.sax.saxutils import escape

import numpy as np
from PIL import Image

from irpreview.core.words.phrases import held
from irpreview.errors import CannotWrite
from irpreview.records import ByteArray

if TYPE_CHECKING:
    from reportlab.pdfgen.canvas import Canvas

MM = 72.0 / 25.4
"""One millimetre [pt]."""
A4_PT = (210.0 * MM, 297.0 * MM)
LEAST_PT = 9.0
"""No text on paper is smaller than this."""
FONT, BOLD = "Paper", "Paper-Bold"
INK = "#1c1b19"
QUIET = "#55524d"
LINE = "#b9b4aa"
ACCENT = "#7a2e1d"
_FOOT_PX = 24
_MOST_ROWS_PX = 65_000
"""JPEG holds 65 535 rows."""

DrawPage = Callable[["Canvas", Any], None]
Page = tuple[Sequence[tuple[float, float, float, float]], DrawPage]
"""Frames (left, bottom, width, height) that are filled one after the other, and what is drawn before them. [pt]"""


# ---- words -----------------------------------------------------------------------------------------------------------


def font_files() -> dict[str, Path]:
    """Regular and bold of a free font with wide coverage, as it comes with the plotting library."""
    spec = find_spec("matplotlib")
    if spec is None or spec.origin is None:
        raise CannotWrite("the font for paper is missing: matplotlib is not installed; install irpreview again")
    folder = Path(spec.origin).parent / "mpl-data" / "fonts" / "ttf"
    files = {FONT: folder / "DejaVuSans.ttf", BOLD: folder / "DejaVuSans-Bold.ttf"}
    for path in files.values():
        if not path.is_file():
            raise CannotWrite(f"the font {path.name} is missing from matplotlib; install irpreview again")
    return files


@lru_cache(maxsize=1)
def _register_fonts() -> None:
    """Make the fonts known to reportlab, and have it write pictures as they are: as letters they would take it seconds
    of Python and a quarter more room.
    """
    from reportlab import rl_config
    from reportlab.pdfbase import pdfmetrics
    from reportlab.pdfbase.ttfonts import TTFont

    rl_config.useA85 = 0
    for name, path in font_files().items():
        pdfmetrics.registerFont(TTFont(name, str(path)))
    pdfmetrics.registerFontFamily(FONT, normal=FONT, bold=BOLD, italic=FONT, boldItalic=BOLD)


@lru_cache(maxsize=64)
def style(
    points: float = LEAST_PT, colour: str = INK, *, bold: bool = False, leading: float = 1.28, **more: Any
) -> Any:
    """How words are set. leading: from line to line, in heights of a letter. more: fields of reportlab's style."""
    from reportlab.lib.colors import HexColor
    from reportlab.lib.styles import ParagraphStyle

    _register_fonts()
    return ParagraphStyle(
        f"{points:g} pt",
        fontName=BOLD if bold else FONT,
        fontSize=points,
        leading=points * leading,
        textColor=HexColor(colour),
        bulletFontName=FONT,
        bulletFontSize=points,
        **more,
    )


def words(text: str, how: Any, mark: str | None = None, run_in: str = "") -> Any:
    """A paragraph. mark: stands before it; run_in: its first words, bold and coloured as a heading."""
    from reportlab.platypus import Paragraph

    first = f'<font name="{BOLD}" color="{ACCENT}">{escape(held(run_in))}</font> ' if run_in else ""
    return Paragraph(first + escape(held(text)), how, bulletText=mark)


# ---- pictures and rows -----------------------------------------------------------------------------------------------


def picture(jpeg: bytes, width: float, high: float, narrow: float = 1.0) -> Any:
    """A picture as large as fits into width and height [pt]. narrow: the page draws its widths this much smaller."""
    columns, rows = Image.open(io.BytesIO(jpeg)).size
    scale = min(width * narrow / columns, high / rows)
    return _picture_kind()(jpeg, columns * scale / narrow, rows * scale)


@lru_cache(maxsize=1)
def _picture_kind() -> Any:
    """Reportlab's own kind unpacks each picture to tell it from others and keeps the pixels: 400 MB for 100 rows."""
    from reportlab.lib.utils import ImageReader
    from reportlab.platypus import Flowable

    class Packed(ImageReader):
        """Told from others by its file, which goes into the PDF as it is."""

        _dataA = None

        def getRGBData(self) -> bytes:
            return bytes(self.fp.getvalue())

    class Picture(Flowable):
        """A JPEG at a size."""

        def __init__(self, jpeg: bytes, width: float, height: float) -> None:
            super().__init__()
            self.jpeg, self.width, self.height = jpeg, width, height

        def draw(self) -> None:
            self.canv.drawImage(Packed(io.BytesIO(self.jpeg)), 0, 0, self.width, self.height)

    return Picture


def table(
    cells: Sequence[list[Any]],
    widths: Sequence[float],
    *more: tuple[Any, ...],
    below: float = 0.0,
    high: float | None = None,
) -> Any:
    """Cells, each a flowable or a list of them, without any padding but what is asked for. more: reportlab's commands;
    high: of a row, else as high as it needs.
    """
    from reportlab.platypus import Table

    padding = [(f"{side}PADDING", (0, 0), (-1, -1), 0) for side in ("LEFT", "RIGHT", "TOP")]
    commands = [("VALIGN", (0, 0), (-1, -1), "TOP"), *padding, ("BOTTOMPADDING", (0, 0), (-1, -1), below), *more]
    return Table(cells, widths, [high] * len(cells), hAlign="LEFT", style=commands)


def ruled(thick: float = 0.3) -> tuple[Any, ...]:
    """A thin line below each row of a table."""
    from reportlab.lib.colors import HexColor

    return ("LINEBELOW", (0, 0), (-1, -1), thick, HexColor(LINE))


def entry(cells: list[Any], widths: Sequence[float], room: float, gap: float) -> Any:
    """A row of a sheet with a line below. It stays together, unless it is higher than the page has room."""
    made = table([cells], widths, ruled(), ("TOPPADDING", (0, 0), (-1, -1), gap / 2), below=gap / 2)
    made.splitInRow = int(made.wrap(sum(widths), room)[1] > room)
    return made


def drawing(width: float, high: float, shapes: Iterable[Any]) -> Any:
    """Lines and letters at their places, from the left lower corner. [pt]"""
    from reportlab.graphics.shapes import Drawing

    return Drawing(width, high, *shapes)


def stroke(*ends: float) -> Any:
    """A line of a drawing from x, y to x, y."""
    from reportlab.graphics.shapes import Line
    from reportlab.lib.colors import HexColor

    ink: Any = HexColor(INK)
    return Line(*ends, strokeColor=ink, strokeWidth=0.7)


def letters(
    x: float, y: float, text: str, anchor: Literal["start", "middle", "end"] = "middle", font: str = FONT
) -> Any:
    """The smallest words in a drawing."""
    from reportlab.graphics.shapes import String
    from reportlab.lib.colors import HexColor

    return String(x, y, text, fontName=font, fontSize=LEAST_PT, fillColor=HexColor(INK), textAnchor=anchor)


# ---- pages -----------------------------------------------------------------------------------------------------------


def pdf_of(title: str, size: tuple[float, float], pages: Mapping[str, Page], flowables: list[Any]) -> tuple[bytes, int]:
    """(the PDF, how many pages). pages: the first is begun with. Same flowables, same bytes."""
    from reportlab.platypus import BaseDocTemplate, Frame, PageTemplate

    buffer = io.BytesIO()
    document = BaseDocTemplate(buffer, pagesize=size, title=title, creator="irpreview", invariant=1, pageCompression=1)
    sides: dict[str, Any] = {f"{side}Padding": 0 for side in ("left", "right", "top", "bottom")}
    for name, (frames, draw) in pages.items():
        document.addPageTemplates(PageTemplate(name, [Frame(*frame, **sides) for frame in frames], onPage=draw))
    document.build(flowables)
    return buffer.getvalue(), document.page


def drawn(pdf: bytes, width_px: int) -> ByteArray:
    """(H, W, 3) sRGB: the pages below each other without the empty part at their feet, smaller where a JPEG would not
    hold so many rows.
    """
    from pypdfium2 import PdfDocument

    with PdfDocument(pdf) as document:
        wide = document[0].get_width()
        scale = min(width_px / wide, _MOST_ROWS_PX / sum(page.get_height() + 1.0 for page in document))
        sizes = [(page.get_width(), page.get_height()) for page in document]
        tall = np.empty((sum(int(high * scale) + 1 for _, high in sizes), int(np.ceil(wide * scale)), 3), np.uint8)
        top = 0
        for page in document:
            pixels = page.render(scale=scale, rev_byteorder=True).to_numpy()[..., :3]
            used = np.flatnonzero((pixels < 255).any(axis=(1, 2)))
            shown = pixels[: int(used[-1]) + 1 + _FOOT_PX] if used.size else pixels
            tall[top : top + len(shown)] = shown
            top += len(shown)
    return tall[:top]
