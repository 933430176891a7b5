"""The command line: render and demo, exit statuses, what goes where, and how fast it answers."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import tempfile
from dataclasses import replace
from importlib import resources
from pathlib import Path
from typing import Any

import cv2
import jsonschema
import numpy as np
import pytest
from PIL import Image, TiffImagePlugin

import irpreview.cli.demo
import irpreview.io.paths
from irpreview import __version__, analysis, cli, steps
from irpreview.records import CLASS_NAMES

LAUNCH = [sys.executable, "-m", "irpreview"]


def run(*arguments: object, **options: Any) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [*LAUNCH, *map(str, arguments)], capture_output=True, text=True, timeout=120, check=False, **options
    )


@pytest.fixture
def call(capsys):
    """Run the command line in this process: (exit status, stdout, stderr)."""

    def run_here(*arguments: object) -> tuple[int, str, str]:
        with pytest.raises(SystemExit) as left:
            cli.main([str(a) for a in arguments])
        out, err = capsys.readouterr()
        assert "Traceback" not in err
        return int(left.value.code or 0), out, err

    return run_here


@pytest.fixture(scope="session")
def snap(tmp_path_factory, sample_photographs) -> Path:
    exif = Image.Exif()
    exif.get_ifd(0x8825).update({1: "N", 2: (61.0, 7.0, 12.0), 3: "E", 4: (9.0, 3.0, 36.0)})
    exif.get_ifd(0x8769).update({0x9003: "2026:06:21 13:05:00", 0x829A: TiffImagePlugin.IFDRational(1, 500)})
    path = tmp_path_factory.mktemp("snaps") / "temple.jpg"
    picture = Image.fromarray(sample_photographs["china.jpg"]).resize((400, 267))
    picture.save(path, quality=90, exif=exif.tobytes())
    return path


def look(path: Path) -> Image.Image:
    """The picture, decoded, with its file closed."""
    with Image.open(path) as picture:
        picture.load()
        return picture


@pytest.fixture(scope="session")
def schema() -> dict[str, Any]:
    text = resources.files("irpreview").joinpath("data/schemas/render.json").read_text(encoding="utf-8")
    schema = json.loads(text)
    jsonschema.Draft202012Validator.check_schema(schema)
    return schema


# ------------------------------------------------------------------------------------------- render


def test_render_writes_both_pictures_and_a_report(call, snap, tmp_path):
    status, out, err = call("render", snap, "--out", tmp_path / "new" / "folder")
    assert status == 0
    assert err == ""
    infrared = look(tmp_path / "new" / "folder" / "temple-infrared.jpg")
    assert infrared.size == (400, 267)
    assert infrared.mode == "L"
    assert look(tmp_path / "new" / "folder" / "temple-classes.png").mode == "RGB"
    assert "temple.jpg: 400 x 267" in out
    assert "zone" in out
    assert "without a time zone" in out
    assert sorted(p.name for p in (tmp_path / "new" / "folder").iterdir()) == [
        "temple-classes.png",
        "temple-infrared.jpg",
    ]


def test_json_keeps_its_schema_and_says_what_the_files_hold(call, snap, tmp_path, schema):
    tones, labels = tmp_path / "t.png", tmp_path / "l.png"
    status, out, _ = call("render", snap, "--out", tmp_path, "--tones", tones, "--labels", labels, "--json")
    assert status == 0
    (line,) = out.splitlines()
    answer = json.loads(line)
    jsonschema.validate(answer, schema)
    assert (answer["width"], answer["height"]) == (400, 267)
    label = np.asarray(look(labels))
    assert label.shape == (267, 400)
    assert set(np.unique(label)) <= set(range(1, 10))
    for i, name in enumerate(CLASS_NAMES):
        assert answer["shares"][name] == pytest.approx(float((label == i + 1).mean()), abs=6e-5)
        assert (answer["zones"][name] is None) == ((label == i + 1).sum() == 0)
        if answer["zones"][name]:
            assert answer["zones"][name]["low"] <= answer["zones"][name]["likely"] <= answer["zones"][name]["high"]
    sixteen = cv2.imread(str(tones), cv2.IMREAD_UNCHANGED)
    assert sixteen is not None
    assert sixteen.dtype == np.uint16
    linear = sixteen / 65535.0 * answer["tones_full_scale"]
    # the file and the JSON tell the same: the median tone of a large class lies within its zone range
    name = max(CLASS_NAMES, key=lambda n: answer["shares"][n])
    zone = 5 + np.log2(np.median(linear[label == CLASS_NAMES.index(name) + 1]) / 0.18)
    assert answer["zones"][name]["low"] - 0.5 <= zone <= answer["zones"][name]["high"] + 0.5


def test_a_planned_light_is_marked_as_a_what_if(call, snap, tmp_path, schema):
    status, out, _ = call("render", snap, "--out", tmp_path, "--planned-sun", 9, "--planned-haze", "hazy", "--json")
    assert status == 0
    answer = json.loads(out)
    jsonschema.validate(answer, schema)
    assert answer["planned"] is True
    assert answer["sun_height_deg"] == 9
    assert answer["light"].startswith("planned")
    assert any("no forecast" in doubt for doubt in answer["doubts"])
    # nothing that is a what-if may pass for the prediction
    assert sorted(p.name for p in tmp_path.iterdir()) == ["temple-classes.png", "temple-what-if.jpg"]
    status, out, _ = call("render", snap, "--out", tmp_path, "--json")
    assert json.loads(out)["planned"] is False
    assert not any("planned" in doubt for doubt in json.loads(out)["doubts"])


def test_a_planned_time_takes_the_photos_place_and_clock(call, snap, tmp_path):
    zone = ("--zone", "Europe/Oslo")
    status, out, _ = call("render", snap, "--out", tmp_path, *zone, "--planned-time", "2026-06-21T20:00", "--json")
    assert status == 0
    answer = json.loads(out)
    assert 10 < answer["sun_height_deg"] < 20  # 61 degrees north, two hours before sunset at midsummer
    assert any("snap's light differs" in doubt for doubt in answer["doubts"])
    status, out, _ = call("render", snap, "--out", tmp_path, *zone, "--planned-time", "2026-06-21T20:00")
    assert "What-if, no forecast" in out
    at = ("--at", "-61.12,9.06")  # the same evening in the south is winter night
    status, _, err = call("render", snap, "--out", tmp_path, *zone, "--planned-time", "2026-06-21T20:00", *at)
    assert status == 1
    assert "between sunrise and sunset" in err


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (("--planned-sun", 9, "--planned-time", "2026-06-21T20:00"), "give one of them"),
        (("--planned-haze", "hazy"), "goes with --planned-sun"),
        (("--planned-place", "61,9"), "goes with --planned-time"),
        (("--planned-time", "2026-06-21T20:00", "--at", "95,9"), "latitude 95"),
        (("--planned-sun", 9, "--planned-haze", "thick"), "thick"),
    ],
)
def test_a_planned_light_that_makes_no_sense_is_wrong_usage(call, snap, tmp_path, options, words):
    status, _, err = call("render", snap, "--out", tmp_path, *options)
    assert status == 2
    assert words in err
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (("--planned-sun", -4), "1 to 90"),
        (("--planned-time", "2026-02-30T10:00"), "does not exist"),
        (("--planned-time", "2026-06-21T01:00+02:00"), "between sunrise and sunset"),
    ],
)
def test_a_light_that_cannot_be_planned_is_refused(call, snap, tmp_path, options, words):
    status, _, err = call("render", snap, "--out", tmp_path, *options)
    assert status == 1
    assert words in err


def test_what_was_recognised_can_raise_a_doubt(call, snap, tmp_path, monkeypatch):
    real = steps.seen

    def a_room(photo, network):
        label = np.full((photo.height, photo.width), CLASS_NAMES.index("structure") + 1, np.uint8)
        label[: photo.height // 2] = CLASS_NAMES.index("other") + 1
        return replace(real(photo, network), label=label)

    monkeypatch.setattr(analysis, "seen", a_room)
    status, out, _ = call("render", snap, "--out", tmp_path, "--json")
    assert status == 0  # a doubt, no refusal
    assert any("no landscape" in doubt for doubt in json.loads(out)["doubts"])


def test_where_the_photo_was_taken_goes_nowhere(call, snap, tmp_path):
    status, out, err = call("render", snap, "--out", tmp_path, "--json", "--zone", "Europe/Oslo")
    assert status == 0
    # with the sun's height the minute would lead back to the place
    assert json.loads(out)["taken_at"].startswith("2026-06-21T13:00:00+02:00")
    for trace in ("61.12", "9.06", "latitude"):
        assert trace not in out + err
    for path in tmp_path.iterdir():
        opened = look(path)
        assert not opened.getexif()
        assert "exif" not in opened.info
        assert b"Exif" not in path.read_bytes()


def test_one_object_per_photo_and_a_bad_one_stops_nothing(call, snap, tmp_path, schema):
    cut = tmp_path / "cut.jpg"
    cut.write_bytes(snap.read_bytes()[:9000])
    other = tmp_path / "other.jpg"
    look(snap).transpose(Image.Transpose.FLIP_LEFT_RIGHT).save(other)
    status, out, err = call("render", cut, snap, tmp_path, other, tmp_path / "none.jpg", "--out", tmp_path, "--json")
    assert status == 1
    answers = [json.loads(line) for line in out.splitlines()]
    assert [a["photo"] for a in answers] == [str(snap), str(other)]
    for answer in answers:
        jsonschema.validate(answer, schema)
    said = err.splitlines()
    assert len(said) == 3
    assert all(line.startswith("irpreview: ") for line in said)
    assert "cut.jpg is damaged" in said[0]
    assert "is a folder" in said[1]
    assert "does not exist" in said[2]
    assert not (tmp_path / "cut-infrared.jpg").exists()
    assert not (tmp_path / "cut-classes.png").exists()


def test_photos_of_one_name_do_not_overwrite_each_other(call, snap, tmp_path):
    for folder in ("a", "b"):
        (tmp_path / folder).mkdir()
        (tmp_path / folder / "view.jpg").write_bytes(snap.read_bytes())
    (tmp_path / "a" / "View.jpeg").write_bytes(snap.read_bytes())
    photos = [tmp_path / "a" / "view.jpg", tmp_path / "b" / "view.jpg", tmp_path / "a" / "View.jpeg"]
    status, _, err = call("render", *photos, "--out", tmp_path / "out")
    assert status == 0
    assert len(list((tmp_path / "out").glob("*-infrared.jpg"))) == 3
    assert err.count("another photo has the same name") == 2


def test_no_picture_lands_on_a_photo(call, snap, tmp_path):
    for name in ("view.jpg", "view-infrared.jpg"):
        (tmp_path / name).write_bytes(snap.read_bytes())
    status, _, err = call("render", tmp_path / "view.jpg", tmp_path / "view-infrared.jpg", "--out", tmp_path)
    assert status == 0
    assert (tmp_path / "view-infrared.jpg").read_bytes() == snap.read_bytes()
    assert (tmp_path / "view-2-infrared.jpg").exists()
    assert "view-2" in err


def test_same_input_same_output(call, snap, tmp_path):
    for folder in ("one", "two"):
        call("render", snap, "--out", tmp_path / folder, "--tones", tmp_path / f"{folder}.png")
    for name in ("temple-infrared.jpg", "temple-classes.png"):
        assert (tmp_path / "one" / name).read_bytes() == (tmp_path / "two" / name).read_bytes()
    assert (tmp_path / "one.png").read_bytes() == (tmp_path / "two.png").read_bytes()


def test_kit_grade_and_film_look_change_the_picture_as_they_should(call, snap, tmp_path):
    def picture(name, *options):
        status, out, _ = call("render", snap, "--out", tmp_path / name, "--json", *options)
        assert status == 0
        return np.asarray(look(tmp_path / name / "temple-infrared.jpg")).astype(float), json.loads(out)

    plain, answer = picture("plain")
    soft, _ = picture("soft", "--grade", 0)
    glow, _ = picture("glow", "--film-look")
    other, told = picture("kit", "--kit", "converted-590")
    assert soft.std() < plain.std()
    assert np.abs(glow - plain).mean() > 0.5
    assert (answer["kit"], told["kit"]) == ("unmodified-720", "converted-590")
    assert answer["zones"] != told["zones"]
    assert np.abs(other - plain).mean() > 0.5


def test_a_picture_that_cannot_be_saved_is_one_line(call, snap, tmp_path):
    (tmp_path / "temple-infrared.jpg").mkdir()
    status, out, err = call("render", snap, "--out", tmp_path)
    assert (status, out) == (1, "")
    assert len(err.splitlines()) == 1
    assert "is a folder" in err
    (tmp_path / "file").write_text("x")
    status, _, err = call("render", snap, "--out", tmp_path / "file")
    assert status == 1
    assert "is a file" in err


@pytest.mark.parametrize(
    ("arguments", "word"),
    [
        (["render"], "PHOTO"),
        (["render", "{snap}", "--grade", "9"], "grade"),
        (["render", "{snap}", "{snap}", "--tones", "t.png"], "one photo"),
        (["render", "{snap}", "{snap}", "--labels", "t.png"], "one photo"),
        (["render", "{snap}", "--kit", "no-such-kit"], "no-such-kit"),
        (["render", "{snap}", "--nonsense"], "nonsense"),
        (["render", "{snap}", "--zone", "Nowhere/Land"], "Nowhere/Land"),
        (["develop"], "develop"),
        (["demo", "--scene", "no-such-scene"], "no-such-scene"),
    ],
)
def test_wrong_usage_is_2(call, snap, tmp_path, monkeypatch, arguments, word):
    monkeypatch.chdir(tmp_path)
    status, out, err = call(*(str(snap) if a == "{snap}" else a for a in arguments))
    assert status == 2
    assert out == ""
    assert word in err
    assert list(tmp_path.iterdir()) == []


# ------------------------------------------------------------------------------------------- demo


def test_demo_says_where_its_pictures_are(call, tmp_path, monkeypatch, schema):
    monkeypatch.chdir(tmp_path)
    status, out, err = call("demo")
    assert status == 0
    assert str(tmp_path / "irpreview-demo") in err
    assert len(list((tmp_path / "irpreview-demo").iterdir())) == 3
    assert "zone" in out
    status, out, _ = call("demo", "--out", tmp_path / "o", "--json")
    assert status == 0
    jsonschema.validate(json.loads(out), schema)


def test_demo_without_scenes_is_one_line(call, tmp_path, monkeypatch):
    monkeypatch.setattr(irpreview.io.paths, "PACKAGE", tmp_path / "nowhere" / "irpreview")
    monkeypatch.chdir(tmp_path)
    status, _, err = call("demo")
    assert status == 1
    assert "demo scenes are missing" in err


# ------------------------------------------------------------------------------------------- the door itself


def test_version_loads_next_to_nothing():
    """What makes it quick (the seconds are in the benchmark): neither arrays nor the command-line library."""
    done = run("--version")
    assert (done.returncode, done.stdout.strip(), done.stderr) == (0, f"irpreview {__version__}", "")
    code = (
        "import sys\nfrom irpreview.cli import main\n"
        "try: main(['--version'])\nexcept SystemExit: pass\n"
        "print(sorted({'numpy', 'typer', 'cv2', 'PIL'} & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.splitlines()[-1] == "[]"


def test_nothing_heavy_is_loaded_for_help():
    code = (
        "import sys\nfrom irpreview.cli import main\n"
        "try: main(['--help'])\nexcept SystemExit: pass\n"
        "print(sorted({'cv2', 'scipy', 'sklearn', 'pvlib', 'gradio', 'matplotlib', 'pandas'} & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.splitlines()[-1] == "[]"
    for name in ("render", "demo"):
        assert name in done.stdout


def test_help_of_every_command(call):
    status, out, _ = call("--help")
    assert status == 0
    listed = out.partition("Commands:")[2]
    for name in [word.split()[0] for word in listed.splitlines() if word.startswith("  ") and word[2] != " "]:
        status, out, _ = call(name, "--help")
        assert status == 0, name
        assert "Usage: irpreview" in out


def test_an_error_nobody_foresaw_is_one_line(call, snap, tmp_path, monkeypatch):
    def explode(*_arguments, **_options):
        raise ZeroDivisionError("a hidden flaw\nin two lines")

    monkeypatch.setattr(analysis, "seen", explode)
    monkeypatch.setenv("TMPDIR", str(tmp_path))

    monkeypatch.setattr(tempfile, "tempdir", None)
    status, out, err = call("render", snap, "--out", tmp_path)
    assert (status, out) == (1, "")
    (line,) = err.splitlines()
    assert "ZeroDivisionError: a hidden flaw in two lines" in line
    details = Path(line.rpartition("details are in ")[2])
    assert details.parent == tmp_path
    assert "Traceback" in details.read_text()
    details.unlink()
    monkeypatch.setattr(analysis, "seen", lambda *_a, **_k: (_ for _ in ()).throw(MemoryError()))
    status, _, err = call("render", snap, "--out", tmp_path)
    assert status == 1
    assert "not enough memory" in err


def test_an_error_outside_a_photo_is_one_line_too(call, monkeypatch):
    def explode(*_arguments):
        raise RuntimeError("broken")

    monkeypatch.setattr(irpreview.cli.demo, "demo_photo", explode)
    status, out, err = call("demo")
    assert (status, out) == (1, "")
    assert len(err.splitlines()) == 1
    assert "RuntimeError: broken" in err
    Path(err.strip().rpartition("details are in ")[2]).unlink()
    monkeypatch.setenv("IRPREVIEW_DEBUG", "1")
    with pytest.raises(RuntimeError, match="broken"):
        cli.main(["demo"])


def test_ctrl_c_is_one_line(call, monkeypatch):
    def stop(*_arguments):
        raise KeyboardInterrupt

    monkeypatch.setattr(cli, "_run", stop)
    status, out, err = call("demo")
    assert (status, out, err) == (130, "", "irpreview: stopped\n")


@pytest.mark.skipif(os.name != "posix", reason="signals of POSIX")
def test_ctrl_c_in_the_middle_leaves_whole_pictures_only(snap, tmp_path):
    photos = []
    for i in range(40):
        photos.append(tmp_path / f"p{i}.jpg")
        photos[-1].write_bytes(snap.read_bytes())
    out = tmp_path / "out"
    with subprocess.Popen(
        [*LAUNCH, "render", *map(str, photos), "--out", str(out), "--json"],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    ) as running:
        assert running.stdout is not None
        assert json.loads(running.stdout.readline())["kind"] == "rendering"
        running.send_signal(signal.SIGINT)
        _, err = running.communicate(timeout=60)
    assert running.returncode == 130
    assert "Traceback" not in err
    written = list(out.iterdir())
    assert 2 <= len(written) < 80
    for path in written:
        look(path)


@pytest.mark.skipif(os.name != "posix", reason="pipes of POSIX")
def test_a_reader_that_has_enough_is_no_trouble():
    done = subprocess.run(
        ["bash", "-c", f'"{sys.executable}" -m irpreview --help | head -c 1 >/dev/null; echo "${{PIPESTATUS[0]}}"'],
        capture_output=True,
        text=True,
        check=True,
    )
    assert done.stderr == ""
    assert done.stdout.strip() in ("0", "1")


def test_a_real_process_end_to_end(snap, tmp_path, schema):
    done = run("render", snap, "--out", tmp_path, "--json")
    assert done.returncode == 0
    assert done.stderr == ""
    jsonschema.validate(json.loads(done.stdout), schema)
    assert (tmp_path / "temple-infrared.jpg").stat().st_size > 5_000
