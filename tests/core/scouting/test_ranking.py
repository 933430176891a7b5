"""Order of many snaps, what is kept of each, what stands on the sheet and in the tables."""

from __future__ import annotations

import csv
import io
import itertools
import json
import random

import numpy as np
import pytest

from irpreview.core.scouting.ranking import Finding, Scouting, Snap, all_facts, arrange, rank_key, sky_text
from irpreview.core.scouting.sheet import entry_of, refusal_line, sheet_of
from irpreview.core.words.verdict_words import neighbours_words
from irpreview.io.scout_tables import scouting_csv, scouting_geojson, scouting_json
from irpreview.records import LeadChoice, Place


def finding(lead: LeadChoice = "foliage", contrast: float = 50.0, **other: object) -> Finding:
    values = {
        "sentence": "Let the trees lead: white against black sky.",
        "lead_turns_at_wind_m_s": 4.2,
        "parting": 0.8,
        "depth": 0.6,
        "range": 0.9,
        "layers": ("near grass", "trees", "sky"),
        "landscape": True,
        "separates": 2,
        "merges": 1,
        "uncertain": 0,
        "sky": "textured",
        "sky_okta": 3,
        "sky_texture_stops": 0.3,
        "shutter_s": 1 / 60,
        "taken": None,
        "doubts": ("the picture is small",),
        "model_id": "test",
    }
    return Finding(lead=lead, layered_contrast=contrast, **(values | other))  # type: ignore[arg-type]


def fingerprint(seed: int) -> np.ndarray:
    """Each seed a view of its own: coarse blocks of noise."""
    rough = np.random.default_rng(seed).integers(0, 255, (18, 24)).astype(np.uint8)
    return np.kron(rough, np.ones((4, 4), np.uint8))


def snap(path: str, seed: int, lead: LeadChoice = "foliage", contrast: float = 50.0, **other: object) -> Snap:
    place = other.pop("place", None)
    return Snap(path, f"key-{path}", finding(lead, contrast, **other), fingerprint(seed), place)  # type: ignore[arg-type]


SNAPS = [
    snap("a.jpg", 1, "none", 95.0),
    snap("b.jpg", 2, "foliage", 40.0),
    snap("sub/c.jpg", 3, "structure", 70.0),
    snap("d.jpg", 4, "wait", 88.0),
    snap("e.jpg", 5, "sky", 55.5),
    snap("f.jpg", 3, "structure", 74.0),
    snap("g.jpg", 3, "wait", 99.0),
]


def test_by_lead_what_leads_comes_before_what_waits() -> None:
    views = arrange(SNAPS).views
    assert [v.best.path for v in views] == ["f.jpg", "e.jpg", "b.jpg", "d.jpg", "a.jpg"]
    assert [v.rank for v in views] == [1, 2, 3, 4, 5]
    # inside a view the best first, by the same order
    assert [s.path for s in views[0].snaps] == ["f.jpg", "sub/c.jpg", "g.jpg"]


def test_by_contrast_the_figure_alone_counts() -> None:
    views = arrange(SNAPS, order="contrast").views
    assert [v.best.path for v in views] == ["g.jpg", "a.jpg", "d.jpg", "e.jpg", "b.jpg"]
    assert [v.rank for v in views] == [v.contrast_rank for v in views]


def test_contrast_rank_of_a_view_is_that_of_its_strongest_snap() -> None:
    assert {v.best.path: v.contrast_rank for v in arrange(SNAPS).views} == {
        "f.jpg": 1,
        "a.jpg": 2,
        "d.jpg": 3,
        "e.jpg": 4,
        "b.jpg": 5,
    }


def test_the_order_in_which_snaps_come_changes_nothing() -> None:
    whole = scouting_csv(arrange(SNAPS))
    for seed in range(5):
        mixed = random.Random(seed).sample(SNAPS, len(SNAPS))
        assert scouting_csv(arrange(mixed)) == whole


