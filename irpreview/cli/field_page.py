"""`irpreview field-page`: one file to take along on the phone, which works without network."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from irpreview import __version__
from irpreview.analysis import analyse
from irpreview.answers.field_page import field_page_answer
from irpreview.cli.asking import Asked, asks
from irpreview.cli.common import JsonOption, PhotosArgument, Refusals, emit_json, fail_usage, say
from irpreview.core.field_page import field_page
from irpreview.core.units import how_many
from irpreview.core.words import long_words
from irpreview.field_pages import field_place_of
from irpreview.io.day_plan_file import read_field_day
from irpreview.io.field_page import write_field_page
from irpreview.io.photos import load_photo
from irpreview.records import WORKING_SIDE_PX

FileOption = Annotated[
    Path, typer.Option("-o", "--out", metavar="FILE", help="The HTML file to write; an old one is replaced.")
]


def register(app: typer.Typer) -> None:
    """Add the command to the application."""

    @app.command("field-page")
    @asks
    def field_page_command(
        photos: PhotosArgument,
        asked: Asked,
        out: FileOption = Path("field.html"),
        title: Annotated[
            list[str] | None,
            typer.Option("--title", metavar="NAME", help="Name of a place, in the order of the photos; else theirs."),
        ] = None,
        plan: Annotated[
            Path | None,
            typer.Option("--plan", metavar="FILE", help="Put the day in: the JSON of `irpreview day-plan`."),
        ] = None,
        with_place: Annotated[
            bool, typer.Option("--with-place", help="Put locations and hours of light in; without it none are in it.")
        ] = False,
        as_json: JsonOption = False,
    ) -> None:
        """Write one HTML file for the phone: settings, test exposures, timer and notes, without network."""
        asked.check()
        if title and len(title) > len(photos):
            raise fail_usage(f"{len(title)} titles for {len(photos)} photos; give at most one for each")
        day = None if plan is None else read_field_day(plan, with_place=with_place)
        refused, places = Refusals(), []
        for number, path in enumerate(photos):
            try:
                photo = load_photo(path, zone=asked.zone, max_side=WORKING_SIDE_PX)
                analysis = analyse(photo, asked.request(photo))
                given = title[number] if title and number < len(title) else path.stem
                places.append(field_place_of(analysis, given, with_place))
            except Exception as error:
                refused.add(path, error)
        for doubt in long_words(asked.lessons[1]):
            say(f"doubt: {doubt}")
        if places:
            page = field_page(tuple(places), with_place=with_place, version=__version__, day=day)
            written = write_field_page(page, out)
            size_mb = written.stat().st_size / 1e6
            count = how_many(len(places), "place")
            say(f"wrote {written}: {count}, {size_mb:.1f} MB, {'with' if with_place else 'without'} locations")
            if as_json:
                emit_json(field_page_answer(page).as_json())
        refused.leave()
