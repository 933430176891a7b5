"""One snap, one answer: every door says the same to the last digit for the same request."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterator, Mapping
from contextlib import redirect_stdout
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image

from irpreview import Request, analyse, judge, load_photo, render
from irpreview.answers.base import asked_of
from irpreview.answers.movement import movement_answer
from irpreview.answers.picture import zones_of
from irpreview.answers.verdict import verdict_part
from irpreview.cli import main
from irpreview.core.units import beaufort_m_s
from irpreview.io.card_files import write_card
from irpreview.records import WORKING_SIDE_PX, Conditions
from irpreview.request import Inputs, request_of
from tests.shells.page_desk import stops_gathered

DEMO = Path(__file__).resolve().parents[2] / "demo_scenes"
SCENES = sorted(folder.name for folder in DEMO.iterdir() if (folder / "photo.jpg").exists())
WIND = 5.5
ASKED = ("--wind", "5.5", "--without-log")
HEAD = ("kit", "log_used", "model", "light", "planned", "sun_height_deg", "grade", "wind_m_s", "shutter_s")
VERDICT = (
    "gate",
    "plausibility",
    "layers",
    "separations",
    "sky",
    "lead",
    "composition",
    "layered_contrast",
    "layered_contrast_parts",
    "sentences",
)
MOVEMENT = ("wind", "classes", "tripod", "clouds", "water", "warnings")


def said(*arguments: object) -> dict[str, Any]:
    """The JSON of one command."""
    out = io.StringIO()
    with redirect_stdout(out), pytest.raises(SystemExit) as left:
        main([str(one) for one in arguments])
    assert left.value.code == 0, arguments
    answer: dict[str, Any] = json.loads(out.getvalue().strip().splitlines()[-1])
    return answer


@pytest.fixture(autouse=True, scope="module")
def the_card_is_not_set_on_paper() -> Iterator[None]:
    """What a card says is read off its JSON here; each scene's paper is made and read in test_cli_card.py."""
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr("irpreview.cli.card.write_card", partial(write_card, kinds=("json",)))
        yield


def part(answer: Mapping[str, Any], names: tuple[str, ...]) -> dict[str, Any]:
    return {name: answer[name] for name in names}


def snaps() -> list[str]:
    return [*SCENES, "china.jpg", "flower.jpg"]


@pytest.fixture
def snap(request: pytest.FixtureRequest, tmp_path: Path, sample_photographs: dict[str, np.ndarray]) -> Path:
    name: str = request.param
    if name in sample_photographs:
        path = tmp_path / "in" / name
        path.parent.mkdir()
        Image.fromarray(sample_photographs[name]).save(path, quality=95)
        return path
    return DEMO / name / "photo.jpg"


@pytest.mark.parametrize("snap", snaps(), indirect=True)
def test_every_door_says_the_same(snap: Path, tmp_path: Path) -> None:
    judged = said("judge", snap, *ASKED, "--json")
    rendered = said("render", snap, *ASKED, "--out", tmp_path, "--json")
    moved = said("movement", snap, *ASKED, "--json")
    for other in (rendered, moved):
        assert part(other, HEAD) == part(judged, HEAD)
    assert part(rendered, ("shares", "zones", "scene_zones")) == part(judged, ("shares", "zones", "scene_zones"))
    assert part(moved, MOVEMENT) == part(judged["movement"], MOVEMENT)

    # the page and a script read the same analysis, at the snap's own size or smaller
    whole = analyse(load_photo(snap), Request(conditions=Conditions(wind_m_s=WIND)))
    small = analyse(load_photo(snap, max_side=WORKING_SIDE_PX), request_of(Inputs(wind_m_s=WIND)))
    for analysis in (whole, small):
        assert part(asked_of(analysis).as_json(), HEAD) == part(judged, HEAD)
        assert verdict_part(analysis.verdict).as_json() == part(judged, VERDICT)
        assert zones_of(analysis).as_json()["zones"] == judged["zones"]
        assert movement_answer(analysis.movement, analysis.rates).as_json() == judged["movement"]
    assert render(load_photo(snap), conditions=Conditions(wind_m_s=WIND)).classes == whole.rendering.classes
    assert judge(load_photo(snap), conditions=Conditions(wind_m_s=WIND)).lead == judged["lead"]["choice"]
    assert whole.full_rendering.classes == whole.rendering.classes

    folder = tmp_path / "folder"
    folder.mkdir()
    (folder / snap.name).write_bytes(snap.read_bytes())
    # what is handed on without its place is the same analysis in a light that does not tell it
    handed = small.without_place()
    for told, shutter_s, places in (
        (judged, small.shutter_s, ["--places"]),
        (verdict_part(handed.verdict).as_json(), handed.shutter_s, []),
    ):
        out = tmp_path / "scouted" / str(len(places))
        scouted = said("scout", folder, "--out", out, *ASKED, *places, "--jobs", 1, "--json")
        with (out / "scout.csv").open(newline="", encoding="utf-8") as file:
            row = next(csv.DictReader(file))
        assert scouted["lead"] == row["lead"] == told["lead"]["choice"] == judged["lead"]["choice"]
        assert scouted["layered_contrast"] == float(row["layered_contrast"]) == told["layered_contrast"]
        assert scouted["layers"] == [layer["name"] for layer in told["layers"]]
        words = [one["says"] for one in told["separations"]]
        assert [scouted[word] for word in ("separates", "merges", "uncertain")] == [
            words.count(word) for word in ("separates", "merges", "uncertain")
        ]
        assert scouted["shutter_s"] == pytest.approx(shutter_s, rel=1e-5)  # six figures in the table

    if judged["setting"] is None:
        return
    exposed = said("expose", snap, *ASKED, "--json")
    assert exposed["recommended"] == judged["setting"]
    assert exposed["kit"] == judged["kit"]
    card = said("card", snap, *ASKED, "--with-place", "--out", tmp_path / "card", "--json")
    assert card["verdict"] == part(judged, VERDICT)
    assert card["exposure"]["recommended"] == judged["setting"]
    assert zones_on(card) == {n: zone for n, zone in judged["zones"].items() if judged["shares"][n] > 0}
    without = said("card", snap, *ASKED, "--out", tmp_path / "without", "--json")
    assert without["verdict"] == verdict_part(handed.verdict).as_json()
    zones = zones_of(handed).as_json()["zones"]
    assert zones_on(without) == {n: zone for n, zone in zones.items() if judged["shares"][n] > 0}
    # with the light of another height the setting may move by the third of a stop that cameras are set in
    kept, own = without["exposure"]["recommended"], judged["setting"]
    assert abs(stops_gathered(kept) - stops_gathered(own)) <= 1 / 3 + 0.02


