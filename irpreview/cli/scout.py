"""`irpreview scout`: all snaps of a folder judged, like ones put together, ranked, and on a contact sheet."""

from __future__ import annotations

import signal
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Literal

import typer
from tqdm import tqdm

from irpreview.answers.scouting import scout_answers
from irpreview.cli.asking import Asked, asks
from irpreview.cli.common import JsonOption, emit_json, fail_usage, say, within
from irpreview.core.scouting.sheet import clean, refusal_line
from irpreview.core.units import how_many
from irpreview.core.words import long_words
from irpreview.core.words.lead_words import LEAD_WORDS
from irpreview.io.scout_files import PLACES_NAME, write_scouting
from irpreview.io.scout_folder import check_folder
from irpreview.io.scout_store import ScoutStore
from irpreview.io.scout_tables import printable_facts
from irpreview.request import kit_of
from irpreview.scouting import Settings, scout

if TYPE_CHECKING:
    from irpreview.core.scouting.ranking import Scouting
    from irpreview.scouting import Progress, ScoutRun

FolderArgument = Annotated[
    Path, typer.Argument(metavar="FOLDER", help="Folder with snaps; subfolders are looked through too.")
]
OutOption = Annotated[
    Path,
    typer.Option(
        "--out", metavar="FOLDER", help="Where the results go; made if missing. The same folder again goes on there."
    ),
]
OrderOption = Annotated[
    Literal["lead", "contrast"],
    typer.Option("--order", help="What comes first: what can lead in today's wind, or the most layered contrast."),
]
PlacesOption = Annotated[
    bool,
    typer.Option(
        "--places", help="With the places of the snaps: GeoJSON, a sketch map, by place. Left out = none anywhere."
    ),
]
MostOption = Annotated[
    int,
    typer.Option(
        "--most", metavar="N", **within(1, 5000, whole=True), help="Views on the contact sheet; the tables have all."
    ),
]
TitleOption = Annotated[str, typer.Option("--title", metavar="TEXT", help="Heading of the contact sheet.")]
JobsOption = Annotated[
    int | None,
    typer.Option(
        "--jobs", metavar="N", **within(1, 512, whole=True), help="Photos judged at once; left out = one per core."
    ),
]
ClusterOption = Annotated[
    str | None,
    typer.Option("--cluster", metavar="ADDRESS", help="Work on the Dask scheduler there, such as tcp://10.0.0.5:8786."),
]
_TOLD_FIRST = 10


def register(app: typer.Typer) -> None:
    """Add the command to the application."""

    @app.command("scout")
    @asks
    def scout(
        folder: FolderArgument,
        out: OutOption,
        asked: Asked,
        order: OrderOption = "lead",
        places: PlacesOption = False,
        most: MostOption = 200,
        title: TitleOption = "Scouting",
        jobs: JobsOption = None,
        cluster: ClusterOption = None,
        as_json: JsonOption = False,
    ) -> None:
        """Judge all snaps of a folder, put like ones together, and rank them on a contact sheet.

        Writes contact-sheet.html, contact-sheet.pdf, scout.csv and scout.json into --out. A stopped run goes on where
        it was when the same command is given again.
        """
        asked.check()
        if asked.given["clip"] or asked.readings:
            raise fail_usage("--clip, --meter and --ev belong to one scene; they do not go with a folder of snaps")

        settings = Settings(kit_of(asked.inputs), asked.inputs, asked.lessons[0], places)
        for doubt in long_words(asked.lessons[1]):
            say(doubt)
        run, written = _run(folder, out, settings, order, jobs, cluster, title, most)
        if run.scouting is None:
            say(f"stopped with {how_many(run.progress.left, 'photo')} left; the same command again goes on from there")
            raise typer.Exit(130)
        _tell(run, run.scouting, written, out, as_json)
        if run.scouting.refused:
            raise typer.Exit(1)


