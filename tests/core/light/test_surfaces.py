"""Class factors follow kit and light as physics says."""

from dataclasses import replace
from types import MappingProxyType

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from irpreview.core.light.daylight import angle_from_sun_deg
from irpreview.core.light.optics import Roughness, roughness_of_wind
from irpreview.core.light.surfaces import (
    CLASS_MIX,
    class_factors,
    class_visible_reflectance,
    hard_light,
    open_shade_stops,
    sky_against_white_stops,
    sky_darkening_stops,
    sky_factor,
    sky_factor_by_height,
    sub_kind_factors,
)
from irpreview.core.light.water_surface import water_factor, water_radiance, water_signal_by_view
from irpreview.errors import BadValue
from irpreview.io.kits import list_kits
from irpreview.io.tables import load_tables
from irpreview.records import CLASS_NAMES, Kit, Light

TABLES = load_tables()
SUN = Light()
CONVERTED = Kit(sensor="converted")


def converted(cut_on_nm: float) -> Kit:
    return replace(CONVERTED, filter_cut_on_nm=cut_on_nm)


def test_every_class_has_a_factor_and_a_visible_reflectance_that_rise():
    for kit in list_kits():
        factors = class_factors(kit, SUN, TABLES)
        assert tuple(factors) == CLASS_NAMES
        for value in factors.values():
            assert value.low < value.likely < value.high
            assert value.width < 6.0
    for light in (SUN, Light(sun_height_deg=5.0, haze_aod=0.3), Light(sky_state="overcast"), Light(sun_height_deg=-2)):
        for value in class_visible_reflectance(TABLES, light).values():
            assert 0.0 < value.low < value.likely < value.high < 4.0


def test_mixtures_add_up_and_name_materials_of_the_tables():
    for parts in CLASS_MIX.values():
        assert sum(share for share, _ in parts) == pytest.approx(1.0)
        for _, mix in parts:
            assert sum(mix.values()) == pytest.approx(1.0)
            assert set(mix) <= set(TABLES.materials)


def test_the_default_kit_in_clear_sun_sees_what_photographers_see():
    f = class_factors(Kit(), SUN, TABLES)
    assert 2.4 < f["tree"].likely < 3.0
    assert -1.6 < f["clear_sky"].likely < -1.0
    assert -0.1 < f["cloud"].likely <= 0.0
    assert f["cloud"].low < -0.25  # thin cloud lets the blue through
    assert -2.5 < f["water"].likely < -1.0
    assert f["water"].width > 2.0
    assert 0.2 < f["structure"].likely < 0.8
    assert 0.4 < f["ground"].likely < 1.0
    assert -0.2 < f["snow"].likely < 0.0
    assert f["tree"].likely > f["grass"].likely > f["ground"].likely > f["snow"].likely > f["clear_sky"].likely


def test_clear_sky_lands_about_three_stops_below_sunlit_leaves():
    """20 degrees up, sun at the side, 720 nm, ordinary day (the physics sheet's own model: 3.3)."""
    angle = angle_from_sun_deg(45.0, 90.0, 20.0)
    _, sky = sky_against_white_stops(Kit(), SUN, angle, 20.0, TABLES)
    factor = sub_kind_factors(Kit(), SUN, TABLES)["broadleaf"].likely
    leaves = factor + np.log2(TABLES.materials["broadleaf"].visible.likely)
    assert 2.6 < leaves - float(sky) < 3.8


# --- kit --------------------------------------------------------------------------------------------------------------


def test_a_later_cut_on_lifts_leaves_darkens_sky_and_water_and_leaves_white_alone():
    by_kit = [class_factors(converted(c), SUN, TABLES) for c in (590, 665, 720, 760, 850)]
    trees = [f["tree"].likely for f in by_kit]
    skies = [f["clear_sky"].likely for f in by_kit]
    waters = [f["water"].likely for f in by_kit]
    assert trees == sorted(trees)
    assert skies == sorted(skies, reverse=True)
    assert waters == sorted(waters, reverse=True)
    assert trees[2] - trees[0] > 0.4  # 590 nm passes red and with it the leaf's chlorophyll band
    assert skies[0] - skies[4] > 0.5
    assert all(abs(f["cloud"].likely) < 0.08 for f in by_kit)


def test_an_unmodified_body_glows_less_than_a_converted_one_behind_the_same_filter():
    plain, full = class_factors(Kit(), SUN, TABLES), class_factors(CONVERTED, SUN, TABLES)
    soft = class_factors(Kit(infrared_cut_edge_nm=680, infrared_cut_slope_nm=10), SUN, TABLES)
    assert soft["tree"].likely < plain["tree"].likely < full["tree"].likely
    assert soft["clear_sky"].likely > plain["clear_sky"].likely > full["clear_sky"].likely


