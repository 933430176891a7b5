"""The commands expose, light and calibrate: JSON by its schema, words for people, refusals on one line."""

import json
from importlib import resources
from pathlib import Path

import jsonschema
import numpy as np
import pytest
from PIL import Image, TiffImagePlugin

from irpreview import cli
from irpreview.io.kits import load_kit
from irpreview.records import Photo
from tests.core.simulated_frames import draw, picture_pair

METER = ("--meter", "1/125 f/10 ISO 64")
VALLEY = ("--at", "47.1,11.4", "--date", "2026-06-21", "--zone", "Europe/Vienna")


@pytest.fixture
def call(capsys):
    """Run the command line in this process: (exit status, stdout, stderr)."""

    def run_here(*arguments: object) -> tuple[int, str, str]:
        with pytest.raises(SystemExit) as left:
            cli.main([str(a) for a in arguments])
        out, err = capsys.readouterr()
        assert "Traceback" not in out + err
        return int(left.value.code or 0), out, err

    return run_here


def checked(name: str, out: str) -> dict:  # type: ignore[type-arg]
    """The one JSON object on stdout, held against its schema."""
    lines = out.splitlines()
    assert len(lines) == 1
    answer = json.loads(lines[0])
    schema = json.loads((resources.files("irpreview") / "data" / "schemas" / f"{name}.json").read_text())
    jsonschema.Draft202012Validator.check_schema(schema)
    jsonschema.validate(answer, schema)
    return answer


def save(photo: Photo, path: Path) -> Path:
    """A JPEG with the photo's exposure data in it."""
    exif = Image.Exif()
    shot = photo.shot
    assert shot.shutter_s is not None
    assert shot.f_number is not None
    assert shot.iso is not None
    exif.get_ifd(0x8769).update(
        {
            0x829A: TiffImagePlugin.IFDRational(round(shot.shutter_s * 10_000), 10_000),
            0x829D: TiffImagePlugin.IFDRational(round(shot.f_number * 10), 10),
            0x8827: int(shot.iso),
        }
    )
    Image.fromarray(np.ascontiguousarray(photo.pixels)).save(path, quality=95, exif=exif.tobytes())
    return path


def test_expose_from_a_meter_reading_by_its_schema(call) -> None:
    status, out, _ = call("expose", *METER, "--json")
    assert status == 0
    answer = checked("expose", out)
    factor = answer["factor_stops"]
    assert factor["low"] <= factor["likely"] <= factor["high"]
    for key in ("low", "likely", "high"):
        assert sum(p[key] for p in factor["parts"].values()) == pytest.approx(factor[key], abs=0.01)
    assert answer["metered_ev100"] == pytest.approx(14.25, abs=0.01)
    first = answer["settings"][0]
    assert first["shutter_s"] == pytest.approx(
        first["f_number"] ** 2 * 100 / first["iso"] * 2 ** (factor["likely"] - answer["metered_ev100"]), rel=0.01
    )
    assert answer["recommended"] in answer["settings"]
    assert len(answer["test_frames"]) >= 3


def test_expose_reads_the_same_every_time(call) -> None:
    assert call("expose", *METER, "--json")[1] == call("expose", *METER, "--json")[1]


def test_expose_by_the_sun_alone_and_for_people(call) -> None:
    status, out, err = call(
        "expose", "--at", "47.1,11.4", "--when", "2026-06-21T10:00", "--zone", "Europe/Vienna", "--heading", 200
    )
    assert status == 0
    for word in ("Light", "Filter", "Take", "Test first", "Focus", "Cost", "ISO 64"):
        assert word in out
    assert "Take the test exposures first" in err


@pytest.fixture
def meadow(tmp_path) -> Path:
    """A drawn snap with time, place and exposure data: green land under a sky."""
    plain, _ = picture_pair(draw(seed=30, leaves=0.6), 14.0, 3.2)
    exif = Image.Exif()
    exif.get_ifd(0x8825).update({1: "N", 2: (61.0, 7.0, 12.0), 3: "E", 4: (9.0, 3.0, 36.0)})
    exif.get_ifd(0x8769).update(
        {
            0x9003: "2026:06:21 13:05:00",
            0x829A: TiffImagePlugin.IFDRational(1, 500),
            0x829D: TiffImagePlugin.IFDRational(18, 10),
            0x8827: 50,
        }
    )
    path = tmp_path / "meadow.jpg"
    Image.fromarray(np.ascontiguousarray(plain.pixels)).save(path, quality=92, exif=exif.tobytes())
    return path


