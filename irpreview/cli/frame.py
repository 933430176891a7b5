"""`irpreview frame`: which pictures to make from here, with which lens, and where to point."""

from __future__ import annotations

import textwrap
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from irpreview.analysis import analyse
from irpreview.answers.framing import FrameAnswer, frame_answer, viewpoint_answers
from irpreview.cli.asking import Asked, asks
from irpreview.cli.common import JsonOption, PhotosArgument, Refusals, emit_json, say
from irpreview.core.words import in_words
from irpreview.core.words.framing_words import framing_details, framing_sentence, wider_sentence
from irpreview.io.photos import load_photo
from irpreview.io.pictures import make_folder, write_jpeg
from irpreview.records import WORKING_SIDE_PX, DoorDoubt, DoorDoubtKind

if TYPE_CHECKING:
    from irpreview.analysis import Analysis
    from irpreview.records import Place
    from irpreview.records.framing import Framings

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
        told: list[tuple[FrameAnswer, str, Place | None, Framings]] = []
        for number, path in enumerate(photos, 1):
            try:
                photo = load_photo(path, zone=asked.zone, max_side=WORKING_SIDE_PX)
                analysis = analyse(photo, asked.request(photo))
                written = {} if out is None else _write(analysis, path, out, number if len(photos) > 1 else None)
                doubts = asked.lessons[1]
                if analysis.request.conditions.wind_m_s is None:
                    doubts += (DoorDoubt(DoorDoubtKind.WIND_ASSUMED),)
                answer = frame_answer(analysis, str(path), written, doubts)
                text = (
                    ""
                    if as_json
                    else report(analysis, answer.doubts, str(path) if len(photos) > 1 else analysis.photo.name)
                )
            except Exception as error:
                refused.add(path, error)
                continue
            told.append((answer, text, analysis.photo.place, analysis.framings))
        answers = _side_by_side(told)
        if as_json:
            for one in answers:
                emit_json(one.as_json())
        else:
            _print_by_place(answers, [text for _, text, _, _ in told])
        refused.leave()


def _side_by_side(told: list[tuple[FrameAnswer, str, Place | None, Framings]]) -> list[FrameAnswer]:
    """The answers, each with its standing among the snaps of its place."""
    answers = [answer for answer, *_ in told]
    if len(answers) < 2:
        return answers
    names = [answer.photo for answer in answers]
    views = viewpoint_answers(names, [place for _, _, place, _ in told], [found for *_, found in told])
    return [answer.model_copy(update={"viewpoint": view}) for answer, view in zip(answers, views, strict=True)]


def _print_by_place(answers: list[FrameAnswer], texts: list[str]) -> None:
    """The snaps in the order of their places, the best standpoint of each first."""
    places = list(dict.fromkeys(one.viewpoint.place if one.viewpoint else None for one in answers))
    for place in places:
        here = [
            (one, text)
            for one, text in zip(answers, texts, strict=True)
            if (one.viewpoint.place if one.viewpoint else None) == place
        ]
        here.sort(key=lambda pair: pair[0].viewpoint.rank if pair[0].viewpoint else 0)
        sentence = here[0][0].viewpoint.sentence if here[0][0].viewpoint else None
        if sentence is not None:
            head = "Side by side" if place is None else f"Place {place}"
            print(textwrap.fill(f"{head}: {sentence}", 96, subsequent_indent="  "))
        elif len(places) > 1:
            print("Place not known:" if place is None else f"Place {place}:")
        for _, text in here:
            print(text)


def report(analysis: Analysis, doubts: list[str], name: str) -> str:
    """The framings as a short text."""
    found, asked = analysis.framings, analysis.asked_time
    lines = [f"{name}:"]
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
