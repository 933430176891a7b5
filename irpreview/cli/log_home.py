"""`irpreview log match`, `take` and `take-back`: a day's frames matched with their snaps, shown, taken in or back."""

from __future__ import annotations

import sys
from collections.abc import Callable
from contextlib import nullcontext
from pathlib import Path
from typing import Annotated

import typer

from irpreview.cli.common import (
    JsonOption,
    KitOption,
    LogOption,
    OutOption,
    ZoneOption,
    emit_json,
    fail_usage,
    say,
    within,
)
from irpreview.cli.log_lines import entry_facts, line_of
from irpreview.core.field_log.homecoming import Homecoming
from irpreview.core.units import how_many
from irpreview.core.words.home_words import (
    clock_words,
    exposure_words,
    headline,
    lesson_words,
    outcome_words,
    where_words,
)
from irpreview.core.words.phrases import cap
from irpreview.home_frames import bring_home
from irpreview.io.field_log import FieldLog, default_path
from irpreview.io.home_proposal import read_proposal, take_proposal, write_proposal
from irpreview.io.home_sheet import SCREEN_PX, home_pdf
from irpreview.io.kits import load_kit
from irpreview.io.log_exchange import LogLessons, lessons_of
from irpreview.io.paper import drawn
from irpreview.io.pictures import make_folder, write_file, write_jpeg
from irpreview.records import Kit

FolderArgument = Annotated[
    Path, typer.Argument(metavar="FOLDER", help="The infrared frames brought home: finished pictures or raw files.")
]
SnapsOption = Annotated[
    list[Path] | None,
    typer.Option("--snaps", metavar="FOLDER|FILE", help="The daylight snaps; may be given several times."),
]
JobsOption = Annotated[
    int | None,
    typer.Option("--jobs", metavar="N", **within(1, 512, whole=True), help="Processes; left out = one per core."),
]
WithoutLogOption = Annotated[
    bool, typer.Option("--without-log", help="Compare with the plan as it is without what the log taught.")
]
ProposalArgument = Annotated[
    Path, typer.Argument(metavar="PROPOSAL", help="The file that `log match` wrote beside its sheet, or its folder.")
]
NumbersHelp = "on the sheet, such as 1,3,4-7."


def register_home(group: typer.Typer) -> None:
    """Add the commands for frames brought home to `irpreview log`."""
    _register_match(group)
    _register_take(group)


def _register_match(group: typer.Typer) -> None:
    @group.command("match")
    def match(
        folder: FolderArgument,
        snaps: SnapsOption = None,
        kit: KitOption = None,
        zone: ZoneOption = None,
        out: OutOption = Path("."),
        jobs: JobsOption = None,
        without_log: WithoutLogOption = False,
        log: LogOption = None,
        as_json: JsonOption = False,
    ) -> None:
        """Find the snap and plan of each frame brought home, compare, and show one sheet. Writes nothing to the log."""
        if not snaps:
            raise fail_usage("say where the snaps are: --snaps FOLDER or --snaps FILE")
        chosen = load_kit(kit or "unmodified-720")
        file = log or default_path()
        lessons = None if without_log else _lessons(chosen, file)
        make_folder(out)
        with FieldLog(file, read_only=True) if file.exists() else nullcontext() as book:
            brought = bring_home(
                *(folder, snaps, chosen, book),
                zone=zone,
                lessons=lessons,
                leave_out=out,
                jobs=jobs,
                watch=_tell(as_json),
            )
        home = brought.homecoming
        proposal = out / f"home-{home.batch}.json"
        how_on = f"Nothing is in the log yet. To take it in: irpreview log take {proposal.name}"
        pdf = home_pdf(home, brought.pictures, how_on)
        printed = write_file(out / f"home-{home.batch}.pdf", pdf)
        sheet = write_jpeg(out / f"home-{home.batch}.jpg", drawn(pdf, SCREEN_PX))
        answer = write_proposal(proposal, home, sheet)
        if as_json:
            emit_json(answer.as_json())
            return
        _print_table(home)
        if home.taken_in:
            say(f"nothing is in the log yet. Look at {sheet}; to take it in: irpreview log take {proposal}")
        else:
            say(f"the sheet is {sheet}; there is nothing to take in")
        say(f"to print the sheet: {printed}")


