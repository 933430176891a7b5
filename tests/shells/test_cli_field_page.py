"""`irpreview field-page` and `irpreview log bring`: one file, nothing in it that was not asked for, notes kept once."""

import base64
import hashlib
import io
import json
import re
from html.parser import HTMLParser
from pathlib import Path

import jsonschema
import numpy as np
import pytest
from PIL import Image

from irpreview.analysis import analyse
from irpreview.cli import main
from irpreview.core.field_page import field_page
from irpreview.errors import BadValue
from irpreview.field_pages import field_place_of
from irpreview.io import field_page as field_page_file
from irpreview.io.paths import data_file
from irpreview.io.photos import load_photo

SCENES = Path(__file__).resolve().parents[2] / "demo_scenes"


@pytest.fixture(scope="module")
def snaps(tmp_path_factory):
    """Two demo scenes, small, with the facts in their files."""
    folder = tmp_path_factory.mktemp("snaps")
    made = []
    for name in ("moor_tower", "ruin_by_the_tarn"):
        path = folder / f"{name}.jpg"
        with Image.open(SCENES / name / "photo.jpg") as image:
            image.resize((400, 300)).save(path, exif=image.getexif())
        made.append(path)
    return made


@pytest.fixture
def run(capsys):
    def call(*arguments):
        with pytest.raises(SystemExit) as left:
            main([*map(str, arguments)])
        out, err = capsys.readouterr()
        return left.value.code, out, err

    return call


@pytest.fixture(scope="module")
def made(snaps, tmp_path_factory):
    """The file without places, and its facts."""
    out = tmp_path_factory.mktemp("made") / "field.html"
    with pytest.raises(SystemExit) as left:
        main(["field-page", *map(str, snaps), "--out", str(out), "--wind", "3bft"])
    assert left.value.code == 0
    return out.read_text()


class Parts(HTMLParser):
    """What a browser would load or run: elements, attributes, the texts of scripts and styles."""

    def __init__(self, text):
        super().__init__()
        self.found, self.texts, self.inside = [], [], None
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        self.found.append((tag, dict(attrs)))
        self.inside = (tag, dict(attrs)) if tag in ("script", "style") else None

    def handle_data(self, data):
        if self.inside:
            self.texts.append((*self.inside, data))

    def handle_endtag(self, tag):
        self.inside = None


def facts_of(text):
    found = re.search(r'<script type="application/json" id="facts">(.*?)</script>', text, re.DOTALL)
    assert found is not None
    return json.loads(found[1])


def test_one_file_that_asks_for_nothing_and_runs_nothing_but_its_own(made):
    parts = Parts(made)
    policy = next(a["content"] for tag, a in parts.found if a.get("http-equiv") == "Content-Security-Policy")
    assert policy.startswith("default-src 'none'; img-src data:; style-src 'sha256-")
    assert "unsafe" not in policy
    for tag, attrs, text in parts.texts:
        if attrs.get("type") == "application/json":
            continue
        digest = base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()  # CSP level 3, hash-source
        assert f"'sha256-{digest}'" in policy, tag
    for tag, attrs in parts.found:
        for name in ("src", "href", "action", "data", "poster", "srcset"):
            assert attrs.get(name, "#").startswith(("data:image/jpeg;base64,", "#")), (tag, attrs)
        assert "style" not in attrs
        assert not [name for name in attrs if name.startswith("on")]
    assert not re.search(r"https?://|@import|url\((?!\"#red\")", made)


def test_the_pictures_are_infrared_and_hold_no_facts(made, snaps):
    addresses = [a["src"] for tag, a in Parts(made).found if tag == "img"]
    assert len(addresses) == len(snaps)
    for address in addresses:
        picture = Image.open(io.BytesIO(base64.b64decode(address.partition(",")[2])))
        assert picture.mode == "L"
        assert dict(picture.getexif()) == {}


def test_json_keeps_its_schema_and_is_what_the_file_holds(run, snaps, tmp_path):
    out = tmp_path / "field.html"
    code, said, _ = run("field-page", *snaps, "--out", out, "--time", "4min", "--title", "Tower", "--json")
    answer = json.loads(said)
    assert code == 0
    jsonschema.Draft202012Validator(json.loads(data_file("schemas/field_page.json").read_text())).validate(answer)
    assert answer == facts_of(out.read_text())
    assert [one["title"] for one in answer["places"]] == ["Tower", "ruin_by_the_tarn"]
    first = answer["places"][0]
    assert first["asked_time"]["shutter_text"] == "4 min"
    assert first["setting"]["shutter_s"] == pytest.approx(240, rel=0.2)


