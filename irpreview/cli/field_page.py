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
from irpreview.cli.day_plan import (
    BackOption,
    DetourOption,
    FirstOption,
    LastOption,
    PlacesOption,
    SpeedOption,
    StartOption,
    StayOption,
    asked_day,
)
from irpreview.core.field_page import field_page
from irpreview.day_plans import plan_day_out, spots_of
from irpreview.errors import IrpreviewError
from irpreview.field_pages import field_place_of
from irpreview.io.field_page import write_field_page
from irpreview.io.photos import load_photo
from irpreview.io.places_file import read_places
from irpreview.records import WORKING_SIDE_PX, Photo
from irpreview.request import kit_of

FileOption = Annotated[
    Path, typer.Option("-o", "--out", metavar="FILE", help="The HTML file to write; an old one is replaced.")
]
DayOption = Annotated[
    str | None,
    typer.Option("--date", metavar="DATE", help="Also plan this day, YYYY-MM-DD: the places in order, by their light."),
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
        with_place: Annotated[
            bool, typer.Option("--with-place", help="Put locations and hours of light in; without it none are in it.")
        ] = False,
        date: DayOption = None,
        listed: PlacesOption = None,
        start: StartOption = "",
        first: FirstOption = "08:00",
        until: LastOption = "20:00",
        stay: StayOption = "40min",
        speed: SpeedOption = "4km/h",
        detour: DetourOption = 1.3,
        back: BackOption = False,
        as_json: JsonOption = False,
    ) -> None:
        """Write one HTML file for the phone: settings, test frames, timer and notes, without network."""
        asked.check()

        if date is None and (listed is not None or start or back):
            raise fail_usage("--places, --start and --back go with a day plan; give --date as well")
        entries = read_places(listed) if listed is not None else ()
        day_asked = None
        if date is not None:
            day_asked = asked_day(
                date,
                first,
                until,
                asked.zone,
                start,
                back,
                stay,
                speed,
                detour,
                "normal" if asked.inputs.haze == "unknown" else asked.inputs.haze,
                asked.inputs.focal_35mm_mm,
            )
        if title and len(title) > len(photos):
            raise fail_usage(f"{len(title)} titles for {len(photos)} photos; give at most one for each")
        refused, places = Refusals(), []
        known: dict[Path, tuple[str, Photo]] = {}
        for number, path in enumerate(photos):
            try:
                photo = load_photo(path, zone=asked.zone, max_side=WORKING_SIDE_PX)
                analysis = analyse(photo, asked.request(photo))
                given = title[number] if title and number < len(title) else path.stem
                places.append(field_place_of(analysis, given, with_place))
                known[path] = given, analysis.photo
            except Exception as error:
                refused.add(path, error)
        for doubt in asked.lessons[1]:
            say(f"doubt: {doubt}")
        if places:
            day = None
            if day_asked is not None:
                try:
                    spots = spots_of(list(known), entries, day_asked, refused.add, known)
                    day = plan_day_out(spots, day_asked, kit_of(asked.inputs)) if spots else None
                except IrpreviewError as error:  # the pages of the places are worth having without it
                    refused.add("the day plan", error)
            page = field_page(tuple(places), with_place=with_place, version=__version__, day=day)
            written = write_field_page(page, out)
            size_mb = written.stat().st_size / 1e6
            count = f"{len(places)} place{'s' if len(places) != 1 else ''}"
            say(f"wrote {written}: {count}, {size_mb:.1f} MB, {'with' if with_place else 'without'} locations")
            if as_json:
                emit_json(field_page_answer(page).as_json())
        refused.leave()