def zones_on(card: Mapping[str, Any]) -> dict[str, Any]:
    return {name: one["zone"] for name, one in card["classes"].items() if one["share"] > 0}


@pytest.mark.parametrize("scene", ["moor_tower", "hazel_wood_edge", "low_flats", "chalk_head"])
def test_the_cards_table_says_what_judge_says_in_each_wind(scene: str, tmp_path: Path) -> None:
    snap = DEMO / scene / "photo.jpg"
    tables = []
    for wind in ("1bft", "6bft"):
        card = said("card", snap, "--wind", wind, "--with-place", "--without-log", "--out", tmp_path / wind, "--json")
        tables.append(card["wind_table"])
    assert tables[0] == tables[1]  # the table is of the scene, not of the wind that the card was made in
    for row in tables[0]:
        judged = said("judge", snap, "--wind", beaufort_m_s(row["beaufort"]), "--without-log", "--json")
        assert row["lead"] == judged["lead"]["choice"], row
        assert row["shutter_text"] == judged["shutter_text"]
        assert (row["iso"], row["f_number"]) == (judged["setting"]["iso"], judged["setting"]["f_number"])


def test_wind_roughens_water_through_every_door(tmp_path: Path) -> None:
    """Rough water mirrors less and from higher up (core.light.optics): its tone must not stay as in a calm."""
    snap = DEMO / "ruin_by_the_tarn" / "photo.jpg"

    def water(command: str, wind: str) -> object:
        more: tuple[object, ...] = ("--out", tmp_path / command) if command in ("render", "card") else ()
        more += ("--with-place",) if command == "card" else ()
        answer = said(command, snap, "--wind", wind, "--shutter", 30, "--without-log", *more, "--json")
        if command == "card":
            return answer["classes"]["water"]["zone"]
        return answer["zones"]["water"]

    for command in ("render", "judge", "card"):
        assert water(command, "0.5") != water(command, "8"), command
    assert water("render", "8") == water("judge", "8") == water("card", "8")
    calm, windy = (
        said("expose", snap, "--wind", wind, "--without-log", "--json")["placement_stops"] for wind in ("0.5", "8")
    )
    base = analyse(load_photo(snap), Request(conditions=Conditions(wind_m_s=0.5)))
    rough = base.in_wind(8.0)
    assert base.rendering.classes["water"].zone != rough.rendering.classes["water"].zone
    assert (calm, windy) == (
        round(base.exposure.placement.stops, 3),
        round(rough.exposure.placement.stops, 3),
    )


def test_a_clip_changes_the_verdicts_movement() -> None:
    folder = DEMO / "hazel_wood_edge"
    asked = (folder / "photo.jpg", "--wind", 3, "--shutter", 4, "--without-log", "--json")
    by_table = said("judge", *asked)
    by_clip = said("judge", *asked, "--clip", folder / "clip.mp4")
    measured = said("movement", *asked, "--clip", folder / "clip.mp4")
    assert "measured" in by_clip["movement"]["classes"]["tree"]["how_known"]
    assert by_clip["movement"]["classes"]["tree"]["blur_px"] != by_table["movement"]["classes"]["tree"]["blur_px"]
    assert part(measured, MOVEMENT) == part(by_clip["movement"], MOVEMENT)


def test_another_wish_redoes_only_what_hangs_on_it() -> None:
    before = analyse(load_photo(DEMO / "moor_tower" / "photo.jpg"), Request(conditions=Conditions(wind_m_s=4.0)))
    _ = before.verdict, before.exposure
    after = before.with_(shutter_s=2.0)
    assert after.rendering is before.rendering
    assert after.exposure is before.exposure
    assert after.scene is before.scene
    assert after.movement.shutter_s == 2.0
    assert after.verdict is not before.verdict
    windy = before.with_(conditions=Conditions(wind_m_s=5.0))
    assert windy.rendering is before.rendering
    assert windy.rates is not before.rates
    assert before.with_(conditions=Conditions(wind_m_s=12.0)).rendering is not before.rendering
    assert before.with_(grade=4.0).bare_scene is before.bare_scene
    assert before.with_(grade=4.0).rendering is not before.rendering
