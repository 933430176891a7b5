"""The list of places of a day out, as TOML or CSV: one `[[place]]`, or one row, for each.

Keys: `name`, `at` ("latitude,longitude"), `heading` [degrees true], `focal` [mm, 35 mm equivalent], `stay` ("40min"),
`from` and `until` (clock times between which the stay has to lie), `snap` (a photo that tells what is not given here).
"""

from __future__ import annotations

import difflib
import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, ValidationError

from irpreview.errors import BadValue
from irpreview.io.ordinary_file import Wanted, read_text
from irpreview.io.spreadsheet import read_rows

LARGEST_BYTES = 200_000
MOST_DOTS = 500
"""In one line: the reader of TOML takes longer than anybody waits for a name of thousands of parts."""
MOST_ENTRIES = 200
_WANTED = Wanted(BadValue, "the list of places", "name a TOML or CSV file", LARGEST_BYTES)
KEYS = ("name", "at", "heading", "focal", "stay", "from", "until", "snap")


@dataclass(frozen=True, slots=True)
class PlaceEntry:
    """One place as written; None = not given. Texts are kept as typed."""

    where: str
    """Which entry of which file, for messages."""
    name: str | None
    at: str | None
    heading_deg: float | None
    focal_35mm_mm: float | None
    stay: str | None
    hours: tuple[str, str] | None
    snap: Path | None
    """As found from the file's folder."""


def _as_text(value: Any) -> Any:
    """A place may be a list of two numbers, a stay or hour a bare number."""
    if isinstance(value, list) and all(isinstance(part, (int, float)) for part in value):
        return ",".join(f"{part:.10g}" for part in value)
    if isinstance(value, (int, float)) and not isinstance(value, bool):
        return f"{value:g}"
    return value.isoformat(timespec="minutes") if hasattr(value, "isoformat") else value


_Text = Annotated[str, BeforeValidator(_as_text), Field(min_length=1, max_length=200)]


class _Row(BaseModel):
    model_config = ConfigDict(extra="forbid", populate_by_name=True, str_strip_whitespace=True)

    name: _Text | None = None
    at: _Text | None = None
    heading: Annotated[float, Field(ge=-360, le=360, allow_inf_nan=False)] | None = None
    focal: Annotated[float, Field(ge=8, le=2000, allow_inf_nan=False)] | None = None
    stay: _Text | None = None
    first: _Text | None = Field(default=None, alias="from")
    until: _Text | None = None
    snap: _Text | None = None


def read_places(path: Path) -> tuple[PlaceEntry, ...]:
    """The places of a list. Raises BadValue with one line that says which entry is wrong and what to do."""
    text = read_text(path, _WANTED)
    rows = _rows_of_csv(path, text) if path.suffix.lower() == ".csv" else _rows_of_toml(path, text)
    if not 1 <= len(rows) <= MOST_ENTRIES:
        raise BadValue(f"{path} lists {len(rows)} places; give 1 to {MOST_ENTRIES}, each with at or snap")
    return tuple(_entry(path, number, row) for number, row in enumerate(rows, 1))


def _rows_of_toml(path: Path, text: str) -> list[dict[str, Any]]:
    if any(line.count(".") > MOST_DOTS for line in text.splitlines()):
        raise BadValue(f"{path}: a line has more than {MOST_DOTS} dots; this is no list of places")
    try:
        content = tomllib.loads(text)
    except (tomllib.TOMLDecodeError, RecursionError):  # whose words may quote a file that is none of ours to tell of
        raise BadValue(f"{path} is not TOML; write one [[place]] for each place") from None
    rows = content.pop("place", [])
    if content or not isinstance(rows, list) or not all(isinstance(row, dict) for row in rows):
        raise BadValue(f"{path} holds something else than places; write one [[place]] for each place")
    return rows


def _rows_of_csv(path: Path, text: str) -> list[dict[str, Any]]:
    try:
        names, rows = read_rows(text)
    except BadValue as error:
        raise BadValue(f"{path}: {error}; the first line has the names {', '.join(KEYS)}") from None
    unknown = [name for name in names if name not in KEYS]
    if unknown:
        which = names.index(unknown[0]) + 1
        raise BadValue(f"{path}: column {which} has a name that is not known; the columns are {', '.join(KEYS)}")
    return [row for row in rows if row]


def _entry(path: Path, number: int, row: dict[str, Any]) -> PlaceEntry:
    where = f"{path}, place {number}"
    try:
        given = _Row.model_validate(row)
    except ValidationError as error:
        fault = error.errors(include_url=False)[0]
        key = str(fault["loc"][0])
        if fault["type"] == "extra_forbidden":
            near = difflib.get_close_matches(key, KEYS, n=1)  # else it may be anybody's text
            told = f"{key!r} is no key; did you mean {near[0]!r}?" if near else "it has a key that is none;"
            raise BadValue(f"{where}: {told} the keys are {', '.join(KEYS)}") from None
        low_high = {"heading": "a number from -360 to 360", "focal": "a number from 8 to 2000"}
        value = fault["input"]
        shown = f" = {repr(value)[:40]}" if isinstance(value, int | float) else ""  # a text may be anybody's
        raise BadValue(f"{where}: {key}{shown} must be {low_high.get(key, 'a text in quotes')}; correct it") from None
    if given.at is None and given.snap is None:
        raise BadValue(f'{where} has neither at nor snap; give one of them, such as at = "57.5,-20.1"')
    if (given.first is None) != (given.until is None):
        raise BadValue(f"{where}: from and until go together; give both or neither")
    hours = None if given.first is None or given.until is None else (given.first, given.until)
    snap = None if given.snap is None else path.parent / given.snap
    return PlaceEntry(where, given.name, given.at, given.heading, given.focal, given.stay, hours, snap)
