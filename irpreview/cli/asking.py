"""Everything that can be said of a snap, as options: one set for every command, each with one meaning."""

from __future__ import annotations

import functools
import inspect
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Literal

import typer

from irpreview.cli.common import (
    EvOption,
    GradeOption,
    GustOption,
    KitOption,
    LensOption,
    LogOption,
    MeterOption,
    ShutterOption,
    TemperatureOption,
    WindOption,
    ZoneOption,
    fail_usage,
    within,
)
from irpreview.clips import measure_clip
from irpreview.core.exposure.metering import from_ev, from_meter, parse_exposure
from irpreview.errors import BadLog, BadValue
from irpreview.io.log_exchange import lessons_of
from irpreview.records import CLASS_NAMES, DEFAULT_GRADE, Doubt, LessonDoubt, LessonDoubtKind
from irpreview.request import Inputs, kit_of, request_of

if TYPE_CHECKING:
    from irpreview.core.exposure.metering import Metering
    from irpreview.core.motion.clip_motion import ClipMotion
    from irpreview.io.log_exchange import LogLessons
    from irpreview.records import Photo
    from irpreview.request import Request

Haze = Literal["clear", "normal", "hazy", "unknown"]
Sky = Literal["clear", "thin_cloud", "broken", "overcast", "unknown"]
Water = Literal["unknown", "pond", "lake", "sea", "stream", "falls"]


def _flag(name: str, text: str) -> Any:
    return Annotated[bool, typer.Option(name, help=text)]


def _number(name: str, metavar: str, low: float, high: float, text: str) -> Any:
    return Annotated[float | None, typer.Option(name, metavar=metavar, **within(low, high), help=text)]


def _text(names: tuple[str, ...], metavar: str, text: str) -> Any:
    return Annotated[str, typer.Option(*names, metavar=metavar, help=text)]


