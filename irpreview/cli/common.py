"""What the commands share: options that read the same everywhere, JSON lines, messages, refusals."""

from __future__ import annotations

import json
import sys
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Annotated, Any, Literal, TypeVar

import typer

from irpreview.cli import for_terminal, one_line, unexpected
from irpreview.core.units import parse_number, parse_shutter, parse_wind, shutter_text
from irpreview.errors import IrpreviewError
from irpreview.io.photo_facts import time_zone

__all__ = [
    "SCHEMA",
    "AtOption",
    "EvOption",
    "FocalOption",
    "GradeOption",
    "GustOption",
    "HazeOption",
    "HeadingOption",
    "JsonOption",
    "KitOption",
    "LensOption",
    "LogOption",
    "MeterOption",
    "OutOption",
    "PhotoArgument",
    "PhotosArgument",
    "PlannedHazeOption",
    "PlannedPlaceOption",
    "PlannedSunOption",
    "PlannedTimeOption",
    "Refusals",
    "ShutterOption",
    "TemperatureOption",
    "WhenOption",
    "WhyOption",
    "WindOption",
    "ZoneOption",
    "as_option",
    "emit_json",
    "fail_usage",
    "parse_shutter",
    "parse_wind",
    "say",
    "shutter_text",
    "within",
]

SCHEMA = "irpreview/1"
T = TypeVar("T")


def as_option(parse: Callable[[str], T]) -> Callable[[str], T]:
    """Make a parser that raises our errors fit for an option: what it refuses is wrong usage (exit 2)."""

    def read(text: str) -> T:
        try:
            return parse(text)
        except IrpreviewError as error:
            raise typer.BadParameter(str(error)) from error

    read.__name__ = parse.__name__
    return read


def within(low: float, high: float, unit: str = "", *, whole: bool = False) -> dict[str, Any]:
    """For `typer.Option(**within(...))`: the one converter of typed numbers, digits 0 to 9 within low..high."""

    def read(text: Any) -> Any:
        return parse_number(text, low, high, unit, whole=whole) if isinstance(text, str) else text

    read.__name__ = "integer" if whole else "float"
    return {"parser": as_option(read), "min": low, "max": high}


def known_zone(name: str) -> str:
    """The name of a time zone, if there is one of that name. Raises BadValue."""
    time_zone(name)
    return name


