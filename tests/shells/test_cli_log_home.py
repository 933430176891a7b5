"""Frames brought home as a person does it: match and look, take in, look at the log, take back."""

import json
import math
import shutil
from datetime import datetime, timedelta
from pathlib import Path

import cv2
import jsonschema
import numpy as np
import pytest
from PIL import Image

from irpreview.answers.schemas import FOLDER
from irpreview.cli import main
from irpreview.core.field_log.entries import LogEntry
from irpreview.core.words.home_words import exposure_text
from irpreview.io.field_log import FieldLog
from irpreview.io.paper import drawn
from tests.conftest import read_picture
from tests.core.simulated_frames import curve_code

SCENES = Path(__file__).resolve().parents[2] / "demo_scenes"
NAMES = ("chalk_head", "moor_tower", "pellow_street", "ruin_by_the_tarn")
FACTOR_STOPS = 15.0
LATE = timedelta(minutes=62)
"""The camera's clock: an hour off, and some minutes from snap to frame."""


@pytest.fixture
def run(capsys, tmp_path, monkeypatch):
    monkeypatch.setenv("IRPREVIEW_LOG", str(tmp_path / "log.sqlite"))
    monkeypatch.chdir(tmp_path)

    def call(*arguments):
        with pytest.raises(SystemExit) as left:
            main([*map(str, arguments)])
        out, err = capsys.readouterr()
        return left.value.code, out, err

    return call


def phone_gain(truth):
    """How the phone exposed: 1 = grey of 0.18 on middle grey. The light by the scene's own recipe (IES sky)."""
    s = math.sin(math.radians(truth["sun"]["height_deg"]))
    clear = 127.5 * math.exp(-0.21 / s) * s + 0.8 + 15.5 * math.sqrt(s)
    lux = 1000 * ((0.3 + 21 * s) if truth["sky_state"] == "overcast" else clear)
    return 0.18 * lux / math.pi * 100 / 12.5 / 2 ** truth["photo"]["ev100"]


def infrared_frame(path, name, came_out):
    """The scene's true infrared as a camera 15 stops slower writes it, exposed so that grey comes out by so much."""
    truth = json.loads((SCENES / name / "truth.json").read_text())
    code = read_picture(SCENES / name / "infrared.png", cv2.IMREAD_GRAYSCALE).astype(np.float32) / 255
    tone = truth["infrared_png"]["full_scale"] * code**2 * phone_gain(truth)
    pixels = np.round(255 * curve_code(np.clip(tone * 2.0**came_out, 0, 1).astype(np.float32), 0.0)).astype(np.uint8)
    picture = Image.fromarray(cv2.resize(pixels, None, fx=2, fy=2)).convert("RGB")
    exif = picture.getexif()
    inner = exif.get_ifd(0x8769)
    ev100 = truth["photo"]["ev100"] - FACTOR_STOPS - came_out
    inner[0x9003] = (datetime.fromisoformat(truth["photo"]["taken_at"]).replace(tzinfo=None) + LATE).strftime(
        "%Y:%m:%d %H:%M:%S"
    )
    inner[0x829A], inner[0x829D], inner[0x8827] = 64.0 / 2 ** (ev100 + 1.0), 8.0, 200
    picture.save(path, quality=92, exif=exif)


@pytest.fixture(scope="module")
def brought(tmp_path_factory):
    """Folders `snaps` and `frames`: four frames of which the last one's snap was left at home."""
    folder = tmp_path_factory.mktemp("home")
    (folder / "snaps").mkdir()
    (folder / "frames").mkdir()
    for name, came_out in zip(NAMES, (0.0, 0.5, -0.5, 0.3), strict=True):
        infrared_frame(folder / "frames" / f"IR_{name}.jpg", name, came_out)
        if name != NAMES[-1]:
            shutil.copy(SCENES / name / "photo.jpg", folder / "snaps" / f"{name}.jpg")
    (folder / "frames" / "broken.jpg").write_bytes(b"\xff\xd8\xff no picture")
    return folder


