"""`irpreview judge`: will the layers separate, is there enough in the sky, what should lead the picture."""

from __future__ import annotations

import textwrap
from dataclasses import asdict, replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from irpreview.analysis import analyse
from irpreview.answers.verdict import judge_answer
from irpreview.cli.asking import Asked, asks
from irpreview.cli.common import JsonOption, PhotosArgument, Refusals, WhyOption, emit_json, say, shutter_text
from irpreview.core.verdict.verdict_picture import draw_verdict
from irpreview.core.words import in_words
from irpreview.core.words.framing_words import framing_sentence
from irpreview.core.words.lead_words import lead_text, why_line
from irpreview.core.words.phrases import wind_text
from irpreview.core.words.verdict_words import reasons, sentences
from irpreview.io.photos import load_photo
from irpreview.io.pictures import make_folder, write_jpeg, write_png
from irpreview.records import WORKING_SIDE_PX, DoorDoubt, DoorDoubtKind

if TYPE_CHECKING:
    from irpreview.analysis import Analysis

FolderOption = Annotated[
    Path | None,
    typer.Option(
        "--out",
        metavar="FOLDER",
        help="Write the infrared picture with layers and edges drawn in, and the map of layers; made if missing.",
    ),
]
SortOption = Annotated[
    bool, typer.Option("--sort", help="Several photos: the one with the most layered contrast first.")
]
FramingsOption = Annotated[
    bool, typer.Option("--framings", help="Also which pictures to make from here, as `irpreview frame` finds them.")
]


def register(app: typer.Typer) -> None:
    """Add the command to the application."""

    @app.command("judge")
    @asks
    def judge(
        photos: PhotosArgument,
        asked: Asked,
        out: FolderOption = None,
        sort: SortOption = False,
        framings: FramingsOption = False,
        why: WhyOption = False,
        as_json: JsonOption = False,
    ) -> None:
        """Will the layers separate, is there enough in the sky, what should lead the picture."""
        asked.check()

        refused = Refusals()
        answers: list[tuple[float, dict[str, Any], str]] = []
        for path in photos:
            try:
                photo = load_photo(path, zone=asked.zone, max_side=WORKING_SIDE_PX)
                analysis = analyse(photo, asked.request(photo))
                doubts = asked.lessons[1]
                if analysis.request.conditions.wind_m_s is None:
                    doubts += (DoorDoubt(DoorDoubtKind.WIND_NOT_GIVEN),)
                written = _write(analysis, path, out) if out is not None else {}
                answer = judge_answer(analysis, str(path), written, doubts, with_framings=framings).as_json()
            except Exception as error:
                refused.add(path, error)
                continue
            text = report(analysis, answer["doubts"], why=why)
            if framings:
                told = [f"    {i}. {framing_sentence(one)}" for i, one in enumerate(analysis.framings.best, 1)]
                text += "\n  " + "\n".join(["Pictures to make from here:", *told])
            if sort:
                answers.append((analysis.verdict.layered_contrast, answer, text))
            else:
                _put(answer, text, as_json, first=path == photos[0])
        for i, (_, answer, text) in enumerate(sorted(answers, key=lambda a: -a[0])):
            _put(answer, text, as_json, first=i == 0)
        refused.leave()


def report(analysis: Analysis, doubts: list[str], *, why: bool = False) -> str:
    """The verdict as a short text; why: with what each sentence rests on."""
    verdict, wind = analysis.verdict, analysis.request.conditions.wind_m_s
    frame = [
        shutter_text(analysis.shutter_s),
        wind_text(wind) if wind is not None else "wind not given",
        f"paper grade {verdict.grade:g}",
    ]
    lines = [f"{analysis.photo.name}: {lead_text(verdict)}  ({analysis.kit.name}, {', '.join(frame)})"]
    first, *others = (*reasons(verdict), *sentences(verdict))
    for sentence in (replace(first, text=why_line(verdict)), *others):
        lines += textwrap.wrap(sentence.text, 96, initial_indent="  ", subsequent_indent="    ")
        if why:
            lines += textwrap.wrap(sentence.evidence, 96, initial_indent="      ", subsequent_indent="      ")
    if analysis.asked_time is not None:
        lines += textwrap.wrap(in_words(analysis.asked_time).long, 96, initial_indent="  ", subsequent_indent="    ")
    parts = ", ".join(f"{name} {value:.2f}" for name, value in asdict(verdict.layered_contrast_parts).items())
    lines.append(f"  Layered contrast {verdict.layered_contrast:.0f} of 100{f' ({parts})' if why else ''}.")
    for doubt in doubts:
        lines += textwrap.wrap(f"Doubt: {doubt}.".replace("..", "."), 96, initial_indent="  ", subsequent_indent="    ")
    return "\n".join(lines)


def _put(answer: dict[str, Any], text: str, as_json: bool, first: bool) -> None:
    if as_json:
        emit_json(answer)
        return
    if not first:
        print()
    print(text)


def _write(analysis: Analysis, path: Path, folder: Path) -> dict[str, str]:
    """Write picture and layer map; returns their paths."""
    make_folder(folder)
    picture = folder / f"{path.stem}-verdict.jpg"
    layers = folder / f"{path.stem}-layers.png"
    write_jpeg(picture, draw_verdict(analysis.verdict, analysis.rendering))
    # one grey value per layer, near to far; 255 = no layer
    write_png(layers, analysis.verdict.layer_map.astype("uint8"))
    say(f"wrote {picture} and {layers}")
    return {"picture": str(picture), "layer_map": str(layers)}