PhotoArgument = Annotated[Path, typer.Argument(metavar="PHOTO", help="A daylight snap: JPEG, HEIC, PNG, WebP or TIFF.")]
PhotosArgument = Annotated[
    list[Path], typer.Argument(metavar="PHOTO...", help="Daylight snaps: JPEG, HEIC, PNG, WebP or TIFF.")
]
OutOption = Annotated[Path, typer.Option("--out", metavar="FOLDER", help="Where the pictures go; made if missing.")]
JsonOption = Annotated[bool, typer.Option("--json", help="Answer as JSON on stdout, one object on a line.")]
KitOption = Annotated[
    str | None,
    typer.Option("--kit", metavar="NAME|FILE", help="Filter and camera: a built-in name or a kit file of your own."),
]
WhyOption = Annotated[
    bool, typer.Option("--why", help="Also say what each sentence rests on: figures with their ranges.")
]
GradeOption = Annotated[float, typer.Option("--grade", **within(0.0, 5.0), help="Paper grade: 0 soft to 5 very hard.")]
WindOption = Annotated[
    float | None,
    typer.Option(
        "--wind",
        parser=as_option(parse_wind),
        metavar="WIND",
        help="Mean wind: metres per second (4), or 5bft, 12kn, 20km/h. Left out = unknown.",
    ),
]
ShutterOption = Annotated[
    float | None,
    typer.Option(
        *("--shutter", "--time"),
        parser=as_option(parse_shutter),
        metavar="TIME",
        help="Ask for a shutter time: seconds (30), 1/30, 2m30s or 4min.",
    ),
]
GustOption = Annotated[
    float | None,
    typer.Option("--gust", parser=as_option(parse_wind), metavar="WIND", help="Gusts, written like --wind."),
]
TemperatureOption = Annotated[
    float | None,
    typer.Option("--temperature", **within(-60.0, 60.0, "degrees C"), metavar="C", help="Air, degrees Celsius."),
]
AtOption = Annotated[
    str | None,
    typer.Option("--at", metavar="LAT,LON", help="Place in degrees, such as 47.1,11.4; west and south negative."),
]
PlannedSunOption = Annotated[
    float | None,
    typer.Option(
        "--planned-sun",
        **within(-90.0, 90.0, "degrees"),
        metavar="DEG",
        help="A what-if: the snap with the sun this high above the horizon.",
    ),
]
PlannedTimeOption = Annotated[
    str | None,
    typer.Option("--planned-time", metavar="TIME", help="A what-if: the snap at this time, such as 2026-06-21T19:30."),
]
PlannedPlaceOption = Annotated[
    str | None,
    typer.Option("--at", metavar="LAT,LON", help="Place for --planned-time; left out = where the snap was taken."),
]
PlannedHazeOption = Annotated[
    Literal["clear", "normal", "hazy"] | None,
    typer.Option("--haze", help="Haze of the planned light; left out = as on the day of the snap."),
]
WhenOption = Annotated[
    str | None, typer.Option("--when", metavar="TIME", help="Date and time, such as 2026-06-21T10:30.")
]
HazeOption = Annotated[str, typer.Option("--haze", metavar="WORD", help="clear, normal, hazy or unknown.")]
HeadingOption = Annotated[
    float | None,
    typer.Option(
        "--heading", **within(-360.0, 360.0, "degrees"), metavar="DEG", help="View direction, degrees true; 90 = east."
    ),
]
FocalOption = Annotated[
    float | None,
    typer.Option("--focal", **within(8.0, 2000.0, "mm"), metavar="MM", help="Focal length, 35 mm equivalent, in mm."),
]
LensOption = Annotated[str | None, typer.Option("--lens", metavar="NAME", help="The lens, in your own words.")]
MeterOption = Annotated[
    str | None, typer.Option("--meter", metavar="READING", help='The metered light, such as "1/125 f/10 ISO 64".')
]
EvOption = Annotated[
    float | None,
    typer.Option("--ev", **within(-6.0, 20.0, "EV"), metavar="EV", help="Metered exposure value at ISO 100."),
]
LogOption = Annotated[
    Path | None,
    typer.Option("--log", metavar="FILE", help="The field log; else $IRPREVIEW_LOG, else the one in your data folder."),
]
ZoneOption = Annotated[
    str | None,
    typer.Option(
        "--zone",
        parser=as_option(known_zone),
        metavar="ZONE",
        help="Time zone of photos that do not say theirs, such as Europe/Oslo or +02:00.",
    ),
]


def say(text: str) -> None:
    """A message for the person: to stderr, never to stdout."""
    print(for_terminal(text), file=sys.stderr, flush=True)


def emit_json(answer: Mapping[str, Any]) -> None:
    """The plain values of an answer (`as_json`) on one line of stdout, with the schema's name first."""
    first = [key for key in ("kind", "photo") if key in answer]
    order = [*first, *(key for key in answer if key not in (*first, "schema"))]
    line = {"schema": SCHEMA, **{key: answer[key] for key in order}}
    print(json.dumps(line, ensure_ascii=False, allow_nan=False), flush=True)


def fail_usage(text: str) -> typer.BadParameter:
    """Wrong usage, to be raised: one line and exit 2."""
    return typer.BadParameter(text)


class Refusals:
    """Counts what was refused while the rest goes on; `leave` ends the command with the right status."""

    def __init__(self) -> None:
        self.count = 0

    def add(self, what: object, error: Exception) -> None:
        """Say on one line why this one was refused. Errors that are not ours are written to a file that is named."""
        text = one_line(error) if isinstance(error, IrpreviewError) else unexpected(error)
        label = str(what)
        say(f"irpreview: {text}" if not label or label in text else f"irpreview: {label}: {text}")
        self.count += 1

    def leave(self) -> None:
        """Leave with status 1 if anything was refused."""
        if self.count:
            raise typer.Exit(1)