def test_nothing_says_where_unless_asked(run, made, snaps, tmp_path):
    with_place = tmp_path / "with.html"
    assert run("field-page", snaps[0], "--out", with_place, "--with-place", "--wind", "3bft")[0] == 0
    told, plain = facts_of(with_place.read_text())["places"][0], facts_of(made)["places"][0]
    for secret in (f"{told['latitude_deg']:.2f}"[:5], f"{told['longitude_deg']:.2f}"[:4]):
        assert secret in with_place.read_text()
        assert secret not in re.sub(r'"data:image[^"]*"', "", made)
    assert told["hours"]
    assert plain["hours"] == []
    assert plain["place"] is plain["latitude_deg"] is plain["longitude_deg"] is None
    assert not re.search(r"\b\d\d:\d\d\b", re.sub(r'"data:image[^"]*"|<script.*?</script>', "", made, flags=re.DOTALL))
    assert "sun_height" not in made


def test_a_light_that_was_told_by_the_place_stays_out_with_it(run, tmp_path):
    # a snap without exposure data: its light is worked out from the sun, that is from place and time
    bare = tmp_path / "bare.jpg"
    with Image.open(SCENES / "moor_tower" / "photo.jpg") as image:
        image.resize((400, 300)).save(bare)
    where = ("--place", "51.2,7.4", "--when", "2026-06-21T12:00", "--zone", "+02:00")
    out = tmp_path / "field.html"
    assert run("field-page", bare, "--out", out, *where)[0] == 0
    assert facts_of(out.read_text())["places"][0]["metered_ev100"] is None
    assert run("field-page", bare, "--out", out, *where, "--with-place")[0] == 0
    assert facts_of(out.read_text())["places"][0]["metered_ev100"] is not None


def test_ten_places_fit_three_megabytes_whatever_is_in_them():
    noise = np.random.default_rng(0).integers(0, 256, (768, 1024), np.uint8)  # nothing packs worse
    room = int((field_page_file.LARGEST_FILE_MB * 1e6 - 400_000) * 0.75 / 10)
    assert len(field_page_file.packed(noise, room)) <= room
    plain = np.tile(np.linspace(0, 255, 1024).astype(np.uint8), (768, 1))
    assert Image.open(io.BytesIO(field_page_file.packed(plain, room))).size == (1024, 768)


def test_ten_real_places_in_one_file(tmp_path):
    place = field_place_of(analyse(load_photo(SCENES / "hazel_wood_edge" / "photo.jpg")), "Wood", False)
    written = field_page_file.write_field_page(field_page((place,) * 10, with_place=False), tmp_path / "ten.html")
    assert 1e6 < written.stat().st_size <= 3e6
    assert len(facts_of(written.read_text())["places"]) == 10
    with pytest.raises(BadValue, match="24 places, not 25"):
        field_page((place,) * 25, with_place=False)


def test_a_title_is_text_whatever_it_says(run, snaps, tmp_path):
    bad = "</script><script>alert(1)</script><b a='x\">"
    out = tmp_path / "field.html"
    assert run("field-page", snaps[0], "--out", out, "--title", bad)[0] == 0
    text = out.read_text()
    assert "<script>alert" not in text
    assert facts_of(text)["places"][0]["title"] == bad
    assert len([1 for tag, _ in Parts(text).found if tag == "script"]) == 1 + len(field_page_file.SCRIPTS)


def test_what_cannot_be_is_refused_in_one_line_and_the_rest_is_done(run, snaps, tmp_path):
    broken = tmp_path / "broken.jpg"
    broken.write_bytes(b"no picture")
    out = tmp_path / "field.html"
    code, _, err = run("field-page", broken, snaps[0], "--out", out)
    assert code == 1
    assert out.exists()
    assert [line for line in err.splitlines() if "broken.jpg" in line]
    assert run("field-page", snaps[0], "--out", tmp_path / "no" / "folder.html")[0] == 1
    assert run("field-page", snaps[0], "--title", "a", "--title", "b")[0] == 2
    assert run("field-page", snaps[0], "--time", "never")[0] == 2


def test_the_day_that_was_planned_goes_along(run, snaps, tmp_path):
    code, told, _ = run("day-plan", *snaps, "--date", "2026-06-21", "--zone", "+02:00", "--json")
    assert code == 0
    (tmp_path / "day.json").write_text(told)
    plan = json.loads(told)
    out = tmp_path / "field.html"
    assert run("field-page", snaps[0], "-o", out, "--plan", tmp_path / "day.json")[0] == 0
    day = facts_of(out.read_text())["day"]
    assert day["headline"] == plan["says"]
    assert [one["name"] for one in day["lines"]] == [one["name"] for one in plan["stays"]]
    for line, stay in zip(day["lines"], plan["stays"], strict=True):
        assert line["span"].startswith(stay["begin"][11:16])
        assert f"{line['span']}, {line['name']}. {line['says']}" == stay["says"]
        assert line["span"] in out.read_text()
    assert day["more"]
    told = run("day-plan", *snaps, "--date", "2026-06-21", "--zone", "+02:00", "--json", "--with-place")[1]
    (tmp_path / "with.json").write_text(told)
    code, _, err = run("field-page", snaps[0], "-o", tmp_path / "no.html", "--plan", tmp_path / "with.json")
    assert (code, len(err.strip().splitlines())) == (2, 1)
    assert "holds the location" in err
    assert not (tmp_path / "no.html").exists()
    for text in ("", "{}", "[1]", json.dumps({"kind": "day_plan"})):
        (tmp_path / "bad.json").write_text(text)
        code, _, err = run("field-page", snaps[0], "-o", tmp_path / "no.html", "--plan", tmp_path / "bad.json")
        assert (code, len(err.strip().splitlines())) == (2, 1)
    assert run("field-page", snaps[0], "-o", tmp_path / "no.html", "--plan", tmp_path / "none.json")[0] == 2