def _run(
    folder: Path,
    out: Path,
    settings: Settings,
    order: Literal["lead", "contrast"],
    jobs: int | None,
    cluster: str | None,
    title: str,
    most: int,
) -> tuple[ScoutRun, tuple[Path, ...]]:
    check_folder(folder)  # before a folder is made for results that there will never be
    with ScoutStore(out) as store, _stop_politely() as stop, _Bar() as bar:
        run = scout(
            folder,
            out,
            settings,
            order=order,
            jobs=jobs,
            cluster=cluster,
            store=store,
            watch=bar.show,
            stop=stop,
        )
        bar.close()
        if run.scouting is None:
            return run, ()
        return run, write_scouting(run.scouting, out, store.pictures, title=title, most=most)


@contextmanager
def _stop_politely() -> Iterator[Any]:
    """The first Ctrl-C lets the photos in work be finished and kept; a second one breaks off at once."""
    asked = threading.Event()
    if threading.current_thread() is not threading.main_thread():
        yield asked.is_set
        return

    def on_interrupt(_number: int, _frame: object) -> None:
        if asked.is_set():
            raise KeyboardInterrupt
        asked.set()
        say("\nstopping: the photos in work are finished first (Ctrl-C again breaks off at once)")

    before = signal.signal(signal.SIGINT, on_interrupt)
    try:
        yield asked.is_set
    finally:
        signal.signal(signal.SIGINT, before)


class _Bar:
    """Progress with time left, on a terminal only; what an earlier run had done does not count as speed."""

    def __init__(self) -> None:
        self._bar: Any = None

    def __enter__(self) -> _Bar:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        if self._bar is not None:
            self._bar.close()
        self._bar = None

    def show(self, progress: Progress) -> None:
        if not sys.stderr.isatty():
            return
        if self._bar is None:
            shape = "{desc}: {n_fmt} of {total_fmt} {bar} {rate_fmt}, {remaining} left"
            self._bar = tqdm(
                total=progress.files, desc="judged", unit=" photos", bar_format=shape, leave=False, dynamic_ncols=True
            )
        self._bar.total = progress.files - progress.known - progress.copies
        self._bar.update(progress.done - self._bar.n)


def _tell(run: ScoutRun, scouting: Scouting, written: tuple[Path, ...], out: Path, as_json: bool) -> None:
    for path, why in scouting.refused:
        say(f"irpreview: {refusal_line(path, why)}")
    if as_json:
        for answer in scout_answers(printable_facts(scouting), scouting.settings or {}):
            emit_json(answer.as_json())
    else:
        print(report(run, scouting))
    say("wrote " + ", ".join(path.name for path in written) + f" in {out}")
    if not scouting.with_places and (out / PLACES_NAME).exists():
        say(f"{out / PLACES_NAME} is from an earlier run with --places: delete it before you pass the folder on")


def report(run: ScoutRun, scouting: Scouting) -> str:
    """The outcome in a few lines: how many, and the first ones."""
    progress = run.progress
    lines = [
        f"{how_many(scouting.snap_count, 'snap')}, {how_many(len(scouting.views), 'view')}"
        + (f", {how_many(len(scouting.refused), 'file')} could not be used" if scouting.refused else "")
        + (f" ({progress.known} known from before)" if progress.known else "")
    ]
    first = scouting.views[:_TOLD_FIRST]
    width = max((len(clean(view.best.path)) for view in first), default=0)
    for view in first:
        finding = view.best.finding
        alike = f"  (+{len(view.snaps) - 1} like it)" if len(view.snaps) > 1 else ""
        name = clean(view.best.path).ljust(min(width, 48))
        lines.append(f"{view.rank:>4}  {name}  {finding.layered_contrast:3.0f}  {LEAD_WORDS[finding.lead]}{alike}")
    left = len(scouting.views) - len(first)
    if left > 0:
        lines.append(f"      and {left} more, see the contact sheet")
    return "\n".join(lines)
