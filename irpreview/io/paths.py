"""Where the files of this installation lie: tables in the package, weights in a checkout or inside the wheel."""

from __future__ import annotations

from pathlib import Path

from irpreview.errors import BadModel

PACKAGE = Path(__file__).resolve().parents[1]


def data_file(name: str) -> Path:
    """A table that comes with the package. Raises BadModel if it is missing."""
    path = PACKAGE / "data" / name
    if not path.exists():
        raise BadModel(f"the table {name} is missing from this installation; install irpreview again")
    return path
