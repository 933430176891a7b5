"""Tables as CSV (RFC 4180) that a spreadsheet opens as what they are: no cell of text comes out as a formula.

A text that a spreadsheet would work out gets an apostrophe in front, the sign for "this is text" there; `read_rows`
takes exactly that apostrophe away again, so what was written comes back letter by letter.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from irpreview.errors import BadValue

FORMULA_SIGNS = ("=", "+", "-", "@", "\uff1d", "\uff0b", "\uff0d", "\uff20")
LONGEST_CELL = 131_072
"""Letters, what Python's reader takes; a spreadsheet takes 32,767."""


def is_live(text: str) -> bool:
    """Whether a spreadsheet might take this text for a formula."""
    return text.lstrip().startswith(FORMULA_SIGNS) or text.startswith(("\t", "\r"))


def write_rows(columns: Sequence[str], rows: Iterable[Mapping[str, Any]]) -> str:
    """The rows as CSV with a first line of names. None = empty; True and False = 1 and 0; other columns stay out."""
    lines = [",".join(columns)] if columns else []
    for row in rows:
        # a writer whose lines end in both marks puts a cell with either into quotes, so that it comes back
        line = io.StringIO()
        csv.writer(line, lineterminator="\r\n").writerow([_cell(row.get(name)) for name in columns])
        lines.append(line.getvalue().removesuffix("\r\n"))
    return "\n".join(lines) + "\n"


def read_rows(text: str) -> tuple[tuple[str, ...], list[dict[str, str]]]:
    """(names, rows without their empty cells) of what `write_rows` wrote, or a person in a spreadsheet.

    Raises BadValue for what is no table.
    """
    reader = csv.DictReader(io.StringIO(text, newline=""))
    try:
        names = tuple(reader.fieldnames or ())
        return names, [{k: _plain(v) for k, v in row.items() if k and v} for row in reader]
    except csv.Error:
        raise BadValue(
            f"line {reader.line_num + 1} is no row of a table (a cell may have {LONGEST_CELL} letters)"
        ) from None


def _cell(value: Any) -> Any:
    if value is None:
        return ""
    if isinstance(value, bool):
        return int(value)
    if not isinstance(value, str):
        return value
    return f"'{value}" if is_live(value) or _is_marked(value) else value


def _is_marked(text: str) -> bool:
    bare = text.lstrip("'")
    return bare != text and is_live(bare)


def _plain(text: str) -> str:
    return text[1:] if _is_marked(text) else text
