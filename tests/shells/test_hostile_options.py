"""Every option and argument of every command with values that no photographer types.

Numbers: exit 2 and one line. Texts and paths: taken or refused in one line; never an accident, a control code on the
terminal, or a wait.
"""

from __future__ import annotations

import inspect
import os
import re
import signal
import typing
import zlib
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import pytest
import typer

from irpreview import cli
from irpreview.cli.reference import commands

HOSTILE = (
    *(
        "nan",
        "NaN",
        "-nan",
        "inf",
        "-inf",
        "Infinity",
        "1e308",
        "-1e308",
        "1e309",
        "-1e309",
        "9" * 400,
        "-" + "9" * 400,
    ),
    *(
        "10" * 10 + "e5",
        "1e999999999",
        "0x10",
        "0b1",
        "1_000",
        "1,5,5",
        "1.2.3",
        "--5",
        "+-5",
        "5-",
        "e5",
        ".",
        "-",
        "+",
    ),
    *(
        "",
        " ",
        "\t",
        "abc",
        "5 5",
        "5;5",
        "5/0",
        "1/0",
        "\u0665",
        "\u096b",
        "\uff15",
        "5\u0665",
        "\u00b2",
        "\u2164",
        "+",
    ),
    *("\u221e", "None", "null", "true", "[]", "{}", "=1+1", "$(id)", "%s", "5\n5", "5\x01", "99999999999999999999e9"),
)


NASTY = (
    *("", " ", "\t", "\n", "a\nb", "\x1b[31mred", "\x07", "\x7f", "\u202eexe", "\udcff\udcfe", "\ufeff", "a" * 5000),
    *(
        "\u00e9" * 300,
        "\U0001f600" * 60,
        "../../x",
        "pipe",
        "deep/pipe",
        ".",
        "~",
        "pipe/x",
        "folder",
        "-",
        "--",
        "---",
    ),
    *("nan", "inf", "1e308", "{}", "[]", "[" * 3000, "%s%n", "%d", "{0}", "{{7*7}}", "$(id)", "`id`", "=1+1"),
    *("'; drop table frames; --", "<script>alert(1)</script>", "0", "-1", "9" * 400, "91,181", "90.0001,0", "nan,nan"),
    *("1,2,3", "1e308,1e308", "51,7;", "2026-13-45", "2026-02-30T25:61", "0000-00-00", "9999-12-31T23:59:59"),
    *("0001-01-01T00:00", "2026-06-21T10:30+99:99", "+25:00", "Europe/Nowhere", "../localtime", "tree=", "=30"),
    *("tree=nan", "tree=1e308", "tree=-5", "tree=30=30", "1/0 f/0 ISO 0", "1/125 f/10 ISO 1e99", "f/f/f", "1bft2kn"),
    *("99bft", "1h1h", "con", "*", "?", "a.a.a.a", "http://a.example/x", "file:///a/b"),
)
"""For texts, places, times and paths. No path leads out of the test's own folder: some of them are written to."""
NEEDS_PHOTO = ("render", "judge", "frame", "expose", "movement", "card", "field-page")
SLOW = ("demo", "serve")
"""Commands that do their whole work when nothing is wrong with what is given."""
SAMPLE = 3
LONGEST_S = 20


@dataclass(frozen=True)
class Given:
    """One option or argument of one command."""

    words: tuple[str, ...]
    name: str
    """With its dashes; an argument's own name without."""
    number: bool
    mark: int
    """The same for an option that several commands share."""

    @property
    def is_option(self) -> bool:
        return self.name.startswith("-")

    def __str__(self) -> str:
        return " ".join((*self.words, self.name))