SHARED: dict[str, tuple[Any, Any]] = {
    "kit": (KitOption, None),
    "lens": (LensOption, None),
    "log": (LogOption, None),
    "without_log": (_flag("--without-log", "The kit as it stands, without what the field log taught."), False),
    "wind": (WindOption, None),
    "gust": (GustOption, None),
    "wind_from": (
        _number("--wind-from", "DEG", 0.0, 360.0, "Where the wind blows from, degrees true: 270 = west."),
        None,
    ),
    "shutter": (ShutterOption, None),
    "grade": (GradeOption, DEFAULT_GRADE),
    "place": (_text(("--place", "--at"), "LAT,LON", "Where the snap was taken; else the photo's own place."), ""),
    "when": (_text(("--when",), "TIME", "When, such as 2026-06-21T10:30; else the photo's own time."), ""),
    "zone": (ZoneOption, None),
    "heading": (
        _number("--heading", "DEG", -360.0, 360.0, "View direction, degrees true, 90 = east; else the photo's own."),
        None,
    ),
    "sky": (Annotated[Sky, typer.Option("--sky", help="The sky of the day.")], "unknown"),
    "haze": (Annotated[Haze, typer.Option("--haze", help="The air of the day.")], "unknown"),
    "temperature": (TemperatureOption, None),
    "dew_point": (_number("--dew-point", "C", -60.0, 40.0, "Dew point, degrees Celsius."), None),
    "cloud_height": (_number("--cloud-height", "M", 0.0, 20000.0, "Cloud base, metres."), None),
    "cloud_fist": (
        _number("--cloud-fist", "S", 0.0, 36000.0, "Seconds a cloud takes to cross a fist at arm's length."),
        None,
    ),
    "water": (Annotated[Water, typer.Option("--water", help="What water it is.")], "unknown"),
    "distance": (
        Annotated[
            list[str] | None,
            typer.Option("--distance", metavar="CLASS=M", help="Metres to a class, as tree=30; may be repeated."),
        ],
        None,
    ),
    "focal": (
        _number("--focal", "MM", 8.0, 2000.0, "Lens for the picture, 35 mm equivalent; else that of the snap."),
        None,
    ),
    "nearest": (_number("--nearest", "M", 0.0, 100000.0, "Nearest thing that must be sharp, metres."), None),
    "meter": (MeterOption, None),
    "ev": (EvOption, None),
    "shade": (_flag("--shade", "What matters lies in open shade, and was metered there."), False),
    "hold": (
        Annotated[
            float,
            typer.Option(
                "--hold", metavar="PX", **within(0.5, 100.0, "pixels"), help="Blur that still counts as sharp, pixels."
            ),
        ],
        5.0,
    ),
    "noise_reduction": (
        _flag("--noise-reduction", "The camera takes a dark frame of equal length after each."),
        False,
    ),
    "light_minutes": (_number("--light-minutes", "MIN", 0.0, 1440.0, "How long the light will last, minutes."), None),
    "planned_sun": (
        _number("--planned-sun", "DEG", -90.0, 90.0, "A what-if: the snap with the sun this high above the horizon."),
        None,
    ),
    "planned_time": (
        _text(("--planned-time",), "TIME", "A what-if: the snap at this time, such as 2026-06-21T19:30."),
        "",
    ),
    "planned_place": (
        _text(("--planned-place",), "LAT,LON", "Place for --planned-time; left out = where the snap was taken."),
        "",
    ),
    "planned_haze": (
        Annotated[
            Literal["clear", "normal", "hazy"] | None,
            typer.Option("--planned-haze", help="Haze of the planned light; left out = as on the day of the snap."),
        ],
        None,
    ),
    "clip": (
        Annotated[
            list[Path] | None,
            typer.Option(
                "--clip",
                metavar="CLIP",
                help="A 3 to 10 s film of the scene, a folder of stills, or stills one by one: measured movement.",
            ),
        ],
        None,
    ),
    "clip_fps": (_number("--clip-fps", "HZ", 0.0, 10000.0, "Frames per second where the clip does not tell."), None),
    "clip_focal": (
        _number("--clip-focal", "MM", 8.0, 2000.0, "Focal length of the clip, else that of the snap."),
        None,
    ),
    "crisp": (_flag("--crisp", "Hold to two pixels of a large frame instead of to a sharp print."), False),
    "film_look": (_flag("--film-look", "Let bright parts glow a little, as on film without a backing."), False),
}
"""Name of the parameter -> its annotation and what stands for "not said"."""


