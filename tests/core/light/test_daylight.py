"""Sun, sky and haze: properties, edges and refusals. Published values: tests/reference."""

import subprocess
import sys
from datetime import UTC, datetime, timedelta, timezone
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from irpreview.core.light import daylight
from irpreview.core.light.daylight import (
    angle_from_sun_deg,
    clear_light,
    haze_aod,
    illuminance_lx,
    light_for,
    light_spectra,
    sky_radiance,
    sun_position,
    sun_positions,
    sun_side,
)
from irpreview.errors import BadValue
from irpreview.io.tables import load_tables
from irpreview.records import Light, Place

TABLES = load_tables()
ALPS = Place(47.0, 11.0, 600.0)
NOON = datetime(2026, 6, 21, 13, 20, tzinfo=ZoneInfo("Europe/Vienna"))


def test_a_baked_light_agrees_with_the_model_within_seven_hundredths_of_a_stop():
    """The table against pvlib between its grid points, visible and infrared, global and diffuse."""
    w = TABLES.wavelength_nm
    v, far = TABLES.response["v_lambda"], (w > 720.0).astype(float)
    for height in (2.5, 4.0, 8.0, 12.0, 25.0, 52.0, 82.0):
        for aod in (0.06, 0.15, 0.25, 0.4):
            mw, direct, sky = daylight._spectrl2(height, aod, 0.0, 172)
            baked_direct, baked_sky = clear_light(TABLES, height, aod)
            d, s = np.interp(w, mw, direct), np.interp(w, mw, sky)
            for weight in (v, far):
                assert abs(np.log2(((baked_direct + baked_sky) @ weight) / ((d + s) @ weight))) < 0.07
                assert abs(np.log2((baked_sky @ weight) / (s @ weight))) < 0.07


def test_light_with_a_place_and_time_is_the_baked_one_at_its_height():
    light = light_for(Place(47.0, 11.0, 0.0), NOON, exact=True)
    assert light.direct is not None
    own = np.sum(light_spectra(light, TABLES))
    baked = np.sum(clear_light(TABLES, light.sun_height_deg, light.haze_aod))
    assert abs(np.log2(own / baked)) < 0.07


def test_light_of_a_snap_needs_neither_pandas_nor_scipy():
    code = (
        "import sys; from irpreview.io.tables import load_tables;"
        "from irpreview.core.light.surfaces import class_factors;"
        "from irpreview.core.light.daylight import light_for; from irpreview.records import Kit, Place;"
        "from datetime import datetime, UTC;"
        "light = light_for(Place(47.0, 11.0, 600.0), datetime(2026, 6, 21, 11, 20, tzinfo=UTC), 90.0);"
        "class_factors(Kit(), light, load_tables());"
        "sys.exit(any(m in sys.modules for m in ('pvlib', 'pandas', 'scipy')))"
    )
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


@pytest.mark.parametrize(
    ("bearing", "heading", "side"),
    [
        (180.0, 180.0, "ahead"),
        (350.0, 10.0, "ahead"),
        (10.0, 350.0, "ahead"),
        (180.0, 0.0, "behind_camera"),
        (180.0, 270.0, "side"),
        (None, 90.0, "unknown"),
        (90.0, None, "unknown"),
        (720.0 + 90.0, 90.0, "ahead"),
    ],
)
def test_the_side_of_the_sun(bearing, heading, side):
    assert sun_side(bearing, heading) == side


def test_one_moment_is_one_sun_whatever_the_zone():
    here = sun_position(ALPS, NOON)
    elsewhere = sun_position(ALPS, NOON.astimezone(timezone(timedelta(hours=-9, minutes=-30))))
    assert here == pytest.approx(elsewhere, abs=1e-9)


def test_daylight_saving_moves_the_clock_not_the_sun():
    zone = ZoneInfo("Europe/Vienna")
    before = datetime(2026, 3, 28, 12, 0, tzinfo=zone)
    after = datetime(2026, 3, 30, 13, 0, tzinfo=zone)  # the clock went forward in between
    assert sun_position(ALPS, before)[1] == pytest.approx(sun_position(ALPS, after)[1], abs=1.0)


def test_no_times_no_suns_and_many_times_one_call():
    assert sun_positions(ALPS, [])[0].size == 0
    times = [NOON + timedelta(minutes=15 * i) for i in range(96)]
    height, bearing = sun_positions(ALPS, times)
    assert height.shape == bearing.shape == (96,)
    assert (height[10], bearing[10]) == pytest.approx(sun_position(ALPS, times[10]), abs=1e-9)


def test_twilight_fades_to_a_few_lux():
    """About 3.4 lx at the end of civil twilight and 400 lx at sunset (handbook values, from memory): within a stop."""
    assert illuminance_lx(Light(sun_height_deg=-5.99), TABLES) == pytest.approx(3.4, rel=0.5)
    assert illuminance_lx(Light(sun_height_deg=-0.8), TABLES) == pytest.approx(400.0, rel=0.5)


def test_the_date_line_and_the_poles():
    west, east = Place(0.0, 180.0), Place(0.0, -180.0)
    assert sun_position(west, NOON) == pytest.approx(sun_position(east, NOON), abs=1e-6)
    midnight = datetime(2026, 6, 21, 0, 0, tzinfo=UTC)
    heights, _ = sun_positions(Place(90.0, 0.0), [midnight + timedelta(hours=h) for h in range(0, 24, 3)])
    assert (heights > 23.0).all()  # polar day: the sun goes round at one height
    assert np.ptp(heights) < 0.1
    assert sun_position(Place(78.0, 15.0), datetime(2026, 12, 21, 12, 0, tzinfo=UTC))[0] < -6.0