def test_a_leaking_filter_brings_visible_tones_back_sky_first():
    tight, leaky = (class_factors(Kit(filter_leak=x), SUN, TABLES) for x in (1e-7, 1e-4))
    gain_sky = leaky["clear_sky"].likely - tight["clear_sky"].likely
    loss_tree = tight["tree"].likely - leaky["tree"].likely
    assert gain_sky > 0.3
    assert loss_tree > 0.3
    # against the infrared signal the leak weighs most in the sky, which has little infrared
    assert gain_sky > leaky["snow"].likely - tight["snow"].likely


def test_what_a_kit_has_learned_is_added():
    taught = replace(Kit(), class_correction_stops=MappingProxyType({"tree": -0.4}))
    before, after = class_factors(Kit(), SUN, TABLES), class_factors(taught, SUN, TABLES)
    assert after["tree"].likely == pytest.approx(before["tree"].likely - 0.4)
    assert after["grass"] == before["grass"]


# --- light ------------------------------------------------------------------------------------------------------------


def test_haze_takes_the_darkness_out_of_the_sky():
    skies = [sky_factor(Kit(), Light(haze_aod=a), TABLES).likely for a in (0.05, 0.1, 0.2, 0.3)]
    assert skies == sorted(skies)
    assert skies[-1] - skies[0] > 0.4


def test_the_sky_is_darkest_away_from_the_sun_and_lightest_above_the_horizon():
    sides = [sky_factor(Kit(), Light(sun_side=s), TABLES).likely for s in ("behind_camera", "side", "ahead")]
    assert sides == sorted(sides)
    heights = np.array([3.0, 6.0, 12.0, 20.0])
    drop = sky_darkening_stops(Kit(), SUN, angle_from_sun_deg(45.0, 90.0, heights), heights, TABLES)
    assert drop.shape == (4,)
    assert (np.diff(drop) < 0).all()


def test_a_whole_picture_of_sky_is_one_call():
    h = np.linspace(2.0, 40.0, 60)[:, None]
    b = np.linspace(20.0, 100.0, 80)[None, :]
    drop = sky_darkening_stops(Kit(), SUN, angle_from_sun_deg(45.0, b, np.broadcast_to(h, (60, 80))), h, TABLES)
    assert drop.shape == (60, 80)
    assert np.isfinite(drop).all()
    assert drop.max() < 0.3
    assert drop.min() > -3.0


def test_an_overcast_sky_is_white_and_its_water_mirrors_white():
    grey = class_factors(Kit(), Light(sky_state="overcast"), TABLES)
    assert grey["clear_sky"].likely > -0.2
    assert grey["cloud"].likely == pytest.approx(0.0, abs=0.02)
    assert grey["water"].likely > -0.5
    assert grey["tree"].likely == pytest.approx(class_factors(Kit(), SUN, TABLES)["tree"].likely, abs=0.1)
    assert open_shade_stops(Kit(), Light(sky_state="overcast"), TABLES).likely == 0.0


def test_open_shade_loses_a_stop_less_in_haze():
    clear, normal, hazy = (open_shade_stops(CONVERTED, Light(haze_aod=a), TABLES) for a in (0.05, 0.1, 0.3))
    assert clear.likely < normal.likely < hazy.likely < 0.0
    assert normal.low < -1.15 < normal.high  # the physics sheet: -1.15, clean -1.44, hazy -0.79
    assert -1.5 < clear.likely < -1.1
    assert -1.0 < hazy.likely < -0.5


def test_a_low_sun_changes_surfaces_little():
    """White is the measure, so only the slope of the light within the band counts."""
    high, low = class_factors(Kit(), SUN, TABLES), class_factors(Kit(), Light(sun_height_deg=5.0), TABLES)
    for name in ("tree", "grass", "structure", "ground", "snow", "cloud"):
        assert abs(high[name].likely - low[name].likely) < 0.15


def test_light_is_harder_in_the_band_than_to_the_eye_and_softest_under_cloud():
    assert 0.85 < hard_light(Kit(), SUN, TABLES) < 0.99
    assert hard_light(Kit(), SUN, TABLES) > hard_light(Kit(filter_cut_on_nm=520), SUN, TABLES)
    assert hard_light(Kit(), Light(sky_state="overcast"), TABLES) == 0.0
    assert hard_light(Kit(), Light(haze_aod=0.3), TABLES) < hard_light(Kit(), SUN, TABLES)


def test_without_daylight_nothing_is_made_up():
    with pytest.raises(BadValue, match="below the horizon"):
        class_factors(Kit(), Light(sun_height_deg=-20.0), TABLES)


