"""`irpreview guide`: the pages that come with irpreview, to read without a network."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from irpreview.cli.common import say
from irpreview.errors import BadModel, BadValue
from irpreview.io import paths

PageArgument = Annotated[str, typer.Argument(metavar="PAGE", help="Which page; a wrong name lists them.")]
FIRST = ("guide", "how-it-works", "command-line", "glossary", "sources")


def register(app: typer.Typer) -> None:
    """Add the command to the application."""

    @app.command("guide")
    def guide(page: PageArgument = "guide") -> None:
        """Print the guide or another page that came with irpreview, and say where the files lie."""
        pages = guide_pages()
        if page not in pages:
            raise BadValue(f"there is no page {page!r}; there are {', '.join(pages)}")
        print(pages[page].read_text(encoding="utf-8"), end="")
        others = ", ".join(name for name in pages if name != page)
        say(f"Other pages: {others}. Their files, with pictures, are in {pages[page].parent}")


def guide_pages() -> dict[str, Path]:
    """Name and file of every page, the guide first. Raises BadModel if they are missing."""
    found = {path.stem: path for path in sorted((paths.PACKAGE / "docs").glob("*.md"))}
    if not found:
        raise BadModel("the guide is missing from this installation; install irpreview again")
    return {name: found[name] for name in (*FIRST, *found) if name in found}
