"""`irpreview frame`: framings of one snap and of several of one place, in words and as JSON.

What each demo scene shows: demo_scenes/*/truth.json.
"""

from __future__ import annotations

import json
import math
import shutil
from importlib.resources import files
from pathlib import Path

import pytest
from jsonschema import Draft202012Validator
from PIL import Image

from irpreview.cli import main

SCENES = Path(__file__).resolve().parents[2] / "demo_scenes"


@pytest.fixture(scope="module")
def walk(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """Two snaps of one place: the tower, and the same from where little of it is seen; both keep their position."""
    folder = tmp_path_factory.mktemp("walk")
    whole, part = folder / "whole.jpg", folder / "left.jpg"
    shutil.copy(SCENES / "moor_tower" / "photo.jpg", whole)
    with Image.open(whole) as opened:
        width, height = opened.size
        opened.crop((0, 0, round(0.55 * width), height)).save(part, exif=opened.getexif(), quality=95)
    return whole, part


def run(capsys: pytest.CaptureFixture[str], *arguments: object) -> str:
    with pytest.raises(SystemExit) as left:
        main(["frame", *[str(a) for a in arguments]])
    assert not left.value.code
    return capsys.readouterr().out


def test_the_better_standpoint_comes_first_with_its_lens_and_why(
    walk: tuple[Path, Path], capsys: pytest.CaptureFixture[str]
) -> None:
    whole, part = walk
    answers = [json.loads(line) for line in run(capsys, part, whole, "--wind", "6.7", "--json").splitlines()]
    schema = Draft202012Validator(json.loads((files("irpreview") / "data" / "schemas" / "frame.json").read_text()))
    for one in answers:
        schema.validate(one)
    assert [Path(one["photo"]).name for one in answers] == ["left.jpg", "whole.jpg"]
    views = {Path(one["photo"]).name: one["viewpoint"] for one in answers}
    assert views["whole.jpg"]["rank"] == 1
    assert views["left.jpg"]["rank"] == 2
    assert {view["of"] for view in views.values()} == {2}
    assert {view["place"] for view in views.values()} == {"A"}
    assert views["whole.jpg"]["because"]
    best = answers[1]["framings"][0]
    assert best["subject"] == "tower"
    told = views["whole.jpg"]["sentence"]
    assert told.startswith(f"From {whole}, with {best['lens_mm']:g} mm, because ")
    assert "the tower leads" in told
    assert "left.jpg" in told


def test_in_words_the_place_comes_before_its_snaps(
    walk: tuple[Path, Path], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    whole, part = walk
    out = tmp_path / "crops"
    told = run(capsys, part, whole, "--wind", "6.7", "--out", out)
    lines = [line for line in told.splitlines() if not line.startswith(" ")]
    assert lines[0].startswith("Place A: From ")
    assert [line.rstrip(":") for line in lines[1:]] == [str(whole), str(part)]
    with Image.open(out / "whole-snap-2-framing-1.jpg") as crop:
        assert crop.mode == "L"
        assert min(crop.size) > 200


def test_one_snap_has_no_rivals(walk: tuple[Path, Path], capsys: pytest.CaptureFixture[str]) -> None:
    assert json.loads(run(capsys, walk[0], "--wind", "2", "--json"))["viewpoint"] is None


def test_each_framing_has_the_focus_of_its_lens(walk: tuple[Path, Path], capsys: pytest.CaptureFixture[str]) -> None:
    """Hyperfocal distance f^2 / (N c), c = diagonal / 1500 of what the format keeps of the sensor (any handbook)."""
    answer = json.loads(run(capsys, walk[0], "--wind", "6.7", "--json"))
    assert {one["focus"]["focal_mm"] for one in answer["framings"]} == {one["lens_mm"] for one in answer["framings"]}
    for one in answer["framings"]:
        across, down = map(int, one["format"].split(":"))
        circle_mm = math.hypot(36, 24) / 1500 * min(1.0, across / down / 1.5)
        hyperfocal_m = one["lens_mm"] ** 2 / (answer["setting"]["f_number"] * circle_mm) / 1000
        assert one["focus"]["focus_at_m"] == pytest.approx(hyperfocal_m, rel=0.02)
    told = " ".join(run(capsys, walk[0], "--wind", "6.7").split())
    for one in answer["framings"]:
        assert f"With {one['lens_mm']:g} mm focus at " in told


def test_the_focus_follows_the_aperture_of_a_time_that_was_asked_for(
    walk: tuple[Path, Path], capsys: pytest.CaptureFixture[str]
) -> None:
    made = [
        json.loads(run(capsys, walk[0], "--wind", "6.7", "--json", *extra)) for extra in ((), ("--shutter", "8min"))
    ]
    apertures = [one["setting"]["f_number"] for one in made]
    assert apertures[0] != apertures[1]
    for one, f_number in zip(made, apertures, strict=True):
        assert {framing["focus"]["f_number"] for framing in one["framings"]} == {f_number}
