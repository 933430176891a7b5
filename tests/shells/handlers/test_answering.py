"""What is entered for kit, place and day is followed, or told at its own field; answers put away come back."""

import pytest

from irpreview.web import sessions
from tests.shells.page_desk import analysis, changed, give, words


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("focal_35mm_mm", "wide"),
        ("kit", "../../etc/passwd"),
        ("place", "99, 0"),
        ("when", "yesterday"),
        ("zone", "Mars/Base"),
        ("sky_state", "purple"),
        ("heading_deg", "400"),
    ],
)
def test_a_bad_entry_is_told_at_its_own_field_and_blocks_no_other(desk, token, small, name, value):
    give(desk, token, small)
    desk.enter(token, {"when": "2026-06-21 12:00"})
    shown = desk.enter(token, {name: value, "trees_m": "12,5"})
    assert set(shown.refused) == {name}
    assert shown.refused[name].endswith(".")
    assert analysis(desk, token).request.conditions.distance_m["tree"] == 12.5


def test_entries_are_followed_and_the_same_ones_cost_nothing(desk, token, small):
    give(desk, token, small)
    before = analysis(desk, token)
    assert changed(desk.enter(token, {"kit": "unmodified-720"})) == {"values"}
    assert analysis(desk, token) is before
    shown = desk.enter(token, {"kit": "converted-850", "focal_35mm_mm": "85"})
    assert shown.parts["answer"]
    assert analysis(desk, token).kit.name == "converted-850"
    assert analysis(desk, token).request.conditions.focal_35mm_mm == 85


def test_a_measured_factor_narrows_the_time(desk, token, small):
    give(desk, token, small)
    wide = analysis(desk, token).exposure.factor_stops.width
    desk.enter(token, {"factor_stops": "14"})
    narrow = analysis(desk, token).exposure.factor_stops
    assert narrow.width < wide
    assert narrow.likely == pytest.approx(14, abs=0.6)


def test_night_is_no_reason_to_stop(desk, token, small):
    give(desk, token, small)
    shown = desk.enter(token, {"place": "51, 7", "when": "2026-01-01 00:30", "zone": "+01:00"})
    assert shown.parts["answer"]
    assert "sun is below the horizon" in words(desk.section(token, "tables").parts["section-body"])


def test_entries_that_arrive_late_do_not_undo_newer_ones(desk, token):
    newer = {"place": "51.2, 7.4", "when": "2026-06-21 14:30", "zone": "+02:00"}
    first, second = 1, desk.arrived(token, 2)
    desk.enter(token, newer, second)
    desk.enter(token, {"place": "51.2, 7.4"}, desk.arrived(token, first))
    with desk.sessions.at(token) as session:
        assert session.inputs.when == "2026-06-21 14:30"
    desk.enter(token, {"place": "48, 3"}, desk.arrived(token, 3))
    with desk.sessions.at(token) as session:
        assert session.inputs.place == "48, 3"
    assert desk.arrived(token, "much") == 0


def test_what_is_entered_while_a_snap_is_worked_on_is_used(desk, token, small):
    shown = desk.add(token, [small])
    next(shown)
    assert changed(desk.enter(token, {"focal_35mm_mm": "85"})) == {"values"}
    list(shown)
    assert analysis(desk, token).request.conditions.focal_35mm_mm == 85


def test_answers_of_pages_unused_are_put_away_and_come_back(desk, small, monkeypatch):
    monkeypatch.setattr(sessions, "MOST_ANALYSES", 1)
    one = desk.sessions.open()
    give(desk, one, small)
    desk.correct_area(one, 0, "snow")
    desk.enter(one, {"focal_35mm_mm": "85"})
    give(desk, desk.sessions.open(), small)
    kept = desk.sessions._all[one]
    assert kept.analysis is None
    assert kept.snaps[0].scene is None
    assert desk.move(one, 4, 4).pictures
    assert analysis(desk, one).scene.repainted.any()
    assert analysis(desk, one).request.conditions.focal_35mm_mm == 85
