"""What the commands share: JSON lines that any reader takes, options that refuse with exit 2, refusals counted."""

from __future__ import annotations

import json
import math

import pytest
import typer
from typer.testing import CliRunner

from irpreview.answers.base import Answer, Span, span
from irpreview.cli import common
from irpreview.errors import BadPhoto
from irpreview.records import Range


class Told(Answer):
    """One of every kind of value that answers hold."""

    kind: str
    told: Span
    lost: float
    endless: float
    nothing: float | None
    count: int
    nested: list[Span]
    words: str


def test_json_lines_hold_only_what_json_can(capsys):
    told = Told(
        words="élan\nand more",
        told=span(Range(1.0, 2.00004, math.inf), 3),
        lost=math.nan,
        endless=-math.inf,
        nothing=None,
        count=3,
        nested=[span(Range(0, 0, 0), 1)],
        kind="told",
    )
    common.emit_json(told.as_json())
    out = capsys.readouterr().out
    assert out.count("\n") == 1
    answer = json.loads(out, parse_constant=lambda name: pytest.fail(f"{name} is no JSON"))
    assert list(answer)[:2] == ["schema", "kind"]
    assert answer["schema"] == "irpreview/1"
    assert answer["told"] == {"low": 1.0, "likely": 2.0, "high": None}
    assert answer["lost"] is None
    assert answer["endless"] is None
    assert answer["nothing"] is None
    assert answer["count"] == 3
    assert answer["nested"][0]["low"] == 0
    assert answer["words"] == "élan\nand more"


def _application() -> typer.Typer:
    app = typer.Typer()

    @app.command()
    def only(
        wind: common.WindOption = None, shutter: common.ShutterOption = None, grade: common.GradeOption = 4.0
    ) -> None:
        print(wind, shutter, grade)

    return app


@pytest.mark.parametrize(
    ("arguments", "status", "said"),
    [
        ([], 0, "None None 4.0"),
        (["--wind", "18km/h", "--shutter", "2m30s", "--grade", "2.5"], 0, "5.0 150.0 2.5"),
        (["--shutter", "1/4"], 0, "None 0.25 4.0"),
        (["--wind", "0"], 0, "0.0 None 4.0"),
        (["--wind", "windy"], 2, "windy"),
        (["--wind", "13bft"], 2, "12"),
        (["--shutter", "0"], 2, "24 h"),
        (["--grade", "6"], 2, "5"),
    ],
)
def test_shared_options(arguments, status, said):
    done = CliRunner().invoke(_application(), arguments)
    assert done.exit_code == status
    assert said in done.output


def test_refusals_are_said_on_one_line_and_counted(capsys):
    refused = common.Refusals()
    refused.leave()  # nothing refused: goes on
    refused.add("b.jpg", BadPhoto("a.jpg is damaged;\n copy it again"))
    refused.add("a.jpg", BadPhoto("a.jpg is damaged; copy it again"))
    out, err = capsys.readouterr()
    assert out == ""
    assert err.splitlines() == [
        "irpreview: b.jpg: a.jpg is damaged; copy it again",
        "irpreview: a.jpg is damaged; copy it again",
    ]
    with pytest.raises(typer.Exit) as left:
        refused.leave()
    assert left.value.exit_code == 1
