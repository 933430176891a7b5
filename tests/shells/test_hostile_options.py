"""Every number of every command with values that no photographer types: exit 2 and one line, never an accident."""

from __future__ import annotations

import inspect
import typing

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


def numbers(every: bool = True) -> list[tuple[tuple[str, ...], str, bool]]:
    """(command, option or argument, whether it is an option) of everything that is a number.

    Without `every`, an option that several commands share is there once.
    """
    found = []
    known: set[int] = set()
    for words, callback in commands(cli.build_app()):
        for name, parameter in inspect.signature(callback, eval_str=True).parameters.items():
            kind, *marks = typing.get_args(parameter.annotation) or (parameter.annotation,)
            mark = next((m for m in marks if isinstance(m, typer.models.ParameterInfo)), None)
            kinds = {kind, *typing.get_args(kind)}
            if mark is None or not kinds & {int, float}:
                continue
            if not every and id(mark) in known:
                continue
            known.add(id(mark))
            if isinstance(mark, typer.models.OptionInfo):
                flag = next((d for d in mark.param_decls or () if d.startswith("--")), f"--{name.replace('_', '-')}")
                found.append((words[1:], flag, True))
            else:
                found.append((words[1:], name, False))
    return found


def test_there_are_numbers_to_try():
    assert len(numbers()) > 60
    assert len(HOSTILE) >= 50


@pytest.mark.long
@pytest.mark.parametrize(("words", "name", "option"), numbers())
def test_hostile_numbers_everywhere(words, name, option, capsys, tmp_path):
    test_hostile_numbers_are_wrong_usage_in_one_line(words, name, option, capsys, tmp_path)


@pytest.mark.parametrize(("words", "name", "option"), numbers(every=False))
def test_hostile_numbers_are_wrong_usage_in_one_line(words, name, option, capsys, tmp_path):
    photo = str(tmp_path / "there-is-none.jpg")
    for value in HOSTILE:
        given = [*words, f"{name}={value}"] if option else [*words, "--", value]
        if option and words[0] not in ("light", "kit", "log", "serve", "scout", "demo"):
            given.append(photo)
        with pytest.raises(SystemExit) as left:
            cli.main(given)
        said = capsys.readouterr()
        assert left.value.code == 2, (value, said.err)
        assert said.out == ""
        assert "should not" not in said.err, (value, said.err)
        told = [line for line in said.err.splitlines() if line.strip() and not line.startswith(("Usage", "Try"))]
        assert len(told) == 1, (value, said.err)
        assert len(told[0]) < 400
