"""The movement command: what it answers, in which form, and what it refuses."""

from __future__ import annotations

import json
from dataclasses import replace
from importlib import resources
from pathlib import Path
from typing import Any

import cv2
import jsonschema
import numpy as np
import pytest
from PIL import Image

from irpreview import cli, clips
from irpreview.single_answers import map_scene as shipped_map
from tests.core.clip_drawing import draw_clip
from tests.io.test_clips import write_film


@pytest.fixture
def call(capsys):
    def run(*arguments: object) -> tuple[int, str, str]:
        with pytest.raises(SystemExit) as left:
            cli.main(["movement", *map(str, arguments)])
        out, err = capsys.readouterr()
        assert "Traceback" not in err
        return int(left.value.code or 0), out, err

    return run


@pytest.fixture(scope="module")
def snap(tmp_path_factory, sample_photographs) -> Path:
    path = tmp_path_factory.mktemp("snap") / "temple.jpg"
    Image.fromarray(sample_photographs["china.jpg"]).resize((480, 320)).save(path, quality=92)
    return path


@pytest.fixture(scope="module")
def schema() -> dict[str, Any]:
    return json.loads(resources.files("irpreview").joinpath("data/schemas/movement.json").read_text())


def test_the_answer_fits_its_schema(call, snap, schema) -> None:
    status, out, err = call(snap, "--wind", "5bft", "--shutter", "30", "--json")
    assert status == 0
    assert len(out.splitlines()) == 1
    answer = json.loads(out)
    jsonschema.validate(answer, schema)
    assert answer["shutter_s"] == 30.0
    assert answer["shutter_text"] == "30 s"
    tree = answer["classes"]["tree"]
    assert tree["blur_px"]["low"] < tree["blur_px"]["likely"] < tree["blur_px"]["high"]
    assert tree["share_of_height"]["likely"] == pytest.approx(tree["blur_px"]["likely"] / 320, rel=1e-3)
    assert set(tree["parts"]) == {"leaf", "twig", "branch", "crown"}
    assert answer["files"]["picture"] is None
    assert "Traceback" not in err


def test_options_change_the_answer(call, snap) -> None:
    def asked(*more: object) -> dict[str, Any]:
        return json.loads(call(snap, "--shutter", "1", "--json", *more)[1])

    breeze = asked("--wind", "5")
    assert (
        asked("--wind", "10")["classes"]["tree"]["blur_px"]["likely"] > breeze["classes"]["tree"]["blur_px"]["likely"]
    )
    far = asked("--wind", "5", "--distance", "tree=500")
    assert far["classes"]["tree"]["blur_px"]["likely"] < breeze["classes"]["tree"]["blur_px"]["likely"]
    assert asked("--wind", "5", "--focal", "100")["tripod"]["blur_px"]["likely"] > breeze["tripod"]["blur_px"]["likely"]
    assert asked("--wind", "5", "--cloud-fist", "60")["clouds"]["deg_per_s"]["likely"] == pytest.approx(1 / 6, rel=1e-3)
    assert asked("--wind", "18km/h")["wind"]["m_s"]["likely"] == pytest.approx(5.0)
    gusty = asked("--wind", "5", "--gust", "20kn", "--wind-from", "270", "--heading", "270")
    assert gusty["wind"]["gust_m_s"] == pytest.approx(10.29, abs=0.01)
    assert gusty["clouds"]["toward_deg"] == pytest.approx(105.0)
    assert gusty["clouds"]["image_deg"] is not None
    unknown = asked()
    assert unknown["wind"]["known"] is False
    assert any("Wind not given" in d for d in unknown["doubts"])
    calm = asked("--wind", "0")
    assert calm["classes"]["tree"]["blur_px"]["high"] == 0.0
    assert calm["classes"]["tree"]["holds_until_s"] is None


def test_settings_that_hold_are_offered(call, snap) -> None:
    answer = json.loads(call(snap, "--wind", "5", "--shutter", "4", "--json")[1])
    settings = answer["settings"]
    assert settings is not None
    assert settings["holds"] == "tree"
    assert settings["choices"]
    assert all(row["iso"] <= 25600 for row in settings["choices"])


