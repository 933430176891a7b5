"""The contact sheet as one HTML file: no other file, no network, readable on a phone and without scripts."""

from __future__ import annotations

import base64
import io
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from jinja2 import Environment, StrictUndefined
from PIL import Image

from irpreview import __version__
from irpreview.core.scouting.places import length_text
from irpreview.core.scouting.ranking import Order
from irpreview.core.scouting.sheet import Entry, PlaceMap, Sheet
from irpreview.core.words.lead_words import LEAD_WORDS
from irpreview.io.paths import data_file

Pictures = Callable[[str], tuple[bytes, bytes]]
"""Key of an entry -> JPEGs of the snap and of its infrared picture."""
MAP_WIDTH = 640


@dataclass(frozen=True, slots=True)
class _Shown:
    words: Entry
    snap: str
    infrared: str
    width: int
    height: int

    @property
    def tall(self) -> bool:
        return self.height > self.width


def contact_page(sheet: Sheet, pictures: Pictures, order: Order = "lead") -> str:
    """The whole page as text."""
    shell = Environment(autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True)
    template = shell.from_string(data_file("contact_sheet.html").read_text(encoding="utf-8"))
    sections = [
        {
            "heading": section.heading,
            "anchor": _anchor(section.heading),
            "note": section.note,
            "entries": [_shown(entry, pictures) for entry in section.entries],
        }
        for section in sheet.sections
    ]
    page: str = template.render(
        sheet=sheet,
        sections=sections,
        maps=[_drawn(place_map) for place_map in sheet.maps],
        lead_words=LEAD_WORDS,
        order=order,
        places=sheet.locations,
        version=__version__,
    )
    return page


def _anchor(heading: str) -> str:
    words = heading.split()
    return f"place-{words[1]}" if len(words) == 2 and words[0] == "Place" else "unplaced"


def _shown(entry: Entry, pictures: Pictures) -> _Shown:
    snap, infrared = pictures(entry.key)
    width, height = Image.open(io.BytesIO(snap)).size
    return _Shown(entry, _data(snap), _data(infrared), width, height)


def _data(jpeg: bytes) -> str:
    return "data:image/jpeg;base64," + base64.b64encode(jpeg).decode("ascii")


def _drawn(place_map: PlaceMap) -> dict[str, Any]:
    """A sketch map in the picture's units, north up."""
    plan = place_map.plan
    scale = MAP_WIDTH / plan.width_m
    height = round(plan.height_m * scale)
    dots = [
        {
            "name": name,
            "x": round(x * scale, 1),
            "y": round(height - y * scale, 1),
            "label_x": round(lx * scale, 1),
            "label_y": round(height - ly * scale, 1),
        }
        for name, x, y, (lx, ly) in zip(plan.names, plan.east_m, plan.north_m, plan.label_at, strict=True)
    ]
    return {
        "width": MAP_WIDTH,
        "height": height + 44,
        "dots": dots,
        "names": ", ".join(plan.names),
        "lines": place_map.lines,
        "bar": round(plan.bar_m * scale, 1),
        "bar_text": length_text(plan.bar_m),
        "bar_x": 20,
        "bar_y": height + 26,
    }
