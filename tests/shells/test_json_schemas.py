"""What `light`, `calibrate` and the field log give out with --json keeps the published schemas."""

import json
from importlib import resources
from typing import Any

import jsonschema
import pytest

from irpreview.cli import main


@pytest.fixture
def call(capsys):
    def run(*arguments: object) -> list[dict[str, Any]]:
        with pytest.raises(SystemExit) as left:
            main([str(a) for a in arguments])
        out, err = capsys.readouterr()
        assert not left.value.code, err
        return [json.loads(line) for line in out.splitlines()]

    return run


def keeps(answer: dict[str, Any], name: str) -> None:
    text = resources.files("irpreview").joinpath(f"data/schemas/{name}.json").read_text(encoding="utf-8")
    jsonschema.validate(answer, json.loads(text))
    broken = dict(answer)
    broken.pop("kind")
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate(broken, json.loads(text))


def test_light(call, tmp_path) -> None:
    (answer,) = call(
        "light", "--at", "57.5,-20.1", "--date", "2026-06-20", "--heading", "210", "--zone", "Etc/GMT+1", "--json"
    )
    keeps(answer, "light")
    assert len(answer["quarters"]) == 96
    assert answer["best"][0]["minutes"] > 0
    several = ("light", "--at", "69.6,18.9", "--date", "2026-11-20", "--days", "12", "--zone", "Europe/Oslo", "--json")
    (answer,) = call(*several)
    keeps(answer, "light")
    assert len(answer["days"]) == 12


def test_calibrate(call, tmp_path) -> None:
    kit = tmp_path / "mine.toml"
    typed = ("--meter", "1/125 f/10 ISO 64", "--filtered", "1 min f/8 ISO 200", "--too-dark", "0.5")
    (answer,) = call("calibrate", *typed, "--save", kit, "--json")
    keeps(answer, "calibrate")
    assert answer["kit_file"] == str(kit)
    assert answer["factor_stops"]["low"] < answer["factor_stops"]["likely"] < answer["factor_stops"]["high"]


def test_the_field_log(call, tmp_path) -> None:
    log = ("--log", tmp_path / "log.sqlite", "--json")
    taken = ("--taken", "1 min f/8 ISO 200", "--ev", "14", "--came-out", "-0.3")
    (added,) = call("log", "add", *taken, "--at", "57.5,-20.1", "--when", "2026-06-20T12:00+00:00", *log)
    keeps(added, "log-frame")
    assert (added["number"], added["iso"], added["latitude_deg"]) == (1, 200.0, 57.5)
    (listed,) = call("log", "list", *log)
    assert listed == added
    (learned,) = call("log", "learn", *log)
    keeps(learned, "log-learned")
    assert learned["frames"] == 1


def test_a_frame_is_shown_line_by_line_without_names_of_the_program(tmp_path, capsys) -> None:
    log = ("--log", str(tmp_path / "log.sqlite"))
    for words in (("add", "--taken", "1 min f/8 ISO 200", "--ev", "14"), ("show", "1")):
        with pytest.raises(SystemExit):
            main(["log", *words, *log])
    said = capsys.readouterr().out
    assert "shutter_s            60.0" in said
    assert "irpreview/1" not in said
    assert "log_frame" not in said