def test_a_picture_is_written(call, snap, tmp_path) -> None:
    out_folder = tmp_path / "made" / "here"
    status, out, _ = call(snap, "--wind", "9", "--shutter", "1/30", "--out", out_folder)
    assert status == 0
    (picture,) = out_folder.iterdir()
    assert str(picture) in out
    with Image.open(picture) as image:
        assert image.size == (480, 320)
        assert image.mode == "L"
    assert "trees" in out
    assert "on a 30 x 40 cm print" in out


def test_a_clip_is_measured_and_overrides(call, snap, tmp_path, schema, monkeypatch) -> None:
    drawn = draw_clip(size=(180, 320), seconds=3.0, fps=20.0, sway_px=3.0, sway_hz=1.0, drift_px_s=(5.0, 0.0))
    film = write_film(tmp_path / "scene.mp4", drawn.frames, 20.0)

    def map_scene(photo):
        # the drawn clip's classes are known; the snap keeps the network's
        scene = shipped_map(photo)
        if photo.name == "scene.mp4":
            label = cv2.resize(drawn.label, photo.pixels.shape[1::-1], interpolation=cv2.INTER_NEAREST)
            return replace(scene, label=label)
        return scene

    monkeypatch.setattr(clips, "map_scene", map_scene)
    status, out, _ = call(snap, "--wind", "0", "--shutter", "1", "--clip", film, "--json")
    assert status == 0
    answer = json.loads(out)
    jsonschema.validate(answer, schema)
    tree = answer["classes"]["tree"]
    assert "measured from a clip" in tree["how_known"]
    # 3 px of 320, so 4.5 px of 480; a whole period shows twice the amplitude
    assert tree["blur_px"]["likely"] == pytest.approx(9.0, rel=0.12)
    assert answer["clip"]["classes"]["tree"]["frequency_hz"]["likely"] == pytest.approx(1.0, rel=0.1)
    assert answer["clouds"]["how_known"].startswith("measured from a clip")


@pytest.mark.parametrize(
    ("arguments", "status", "words"),
    [
        (("--shutter", "soon"), 2, "not understood"),
        (("--shutter", "1", "--wind", "99bft"), 2, "Beaufort"),
        (("--shutter", "1", "--distance", "moon=3"), 2, "no class"),
        (("--shutter", "1", "--distance", "tree=near"), 2, "CLASS=METRES"),
        (("--shutter", "1", "--water", "tea"), 2, "pond"),
        (("--shutter", "1", "--heading", "700"), 2, "outside -360 to 360"),
        (("--shutter", "1", "--focal", "1"), 2, "outside 8 to 2000"),
        (("--shutter", "1", "--wind-from", "500"), 2, "outside 0 to 360"),
        (("--shutter", "1", "--clip", "/nowhere/film.mp4"), 1, "does not exist"),
    ],
)
def test_what_is_refused(call, snap, arguments, status, words) -> None:
    got, out, err = call(snap, *arguments)
    assert got == status
    assert words in " ".join(err.split())
    assert out == ""


def test_a_photo_that_is_none(call, tmp_path) -> None:
    (tmp_path / "no.jpg").write_text("nothing")
    status, out, err = call(tmp_path / "no.jpg", "--shutter", "1", "--json")
    assert status == 1
    assert out == ""
    assert len(err.strip().splitlines()) == 1


def test_moving_pictures_differ_by_shutter(call, snap, tmp_path) -> None:
    for shutter in ("1/250", "30"):
        assert call(snap, "--wind", "9", "--shutter", shutter, "--out", tmp_path)[0] == 0
    pictures = sorted(tmp_path.glob("*.jpg"))
    assert len(pictures) == 2
    a, b = (np.asarray(Image.open(p).convert("L"), float) for p in pictures)
    assert np.abs(a - b).mean() > 1.0
