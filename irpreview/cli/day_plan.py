"""`irpreview day-plan`: several places on one day, in the order in which their light is right."""

from __future__ import annotations

import textwrap
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from irpreview.answers.day_plan import day_plan_answer
from irpreview.cli.common import (
    FocalOption,
    HazeOption,
    JsonOption,
    KitOption,
    Refusals,
    ZoneOption,
    as_option,
    emit_json,
    fail_usage,
    say,
    within,
)
from irpreview.core.light.light_plan import parse_date
from irpreview.core.planning.day_request import parse_speed, parse_stay
from irpreview.core.words import long_words
from irpreview.core.words.day_plan_words import (
    back_sentence,
    day_headline,
    day_rows,
    hours_text,
    left_out_sentence,
    sun_sentence,
)
from irpreview.day_plans import DayAsked, plan_day_out, spots_of
from irpreview.io.calendar_file import calendar_of
from irpreview.io.kits import load_kit
from irpreview.io.pictures import write_file
from irpreview.io.places_file import read_places
from irpreview.records.day_plan import Travelling
from irpreview.request import parse_place

if TYPE_CHECKING:
    from irpreview.records.day_plan import PlannedDay

SnapsArgument = Annotated[
    list[Path] | None,
    typer.Argument(metavar="PHOTO...", help="Snaps of the places: where they were taken and where they look."),
]
PlacesOption = Annotated[
    Path | None,
    typer.Option(
        "--places",
        metavar="FILE",
        help="A list of places, TOML or CSV: name, at, heading, focal, stay, from, until, snap.",
    ),
]
DateOption = Annotated[str, typer.Option("--date", metavar="DATE", help="Day as YYYY-MM-DD.")]
StartOption = Annotated[
    str, typer.Option("--start", metavar="LAT,LON", help="Where the day starts; west and south negative.")
]
FirstOption = Annotated[str, typer.Option("--from", metavar="TIME", help="When you set off from there, such as 08:00.")]
LastOption = Annotated[
    str,
    typer.Option(
        "--until", metavar="TIME", help="When the last stay has to end; not later than --from means the next day."
    ),
]
BackOption = Annotated[bool, typer.Option("--back", help="Be back at the start by --until.")]
DetourOption = Annotated[
    float,
    typer.Option(
        "--detour",
        metavar="FACTOR",
        **within(1.0, 5.0),
        help="Length of a real way over the straight distance: 1.3 on paths and lanes, 1 as the crow flies.",
    ),
]
CalendarOption = Annotated[
    Path | None, typer.Option("--calendar", metavar="FILE", help="Write the stays to a calendar file (.ics).")
]
AlarmOption = Annotated[
    int | None,
    typer.Option(
        "--alarm",
        metavar="MIN",
        **within(0, 240, "minutes", whole=True),
        help="In the calendar: ring before setting off.",
    ),
]
PlaceOption = Annotated[
    bool,
    typer.Option(
        "--with-place",
        help="Put coordinates and what tells them (sun heights, sunset) into JSON and calendar.",
    ),
]
StayOption = Annotated[
    str, typer.Option("--stay", metavar="TIME", help="How long at each place: minutes (40), 40min, 1h or 1h30m.")
]
SpeedOption = Annotated[
    str, typer.Option("--speed", metavar="SPEED", help="How fast on the way: km/h (4), or 4km/h, 1.2m/s, 3mph.")
]


def register(app: typer.Typer) -> None:
    """Add the command to the application."""

    @app.command("day-plan")
    def day_plan(
        date: DateOption,
        photos: SnapsArgument = None,
        places: PlacesOption = None,
        start: StartOption = "",
        first: FirstOption = "08:00",
        until: LastOption = "20:00",
        stay: StayOption = "40min",
        speed: SpeedOption = "4km/h",
        detour: DetourOption = 1.3,
        back: BackOption = False,
        zone: ZoneOption = None,
        kit: KitOption = None,
        haze: HazeOption = "normal",
        focal: FocalOption = None,
        calendar: CalendarOption = None,
        alarm: AlarmOption = None,
        with_place: PlaceOption = False,
        as_json: JsonOption = False,
    ) -> None:
        """Several places on one day: the order by when the light is right at each, with ways and slack.

        At most twelve; for these the order is the best there is: most places in their right light, then the best light,
        then least travelling. Tide and weather are left to you.
        """
        if not photos and places is None:
            raise fail_usage("no place given; name snaps, or a list with --places")
        if alarm is not None and calendar is None:
            raise fail_usage("--alarm goes with --calendar; name the calendar file as well")

        asked = DayAsked(
            day=parse_date(date),
            first=first,
            last=until,
            zone=zone,
            start=parse_place(start),
            back_at_start=back,
            stay_min=as_option(parse_stay)(stay),
            travelling=Travelling(as_option(parse_speed)(speed), detour),
            haze=haze,
            focal_35mm_mm=focal,
        )
        refused = Refusals()
        spots = spots_of(photos or [], read_places(places) if places is not None else (), asked, refused.add)
        if not spots:
            refused.leave()
        chosen = load_kit(kit or "unmodified-720")
        plan = plan_day_out(spots, asked, chosen)
        files = {} if calendar is None else {"calendar": str(_write(plan, calendar, with_place, alarm))}
        if as_json:
            emit_json(day_plan_answer(plan, chosen.name, files, with_place=with_place).as_json())
        else:
            print(report(plan))
            for doubt in long_words(plan.doubts):
                say(f"doubt: {doubt}")
        for path in files.values():
            say(f"written: {path}")
        refused.leave()


def _write(plan: PlannedDay, path: Path, with_place: bool, alarm: int | None) -> Path:
    return write_file(path, calendar_of(plan, datetime.now(UTC), with_place=with_place, alarm_min=alarm))


def report(plan: PlannedDay) -> str:
    """The plan, a few lines for each stay, with what is left out and what to take care of."""
    speed = f"{plan.travelling.speed_km_h:g} km/h, straight distance times {plan.travelling.detour:g}"
    lines = [f"{plan.first:%Y-%m-%d}, {plan.first:%H:%M} to {plan.last:%H:%M}, times {plan.zone_words}, {speed}:"]
    lines += [day_headline(plan), sun_sentence(plan)]
    rows = day_rows(plan)
    wide = [max((len(row[i]) for row in rows), default=0) for i in (0, 1)]
    for (span, name, way, light, in_hand), stay in zip(rows, plan.stays, strict=True):
        indent = " " * (wide[0] + wide[1] + 4)
        lines += ["", f"{span:{wide[0]}}  {name:{wide[1]}}  {light}"]
        lines += [f"{indent}{text}" for text in (f"{way}; {in_hand}", hours_text(stay, plan))]
    back = back_sentence(plan)
    if back is not None:
        lines += ["", back]
    if plan.left_out:
        lines += ["", "Left out"]
        for one in plan.left_out:
            lines += _wrapped(left_out_sentence(one, plan), "  ")
    if plan.cautions:
        lines.append("")
        for text in long_words(plan.cautions):
            lines += _wrapped(text, "! ")
    return "\n".join(lines)


def _wrapped(text: str, mark: str) -> list[str]:
    return textwrap.wrap(text, 110, initial_indent=mark, subsequent_indent="  ", break_long_words=False)
