"""`irpreview day-plan`: the table, JSON by its schema, the calendar file, snaps with and without a place, refusals."""

from __future__ import annotations

import json
import shutil
from importlib import resources
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from icalendar import Calendar
from PIL import Image
from PIL.ExifTags import GPS, Base

from irpreview.cli import main

LIST = """
[[place]]
name = "Moor tower"
at = [57.512, -20.14]
heading = 210

[[place]]
name = "Reed pool"
at = "57.505,-20.08"
heading = 120
stay = "1h"

[[place]]
name = "Chalk head"
at = "57.48 N, 20.11 W"
heading = 300
from = "14:00"
until = "16:30"

[[place]]
name = "Far cape"
at = "57.9,-20.9"
heading = 10
"""
DAY = ("--date", "2026-06-20", "--start", "57.5,-20.1", "--until", "19:00", "--zone", "Etc/GMT+1")


@pytest.fixture
def call(capsys):
    def run(*arguments: object) -> tuple[int, str, str]:
        with pytest.raises(SystemExit) as left:
            main(["day-plan", *[str(a) for a in arguments]])
        return int(left.value.code or 0), *capsys.readouterr()

    return run


@pytest.fixture
def places(tmp_path) -> Path:
    path = tmp_path / "places.toml"
    path.write_text(LIST, encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def schema() -> dict[str, Any]:
    text = resources.files("irpreview").joinpath("data/schemas/day-plan.json").read_text(encoding="utf-8")
    jsonschema.Draft202012Validator.check_schema(json.loads(text))
    return json.loads(text)


def snap(path: Path, at: tuple[float, float] | None, heading: float | None, shade: int = 90) -> Path:
    """A small grey photo with a place and a bearing in its Exif."""
    exif = Image.Exif()
    if at is not None:
        gps = exif.get_ifd(Base.GPSInfo)
        for value, ref, tag, ref_tag in (
            (at[0], "NS", GPS.GPSLatitude, GPS.GPSLatitudeRef),
            (at[1], "EW", GPS.GPSLongitude, GPS.GPSLongitudeRef),
        ):
            gps[ref_tag] = ref[value < 0]
            gps[tag] = (abs(value), 0.0, 0.0)
        if heading is not None:
            gps[GPS.GPSImgDirectionRef], gps[GPS.GPSImgDirection] = "T", heading
    Image.new("RGB", (320, 240), (shade, shade, shade)).save(path, exif=exif)
    return path


def test_the_report_says_order_ways_light_and_what_is_left_out(call, places) -> None:
    status, out, err = call("--places", places, *DAY)
    assert status == 0
    lines = out.splitlines()
    assert lines[1].startswith("Three of four places in their right light, one left out; ")
    names = [name for line in lines for name in ("Reed pool", "Chalk head", "Moor tower") if f"  {name}  " in line]
    assert names == ["Reed pool", "Chalk head", "Moor tower"]
    assert "Far cape: 65 km from the start" in out
    assert "tide" in out
    assert "doubt: ways are straight distances times 1.3 for detours" in err
    assert "doubt: tide, sea state, wind and weather are left to you" in err
    assert max(len(line) for line in lines) <= 112
    assert "57.5" not in out


def test_json_keeps_its_schema_and_the_place_out_unless_asked(call, places, schema) -> None:
    status, out, _ = call("--places", places, *DAY, "--json")
    assert status == 0
    assert out.count("\n") == 1
    answer = json.loads(out)
    jsonschema.validate(answer, schema)
    assert answer["in_right_light"] == sum(stay["right_light"] for stay in answer["stays"]) == 3
    assert {one["place"] for one in answer["stays"] + answer["left_out"]} == {None}
    assert answer["start"] is None
    assert "57.5" not in out
    assert "°" not in out
    assert {one["hours"]["right_light"] for one in answer["stays"] + answer["left_out"]} == {None}
    for one in answer["stays"]:
        assert [one[name] for name in ("sun_height_deg", "light", "sunlit_to_shade")] == [None] * 3
        assert one["hours"]["highest_sun_deg"] is None
    assert {one["sun_bearing_deg"] for one in answer["stays"]} == {answer["sun_up"]} == {None}
    assert [one["reason"] for one in answer["left_out"]] == ["too_far"]
    _, out, _ = call("--places", places, *DAY, "--json", "--with-place")
    answer = json.loads(out)
    jsonschema.validate(answer, schema)
    assert answer["start"] == {"latitude_deg": 57.5, "longitude_deg": -20.1}
    assert answer["stays"][0]["hours"]["right_light"]
    assert answer["sun_says"].startswith("Sun up 03:21 to 21:2")
    assert answer["stays"][1]["place"] == {"latitude_deg": 57.48, "longitude_deg": -20.11}


def test_a_calendar_is_written_and_holds_the_same_times(call, places, tmp_path) -> None:
    path = tmp_path / "day.ics"
    status, out, err = call("--places", places, *DAY, "--json", "--calendar", path, "--alarm", 10)
    assert status == 0
    answer = json.loads(out)
    assert answer["files"] == {"calendar": str(path)}
    assert f"written: {path}" in err
    found = Calendar.from_ical(path.read_bytes()).walk("VEVENT")
    assert [event.decoded("dtstart").isoformat() for event in found] == [stay["begin"] for stay in answer["stays"]]
    assert b"57.5" not in path.read_bytes()
    call("--places", places, *DAY, "--calendar", path, "--with-place")
    assert b"GEO:57.50" in path.read_bytes()


def test_snaps_bring_their_place_and_heading(call, tmp_path) -> None:
    a = snap(tmp_path / "wall.jpg", (57.0, -20.0), 200.0)
    b = snap(tmp_path / "other.jpg", (57.0, -20.0), 210.0, 91)
    c = snap(tmp_path / "behind.jpg", (57.0, -20.0), 20.0, 92)
    status, out, err = call(a, b, c, "--date", "2026-06-20", "--zone", "Etc/GMT+1", "--json")
    assert status == 0, err
    answer = json.loads(out)
    stays = {stay["name"]: stay for stay in answer["stays"]}
    assert set(stays) == {"wall", "behind"}
    assert stays["wall"]["snaps"] == ["wall.jpg", "other.jpg"]
    assert stays["wall"]["heading_deg"] == 200.0
    assert any(doubt["kind"] == "same_view" for doubt in answer["doubts"])
    assert any(doubt["kind"] == "no_start" for doubt in answer["doubts"])


def test_a_snap_without_a_place_is_refused_alone_until_the_list_gives_one(call, tmp_path) -> None:
    good, bare = snap(tmp_path / "good.jpg", (57.0, -20.0), 20.0), snap(tmp_path / "bare.jpg", None, None, 91)
    day = ("--date", "2026-06-20", "--zone", "Etc/GMT+1", "--json")
    status, out, err = call(good, bare, *day)
    assert status == 1
    assert "bare.jpg does not say where it was taken; give its place in a list (--places)" in err
    assert [stay["name"] for stay in json.loads(out)["stays"]] == ["good"]
    listed = tmp_path / "places.csv"
    listed.write_text('snap,name,at,heading\nbare.jpg,Ford,"57.01,-20",180\n', encoding="utf-8")
    status, out, err = call(good, bare, "--places", listed, *day)
    assert status == 0, err
    answer = json.loads(out)
    stays = {stay["name"]: stay for stay in answer["stays"]}
    assert set(stays) == {"good", "Ford"}
    assert stays["Ford"]["heading_deg"] == 180.0
    assert stays["Ford"]["snaps"] == ["bare.jpg"]


def test_a_photo_named_only_in_the_list_is_read_from_beside_it(call, tmp_path) -> None:
    (tmp_path / "snaps").mkdir()
    snap(tmp_path / "snaps" / "ford.jpg", (57.0, -20.0), 20.0)
    listed = tmp_path / "places.toml"
    listed.write_text("[[place]]\nsnap = 'snaps/ford.jpg'\nheading = 300\n", encoding="utf-8")
    status, out, _ = call("--places", listed, "--date", "2026-06-20", "--zone", "Etc/GMT+1", "--json")
    assert status == 0
    (stay,) = json.loads(out)["stays"]
    assert (stay["name"], stay["heading_deg"]) == ("ford", 300.0)


def test_the_snaps_of_a_demo_scene_can_be_planned(call, tmp_path) -> None:
    scenes = Path(__file__).resolve().parents[2] / "demo_scenes"
    for name in ("moor_tower", "low_flats"):
        shutil.copy(scenes / name / "photo.jpg", tmp_path / f"{name}.jpg")
    status, out, _ = call(*sorted(tmp_path.glob("*.jpg")), "--date", "2026-06-20", "--zone", "+00:00")
    assert status == 0
    assert "Two of two places in their right light" in out


def test_more_than_twelve_places_are_refused_and_say_why(call, tmp_path) -> None:
    listed = tmp_path / "places.csv"
    rows = "".join(f'p{i},"57.{i:02d},-20",0\n' for i in range(13))
    listed.write_text(f"name,at,heading\n{rows}", encoding="utf-8")
    status, out, err = call("--places", listed, "--date", "2026-06-20", "--zone", "Etc/GMT+1")
    assert (status, out) == (2, "")
    assert "13 places cannot be put in order; give 1 to 12, leave some out or plan two days" in err


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ((), "no place given"),
        (("--alarm", "5"), "--calendar"),
        (("--stay", "ages"), "stay"),
        (("--speed", "warp"), "speed"),
        (("--detour", "0.5"), "detour"),
        (("--from", "25:00"), "time of day"),
        (("--start", "123,0"), "latitude"),
        (("--back",), "give --start"),
        (("--haze", "soup"), "haze"),
        (("--zone", "Middle/Earth"), "not known"),
    ],
)
def test_what_makes_no_sense_is_wrong_usage_in_one_line(call, places, arguments, words) -> None:
    given = ("--places", places) if arguments else ()
    status, out, err = call(*given, "--date", "2026-06-20", *arguments)
    assert (status, out) == (2, "")
    assert words in err
    assert len(err.strip().splitlines()) == 1


def test_a_calendar_that_cannot_be_written_is_one_line(call, places, tmp_path) -> None:
    status, _, err = call("--places", places, *DAY, "--calendar", tmp_path / "no" / "folder" / "day.ics")
    assert status == 1
    assert "could not be written" in err


def test_both_hours_and_a_bad_entry_are_named(call, tmp_path) -> None:
    listed = tmp_path / "places.toml"
    listed.write_text("[[place]]\nat = '57,-20'\nstay = 'ages'\n", encoding="utf-8")
    status, _, err = call("--places", listed, "--date", "2026-06-20")
    assert status == 2
    assert "places.toml, place 1: stay 'ages' was not understood" in err
