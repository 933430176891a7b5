"""`irpreview frame`: which pictures to make from here, with which lens, and where to point."""

from __future__ import annotations

import textwrap
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from irpreview.analysis import analyse
from irpreview.answers.framing import frame_answer
from irpreview.cli.asking import Asked, asks
from irpreview.cli.common import JsonOption, PhotosArgument, Refusals, emit_json, say
from irpreview.core.words import in_words
from irpreview.core.words.framing_words import framing_details, framing_sentence, place_sentence, wider_sentence
from irpreview.io.photos import load_photo
from irpreview.io.pictures import make_folder, write_jpeg
from irpreview.records import WORKING_SIDE_PX

if TYPE_CHECKING:
    from irpreview.analysis import Analysis
    from irpreview.records.framing import Framing

FolderOption = Annotated[
    Path | None,
    typer.Option("--out", metavar="FOLDER", help="Write each framing's infrared crop; made if missing."),
]


def register(app: typer.Typer) -> None:
    """Add the command to the application."""

    @app.command("frame")
    @asks
    def frame(
        photos: PhotosArgument,
        asked: Asked,
        out: FolderOption = None,
        as_json: JsonOption = False,
    ) -> None:
        """Which pictures to make from here: lens, format, where to point, what leads, what the wind does."""
        asked.check()

        refused = Refusals()
        first: list[Framing | None] = []
        names: list[str] = []
        for path in photos:
            try:
                photo = load_photo(path, zone=asked.zone, max_side=WORKING_SIDE_PX)
                analysis = analyse(photo, asked.request(photo))
                written = (
                    _write(analysis, path, out, photos.index(path) + 1 if len(photos) > 1 else None)
                    if out is not None
                    else {}
                )
                doubts = asked.lessons[1]
                if analysis.request.conditions.wind_m_s is None:
                    doubts += ("wind not given: a gentle breeze is assumed; give --wind",)
                answer = frame_answer(analysis, str(path), written, doubts)
            except Exception as error:
                refused.add(path, error)
                continue
            names.append(str(path))
            first.append(analysis.framings.best[0] if analysis.framings.best else None)
            if as_json:
                emit_json(answer.as_json())
            else:
                print(report(analysis, answer.doubts))
        if len(names) > 1 and not as_json:
            told = place_sentence(names, first)
            if told is not None:
                print(textwrap.fill(told, 96))
        refused.leave()


def report(analysis: Analysis, doubts: list[str]) -> str:
    """The framings as a short text."""
    found, asked = analysis.framings, analysis.asked_time
    lines = [f"{analysis.photo.name}:"]
    if not found.best:
        why = "not a daylight landscape" if not analysis.verdict.gate.landscape else "no lens of the kit fits inside it"
        lines.append(f"  No framing: {why}.")
    for number, one in enumerate(found.best, 1):
        lines += textwrap.wrap(f"{number}. {framing_sentence(one)}", 96, initial_indent="  ", subsequent_indent="     ")
        lines += textwrap.wrap(" ".join(framing_details(one)), 96, initial_indent="     ", subsequent_indent="     ")
    said = [wider_sentence(found), in_words(asked).long if asked is not None else None]
    for text in (*said, *(f"Doubt: {doubt}.".replace("..", ".") for doubt in doubts)):
        if text:
            lines += textwrap.wrap(text, 96, initial_indent="  ", subsequent_indent="    ")
    return "\n".join(lines)


def _write(analysis: Analysis, path: Path, folder: Path, snap: int | None) -> dict[str, str]:
    """Write the crops of the infrared picture, best first; returns their paths."""
    make_folder(folder)
    written = {}
    for number, one in enumerate(analysis.framings.best, 1):
        # snaps of one place from several folders may share a name
        start = path.stem if snap is None else f"{path.stem}-snap-{snap}"
        file = folder / f"{start}-framing-{number}.jpg"
        write_jpeg(file, analysis.framing_picture(one))
        written[str(number)] = str(file)
    if written:
        say(f"wrote {', '.join(written.values())}")
    return written