def _register_take(group: typer.Typer) -> None:
    @group.command("take")
    def take(
        proposal: ProposalArgument,
        only: Annotated[
            str | None, typer.Option("--only", metavar="NUMBERS", help=f"Only these, {NumbersHelp}")
        ] = None,
        leave: Annotated[
            str | None, typer.Option("--leave", metavar="NUMBERS", help=f"Not these, {NumbersHelp}")
        ] = None,
        log: LogOption = None,
        as_json: JsonOption = False,
    ) -> None:
        """Take what `log match` showed into the log, all or none; no frame is taken twice."""
        shown = read_proposal(proposal)
        with FieldLog(log) as book:
            taken, known = take_proposal(book, shown, only=_numbers(only), leave=_numbers(leave))
        for entry in taken:
            if as_json:
                emit_json(entry_facts(entry))
            else:
                print(line_of(entry))
        there = f"{known} {'was' if known == 1 else 'were'} in the log already" if known else ""
        if taken:
            count = f"{how_many(len(taken), 'frame')} taken in as batch {shown.batch}"
            say(f"{count}{'; ' + there if there else ''}. `irpreview log take-back {shown.batch}` takes all of it back")
        else:
            say(f"nothing was taken in: {there or 'no frame on the sheet belongs to a snap'}")

    @group.command("take-back")
    def take_back(
        batch: Annotated[
            str | None, typer.Argument(metavar="BATCH", help="Its name, as `log take` said it; left out = list them.")
        ] = None,
        log: LogOption = None,
    ) -> None:
        """Take a whole batch of frames out of the log again; plans wait for their frames as before."""
        with FieldLog(log, read_only=batch is None) as book:
            if batch is None:
                for one in book.batches():
                    print(f"{one.name}  {one.taken_in_at:%Y-%m-%d %H:%M} UTC  {one.frames} frames")
                if not book.batches():
                    say("no batch is in the log")
                return
            count = book.take_back(batch)
        frames = how_many(count, "frame")
        say(f"batch {batch} taken back: {frames}; `irpreview log undo` brings it in again")


# --- within ---------------------------------------------------------------------------------------------------------


def _lessons(kit: Kit, log: Path) -> LogLessons | None:
    """What the plan was made with; None where there is no log."""
    return lessons_of(kit, log) if log.exists() else None


def _tell(quiet: bool) -> Callable[[str, int, int], None]:
    """One line that counts up, where somebody is looking."""

    def watch(what: str, done: int, of: int) -> None:
        if not quiet and sys.stderr.isatty():
            print(f"\r{what}: {done} of {of}", end="\n" if done == of else "", file=sys.stderr, flush=True)

    return watch


def _print_table(home: Homecoming) -> None:
    print(f"{cap(headline(home))}.")
    for one in home.frames:
        print(f"{one.number:>4}  {one.name}: {where_words(one)}")
        for text in (exposure_words(one), *outcome_words(one)):
            if text:
                print(f"      {text}")
    for text in lesson_words(home):
        print(text)
    print(f"{cap(clock_words(home.clocks))}.")
    for name, why in home.unusable:
        say(f"{name} could not be used: {why}")


def _numbers(text: str | None) -> tuple[int, ...]:
    """`1,3,4-7` as numbers."""
    out: list[int] = []
    for part in (text or "").replace(" ", "").split(","):
        first, _, last = part.partition("-")
        if not part:
            continue
        if not first.isdigit() or (last and not last.isdigit()) or len(part) > 20:
            raise fail_usage(f"the numbers {text!r} were not understood; write them like 1,3,4-7")
        end = int(last or first)
        if end - int(first) > 10_000:
            raise fail_usage(f"the numbers {text!r} are too many; write them like 1,3,4-7")
        out += range(int(first), end + 1)
    return tuple(out)
