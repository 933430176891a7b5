"""The day plan on the field page: the same plan as the command's, nothing that tells the place unless asked."""

import json
import re
import shutil
from pathlib import Path

import jsonschema
import pytest
from PIL import Image

from irpreview.cli import main
from irpreview.io.paths import data_file

SCENES = Path(__file__).resolve().parents[2] / "demo_scenes"
DAY = ("--date", "2026-06-20", "--start", "47.31,-16.41", "--zone", "Etc/GMT+1")


@pytest.fixture(scope="module")
def snaps(tmp_path_factory):
    folder = tmp_path_factory.mktemp("snaps")
    made = []
    for name in ("moor_tower", "ruin_by_the_tarn"):
        path = folder / f"{name}.jpg"
        with Image.open(SCENES / name / "photo.jpg") as image:
            image.resize((320, 240)).save(path, exif=image.getexif())
        made.append(path)
    return made


@pytest.fixture
def run(capsys):
    def call(*arguments):
        with pytest.raises(SystemExit) as left:
            main([*map(str, arguments)])
        return left.value.code, *capsys.readouterr()

    return call


def test_the_page_holds_the_plan_of_the_command(run, snaps, tmp_path):
    out = tmp_path / "field.html"
    titles = ("--title", "Tower", "--title", "Ruin & tarn")
    code, said, err = run("field-page", *snaps, *titles, *DAY, "--wind", "3bft", "--out", out, "--json")
    assert code == 0, err
    answer = json.loads(said)
    jsonschema.validate(answer, json.loads(data_file("schemas/field_page.json").read_text()))
    _, plan, _ = run("day-plan", *snaps, *DAY, "--json")
    stays = json.loads(plan)["stays"]
    day = answer["day"]
    assert day["day"] == "Saturday 20 June"
    assert [stay["span"].split(" to ") for stay in day["stays"]] == [
        [stay["begin"][11:16], stay["end"][11:16]] for stay in stays
    ]
    for stay, other in zip(day["stays"], stays, strict=True):
        place = answer["places"][stay["place"]]
        assert place["title"] == stay["name"]
        assert place["snap_name"] in other["snaps"]
    html = out.read_text()
    assert "Ruin &amp; tarn" in html
    assert html.index('<details class="day">') < html.index('<article class="place"')


def test_nothing_in_it_tells_the_place_unless_asked(run, snaps, tmp_path):
    plain, told = tmp_path / "plain.html", tmp_path / "told.html"
    assert run("field-page", *snaps, *DAY[:-2], "--zone", "-01:00", "--wind", "3bft", "--out", plain)[0] == 0
    assert run("field-page", *snaps, *DAY, "--wind", "3bft", "--out", told, "--with-place")[0] == 0
    text = {path: re.sub(r'"data:image[^"]*"', "", path.read_text()) for path in (plain, told)}
    section = {
        path: re.search(r'<details class="day">.*?</details>', whole, re.DOTALL)[0] for path, whole in text.items()
    }
    assert "° high" not in section[plain]
    assert "right light" not in section[plain].lower().replace("in their right light", "")
    assert "Sun up" not in section[plain]
    assert "47.3" not in text[plain]
    assert "° high" in section[told]
    assert "Sun up 04:09 to 20:06." in section[told]


def test_places_from_a_list_join_in_and_without_a_date_there_is_no_plan(run, snaps, tmp_path):
    listed = tmp_path / "places.toml"
    listed.write_text('[[place]]\nname = "Mill"\nat = "47.305,-16.402"\nheading = 90\n', encoding="utf-8")
    out = tmp_path / "field.html"
    code, said, _ = run("field-page", snaps[0], *DAY, "--places", listed, "--wind", "3bft", "--out", out, "--json")
    assert code == 0
    day = json.loads(said)["day"]
    assert {(stay["name"], stay["place"]) for stay in day["stays"]} == {("moor_tower", 0), ("Mill", None)}
    assert "data-go" not in re.search(r'<details class="day">.*?</details>', out.read_text(), re.DOTALL)[0]
    code, said, _ = run("field-page", snaps[0], "--wind", "3bft", "--out", out, "--json")
    assert json.loads(said)["day"] is None
    assert '<details class="day">' not in out.read_text()
    code, said, err = run("field-page", snaps[0], *DAY, "--from", "late", "--wind", "3bft", "--out", out, "--json")
    assert (code, json.loads(said)["day"]) == (1, None)
    assert "the day plan: time of day 'late'" in err
    code, _, err = run("field-page", snaps[0], "--start", "47,-16", "--out", out)
    assert code == 2
    assert "give --date as well" in err


def test_a_snap_without_a_place_is_on_the_page_and_not_in_the_plan(run, snaps, tmp_path):
    bare = tmp_path / "bare.jpg"
    shutil.copy(snaps[1], bare)
    with Image.open(bare) as image:
        image.convert("RGB").save(bare)
    out = tmp_path / "field.html"
    code, said, err = run(
        "field-page", snaps[0], bare, *DAY, "--meter", "1/125 f/10 ISO 64", "--wind", "3bft", "--out", out, "--json"
    )
    assert code == 1
    assert "bare.jpg does not say where it was taken" in err
    answer = json.loads(said)
    assert len(answer["places"]) == 2
    assert [stay["name"] for stay in answer["day"]["stays"]] == ["moor_tower"]
