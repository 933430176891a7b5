"""All results of a scouting, written into one folder, each file whole or not at all."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from irpreview.core.scouting.ranking import Scouting
from irpreview.core.scouting.sheet import MOST_SHOWN, sheet_of
from irpreview.io.contact_page import Pictures, contact_page
from irpreview.io.contact_sheet import contact_pdf
from irpreview.io.pictures import make_folder, write_file
from irpreview.io.scout_tables import scouting_csv, scouting_geojson, scouting_json

PLACES_NAME = "places.geojson"


def write_scouting(
    scouting: Scouting, folder: Path, pictures: Pictures, *, title: str = "Scouting", most: int = MOST_SHOWN
) -> tuple[Path, ...]:
    """Write contact sheet (HTML and PDF), CSV, JSON, and with places GeoJSON; returns the paths. Raises CannotWrite.

    pictures: key -> small JPEGs of a snap and of its infrared picture. most: so many views on the contact sheet.
    """
    make_folder(folder)
    sheet = sheet_of(scouting, title, most)
    files: dict[str, Callable[[], bytes]] = {
        "contact-sheet.html": lambda: contact_page(sheet, pictures, scouting.order).encode(),
        "contact-sheet.pdf": lambda: contact_pdf(sheet, pictures),
        "scout.csv": lambda: scouting_csv(scouting).encode(),
        "scout.json": lambda: scouting_json(scouting).encode(),
    }
    if scouting.with_places:
        files[PLACES_NAME] = lambda: scouting_geojson(scouting).encode()
    return tuple(write_file(folder / name, make()) for name, make in files.items())