def test_equal_figures_go_by_path() -> None:
    same = [snap(p, s) for p, s in (("z.jpg", 1), ("b.jpg", 2), ("sub/a.jpg", 3), ("a.jpg", 4))]
    assert [v.best.path for v in arrange(same).views] == ["a.jpg", "b.jpg", "z.jpg", "sub/a.jpg"]
    assert len({rank_key(s, "lead") for s in same}) == 4


def test_nothing_at_all() -> None:
    empty = arrange([], [("x.jpg", "x.jpg is damaged")])
    assert empty.views == ()
    assert sheet_of(empty).refused == ("x.jpg is damaged",)
    assert scouting_csv(empty).count("\n") == 2


def test_a_finding_survives_json() -> None:
    made = finding(contrast=71.3)
    assert Finding.of_dict(json.loads(json.dumps(made.as_dict()))) == made


# --- words --------------------------------------------------------------------------------------------------------


def test_neighbours_and_sky_in_words() -> None:
    said = [
        neighbours_words(separating, pairs)
        for separating, pairs in ((0, 0), (1, 1), (2, 2), (5, 5), (0, 1), (0, 3), (1, 4), (3, 4))
    ]
    assert said == [
        "one tone",
        "the two neighbours separate",
        "both pairs of neighbours separate",
        "all 5 neighbours separate",
        "the two neighbours do not separate",
        "none of 3 neighbours separates",
        "1 of 4 neighbours separates",
        "3 of 4 neighbours separate",
    ]
    skies = [("clear", 0), ("hazy", 0), ("overcast", 8), ("textured", 3), ("textured", None), ("none", None)]
    assert [sky_text(finding(sky=word, sky_okta=okta)) for word, okta in skies] == [
        "clear sky",
        "hazy sky",
        "overcast",
        "3/8 cloud",
        "sky with form",
        "no sky",
    ]


def test_an_entry_says_how_it_was_judged() -> None:
    view = arrange([snap("a.jpg", 1, taken="2026-06-21T10:30:05")]).views[0]
    entry = entry_of(view)
    assert entry.figures == (
        "2 of 3 neighbours separate",
        "3/8 cloud",
        "judged at 1/60",
        "the lead changes near Beaufort 3",
    )
    assert entry.taken == "21 Jun 2026, about 10:30"  # the minute goes with the place
    assert entry.lead_words == "the foliage leads"
    assert entry.alike == ""


def test_the_sheet_says_what_is_left_out() -> None:
    many = [snap(f"{i:03}.jpg", i, contrast=i / 2) for i in range(30)]
    sheet = sheet_of(arrange(many), most=12)
    assert len(sheet.sections[0].entries) == 12
    assert any("12 of 30 views" in line for line in sheet.summary)
    assert sheet.leads == {"foliage": 12}
    assert not any("not shown" in line for line in sheet_of(arrange(many), most=30).summary)


def test_unknown_wind_is_said() -> None:
    assert any("Wind not given" in line for line in sheet_of(arrange(SNAPS, settings={"wind_m_s": None})).summary)
    windy = sheet_of(arrange(SNAPS, settings={"wind_m_s": 6.17}))
    assert any("Wind: moderate breeze (Beaufort 4)" in line for line in windy.summary)


def test_the_caution_about_edges_knows_the_wind_that_was_given() -> None:
    unknown = sheet_of(arrange(SNAPS, settings={"wind_m_s": None})).cautions
    assert any("Wind not given" in text for text in unknown)
    given = sheet_of(arrange(SNAPS, settings={"wind_m_s": 8.0})).cautions
    assert not any("Wind not given" in text for text in given)
    assert any("Gusts to about 12 m/s: stay well back from steep drops" in text for text in given)


def test_a_refusal_names_its_file_once() -> None:
    assert refusal_line("a.jpg", "a.jpg is damaged") == "a.jpg is damaged"
    assert refusal_line("a.jpg", "two\nlines") == "a.jpg: two lines"


