"""The filter factor: size, parts, doubt. "About 15 stops" is common practice, no source."""

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from irpreview.core.light.filter_factor import PART_NAMES, PART_WORDS, filter_factor, grey_factor_stops
from irpreview.core.light.surfaces import class_factors, open_shade_stops
from irpreview.errors import BadValue
from irpreview.io.kits import list_kits, load_kit
from irpreview.io.tables import load_tables
from irpreview.records import Kit, Light, Range

TABLES = load_tables()
SUN = Light()


def added(parts, word):
    return sum(getattr(p, word) for p in parts.values())


def test_720_nm_on_an_unmodified_camera_costs_about_15_stops():
    whole, parts = filter_factor(Kit(), SUN, TABLES)
    assert whole.likely == pytest.approx(15.0, abs=0.4)
    # bright sun, EV 15: ISO 64 f/10 5 min is 15.9 stops, ISO 500 f/10 30 s is 15.6 (common practice, no source)
    assert abs(whole.likely - 15.9) < 1.0
    assert abs(whole.likely - 15.6) < 0.5
    assert 13.2 < whole.low < 14.0
    assert 15.9 < whole.high < 16.6
    assert parts["camera"].likely > 12.0  # the camera, not the filter, costs most


def test_a_soft_cut_costs_9_to_11_and_a_converted_body_about_one():
    soft, _ = filter_factor(
        Kit(infrared_cut_edge_nm=690, infrared_cut_slope_nm=10, infrared_cut_floor=1e-4), SUN, TABLES
    )
    assert 8.5 < soft.likely < 11.0
    by_name = {kit.name: filter_factor(kit, SUN, TABLES)[0].likely for kit in list_kits()}
    assert by_name["converted-590"] < by_name["converted-665"] < by_name["converted-720"] < by_name["converted-850"]
    assert by_name["converted-720"] == pytest.approx(0.9, abs=0.3)
    assert by_name["converted-850"] == pytest.approx(2.65, abs=0.3)


@pytest.mark.parametrize(
    ("edge", "slope", "floor", "stops"),
    [
        (650, 8, 1e-3, 10.9), (650, 8, 3e-4, 12.6), (650, 8, 1e-4, 14.1), (650, 8, 3e-5, 15.5),
        (650, 12, 1e-4, 12.7), (665, 8, 1e-4, 13.5), (665, 12, 3e-4, 11.0), (680, 10, 1e-4, 10.5), (690, 10, 3e-5, 9.2),
    ],
)  # fmt: skip
def test_the_grid_of_edges_and_floors_computed_elsewhere(edge, slope, floor, stops):
    """The same formula computed independently for the physics sheet, with other dye shapes: within 0.25 stop."""
    kit = Kit(infrared_cut_edge_nm=edge, infrared_cut_slope_nm=slope, infrared_cut_floor=floor)
    assert grey_factor_stops(kit, SUN, TABLES) == pytest.approx(stops, abs=0.25)


@given(
    st.floats(-5.5, 90),
    st.floats(0.02, 0.6),
    st.floats(520, 1000),
    st.sampled_from(["unmodified", "converted", "full_spectrum"]),
    st.sampled_from([None, "grass", "clear_sky", "granite", "structure"]),
    st.booleans(),
    st.booleans(),
)
@settings(max_examples=60, deadline=None)
def test_parts_add_up_to_the_whole(height, aod, cut_on, sensor, subject, shade, calibrated):
    kit = Kit(filter_cut_on_nm=cut_on, sensor=sensor, factor_stops=Range(14.0, 14.6, 15.0) if calibrated else None)
    light = Light(sun_height_deg=height, haze_aod=aod)
    whole, parts = filter_factor(kit, light, TABLES, subject, in_shade=shade)
    assert tuple(parts) == PART_NAMES
    for word in ("low", "likely", "high"):
        assert added(parts, word) == pytest.approx(getattr(whole, word), abs=1e-6)
    assert whole.low <= whole.likely <= whole.high


def test_every_part_has_words():
    assert set(PART_WORDS) == set(PART_NAMES)


def test_a_low_sun_asks_for_a_little_less():
    high, low = (filter_factor(Kit(), Light(sun_height_deg=h), TABLES) for h in (45.0, 10.0))
    assert -0.5 < low[0].likely - high[0].likely < -0.1
    assert low[1]["sun_height"].likely == pytest.approx(low[0].likely - high[0].likely)
    assert high[1]["sun_height"].likely == pytest.approx(0.0, abs=1e-9)


def test_cloud_may_ask_for_less_over_green_ground():
    clear, _ = filter_factor(Kit(), SUN, TABLES)
    grey, parts = filter_factor(Kit(), Light(sky_state="overcast"), TABLES)
    assert -0.2 < grey.likely - clear.likely < 0.0
    assert parts["sun_height"].likely == pytest.approx(-0.1, abs=0.02)


def test_shade_asks_for_more_by_what_open_shade_loses():
    whole, parts = filter_factor(Kit(), SUN, TABLES, in_shade=True)
    assert parts["shade"].likely == pytest.approx(-open_shade_stops(Kit(), SUN, TABLES).likely)
    assert 0.7 < parts["shade"].likely < 1.4
    assert whole.likely > filter_factor(Kit(), SUN, TABLES)[0].likely


def test_the_subject_is_a_part_of_its_own():
    grey, _ = filter_factor(Kit(), SUN, TABLES)
    grass, parts = filter_factor(Kit(), SUN, TABLES, "grass")
    sky, _ = filter_factor(Kit(), SUN, TABLES, "clear_sky")
    stone, _ = filter_factor(Kit(), SUN, TABLES, "granite")
    assert grass.likely < stone.likely <= grey.likely < sky.likely
    assert parts["subject"].likely == pytest.approx(-class_factors(Kit(), SUN, TABLES)["grass"].likely)
    mixed, _ = filter_factor(Kit(), SUN, TABLES, {"grass": 0.5, "clear_sky": 0.5})
    assert grass.likely < mixed.likely < sky.likely
    assert filter_factor(Kit(), SUN, TABLES, {"grass": 2.0})[0].likely == pytest.approx(grass.likely)


def test_a_calibrated_kit_overrides_its_class_and_is_surer():
    own = replace(Kit(), factor_stops=Range(14.1, 14.3, 14.5), factor_source="two frames")
    whole, parts = filter_factor(own, SUN, TABLES)
    assert whole.likely == pytest.approx(14.3, abs=0.01)
    assert whole.width < 0.7
    assert parts["filter"].width == 0.0
    low_sun, _ = filter_factor(own, Light(sun_height_deg=10.0), TABLES)
    assert low_sun.likely < whole.likely  # what the light adds stays


def test_the_default_kit_is_the_default_record():
    assert load_kit("unmodified-720") == Kit()


@pytest.mark.parametrize("subject", ["sofa", {}, {"grass": 0.0}, {"grass": -1.0, "tree": 2.0}, {"sofa": 1.0}])
def test_subjects_that_are_not_known_are_refused(subject):
    with pytest.raises(BadValue, match="subject"):
        filter_factor(Kit(), SUN, TABLES, subject)


def test_night_is_refused():
    with pytest.raises(BadValue, match="below the horizon"):
        filter_factor(Kit(), Light(sun_height_deg=-15.0), TABLES)