# ---- the way back ---------------------------------------------------------------------------------------------------


def note(**own):
    base = {
        "uid": "0" * 31 + "1",
        "kind": "frame",
        "title": "Tower",
        "snap_name": "photo.jpg",
        "snap_sha256": "a" * 64,
        "kit_name": "unmodified-720",
        "kit_key": "",
        "planned_iso": 100.0,
        "planned_f_number": 8.0,
        "planned_shutter_s": 30.0,
        "metered_ev100": 14.5,
        "latitude_deg": None,
        "longitude_deg": None,
        "iso": 100.0,
        "f_number": 8.0,
        "shutter_s": 60.0,
        "came_out_stops": 0.0,
        "outcome": "good",
        "taken_on": "2026-06-21",
        "taken_at": None,
        "notes": "",
    }
    return base | own


def notes(*frames, **own):
    page = {"schema": "irpreview/1", "kind": "field_notes", "page": "0123456789abcdef", "version": "0.1.0"}
    return page | {"frames": list(frames)} | own


def test_notes_are_taken_in_once_and_taken_back_with_one_command(run, tmp_path):
    path = tmp_path / "notes.json"
    path.write_text(
        json.dumps(notes(note(), note(uid="f" * 32, kind="test", shutter_s=0.25, iso=6400.0, f_number=2.8)))
    )
    code, out, err = run("log", "bring", path, "--json")
    assert (code, len(out.splitlines())) == (0, 2)
    assert "2 notes added, 0 were there already" in err
    first = json.loads(out.splitlines()[0])
    # 14.5 - log2(8^2 / 60) = 14.41: the factor that this frame says (worked by hand)
    assert first["raw_factor_stops"] == pytest.approx(14.407, abs=0.001)
    assert "0 notes added, 2 were there already" in run("log", "bring", path)[2]
    path.write_text(json.dumps(notes(note(), note(uid="e" * 32))))
    assert "1 note added, 1 were there already" in run("log", "bring", path)[2]
    run("log", "undo")
    run("log", "undo")
    assert "no frame" in run("log", "list")[2]


@pytest.mark.parametrize(
    "text",
    [
        "",
        "{",
        "[]",
        "null",
        "no json at all",
        json.dumps(notes(note(), note())),
        json.dumps(notes(note(iso=0))),
        json.dumps(notes(note(iso="NaN"))),
        json.dumps(notes(note(shutter_s=1e9))),
        json.dumps(notes(note(uid="../../etc"))),
        json.dumps(notes(note(kit_name=""))),
        json.dumps(notes(note(notes="x" * 2001))),
        json.dumps(notes(note(latitude_deg=51.0))),
        json.dumps(notes(note(taken_at="2026-06-21T10:00:00"))),
        json.dumps(notes(note(taken_on="1066-10-14"))),
        json.dumps(notes(note(iso=None))),
        json.dumps(notes(note(colour="red"))),
        json.dumps(notes(note(), schema="irpreview/2")),
        json.dumps(notes(note(), kind="verdict")),
        json.dumps(notes(*(note(uid=f"{i:032x}") for i in range(251)))),
        json.dumps({"schema": "irpreview-log/2", "frames": []}),
        "[" * 100_000,
    ],
    ids=lambda text: text[:12] or "empty",
)
def test_damaged_or_foreign_notes_are_one_line_and_change_nothing(run, tmp_path, text):
    path = tmp_path / "notes.json"
    path.write_text(text)
    code, out, err = run("log", "bring", path)
    assert (code, out) == (1, "")
    assert len(err.strip().splitlines()) == 1
    assert "notes.json" in err
    assert "no frame" in run("log", "list")[2]


def test_notes_that_are_too_large_or_not_there(run, tmp_path):
    path = tmp_path / "notes.json"
    path.write_text(json.dumps(notes(note())) + " " * 1_000_001)
    assert "at most 1 MB" in run("log", "bring", path)[2]
    code, _, err = run("log", "bring", tmp_path / "none.json")
    assert code == 1
    assert len(err.strip().splitlines()) == 1
    assert run("log", "bring", tmp_path)[0] == 1


def test_notes_keep_their_schema():
    schema = json.loads(data_file("schemas/field_notes.json").read_text())
    check = jsonschema.Draft202012Validator(schema)
    check.validate(notes(note(), note(kind="plan", iso=None, f_number=None, shutter_s=None, uid="b" * 32)))
    assert not check.is_valid(notes(note(uid="short")))