@given(
    st.floats(-5.9, 90),
    st.floats(0.0, 1.0),
    st.sampled_from(["clear", "thin_cloud", "broken", "overcast", "unknown"]),
    st.floats(500, 1000),
    st.sampled_from(["unmodified", "converted", "full_spectrum"]),
    st.sampled_from(["ahead", "side", "behind_camera", "unknown"]),
)
@settings(max_examples=60, deadline=None)
def test_any_kit_in_any_daylight_gives_factors_that_physics_allows(height, aod, state, cut_on, sensor, side):
    light = Light(sun_height_deg=height, haze_aod=aod, sky_state=state, sun_side=side)
    for name, value in class_factors(Kit(filter_cut_on_nm=cut_on, sensor=sensor), light, TABLES).items():
        assert np.isfinite([value.low, value.likely, value.high]).all()
        assert -8.0 < value.low <= value.likely <= value.high < 5.0, name


# --- water ------------------------------------------------------------------------------------------------------------


def test_water_is_black_from_above_and_a_mirror_at_a_glance():
    visible = [water_radiance(CONVERTED, SUN, TABLES, view_from_vertical_deg=v)[0] for v in (45.0, 60.0, 75.0, 85.0)]
    assert visible == sorted(visible)
    factors = [water_factor(CONVERTED, SUN, TABLES, view_from_vertical_deg=v).likely for v in (45.0, 60.0, 80.0)]
    assert factors == sorted(factors)
    assert factors[0] < -2.0
    assert -1.8 < factors[2] < -0.8  # the physics sheet: -1.3 at 80 degrees


def test_what_water_mirrors_decides():
    def factor(mirrored, **more):
        return water_factor(Kit(), SUN, TABLES, mirrored=mirrored, view_from_vertical_deg=80.0, **more).likely

    assert factor("sky") < factor("structure") < factor("tree")
    assert abs(factor("cloud")) < 0.35
    assert factor("tree") > 0.3
    assert factor("sky", roughness="foam") > -0.4  # foam is white
    overcast = water_factor(Kit(), Light(sky_state="overcast"), TABLES, view_from_vertical_deg=80.0)
    assert -0.3 < overcast.likely < 0.05


def test_sediment_is_bright_to_the_eye_only():
    clear = water_radiance(Kit(), SUN, TABLES, view_from_vertical_deg=60.0)
    muddy = water_radiance(Kit(), SUN, TABLES, view_from_vertical_deg=60.0, turbid=True)
    assert muddy[0] > 2.0 * clear[0]
    assert np.log2(muddy[1] / muddy[0]) < -1.5


def test_mirrors_that_are_not_known_are_refused():
    with pytest.raises(BadValue, match="sky, cloud, tree, structure"):
        water_factor(Kit(), SUN, TABLES, mirrored="boat")


# --- by direction -----------------------------------------------------------------------------------------------------


def test_sky_by_height_passes_through_the_class_factor():
    by_height = sky_factor_by_height(Kit(), SUN, TABLES, np.array([[2.0, 10.0], [20.0, 35.0]]))
    assert by_height.shape == (2, 2)
    assert by_height[0, 0] > by_height[0, 1] > by_height[1, 0]
    likely = sky_factor(Kit(), SUN, TABLES).likely
    assert by_height.min() - 0.1 <= likely <= by_height.max()
    assert (sky_factor_by_height(Kit(), Light(sky_state="overcast"), TABLES, [5.0, 50.0]) == -0.1).all()


def test_water_by_view_is_the_mirror_formula_and_wind_darkens_the_far_shore():
    view = np.array([45.0, 60.0, 76.0, 85.0])

    def by_view(roughness: Roughness) -> np.ndarray:
        visible, band = water_signal_by_view(Kit(), SUN, TABLES, view, roughness)
        return np.log2(band[0] / visible[0])

    calm = by_view("calm")
    for v, stops in zip(view, calm, strict=True):
        assert water_factor(Kit(), SUN, TABLES, view_from_vertical_deg=float(v)).likely == pytest.approx(
            stops, abs=1e-6
        )
    assert by_view("wind_rough")[3] < calm[3]


def test_wind_decides_how_water_looks_where_it_is_known():
    assert [roughness_of_wind(w) for w in (None, 0.0, 1.5, 1.6, 10.0, 11.0)] == [
        None, "calm", "calm", "wind_rough", "wind_rough", "foam",
    ]  # fmt: skip
    with pytest.raises(BadValue, match="0 m/s"):
        roughness_of_wind(-1.0)
    rough = class_factors(Kit(), SUN, TABLES, water_roughness="wind_rough")["water"]
    foam = class_factors(Kit(), SUN, TABLES, water_roughness="foam")["water"]
    anything = class_factors(Kit(), SUN, TABLES)["water"]
    assert rough.likely < anything.likely < foam.likely
    assert rough.width < anything.width
