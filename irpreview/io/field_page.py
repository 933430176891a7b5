"""The field page as one HTML file: pictures, style and scripts inside, nothing asked for from outside.

Its own policy lets only the scripts and the style run that were written into it (by their SHA-256), pictures only as
data, and no request at all. Templates, style and scripts are files of their own in `data/field_page`.
"""

from __future__ import annotations

import base64
import hashlib
import json
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
from jinja2 import Environment, FileSystemLoader, StrictUndefined

from irpreview.answers.field_page import FieldPageAnswer, field_page_answer
from irpreview.core.field_page import FieldPage
from irpreview.core.imaging.resize import within
from irpreview.errors import BadModel
from irpreview.io.paths import PACKAGE
from irpreview.io.pictures import jpeg_bytes, write_file
from irpreview.records import ByteArray

LARGEST_FILE_MB = 3.0
LARGEST_PICTURE_BYTES = 260_000
SIDES_PX = (1024, 900, 768, 640, 512, 400, 320)
"""Long sides to try: a phone 390 wide shows up to 1170 pixels across, but three megabytes are three megabytes."""
QUALITIES = (86, 78, 68)
FOLDER = PACKAGE / "data" / "field_page"
SCRIPTS = ("calculator.js", "timer.js", "notes.js", "field.js", "bulb.js")
"""In this order; each may use what the ones before it name."""


def field_page_html(page: FieldPage) -> str:
    """The whole file as text."""
    facts = field_page_answer(page)
    style, scripts = part("field.css"), [part(name) for name in SCRIPTS]
    known = _script_json(facts)
    room = LARGEST_FILE_MB * 1e6 - len(style) - sum(map(len, scripts)) - 30_000 - 3.0 * len(known)
    each = min(LARGEST_PICTURE_BYTES, int(room * 0.75 / len(page.places)))
    html: str = (
        _environment()
        .get_template("field.html")
        .render(
            page=facts,
            pictures=[_data_address(packed(one.picture, each)) for one in page.places],
            policy=policy(style, scripts),
            style=style,
            scripts=scripts,
            facts=known,
        )
    )
    return html


def write_field_page(page: FieldPage, path: Path | str) -> Path:
    """Write the file, whole or not at all. Raises CannotWrite."""
    return write_file(path, field_page_html(page).encode())


def policy(style: str, scripts: list[str]) -> str:
    """The Content-Security-Policy that lets these run and nothing else."""
    run = " ".join(f"'{_sha256(text)}'" for text in scripts)
    return (
        f"default-src 'none'; img-src data:; style-src '{_sha256(style)}'; script-src {run}; "
        "base-uri 'none'; form-action 'none'"
    )


def packed(picture: ByteArray, most_bytes: int) -> bytes:
    """The picture (h, w) as the largest and best JPEG of so many bytes; the smallest of all where none fits."""
    data = b""
    for side in SIDES_PX:
        small = np.ascontiguousarray(within(picture, side))
        for quality in QUALITIES:
            data = jpeg_bytes(small, quality)
            if len(data) <= most_bytes:
                return data
    return data


def part(name: str) -> str:
    """A script or the style as it goes into the file. Raises BadModel if it is missing."""
    path = FOLDER / name
    if not path.is_file():
        raise BadModel(f"{name} of the field page is missing from this installation; install irpreview again")
    return path.read_text(encoding="utf-8").strip()


def _script_json(facts: FieldPageAnswer) -> str:
    """Plain values that can stand inside a script element whatever a title says."""
    text = json.dumps(facts.as_json(), ensure_ascii=False, separators=(",", ":"), allow_nan=False)
    return text.replace("<", "\\u003c").replace("\u2028", "\\u2028").replace("\u2029", "\\u2029")


def _sha256(text: str) -> str:
    return "sha256-" + base64.b64encode(hashlib.sha256(text.encode()).digest()).decode("ascii")


def _data_address(jpeg: bytes) -> str:
    return "data:image/jpeg;base64," + base64.b64encode(jpeg).decode("ascii")


@lru_cache(maxsize=1)
def _environment() -> Any:
    return Environment(
        loader=FileSystemLoader(FOLDER),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
