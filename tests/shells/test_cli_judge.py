"""`irpreview judge`: JSON by its schema, a report to read, pictures, several photos, refusals in one line."""

from __future__ import annotations

import json
from importlib.resources import files
from pathlib import Path

import cv2
import numpy as np
import pytest
from jsonschema import Draft202012Validator

from irpreview.cli import main
from irpreview.core.verdict.verdict_picture import PICTURE_SIDE_PX
from tests.conftest import read_picture


@pytest.fixture(scope="module")
def snap(tmp_path_factory: pytest.TempPathFactory, sample_photographs: dict[str, np.ndarray]) -> Path:
    path = tmp_path_factory.mktemp("snaps") / "temple.jpg"
    cv2.imwrite(str(path), sample_photographs["china.jpg"][..., ::-1])
    return path


def run(*arguments: object) -> int:
    with pytest.raises(SystemExit) as left:
        main(["judge", *[str(a) for a in arguments]])
    return int(left.value.code or 0)


def schema() -> Draft202012Validator:
    text = (files("irpreview") / "data" / "schemas" / "judge.json").read_text()
    return Draft202012Validator(json.loads(text))


def test_json_keeps_its_schema_and_agrees_with_itself(
    snap: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(snap, "--wind", "3bft", "--shutter", "1/8", "--out", tmp_path / "new" / "folder", "--json") == 0
    line = capsys.readouterr().out
    assert line.count("\n") == 1
    answer = json.loads(line)
    schema().validate(answer)
    assert answer["shutter_s"] == pytest.approx(1 / 8)
    assert answer["shutter_text"] == "1/8"
    assert answer["wind_m_s"] == pytest.approx(0.836 * 3**1.5, abs=0.01)  # WMO code 1100
    layers = {layer["index"]: layer for layer in answer["layers"]}
    assert sum(layer["share"] for layer in layers.values()) == pytest.approx(1.0, abs=0.01)
    for separation in answer["separations"]:
        assert separation["zones"] == pytest.approx(
            layers[separation["a"]]["zone"]["likely"] - layers[separation["b"]]["zone"]["likely"], abs=0.02
        )
        assert separation["low"] <= separation["zones"] <= separation["high"]
    picture = cv2.imread(answer["files"]["picture"])
    assert picture is not None
    assert picture.shape[1] == PICTURE_SIDE_PX
    layer_map = cv2.imread(answer["files"]["layer_map"], cv2.IMREAD_UNCHANGED)
    assert layer_map is not None
    assert layer_map.shape == read_picture(snap).shape[:2]
    for index, layer in layers.items():
        assert (layer_map == index).mean() == pytest.approx(layer["share"], abs=0.01)


def test_the_report_is_short_and_names_the_lead_first(snap: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(snap, "--wind", "2", "--shutter", "1", "--kit", "converted-720", "--grade", "2") == 0
    lines = capsys.readouterr().out.splitlines()
    assert lines[0].startswith("temple.jpg: ")
    assert "converted-720, 1 s, light breeze (Beaufort 2), paper grade 2" in lines[0]
    assert len(lines) < 40
    assert all(len(line) <= 110 for line in lines)
    assert any("Layered contrast" in line for line in lines[-6:])


def test_wind_that_is_not_given_is_a_doubt_and_null(snap: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(snap, "--json") == 0
    answer = json.loads(capsys.readouterr().out)
    schema().validate(answer)
    assert answer["wind_m_s"] is None
    assert any("wind not given" in doubt for doubt in answer["doubts"])
    assert answer["kit"] == "unmodified-720"


def test_a_photo_that_cannot_be_read_does_not_stop_the_others(
    snap: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    broken = tmp_path / "broken.jpg"
    broken.write_bytes(b"\xff\xd8\xff\xe0 not a photo")
    assert run(broken, snap, "--wind", "1", "--shutter", "1/60", "--json", "--sort") == 1
    out, err = capsys.readouterr()
    assert len(out.splitlines()) == 1
    assert json.loads(out)["photo"] == str(snap)
    assert "broken.jpg" in err
    assert "Traceback" not in err
    assert len([line for line in err.splitlines() if "broken.jpg" in line]) == 1


@pytest.mark.parametrize(
    "wrong",
    [("--wind", "gale"), ("--shutter", "0"), ("--grade", "7"), ("--wind",), ()],
    ids=lambda w: " ".join(w) or "no photo",
)
def test_wrong_usage_leaves_with_2(snap: Path, wrong: tuple[str, ...], capsys: pytest.CaptureFixture[str]) -> None:
    assert run(*((snap, *wrong) if wrong else ())) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert "Traceback" not in err


def test_framings_are_those_of_frame_in_json_and_in_the_report(capsys: pytest.CaptureFixture[str]) -> None:
    scene = Path(__file__).resolve().parents[2] / "demo_scenes" / "moor_tower" / "photo.jpg"
    assert run(scene, "--wind", "6.7", "--framings", "--json") == 0
    answer = json.loads(capsys.readouterr().out)
    schema().validate(answer)
    with pytest.raises(SystemExit):
        main(["frame", str(scene), "--wind", "6.7", "--json"])
    assert answer["framings"] == json.loads(capsys.readouterr().out)["framings"]
    assert 3 <= len(answer["framings"]) <= 5
    assert answer["framings"][0]["subject"] == "tower"  # what the scene was built for: truth.json
    assert run(scene, "--wind", "6.7", "--framings") == 0
    lines = capsys.readouterr().out.splitlines()
    at = lines.index("  Pictures to make from here:")
    assert lines[at + 1 :] == [f"    {i}. {one['sentence']}" for i, one in enumerate(answer["framings"], 1)]
    assert run(scene, "--wind", "6.7", "--json") == 0
    assert json.loads(capsys.readouterr().out)["framings"] is None
