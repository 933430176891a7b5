"""The command line: one small module per command, brought together here.

`main` is the entry point. Exit: 0 all done, 1 something was refused (the rest is done), 2 wrong usage,
130 stopped by the user. Nothing but results goes to stdout.
"""

from __future__ import annotations

import contextlib
import importlib
import os
import re
import sys
import tempfile
import traceback
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any, NoReturn

from irpreview import __version__
from irpreview.errors import BadKit, BadValue, IrpreviewError

if TYPE_CHECKING:
    import typer

COMMANDS = {
    "render": "Show how daylight snaps will look in black-and-white infrared.",
    "judge": "Will the layers separate, is there enough in the sky, what should lead the picture.",
    "frame": "Which pictures to make from here: lens, format, where to point, what leads, what the wind does.",
    "expose": "What ISO, aperture and time, how sure it is, and test exposures.",
    "light": "When the light is right: sun, hard or soft light and view direction, every quarter hour.",
    "day-plan": "Several places on one day: the order by when the light is right at each, with ways and slack.",
    "movement": "What the wind does to this picture at an exposure; without one, at the recommended exposure.",
    "card": "Make the card for one photo: PDF on A5, PNG for the phone, JSON. Writes into --out, made if missing.",
    "field-page": "Write one HTML file for the phone: settings, test exposures, timer and notes, without network.",
    "scout": "Judge all snaps of a folder, put like ones together, and rank them on a contact sheet.",
    "log": "The field log: frames brought home, and what they teach about filter, camera and lens.",
    "kit": "Filter and camera: list the built-in kits, show one, make a file of your own.",
    "calibrate": "The filter factor of your own kit from two frames, or from typed settings.",
    "serve": "Open the page in the browser. It works without a network; stop it with Ctrl-C.",
    "demo": "Do the main job on a scene that comes along, and say where the pictures are. The snap is put beside them.",
    "guide": "Print the guide or another page that came with irpreview, and say where the files lie.",
}
"""Each command's first line, in the order of the help page; its module is named like it and has `register(app)`.

The help page is written from here, so that it need not load what the commands load. A test compares the two."""


def build_app(*names: str) -> typer.Typer:
    """The command line with the commands named, or with all of them."""
    app = _bare_app()
    for name in names or COMMANDS:
        importlib.import_module(f"{__name__}.{name.replace('-', '_')}").register(app)
    return app


def _help_app() -> typer.Typer:
    """The command line as its help page shows it: names and first lines, nothing that could be run."""
    app = _bare_app()
    for name, line in COMMANDS.items():
        app.command(name, help=line)(lambda: None)
    return app


def _bare_app() -> typer.Typer:
    import typer  # noqa: PLC0415 - `--version` does without

    app = typer.Typer(
        name="irpreview",
        help=(
            "From an ordinary phone snap to its black-and-white near-infrared picture, and what to do about it. "
            "`irpreview demo` tries it without a photo, `irpreview guide` prints the guide."
        ),
        no_args_is_help=True,
        add_completion=False,
        pretty_exceptions_enable=False,
        rich_markup_mode=None,
        context_settings={"help_option_names": ["-h", "--help"]},
    )

    def show_version(wanted: bool) -> None:
        if wanted:
            print(f"irpreview {__version__}")
            raise typer.Exit

    @app.callback()
    def whole(
        version: bool = typer.Option(
            False, "--version", is_eager=True, callback=show_version, help="Say which version."
        ),
    ) -> None:
        pass

    return app


def main(arguments: Sequence[str] | None = None) -> None:
    """Run one command and leave the process with its exit status. Raises SystemExit, nothing else."""
    given = list(sys.argv[1:] if arguments is None else arguments)
    if given == ["--version"]:  # answered before anything slow is loaded
        print(f"irpreview {__version__}")
        raise SystemExit(0)
    try:
        _run(given)
        _flush()
    except BrokenPipeError:  # the reader, say `head`, has enough
        _silence_stdout()
        raise SystemExit(1) from None
    except KeyboardInterrupt:
        _say("irpreview: stopped")
        raise SystemExit(130) from None
    raise SystemExit(0)


def _run(given: list[str]) -> None:
    try:
        app = build_app(given[0]) if given and given[0] in COMMANDS else _help_app()
        status = app(args=given, prog_name="irpreview", standalone_mode=False)
        if isinstance(status, int) and status:
            _flush()
            raise SystemExit(status)
    except IrpreviewError as error:
        if os.environ.get("IRPREVIEW_DEBUG"):
            raise
        _say(f"irpreview: {one_line(error)}")
        # what reaches here unasked was typed: a number or a kit's name; files are refused one by one in the commands
        raise SystemExit(2 if isinstance(error, (BadValue, BadKit)) else 1) from None
    except BrokenPipeError:
        raise
    except Exception as error:
        if hasattr(error, "format_message"):  # wrong usage, by the parser of the command line
            _leave_by(error)
        if os.environ.get("IRPREVIEW_DEBUG"):
            raise
        if isinstance(error, OSError) and error.filename is not None and error.strerror:
            _say(f"irpreview: {os.fsdecode(error.filename)}: {error.strerror.lower()}; name another path")
        else:
            _say(f"irpreview: {unexpected(error)}")
        raise SystemExit(1) from None


def _leave_by(error: Any) -> NoReturn:
    """Say on one line what was typed wrong, and where the command is described; a bare command shows its help."""
    if type(error).__name__ == "NoArgsIsHelpError":
        error.show()
    else:
        path = error.ctx.command_path if getattr(error, "ctx", None) is not None else "irpreview"
        _say(f"irpreview: {' '.join(error.format_message().split())} (see {path} --help)")
    raise SystemExit(error.exit_code) from None


def one_line(error: BaseException) -> str:
    """The message of an error on one line."""
    return " ".join(str(error).split()) or type(error).__name__


def unexpected(error: BaseException) -> str:
    """One line for an error that nobody foresaw; the details go to a file that the line names."""
    if isinstance(error, MemoryError):
        return "not enough memory for this; close other programs or use a smaller photo"
    where = _write_details(error)
    kept = f"details are in {where}" if where else "run again with IRPREVIEW_DEBUG=1 for details"
    text = one_line(error)
    return f"something went wrong that should not ({type(error).__name__}: {text[:200]}); {kept}"


def _write_details(error: BaseException) -> str | None:
    text = f"irpreview {__version__}\n" + "".join(traceback.format_exception(error))
    try:
        with tempfile.NamedTemporaryFile("w", prefix="irpreview-error-", suffix=".txt", delete=False) as file:
            file.write(text)
        return file.name
    except OSError:
        return None


def for_terminal(text: str) -> str:
    """The text without what a terminal would obey instead of showing, and without words longer than any path."""
    shown = "".join(mark if mark.isprintable() or mark == "\n" else f"\\x{ord(mark):02x}" for mark in text)
    return _ENDLESS.sub(lambda word: f"{word[0][:100]}...{word[0][-20:]}", shown)


_ENDLESS = re.compile(r"\S{300,}")


def _say(text: str) -> None:
    with contextlib.suppress(OSError):
        print(for_terminal(text), file=sys.stderr, flush=True)


def _flush() -> None:
    if sys.stdout is not None:
        sys.stdout.flush()


def _silence_stdout() -> None:
    """Point stdout at nothing, so that Python's own flush at exit does not complain."""
    with contextlib.suppress(OSError, ValueError, AttributeError):
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
