"""`irpreview render`: from snaps to their infrared pictures."""

from __future__ import annotations

import textwrap
import time
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from irpreview.analysis import analyse
from irpreview.answers.picture import render_answer
from irpreview.cli.asking import Asked, asks
from irpreview.cli.common import JsonOption, OutOption, PhotosArgument, Refusals, emit_json, fail_usage, say
from irpreview.core.scene.class_picture import class_sheet
from irpreview.core.units import share_text, zone_text, zone_word
from irpreview.io.photos import load_photo
from irpreview.io.pictures import make_folder, write_jpeg, write_labels, write_png, write_tones
from irpreview.records import CLASS_NAMES, CLASS_WORDS

if TYPE_CHECKING:
    from irpreview.analysis import Analysis
    from irpreview.answers.picture import RenderAnswer

TonesOption = Annotated[
    Path | None,
    typer.Option(
        "--tones", metavar="FILE", help="Write the linear tones of one photo too, as a 16-bit grey PNG (see --json)."
    ),
]
LabelsOption = Annotated[
    Path | None,
    typer.Option("--labels", metavar="FILE", help="Write the class ids 1 to 9 of one photo too, as an 8-bit grey PNG."),
]
_FLOOR_SHARE = 0.005
"""Classes below this share of the picture are not reported to a person."""


def register(app: typer.Typer) -> None:
    """Add the command to the application."""

    @app.command("render")
    @asks
    def render(
        photos: PhotosArgument,
        asked: Asked,
        out: OutOption = Path(),
        tones: TonesOption = None,
        labels: LabelsOption = None,
        as_json: JsonOption = False,
    ) -> None:
        """Show how daylight snaps will look in black-and-white infrared.

        Writes NAME-infrared.jpg and NAME-classes.png for each photo; NAME-what-if.jpg instead in a planned light.
        """
        if len(photos) > 1 and (tones or labels):
            raise fail_usage(f"--tones and --labels go with one photo, and {len(photos)} were given")
        asked.check()

        make_folder(out)
        refused = Refusals()
        for i, (path, stem) in enumerate(zip(photos, free_stems(photos, out), strict=True)):
            if stem != path.stem:
                say(f"{path}: another photo has the same name, so its pictures are called {stem}-...")
            try:
                analysis, answer = render_one(path, out, stem, asked, tones=tones, labels=labels)
            except Exception as error:  # one bad photo does not stop the others
                refused.add(path, error)
                continue
            if as_json:
                emit_json(answer.as_json())
            else:
                print(("\n" if i else "") + report(analysis, answer))
        refused.leave()


def free_stems(photos: Sequence[Path], out: Path) -> list[str]:
    """A name for the pictures of each photo: its own stem, or with a number where two photos would share one.

    Nor may a picture land on one of the photos: `a.jpg` and `a-infrared.jpg` in the folder that is written to.
    """
    inputs = {path.resolve() for path in photos}
    taken: set[str] = set()
    stems = []
    for path in photos:
        stem, number = path.stem, 1
        # case does not tell files apart on every system
        names = (*_names(stem), *_names(stem, planned=True))
        while stem.casefold() in taken or any((out / name).resolve() in inputs for name in names):
            number += 1
            stem = f"{path.stem}-{number}"
            names = (*_names(stem), *_names(stem, planned=True))
        taken.add(stem.casefold())
        stems.append(stem)
    return stems


def _names(stem: str, planned: bool = False) -> tuple[str, str]:
    """Names of the infrared picture and of the classes: a what-if may not pass for the prediction."""
    return f"{stem}-what-if.jpg" if planned else f"{stem}-infrared.jpg", f"{stem}-classes.png"


def render_one(
    path: Path, out: Path, stem: str, asked: Asked, *, tones: Path | None = None, labels: Path | None = None
) -> tuple[Analysis, RenderAnswer]:
    """Read one photo, predict, and write its pictures into the folder `out`."""
    start = time.perf_counter()
    photo = load_photo(path, zone=asked.zone)
    analysis = analyse(photo, asked.request(photo))
    rendering, scene = analysis.full_rendering, analysis.full_scene
    infrared, classes = (out / name for name in _names(stem, rendering.light.planned))
    write_jpeg(infrared, rendering.picture)
    write_png(classes, class_sheet(photo, scene))
    full_scale = write_tones(tones, rendering.tones) if tones is not None else None
    if labels is not None:
        write_labels(labels, scene.label)
    files = {
        "infrared": str(infrared),
        "classes": str(classes),
        "tones": None if tones is None else str(tones),
        "labels": None if labels is None else str(labels),
    }
    seconds = time.perf_counter() - start
    return analysis, render_answer(analysis, str(path), files, seconds, full_scale, asked.lessons[1])


def report(analysis: Analysis, answer: RenderAnswer, title: str | None = None) -> str:
    """The answer as a short text: what is there, in which zone it will print, and why to doubt it."""
    share, classes = answer.shares, analysis.rendering.classes
    lines = [f"{title or Path(answer.photo).name}: {answer.width} x {answer.height}, {analysis.kit.words}"]
    if answer.planned:
        lines.append(f"  What-if, no forecast. Light {answer.light}")
    present = sorted((n for n in CLASS_NAMES if share[n] >= _FLOOR_SHARE), key=lambda n: -share[n])
    for name in present:
        tone = f"{zone_text(classes[name].zone):26}  {zone_word(classes[name].zone.likely)}" if name in classes else ""
        lines.append(f"  {CLASS_WORDS[name]:13} {share_text(share[name]):>5}  {tone}".rstrip())
    for doubt in answer.doubts:
        lines += textwrap.wrap(f"Doubt: {doubt}.", 96, initial_indent="  ", subsequent_indent="    ")
    lines.append(f"  {answer.files['infrared']}")
    lines.append(f"  {answer.files['classes']}")
    return "\n".join(lines)