def test_a_night_is_a_light_without_spectra_and_asking_it_for_light_is_refused():
    night = light_for(ALPS, datetime(2026, 6, 21, 0, 30, tzinfo=ZoneInfo("Europe/Vienna")), 90.0)
    assert night.sun_height_deg < -6.0
    assert night.direct is None
    assert night.sky is None
    with pytest.raises(BadValue, match="below the horizon") as caught:
        light_spectra(night, TABLES)
    assert "\n" not in str(caught.value)


def test_twilight_has_skylight_only():
    direct, sky = light_spectra(Light(sun_height_deg=-3.0), TABLES)
    assert direct.sum() == 0.0
    assert 0.0 < illuminance_lx(Light(sun_height_deg=-5.0), TABLES) < illuminance_lx(Light(sun_height_deg=-1.0), TABLES)
    assert sky.sum() > 0.0


@pytest.mark.parametrize(
    ("place", "word"),
    [
        (Place(91.0, 0.0), "latitude 91 degrees"),
        (Place(-90.5, 0.0), "latitude"),
        (Place(0.0, 181.0), "longitude 181"),
        (Place(0.0, 0.0, 20000.0), "altitude"),
        (Place(float("nan"), 0.0), "latitude nan"),
    ],
)
def test_places_that_do_not_exist_are_refused(place, word):
    with pytest.raises(BadValue, match=word):
        light_for(place, NOON)


def test_times_hazes_headings_and_skies_that_make_no_sense_are_refused():
    with pytest.raises(BadValue, match="no zone"):
        light_for(ALPS, datetime(2026, 6, 21, 12, 0))
    with pytest.raises(BadValue, match="clear, normal, hazy, unknown"):
        light_for(ALPS, NOON, haze="foggy")
    with pytest.raises(BadValue, match="0 to 1"):
        light_for(ALPS, NOON, haze=2.0)
    with pytest.raises(BadValue, match="heading"):
        light_for(ALPS, NOON, float("nan"))
    with pytest.raises(BadValue, match="overcast"):
        light_for(ALPS, NOON, sky_state="sunny")  # type: ignore[arg-type]
    with pytest.raises(BadValue, match="-90 to 90"):
        light_spectra(Light(sun_height_deg=120.0), TABLES)
    assert haze_aod(0.2) == 0.2


@given(st.floats(1, 89), st.floats(0.05, 0.5))
@settings(max_examples=40, deadline=None)
def test_a_higher_sun_brings_more_light_and_more_haze_less_beam_and_more_sky(height, aod):
    direct, sky = clear_light(TABLES, height, aod)
    higher, _ = clear_light(TABLES, height + 1.0, aod)
    hazier, hazier_sky = clear_light(TABLES, height, min(0.5, aod * 1.3))
    v = TABLES.response["v_lambda"]
    assert higher @ v >= direct @ v
    assert hazier @ v <= direct @ v + 1e-12
    if height > 8.0:  # with the sun on the horizon haze swallows skylight too
        assert hazier_sky @ v >= sky @ v - 1e-12


def test_overcast_is_soft_and_a_quarter_as_bright():
    clear, grey = Light(), Light(sky_state="overcast")
    direct, _ = light_spectra(grey, TABLES)
    assert direct.sum() == 0.0
    assert illuminance_lx(grey, TABLES) == pytest.approx(0.25 * illuminance_lx(clear, TABLES))
    thin_direct, thin_sky = light_spectra(Light(sky_state="thin_cloud"), TABLES)
    full_direct, full_sky = light_spectra(clear, TABLES)
    assert thin_direct.sum() < full_direct.sum()
    assert thin_sky.sum() > full_sky.sum()


def test_the_sky_adds_up_to_the_diffuse_light_it_came_from():
    """Radiance x cosine over the hemisphere = diffuse irradiance, per wavelength, within 2 %."""
    node, weight = np.polynomial.legendre.leggauss(24)
    mu, dmu = (node + 1.0) / 2.0, weight / 2.0
    bearing = (np.arange(48) + 0.5) / 48.0 * 360.0
    height = np.degrees(np.arcsin(mu))
    for sun, aod in ((45.0, 0.1), (20.0, 0.05), (60.0, 0.3)):
        h = np.broadcast_to(height[:, None], (24, 48))
        radiance = sky_radiance(TABLES, sun, aod, angle_from_sun_deg(sun, bearing[None, :], h), h)
        flux = np.einsum("i,ijn->n", dmu * mu, radiance) * 2.0 * np.pi / 48.0
        np.testing.assert_allclose(flux, clear_light(TABLES, sun, aod)[1], rtol=0.02)


def test_the_sky_is_bluest_across_from_the_sun_and_whitest_near_the_horizon():
    w = TABLES.wavelength_nm
    across = sky_radiance(TABLES, 45.0, 0.1, 90.0, 45.0)
    horizon = sky_radiance(TABLES, 45.0, 0.1, float(angle_from_sun_deg(45.0, 90.0, 3.0)), 3.0)

    def blue(r):
        return r[w == 450.0][0] / r[w == 800.0][0]

    assert blue(across) > 2.0 * blue(horizon)


def test_the_angle_from_the_sun():
    assert angle_from_sun_deg(45.0, 0.0, 45.0) == pytest.approx(0.0, abs=1e-5)
    assert angle_from_sun_deg(45.0, 180.0, 45.0) == pytest.approx(90.0)
    assert angle_from_sun_deg(30.0, 77.0, 90.0) == pytest.approx(60.0)
