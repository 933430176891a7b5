"""`irpreview calibrate`: the filter factor of your own kit, from two frames or from what you typed."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from irpreview.analysis import analyse
from irpreview.answers.calibration import calibration_answer
from irpreview.cli.common import JsonOption, KitOption, ZoneOption, emit_json, fail_usage, say, within
from irpreview.core.exposure.calibration import calibrate_frames, calibrate_photos, calibrate_typed
from irpreview.core.exposure.metering import parse_exposure
from irpreview.core.light.surfaces import class_factors
from irpreview.core.words import long_words
from irpreview.core.words.calibration_words import calibration_words
from irpreview.errors import BadModel
from irpreview.io.kits import load_kit, save_kit
from irpreview.io.photos import load_photo
from irpreview.io.raw_frames import is_raw, load_raw
from irpreview.io.tables import load_tables

if TYPE_CHECKING:
    from irpreview.core.exposure.calibration import Calibration
    from irpreview.records import Kit, Photo

PlainArgument = Annotated[Path | None, typer.Argument(metavar="PLAIN", help="The frame without the filter.")]
FilteredArgument = Annotated[Path | None, typer.Argument(metavar="FILTERED", help="The same scene through the filter.")]
MeterOption = Annotated[
    str | None, typer.Option("--meter", metavar="SETTING", help='Typed instead of PLAIN: "1/125 f/10 ISO 64".')
]
FilteredOption = Annotated[
    str | None, typer.Option("--filtered", metavar="SETTING", help='Typed instead of FILTERED: "5 min".')
]
DarkOption = Annotated[
    float,
    typer.Option(
        "--too-dark",
        metavar="STOPS",
        **within(-6.0, 6.0, "stops"),
        help="How much more light the typed filtered frame needed.",
    ),
]
EvOption = Annotated[
    float | None,
    typer.Option(
        "--ev", metavar="EV", **within(-6.0, 20.0, "EV"), help="Typed instead of --meter: exposure value at ISO 100."
    ),
]
PlacedOption = Annotated[
    float,
    typer.Option(
        "--placed", metavar="STOPS", **within(-6.0, 6.0, "stops"), help="What the plan's placement added, in stops."
    ),
]
SaveOption = Annotated[
    Path | None, typer.Option("--save", metavar="FILE", help="Write the kit with this factor to a kit file.")
]


def register(app: typer.Typer) -> None:
    """Add the command to the application."""

    @app.command("calibrate")
    def calibrate(
        plain: PlainArgument = None,
        filtered: FilteredArgument = None,
        meter: MeterOption = None,
        ev: EvOption = None,
        typed: FilteredOption = None,
        too_dark: DarkOption = 0.0,
        placed: PlacedOption = 0.0,
        kit: KitOption = None,
        zone: ZoneOption = None,
        save: SaveOption = None,
        as_json: JsonOption = False,
    ) -> None:
        """The filter factor of your own kit from two frames, or from typed settings."""
        chosen = load_kit(kit) if kit is not None else load_kit("unmodified-720")
        if plain is not None and filtered is not None and meter is None and ev is None and typed is None:
            answer = _from_frames(plain, filtered, zone, chosen)
            source = f"two frames: {plain.name}, {filtered.name}"
        elif plain is None and (meter is None) != (ev is None) and typed is not None:
            without = parse_exposure(meter) if meter is not None else float(ev or 0.0)
            answer = calibrate_typed(without, parse_exposure(typed), too_dark, placed)
            source = f"typed: {meter or f'EV {ev:g}'} without, {typed} with the filter"
        else:
            raise fail_usage("give two frames PLAIN FILTERED, or --meter (or --ev) and --filtered")
        written = None if save is None else save_kit(answer.applied_to(chosen, source), save)
        if as_json:
            emit_json(
                calibration_answer(answer, chosen.name, source, None if written is None else str(written)).as_json()
            )
            return
        for text in calibration_words(answer):
            print(text)
        for doubt in long_words(answer.doubts):
            say(f"doubt: {doubt}")
        if written is not None:
            say(f"kit written to {written}")
        else:
            say("to keep it, add --save FILE and use that file as --kit")


def _from_frames(plain: Path, filtered: Path, zone: str | None, kit: Kit) -> Calibration:
    raw = is_raw(plain), is_raw(filtered)
    if raw[0] != raw[1]:
        raise fail_usage("give two raw files or two pictures, not one of each")
    if all(raw):
        return calibrate_frames(load_raw(plain), load_raw(filtered))

    first, second = load_photo(plain, zone=zone), load_photo(filtered, zone=zone)
    factors, label = _class_factors(first, kit)
    return calibrate_photos(first, second, factors, label)


def _class_factors(photo: Photo, kit: Kit) -> tuple[Any, Any]:
    """Class factors in the light of the plain frame and its label map; (None, None) where weights are missing."""
    try:
        analysis = analyse(photo)
        return class_factors(kit, analysis.snap_light, load_tables()), analysis.full_scene.label
    except BadModel as error:
        say(f"what is in the frame is told by colour only: {error}")
        return None, None