def all_given(every: bool = True) -> list[Given]:
    """Everything that takes a value. Without `every`, what several commands share is there once."""
    found: list[Given] = []
    known: set[int] = set()
    for words, callback in commands(cli.build_app()):
        for name, parameter in inspect.signature(callback, eval_str=True).parameters.items():
            kind, *marks = typing.get_args(parameter.annotation) or (parameter.annotation,)
            mark = next((m for m in marks if isinstance(m, typer.models.ParameterInfo)), None)
            if mark is None or kind is bool or (not every and id(mark) in known):
                continue
            known.add(id(mark))
            flag = name
            if isinstance(mark, typer.models.OptionInfo):
                flag = next((d for d in mark.param_decls or () if d.startswith("--")), f"--{name.replace('_', '-')}")
            numbers = bool({kind, *typing.get_args(kind)} & {int, float})
            found.append(Given(words[1:], flag, numbers, id(mark)))
    return found


def test_there_is_enough_to_try():
    found = all_given()
    assert sum(one.number for one in found) > 60
    assert len(found) > 300
    assert min(len(HOSTILE), len(NASTY)) >= 50
    assert {one.words[0] for one in found} >= set(cli.COMMANDS) - {"serve"}


@contextmanager
def in_time() -> Iterator[None]:
    def late(*_: object) -> None:
        raise AssertionError(f"took longer than {LONGEST_S} s")

    before = signal.signal(signal.SIGALRM, late)
    signal.alarm(LONGEST_S)
    try:
        yield
    finally:
        signal.alarm(0)
        signal.signal(signal.SIGALRM, before)


@pytest.fixture
def here(tmp_path, monkeypatch):
    """A folder of its own to stand in, deep enough for paths that climb."""
    inside = tmp_path / "a" / "b" / "c" / "d"
    (inside / "deep").mkdir(parents=True)
    (inside / "folder").mkdir()
    for pipe in ("pipe", "deep/pipe"):
        os.mkfifo(inside / pipe)
    monkeypatch.chdir(inside)
    monkeypatch.setenv("IRPREVIEW_LOG", str(tmp_path / "log.sqlite"))
    monkeypatch.setenv("IRPREVIEW_PAGE", str(tmp_path / "page"))
    return inside


def asked(one: Given, value: str) -> list[str]:
    if not one.is_option:
        return [*one.words, "--", value]
    given = [*one.words, f"{one.name}={value}" if one.name.startswith("--") else f"{one.name}{value}"]
    return [*given, "there-is-none.jpg"] if one.words[0] in NEEDS_PHOTO else given


def tried(one: Given, value: str, capsys: pytest.CaptureFixture[str]) -> None:
    with in_time(), pytest.raises(SystemExit) as left:
        cli.main(asked(one, value))
    said = capsys.readouterr()
    what = (str(one), value[:60], said.err[:600])
    assert "should not" not in said.err, what
    assert "Traceback" not in said.err, what
    assert re.fullmatch(r"[^\x00-\x09\x0b-\x1f\x7f\u202e\ufeff]*", said.err), what
    lines = [line for line in said.err.splitlines() if line.strip()]
    if one.number:
        assert left.value.code == 2, what
        assert said.out == "", what
    assert left.value.code in (0, 1, 2), what
    if left.value.code == 2:
        assert sum(line.startswith("irpreview: ") for line in lines) == 1, (
            what
        )  # beside it a note on what was understood
        assert len(lines) <= 2, what
    if left.value.code:
        assert lines, what
        assert all(len(line) < 700 for line in lines), what


def sample(one: Given) -> list[str]:
    """A few of the values, others for each option and the same ones in each run."""
    values = HOSTILE if one.number else NASTY
    start = zlib.crc32(str(one).encode())
    return [values[(start + k * 17) % len(values)] for k in range(SAMPLE)]


def test_hostile_values_are_refused_in_one_line(here, capsys):
    faults = []
    for one in all_given(every=False):
        if one.words[0] in SLOW and not one.number:
            continue
        for value in sample(one):
            try:
                tried(one, value, capsys)
            except AssertionError as error:
                faults.append(str(error).splitlines()[0])
    assert faults == []


@pytest.mark.long
@pytest.mark.parametrize("one", all_given(), ids=str)
def test_every_hostile_value_everywhere(one: Given, here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    values = HOSTILE if one.number else NASTY[:8] if one.words[0] in SLOW else NASTY
    for value in values:
        tried(one, value, capsys)
