"""The command-line reference as text, made from the commands themselves: `python -m irpreview.cli.reference > FILE`.

It reads what the commands declare (typer's own option and argument records), not typer's rendering of it, so the page
stays the same from one version of typer to the next. A test holds it against `--help`.
"""

from __future__ import annotations

import inspect
import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, get_args, get_type_hints

from typer.models import OptionInfo

from irpreview.cli import build_app

OPENING = """# Command line

Made from the commands by `python -m irpreview.cli.reference`; a test holds it against `--help`.

Every command writes results to stdout and messages to stderr, and leaves with 0 (all done), 1 (something was refused,
the rest is done), 2 (wrong usage) or 130 (stopped). With `--json` it answers one object per photo and line, whose first
key is `"schema": "irpreview/1"`; the schemas lie in `irpreview/data/schemas`.
"""


@dataclass(frozen=True)
class Parameter:
    """One argument or option as declared: its names on the command line, the word for its value, what is said of it."""

    is_option: bool
    names: tuple[str, ...]
    value: str
    words: str
    required: bool


def command_reference() -> str:
    """All commands with their arguments and options as Markdown."""
    return "\n".join([OPENING, *(_section(words, callback) for words, callback in commands(build_app()))])


def commands(app: Any, words: tuple[str, ...] = ("irpreview",)) -> Iterator[tuple[tuple[str, ...], Any]]:
    """(words that call it, function) of every command, those of groups included."""
    for command in app.registered_commands:
        yield (*words, command.name or command.callback.__name__.replace("_", "-")), command.callback
    for group in app.registered_groups:
        yield from commands(group.typer_instance, (*words, group.name or group.typer_instance.info.name))


def parameters(callback: Any) -> list[Parameter]:
    """What a command takes, in the order of its signature."""
    hints = get_type_hints(callback, include_extras=True)
    return [
        _parameter(name, hints[name], given.default)
        for name, given in inspect.signature(callback).parameters.items()
        if not hasattr(hints[name], "registered_commands")
    ]


def _parameter(name: str, hint: Any, default: Any) -> Parameter:
    inner, *marks = get_args(hint) if hasattr(hint, "__metadata__") else (hint,)
    mark = marks[0] if marks else default
    if not marks:
        default = mark.default
    is_option = isinstance(mark, OptionInfo)
    required = default in (inspect.Parameter.empty, ...)
    # inside Annotated the first name stands where the default would be
    declared = (mark.default, *(mark.param_decls or ()))
    names = tuple(part for part in declared if isinstance(part, str) and part.startswith("-"))
    if is_option and not names:
        names = ("--" + name.replace("_", "-"),)
    is_flag = "bool" in str(inner)
    value = (mark.metavar or name.upper()).strip("[]")
    if is_option:
        value = "" if is_flag else mark.metavar or ("N" if re.search(r"\b(int|float)\b", str(inner)) else "TEXT")
    facts = []
    if required and is_option:
        facts.append("required")
    if mark.min is not None and mark.max is not None:
        facts.append(f"{mark.min:g} to {mark.max:g}")
    words = " ".join((mark.help or "").split())
    if "list" in str(inner) and is_option and "repeated" not in words:
        facts.append("may be repeated")
    if not required and not is_flag and default not in (None, "", (), []):
        facts.append(f"default {default:g}" if isinstance(default, float) else f"default {default}")
    return Parameter(is_option, names, value, f"{words} ({'; '.join(facts)})" if facts else words, required)


def _section(words: tuple[str, ...], callback: Any) -> str:
    taken = parameters(callback)
    arguments, options = [p for p in taken if not p.is_option], [p for p in taken if p.is_option]
    usage = [*words, *(p.value if p.required else f"[{p.value}]" for p in arguments)]
    lines = [f"## {' '.join(words)}", "", " ".join((callback.__doc__ or "").split()), ""]
    lines += ["```", " ".join([*usage, "[options]"] if options else usage), "```", ""]
    for heading, rows in (("argument", arguments), ("option", options)):
        if rows:
            lines += [f"| {heading} | what it is |", "| --- | --- |", *map(_row, rows), ""]
    return "\n".join(lines)


def _row(parameter: Parameter) -> str:
    shown = f"{', '.join(parameter.names)} {parameter.value}".strip()
    return " ".join(["|", f"`{shown}`".replace("|", "\\|"), "|", parameter.words.replace("|", "\\|"), "|"])


if __name__ == "__main__":
    print(command_reference(), end="")