def test_expose_from_a_snap_places_its_brightest_layer_and_marks_the_white_balance(call, meadow) -> None:
    status, out, err = call("expose", meadow, "--zone", "Europe/Oslo", "--wind", 3, "--json")
    assert status == 0, err
    answer = checked("expose", out)
    assert answer["metered_by"].startswith("snap")
    assert set(answer["readings_ev100"]) == {"snap", "sun"}
    assert answer["white_balance"] is not None
    assert answer["white_balance"]["x"] + answer["white_balance"]["width"] <= 360
    assert "zone" in answer["placed"] or "grey" in answer["placed"]
    assert any("Blur at" in reason for reason in answer["reasons"])


def test_a_planned_light_leaves_the_snaps_exposure_data_out(call, meadow) -> None:
    place = ("--at", "61.12,9.06", "--zone", "Europe/Oslo")
    _, out, _ = call("expose", meadow, *place, "--planned-time", "2026-06-21T20:30", "--json")
    evening = checked("expose", out)
    assert set(evening["readings_ev100"]) == {"sun"}
    assert any("differs from the planned one" in doubt for doubt in evening["doubts"])
    _, out, _ = call("expose", meadow, *place, "--when", "2026-06-21T13:00", "--json")
    same = checked("expose", out)
    assert set(same["readings_ev100"]) == {"snap", "sun"}


def test_expose_compares_meter_and_sun(call) -> None:
    place = ("--at", "47.1,11.4", "--when", "2026-06-21T12:00", "--zone", "Europe/Vienna")
    _, out, _ = call("expose", "--ev", 9, *place, "--json")
    answer = checked("expose", out)
    assert set(answer["readings_ev100"]) == {"meter", "sun"}
    assert answer["metered_ev100"] == 9.0
    assert any("disagree" in doubt for doubt in answer["doubts"])


def test_a_calibrated_kit_narrows_the_time(call, tmp_path) -> None:
    own = tmp_path / "own.toml"
    status, out, _ = call("calibrate", *METER, "--filtered", "5 min", "--save", own, "--json")
    assert status == 0
    told = checked("calibrate", out)
    assert told["kit_file"] == str(own)
    assert load_kit(own).factor_stops is not None
    wide = checked("expose", call("expose", *METER, "--json")[1])["recommended"]["shutter_range_s"]
    answer = checked("expose", call("expose", *METER, "--kit", own, "--json")[1])
    narrow = answer["recommended"]["shutter_range_s"]
    assert narrow["high"] / narrow["low"] < wide["high"] / wide["low"]
    assert answer["factor_stops"]["source"].startswith("typed")


def test_a_test_frame_is_read_back_by_the_line_that_expose_prints(call, tmp_path) -> None:
    _, out, _ = call("expose", "--ev", 13)
    assert "irpreview calibrate --ev 13.0 --filtered SETTING --save FILE" in out
    frame = checked("expose", call("expose", "--ev", 13, "--json")[1])["test_frames"][0]
    setting = f"{frame['shutter_text']} f/{frame['f_number']} ISO {frame['iso']}"
    _, out, _ = call("calibrate", "--ev", 13, "--filtered", setting, "--save", tmp_path / "own.toml", "--json")
    likely = checked("calibrate", out)["factor_stops"]["likely"]
    assert likely == pytest.approx(frame["if_right_factor_stops"], abs=0.02)


def test_calibrate_from_two_jpeg_files(call, tmp_path) -> None:
    drawn = draw(seed=21, leaves=0.0)
    plain, filtered = picture_pair(drawn, 13.8, 3.2, off_stops=-1.2)
    a, b = save(plain, tmp_path / "plain.jpg"), save(filtered, tmp_path / "filtered.jpg")
    status, out, err = call("calibrate", a, b, "--json")
    assert status == 0, err
    answer = checked("calibrate", out)
    assert answer["factor_stops"]["low"] <= 13.8 <= answer["factor_stops"]["high"]
    assert answer["clips_first"] == "red"


