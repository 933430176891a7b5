"""What card and contact sheet share on paper: font, colours, the millimetre."""

from __future__ import annotations

from functools import lru_cache
from importlib.util import find_spec
from pathlib import Path

from irpreview.errors import CannotWrite

MM = 72.0 / 25.4
"""One millimetre [pt]."""
INK = "#1c1b19"
QUIET = "#55524d"
PAPER = "#ffffff"
LINE = "#b9b4aa"
ACCENT = "#7a2e1d"


NARROW = 0.9
"""Letters of the card are set this narrow, as in the family's own condensed cut: as wide as other sans-serifs, and
higher."""


@lru_cache(maxsize=1)
def font_files() -> dict[str, Path]:
    """Regular and bold of a free font with wide coverage, as it comes with the plotting library."""
    spec = find_spec("matplotlib")
    if spec is None or spec.origin is None:
        raise CannotWrite("the font for paper is missing: matplotlib is not installed; install irpreview again")
    folder = Path(spec.origin).parent / "mpl-data" / "fonts" / "ttf"
    files = {"regular": folder / "DejaVuSans.ttf", "bold": folder / "DejaVuSans-Bold.ttf"}
    for path in files.values():
        if not path.is_file():
            raise CannotWrite(f"the font {path.name} is missing from matplotlib; install irpreview again")
    return files


def register_fonts(name: str) -> None:
    """Make the regular and bold font known to reportlab as `name` and `name-Bold`, and have it write pictures as they
    are: as letters they would take it seconds of Python and a quarter more room.
    """
    from reportlab import rl_config
    from reportlab.pdfbase import pdfmetrics
    from reportlab.pdfbase.ttfonts import TTFont

    rl_config.useA85 = 0
    fonts, bold = font_files(), f"{name}-Bold"
    if bold in pdfmetrics.getRegisteredFontNames():
        return
    pdfmetrics.registerFont(TTFont(name, str(fonts["regular"])))
    pdfmetrics.registerFont(TTFont(bold, str(fonts["bold"])))
    pdfmetrics.registerFontFamily(name, normal=name, bold=bold, italic=name, boldItalic=bold)
