"""The card as files: PDF on A5 for the bag (`card_paper`), PNG for the phone, JSON for programs.

Paper and phone show the same parts (`core.card.blocks`), set by the same hand (`io.card_paper`); the JSON holds their
facts in full. Text in the PDF is vector text in an embedded font, so it can be searched, copied and printed anywhere.
"""

from __future__ import annotations

import io
import json
import re
from collections.abc import Sequence
from pathlib import Path
from typing import Literal

import numpy as np
from PIL import Image

from irpreview.answers.card import card_answer
from irpreview.core.card.shot_card import ShotCard
from irpreview.errors import BadValue, CannotWrite
from irpreview.io.card_paper import PHONE, card_pdf
from irpreview.io.paper import drawn
from irpreview.io.pictures import write_file
from irpreview.records import ByteArray

CardKind = Literal["pdf", "png", "json"]
CARD_KINDS: tuple[CardKind, ...] = ("pdf", "png", "json")

PNG_WIDTH_PX = 1080
"""A phone's width in pixels."""


def card_json(card: ShotCard) -> str:
    """The card as one JSON object, `data/schemas/card.json`."""
    return json.dumps(card_answer(card).as_json(), ensure_ascii=False, indent=1, allow_nan=False) + "\n"


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


def card_png(card: ShotCard) -> bytes:
    """The card as one tall picture for a phone, `PNG_WIDTH_PX` wide, made from the PDF set for a phone's screen."""
    buffer = io.BytesIO()
    Image.fromarray(drawn(card_pdf(card, PHONE), PNG_WIDTH_PX)).save(buffer, "PNG", optimize=False, compress_level=6)
    return buffer.getvalue()


def small_picture(pixels: ByteArray, longest_px: int = 900) -> ByteArray:
    """A copy no longer than `longest_px` on its long side, for the card."""
    image = Image.fromarray(pixels)
    image.thumbnail((longest_px, longest_px), Image.Resampling.LANCZOS)
    return np.asarray(image)