def test_calibrate_refuses_another_scene_on_one_line(call, tmp_path) -> None:
    plain, _ = picture_pair(draw(seed=22, leaves=0.2), 14.0, 0.0, off_stops=-1.0)
    _, other = picture_pair(draw(seed=23, leaves=0.2), 14.0, 0.0, off_stops=-1.0)
    status, out, err = call("calibrate", save(plain, tmp_path / "a.jpg"), save(other, tmp_path / "b.jpg"), "--json")
    assert status == 1
    assert out == ""
    assert "do not show the same scene" in err.splitlines()[-1]


def test_light_by_its_schema_with_a_plot(call, tmp_path) -> None:
    status, out, _ = call("light", *VALLEY, "--heading", 200, "--plot", tmp_path / "hours.png", "--json")
    assert status == 0
    answer = checked("light", out)
    assert len(answer["quarters"]) == 96
    assert answer["best"]
    assert answer["heading_deg"] == 200
    with Image.open(tmp_path / "hours.png") as picture:
        assert picture.width > 800
        assert len(np.unique(np.asarray(picture.convert("L")))) > 20


def test_light_for_several_days_for_people(call) -> None:
    status, out, err = call("light", *VALLEY, "--heading", 90, "--days", 10, "--focal", 24)
    assert status == 0
    for word in ("height", "Best", "Days", "h of good light"):
        assert word in out
    assert "Astronomy and a clear sky only" in err


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (("expose", "--meter", "1/125 f/0 ISO 64"), "f/0 is outside f/0.7 to f/128"),
        (("expose", "--meter", "1/125 f/8 ISO -5"), "ISO -5 is outside"),
        (("expose", "--ev", "99"), "outside -6 to 20"),
        (("expose", "--ev", "-5.5"), "too little"),
        (("expose", "--ev", "12", "--meter", "1/125 f/10 ISO 64"), "not both"),
        (("expose", "--at", "47,11"), "go together"),
        (("expose", "--at", "91,11", "--when", "2026-06-21T10:00"), "latitude 91"),
        (("expose", "--at", "47,11", "--when", "2026-06-31T10:00"), "does not exist"),
        (("expose", "--at", "78,15", "--when", "2026-12-21T12:00", "--zone", "UTC"), "below the horizon"),
        (("expose", "--ev", "12", "--kit", "unmodified-721"), "did you mean unmodified-720"),
        (("expose", "--ev", "12", "--sky", "purple"), "is not one of"),
        (("expose", "--ev", "12", "--focal", "0.1"), "outside 8 to 2000"),
        (("expose", "--ev", "12", "--nearest", "-2"), "outside 0 to 100000"),
        (("expose", "--ev", "12", "--light-minutes", "-2"), "outside 0 to 1440"),
        (("light", "--at", "91,11", "--date", "2026-06-21"), "latitude 91"),
        (("light", "--at", "47,11", "--date", "2026-02-30"), "does not exist"),
        (("light", "--at", "47,11", "--date", "2026-02-20", "--zone", "Mars/Base"), "is not known"),
        (("light", "--at", "47,11", "--date", "2026-02-20", "--haze", "soup"), "haze 'soup'"),
        (("calibrate", "--meter", "1/125 f/10 ISO 64"), "give two frames"),
    ],
)
def test_nonsense_is_wrong_usage_with_one_line_and_a_remedy(call, arguments, says) -> None:
    status, out, err = call(*arguments)
    assert status == 2
    assert out == ""
    assert says in " ".join(err.split())


@pytest.mark.parametrize("nm", [450, 1200])
def test_a_filter_no_one_sells_is_refused(call, tmp_path, nm) -> None:
    kit = tmp_path / "kit.toml"
    kit.write_text(f'name = "mine"\n[filter]\ncut_on_nm = {nm}\n[sensor]\nkind = "converted"\n')
    status, _, err = call("expose", "--ev", "12", "--kit", kit)
    assert status == 2
    assert "500 to 1100" in err
