"""`irpreview movement`: what wind and shutter do to this picture, from a table or from a clip, in numbers and shown."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from irpreview.analysis import analyse
from irpreview.answers.movement import holding_answer, move_answer
from irpreview.cli.asking import Asked, asks
from irpreview.cli.common import JsonOption, PhotoArgument, WhyOption, emit_json, say, shutter_text
from irpreview.core.motion.blur import holding_settings
from irpreview.core.motion.sway import LONGEST_S
from irpreview.core.words import long_words, short_words
from irpreview.core.words.motion_words import print_text, wind_words
from irpreview.io.photos import load_photo
from irpreview.io.pictures import make_folder, write_jpeg
from irpreview.records import CLASS_WORDS, WORKING_SIDE_PX, DoorDoubt, DoorDoubtKind, Doubt

if TYPE_CHECKING:
    from irpreview.analysis import Analysis
    from irpreview.answers.movement import HoldingAnswer, MoveAnswer
    from irpreview.core.motion.rates import Rates
    from irpreview.records import ClassMovement, Movement

DRAWN_SIDE_PX = 2560
"""Long side of the picture written."""

MaybeOutOption = Annotated[
    Path | None,
    typer.Option("--out", metavar="FOLDER", help="Write the infrared picture as it would look at that shutter."),
]


def register(app: typer.Typer) -> None:
    """Add the command to the application."""

    @app.command("movement")
    @asks
    def movement(
        photo: PhotoArgument,
        asked: Asked,
        out: MaybeOutOption = None,
        why: WhyOption = False,
        as_json: JsonOption = False,
    ) -> None:
        """What the wind does to this picture at an exposure; without one, at the recommended exposure.

        Blur of leaves, grass, water, clouds, people and of the tripod itself, and which exposure keeps each sharp.
        """
        asked.check()

        # only a picture to be written asks for the snap at its own size
        snap = load_photo(photo, zone=asked.zone, max_side=None if out is not None else _working_side())
        analysis = analyse(snap, asked.request(snap))
        settings, more = _holding(analysis)
        files = {"picture": None if out is None else str(_draw(analysis, out))}
        answer = move_answer(analysis, str(photo), settings, files, (*asked.lessons[1], *more))
        if as_json:
            emit_json(answer.as_json())
        else:
            print(report(photo.name, analysis.movement, analysis.rates, answer, why=why))


def _working_side() -> int:
    return WORKING_SIDE_PX


def _holding(analysis: Analysis) -> tuple[HoldingAnswer | None, tuple[Doubt, ...]]:
    """Which ISO and aperture reach the time that holds the plants, and the noise it costs."""
    held = [
        (move.holds_until_s.likely, name)
        for name, move in analysis.movement.classes.items()
        if name in ("tree", "grass") and move.holds_until_s is not None
    ]
    if not held:
        return None, ()
    time_s, name = min(held)
    why = analysis.why_no_exposure
    if why is not None:
        return None, (DoorDoubt(DoorDoubtKind.NO_HOLDING_SETTING, f"{CLASS_WORDS[name]}: {why}"),)
    exposure, celsius = analysis.exposure, analysis.request.conditions.temperature_c
    rows = holding_settings(
        analysis.kit, exposure.metered_ev100.likely, exposure.factor_stops.likely, time_s, celsius or 20.0
    )
    return holding_answer(name, time_s, exposure, rows), ()


def _draw(analysis: Analysis, out: Path) -> Path:
    """Write the infrared picture in motion, in the snap's own framing."""
    time = shutter_text(analysis.shutter_s).replace("/", "-").replace(" ", "")
    path = make_folder(out) / f"{Path(analysis.photo.name).stem}-infrared-{time}.jpg"
    return write_jpeg(path, analysis.motion_picture(DRAWN_SIDE_PX))


def report(name: str, moved: Movement, rates: Rates, answer: MoveAnswer, *, why: bool = False) -> str:
    """The movement in words for a person; why: with the figures that each sentence rests on."""
    lines = [f"{name} at {shutter_text(moved.shutter_s)}; {wind_words(rates.wind_m_s, rates.wind_known)}"]
    lines += [f"  {text}" for text in (long_words if why else short_words)(moved.notes)]
    for key, move in moved.classes.items():
        word = "people and boats" if key == "other" else CLASS_WORDS[key]
        lines.append(f"  {word:18s}{_line(move)}")
    lines.append(f"  {'tripod':18s}{_line(moved.tripod)}")
    settings = answer.settings
    if settings is not None:
        lines.append(f"  Sharp {CLASS_WORDS[settings.holds]} at {settings.shutter_text}:")
        for row in settings.choices:
            reach = "" if row.reaches else f", only {shutter_text(row.shutter_s)}"
            lines.append(f"    f/{row.f_number:g} at ISO {row.iso:g}{reach}: noise {row.noise}")
    if answer.files["picture"]:
        lines.append(f"  written: {answer.files['picture']}")
    for doubt in answer.doubts:
        say(f"irpreview: {doubt}")
    return "\n".join(lines)


def _line(move: ClassMovement) -> str:
    if move.holds_until_s is None:
        return "still"
    text = print_text(move.print_mm)
    held = move.holds_until_s.likely
    text += "; sharp at any exposure" if held >= LONGEST_S else f"; sharp at {shutter_text(held)}"
    if move.flows_from_s is not None:
        text += f", flows from {shutter_text(move.flows_from_s)}"
    return text