@dataclass(frozen=True)
class Asked:
    """What was said on the command line, to be made into a request for each snap."""

    given: dict[str, Any]

    @functools.cached_property
    def inputs(self) -> Inputs:
        """As typed. Raises wrong usage for what says nothing."""
        g = self.given
        return Inputs(
            kit=g["kit"] or "unmodified-720",
            lens=g["lens"] or "",
            focal_35mm_mm=g["focal"],
            place=g["place"],
            when=g["when"],
            zone=g["zone"] or "",
            heading_deg=g["heading"],
            planned_sun_deg=g["planned_sun"],
            planned_time=g["planned_time"],
            planned_place=g["planned_place"],
            planned_haze=g["planned_haze"] or "",
            sky_state=g["sky"],
            haze=g["haze"],
            temperature_c=g["temperature"],
            dew_point_c=g["dew_point"],
            wind_m_s=g["wind"],
            gust_m_s=g["gust"],
            wind_from_deg=g["wind_from"],
            cloud_fist_s=g["cloud_fist"],
            cloud_height_m=g["cloud_height"],
            distance_m=_distances(g["distance"] or []),
            nearest_m=g["nearest"],
            water_kind=g["water"],
            hold_px=g["hold"],
            noise_reduction=g["noise_reduction"],
            light_minutes=g["light_minutes"],
            in_shade=g["shade"],
            grade=g["grade"],
            film_look=g["film_look"],
            crisp=g["crisp"],
            shutter_s=g["shutter"],
        )

    @property
    def zone(self) -> str | None:
        """Time zone of photos that do not say theirs."""
        zone: str | None = self.given["zone"]
        return zone

    @functools.cached_property
    def readings(self) -> tuple[Metering, ...]:
        """Light metered by hand."""
        meter, ev = self.given["meter"], self.given["ev"]
        if meter is not None and ev is not None:
            raise fail_usage("give --meter or --ev, not both")
        if meter is not None:
            return (from_meter(parse_exposure(meter)),)
        return (from_ev(ev),) if ev is not None else ()

    @functools.cached_property
    def lessons(self) -> tuple[LogLessons | None, tuple[Doubt, ...]]:
        """What the field log taught, and a doubt where the usual log could not be read; one named by hand must be."""
        if self.given["without_log"]:
            return None, ()
        log: Path | None = self.given["log"]
        try:
            lessons = lessons_of(
                kit_of(self.inputs), log, in_shade=self.inputs.in_shade, focal_mm=self.inputs.focal_35mm_mm
            )
        except BadLog as error:
            if log is not None:
                raise
            return None, (LessonDoubt(LessonDoubtKind.LOG_NOT_USED, text=str(error)),)
        return lessons, ()

    def check(self) -> None:
        """Refuse what can be refused before any photo is read. Raises BadKit, BadValue, BadLog."""
        _ = self.readings, self.lessons
        if self.given.get("lens") is not None and not str(self.given["lens"]).strip():
            raise fail_usage("--lens is empty; write the lens in your own words, or leave the option out")
        if self.inputs.planned_time and self.given.get("planned_sun") is not None:
            raise fail_usage("--planned-sun and --planned-time say the same thing twice; give one of them")
        try:
            request_of(replace(self.inputs, planned_time=""), None)
            if self.inputs.planned_time and (self.inputs.planned_place or self.inputs.place):
                request_of(self.inputs, None)
        except BadValue as error:
            raise fail_usage(str(error)) from error

    def request(self, photo: Photo | None = None) -> Request:
        """The request for one snap. Raises IrpreviewError."""
        clip = None if photo is None or not self.given["clip"] else self._clip(photo)
        return request_of(self.inputs, photo, lessons=self.lessons[0], readings=self.readings, clip=clip)

    def _clip(self, photo: Photo) -> ClipMotion:
        return measure_clip(self.given["clip"], photo, self.given["clip_fps"], self.given["clip_focal"])


def nothing_said() -> Asked:
    """As if no option had been given, and the field log left alone."""
    return Asked({name: default for name, (_, default) in SHARED.items()} | {"without_log": True})


def _distances(given: list[str]) -> dict[str, float]:
    distances = {}
    for text in given:
        name, _, metres = text.partition("=")
        name = name.strip().lower().replace(" ", "_")
        if name not in CLASS_NAMES:
            raise fail_usage(f"--distance {text}: {name!r} is no class; one of {', '.join(CLASS_NAMES)}")
        try:
            distances[name] = float(metres)
        except ValueError:
            raise fail_usage(f"--distance {text}: write CLASS=METRES, such as tree=30") from None
    return distances


def asks(command: Callable[..., None]) -> Callable[..., None]:
    """Give a command every shared option; it gets what was said as its parameter `asked`."""
    own = inspect.signature(command, eval_str=True)

    @functools.wraps(command)
    def run(**given: Any) -> None:
        shared = {name: given.pop(name) for name in SHARED}
        command(asked=Asked(shared), **given)

    kept = [one for one in own.parameters.values() if one.name not in ("asked", "as_json")]
    last = [one for one in own.parameters.values() if one.name == "as_json"]
    kind = inspect.Parameter.KEYWORD_ONLY
    told = [inspect.Parameter(n, kind, default=d, annotation=a) for n, (a, d) in SHARED.items()]
    parameters = [one.replace(kind=kind) for one in kept] + told + [one.replace(kind=kind) for one in last]
    run.__dict__["__signature__"] = inspect.Signature(parameters)
    run.__annotations__ = {one.name: one.annotation for one in parameters}
    del run.__dict__["__wrapped__"]
    return run