def test_shown_first_then_taken_in_then_taken_back(run, brought, tmp_path):
    out = tmp_path / "out"
    match = ("log", "match", brought / "frames", "--snaps", brought / "snaps", "--out", out, "--jobs", "1")
    with FieldLog(tmp_path / "log.sqlite") as log:
        plan = log.add(
            LogEntry(
                "unmodified-720",
                planned_iso=200.0,
                planned_f_number=8.0,
                planned_shutter_s=60.0,
                snap_path="moor_tower.jpg",
                place_name="Thrennick",
            )
        )
    before = (tmp_path / "log.sqlite").read_bytes()

    code, text, err = run(*match, "--json")
    assert code == 0, err
    answer = json.loads(text)
    jsonschema.validate(answer, json.loads((FOLDER / "homecoming.json").read_text()))
    rows = {f["name"]: f for f in answer["frames"]}
    for name in NAMES[:3]:
        row = rows[f"IR_{name}.jpg"]
        assert (row["snap"], row["found"], row["taken_in"]) == (f"{name}.jpg", "picture", True)
        assert row["classes"]
    stranger = rows[f"IR_{NAMES[-1]}.jpg"]
    assert (stranger["snap"], stranger["taken_in"], stranger["entry"]) == (None, False, None)
    assert list(answer["unusable"]) == ["broken.jpg"]
    assert answer["clocks"]["corrected_s"] == pytest.approx(LATE.total_seconds(), abs=60)
    moor = rows["IR_moor_tower.jpg"]
    assert moor["plan"] == plan
    assert moor["entry"]["taken_at"] == "2024-08-24T10:05:00+00:00"  # the snap's clock, which knows its zone
    assert moor["came_out_stops"] == pytest.approx(0.5, abs=0.8)
    assert moor["expected_stops"]["low"] < moor["came_out_stops"] < moor["expected_stops"]["high"]
    sheet = np.asarray(Image.open(answer["sheet"]))
    assert sheet.shape[1] == 1760
    assert sheet.shape[0] > 4 * 200
    printed = Path(answer["sheet"]).with_suffix(".pdf").read_bytes()
    assert sheet.shape == drawn(printed, 1760).shape
    # nothing was written before it was shown
    assert (tmp_path / "log.sqlite").read_bytes() == before
    waiting = tmp_path / "log.sqlite-wal"
    assert not waiting.exists() or waiting.stat().st_size == 0

    code, text, err = run("log", "take", answer["proposal"])
    assert (code, len(text.splitlines())) == (0, 3)
    assert f"log take-back {answer['batch']}" in err
    with FieldLog(tmp_path / "log.sqlite", read_only=True) as log:
        assert len(log) == 3
        beside = log.entry(plan)
    assert (beside.place_name, beside.planned_shutter_s, beside.f_number) == ("Thrennick", 60.0, 8.0)
    assert beside.raw_factor_stops == pytest.approx(FACTOR_STOPS, abs=0.8)
    learned = json.loads(run("log", "learn", "--json")[1])
    assert learned["frames"] == 3
    assert learned["factor_stops"]["likely"] == pytest.approx(answer["after"]["factor_stops"]["likely"], abs=0.01)

    # the same once more: nothing is there twice
    assert "3 were in the log already" in run("log", "take", out)[2]
    again = json.loads(run(*match, "--json")[1])
    assert [f["known"] for f in again["frames"] if f["snap"]] == [True] * 3
    assert again["after"]["frames"] == again["before"]["frames"] == 3
    assert "there is nothing to take in" in run(*match)[2]

    assert answer["batch"] in run("log", "take-back")[1]
    code, _, err = run("log", "take-back", answer["batch"])
    assert (code, "3 frames" in err) == (0, True)
    with FieldLog(tmp_path / "log.sqlite", read_only=True) as log:
        assert len(log) == 1
        assert log.entry(plan).frame_ev100 is None
    assert run("log", "take-back", answer["batch"])[0] == 2


def test_without_a_log_it_shows_and_makes_none(run, brought, tmp_path):
    code, text, err = run(
        "log", "match", brought / "frames", "--snaps", brought / "snaps" / "moor_tower.jpg", "--jobs", "1"
    )
    assert code == 0
    assert "1 of 4 frames found their snap" in text
    assert "belongs to none of the snaps" in text
    assert "broken.jpg could not be used" in err
    assert not (tmp_path / "log.sqlite").exists()
    assert run("log", "take", next(tmp_path.glob("home-*.json")), "--only", "9")[0] == 2


@pytest.mark.parametrize(
    ("arguments", "code", "says"),
    [
        (("frames",), 2, "say where the snaps are"),
        (("frames", "--snaps", "nowhere"), 2, "there is no snap or folder"),
        (("nowhere", "--snaps", "snaps"), 2, "there is no folder"),
        (("empty", "--snaps", "snaps"), 1, "there is no frame"),
        (("frames", "--snaps", "empty"), 1, "there is no snap in"),
        (("frames", "--snaps", "frames/broken.jpg"), 1, "can be used"),
    ],
)
def test_what_cannot_be_is_one_line(run, brought, tmp_path, arguments, code, says):
    for name in ("frames", "snaps"):
        (tmp_path / name).symlink_to(brought / name)
    (tmp_path / "empty").mkdir()
    left, out, err = run("log", "match", *arguments, "--jobs", "1")
    assert (left, out) == (code, "")
    assert says in err
    assert "Traceback" not in err


@pytest.mark.parametrize("numbers", ["x", "1-", "3-1000000", "1;2"])
def test_numbers_that_make_no_sense_are_wrong_usage(run, tmp_path, numbers):
    (tmp_path / "p.json").write_text("{}")
    code, _, err = run("log", "take", tmp_path / "p.json", "--only", numbers)
    assert code in (1, 2)
    assert err.count("\n") == 1


def test_exposures_in_words():
    assert exposure_text(200.0, 8.0, 30.0) == "30 s, f/8, ISO 200"
    assert exposure_text(None, None, None) == ""