# --- tables --------------------------------------------------------------------------------------------------------


def test_csv_reads_back_as_it_was_written() -> None:
    scouting = arrange([*SNAPS, snap('odd "name", with;signs\n.jpg', 9)], [("x.jpg", "x.jpg is\ndamaged")])
    rows = list(csv.DictReader(io.StringIO(scouting_csv(scouting))))
    assert len(rows) == len(SNAPS) + 2
    assert [r["photo"] for r in rows[:-1]] == [f["photo"] for f in all_facts(scouting)]
    assert [float(r["layered_contrast"]) for r in rows[:-1]] == [f["layered_contrast"] for f in all_facts(scouting)]
    assert rows[-1]["refused"] == "x.jpg is damaged"
    assert rows[-1]["rank"] == ""


@pytest.mark.parametrize("name", ["=1+1.jpg", "+a.jpg", "-a.jpg", "@a.jpg"])
def test_no_name_becomes_a_formula(name: str) -> None:
    row = next(csv.DictReader(io.StringIO(scouting_csv(arrange([snap(name, 1)])))))
    assert row["photo"] == f"./{name}"


def test_names_that_are_no_text_do_no_harm() -> None:
    name = b"caf\xe9.jpg".decode("utf-8", "surrogateescape")
    scouting = arrange([snap(name, 1)], [(name, f"{name} is damaged")])
    for text in (scouting_csv(scouting), scouting_json(scouting)):
        assert "caf\ufffd.jpg" in text
        text.encode()
    assert sheet_of(scouting).refused == ("caf\ufffd.jpg is damaged",)


def placed(with_places: bool) -> Scouting:
    here, there = Place(47.3, -16.4), Place(47.31, -16.38)
    snaps = [snap("a.jpg", 1, place=here), snap("b.jpg", 2, contrast=80.0, place=there), snap("c.jpg", 3)]
    return arrange(snaps, with_places=with_places)


def test_no_place_anywhere_unless_asked() -> None:
    scouting = placed(False)
    texts = [scouting_csv(scouting), scouting_json(scouting), repr(sheet_of(scouting))]
    assert not any(number in text for text, number in itertools.product(texts, ("47.3", "16.4", "16.38", "latitude")))
    assert sheet_of(scouting).maps == ()


def test_places_when_asked() -> None:
    scouting = placed(True)
    sheet = sheet_of(scouting)
    assert [s.heading for s in sheet.sections] == ["Place A", "Place B", "Place not known"]
    assert sheet.sections[0].entries[0].name == "b.jpg"  # the place of the best view comes first
    assert sheet.sections[1].note == "1 view at 47.3000, -16.4000, 1.9 km south-west of place A"
    assert len(sheet.maps) == 1
    assert sheet.maps[0].plan.names == ("A", "B")
    rows = list(csv.DictReader(io.StringIO(scouting_csv(scouting))))
    assert (rows[0]["place"], rows[0]["latitude_deg"], rows[0]["longitude_deg"]) == ("A", "47.31", "-16.38")
    assert rows[2]["place"] == rows[2]["latitude_deg"] == ""


def test_geojson_keeps_rfc_7946() -> None:
    # RFC 7946: section 3.3 FeatureCollection, 3.2 Feature with geometry and properties, 3.1.1 longitude before
    # latitude, 4 no crs member
    whole = json.loads(scouting_geojson(placed(True)))
    assert whole["type"] == "FeatureCollection"
    assert "crs" not in whole
    assert len(whole["features"]) == 2
    for feature in whole["features"]:
        assert feature["type"] == "Feature"
        assert set(feature) >= {"type", "geometry", "properties"}
        assert feature["geometry"]["type"] == "Point"
        longitude, latitude = feature["geometry"]["coordinates"]
        assert -17 < longitude < -16
        assert 47 < latitude < 48
        assert feature["properties"]["photo"] in ("a.jpg", "b.jpg")
