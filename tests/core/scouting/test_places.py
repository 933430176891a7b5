"""Spots, their distances and the sketch map."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from irpreview.core.scouting.places import distance_m, group_places, length_text, letters, seen_from, sketch_map
from irpreview.records import Place


def test_distance_of_a_degree_and_of_a_known_pair() -> None:
    # a minute of arc of a great circle is the nautical mile, 1852 m by the old definition (within the 0.1 % by which
    # the mean radius differs); Greenwich observatory to Paris observatory, 338 km by published coordinates, from memory
    assert distance_m(Place(0, 0), np.array([0.0]), np.array([1 / 60]))[0] == pytest.approx(1852, rel=2e-3)
    assert distance_m(Place(51.4769, 0.0), np.array([48.8362]), np.array([2.3365]))[0] == pytest.approx(338e3, rel=0.01)


def test_names_of_places() -> None:
    assert [letters(n) for n in (0, 25, 26, 27, 51, 52, 701, 702)] == ["A", "Z", "AA", "AB", "AZ", "BA", "ZZ", "AAA"]


def north_of(place: Place, metres: float) -> Place:
    return Place(place.latitude_deg + math.degrees(metres / 6_371_008.8), place.longitude_deg)


def test_snaps_of_one_spot_come_together_and_far_ones_do_not() -> None:
    here = Place(47.3, -16.4)
    groups, of = group_places(
        [here, north_of(here, 60), None, north_of(here, 700), north_of(here, 40), Place(47.9, -16.4)]
    )
    assert of == [0, 0, None, 1, 0, 2]
    assert [g.name for g in groups] == ["A", "B", "C"]
    assert [g.views for g in groups] == [3, 1, 1]
    assert groups[0].map_index == groups[1].map_index != groups[2].map_index
    assert groups[0].middle.latitude_deg == pytest.approx(north_of(here, 100 / 3).latitude_deg, abs=1e-7)


def test_across_the_date_line() -> None:
    groups, of = group_places([Place(-17.0, 179.9997), Place(-17.0, -179.9997), Place(-17.0, -179.99)])
    assert of == [0, 0, 1]
    assert abs(groups[0].middle.longitude_deg) == pytest.approx(180.0, abs=1e-6)
    plan = sketch_map(groups)
    assert plan.east_m[1] - plan.east_m[0] == pytest.approx(0.01 * 111_195 * math.cos(math.radians(17)), rel=0.01)


def test_said_as_a_walker_would() -> None:
    here = Place(47.3, -16.4)
    assert seen_from(here, north_of(here, 640)) == "640 m north"
    assert seen_from(here, Place(47.3, -16.44)) == "3.0 km west"
    assert seen_from(here, Place(47.2, -16.2)) == "19 km south-east"
    assert [length_text(m) for m in (50.0, 500.0, 2000.0)] == ["50 m", "500 m", "2 km"]


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.tuples(st.floats(-0.03, 0.03), st.floats(-0.03, 0.03)), min_size=1, max_size=12, unique=True),
    st.floats(-75, 75),
)
def test_a_sketch_map_is_true_to_scale_and_holds_everything(
    offsets: list[tuple[float, float]], latitude: float
) -> None:
    places = [Place(latitude + dy, 10.0 + dx) for dx, dy in offsets]
    groups, _ = group_places(places)
    groups = tuple(g for g in groups if g.map_index == 0)
    plan = sketch_map(groups)
    assert len(plan.names) == len(plan.label_at) == len(groups)
    assert 0.3 <= plan.width_m / plan.height_m <= 3.4
    assert 0.03 * plan.width_m < plan.bar_m <= plan.width_m / 3 * (1 + 1e-9)
    for i, (a, x, y) in enumerate(zip(groups, plan.east_m, plan.north_m, strict=True)):
        assert 0 < x < plan.width_m
        assert 0 < y < plan.height_m
        for j in range(i):
            true = distance_m(
                a.middle, np.array([groups[j].middle.latitude_deg]), np.array([groups[j].middle.longitude_deg])
            )[0]
            drawn = math.hypot(x - plan.east_m[j], y - plan.north_m[j])
            assert drawn == pytest.approx(true, rel=0.01)


def test_names_do_not_cover_each_other_when_there_is_room() -> None:
    here = Place(47.3, -16.4)
    groups, _ = group_places([here, north_of(here, 150), north_of(here, 300), Place(47.3, -16.38)])
    plan = sketch_map(groups)
    assert len(plan.label_at) > 1
    for i, a in enumerate(plan.label_at):
        for b in plan.label_at[:i]:
            assert abs(a[0] - b[0]) > 0.02 * plan.width_m or abs(a[1] - b[1]) > 0.03 * plan.height_m
