"""What filter, sensor and mirrors do: properties and refusals. Published values: tests/reference."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from irpreview.core.light.daylight import light_spectra
from irpreview.core.light.optics import (
    airy_diameter_um,
    band_response,
    effective_wavelength_nm,
    filter_transmission,
    fresnel_reflectance,
    leak_share,
    water_mirror,
)
from irpreview.core.light.spectra import make_spectrum
from irpreview.errors import BadValue
from irpreview.io.tables import load_tables
from irpreview.records import Kit, Light

TABLES = load_tables()
SUN = np.sum(light_spectra(Light(), TABLES), axis=0)
CONVERTED = Kit(sensor="converted")


def test_the_band_centre_moves_out_with_the_cut_on():
    centres = [
        effective_wavelength_nm(replace(CONVERTED, filter_cut_on_nm=c), TABLES, SUN)
        for c in (590, 665, 720, 760, 830, 950)
    ]
    assert centres == sorted(centres)
    assert 780 < centres[2] < 840  # about 799-824 nm for 720, silicon and dyes [assumed shapes]


def test_an_unmodified_body_sees_a_nearer_band_the_lower_its_floor():
    centres = [effective_wavelength_nm(Kit(infrared_cut_floor=f), TABLES, SUN) for f in (1e-3, 1e-4, 3e-5, 1e-6)]
    assert centres == sorted(centres, reverse=True)
    assert centres[-1] < 740.0


def test_an_own_curve_wins_over_the_cut_on_and_its_ends_are_held():
    curve = make_spectrum([700.0, 800.0, 900.0], [0.0, 0.5, 0.9], "filter transmission")
    t = filter_transmission(Kit(filter_curve=curve, filter_cut_on_nm=590.0), TABLES)
    w = TABLES.wavelength_nm
    assert t[w == 600.0][0] == 0.0
    assert t[w == 800.0][0] == pytest.approx(0.5)
    assert t[w == 1100.0][0] == pytest.approx(0.9)


def test_visible_leak_grows_with_the_filters_leak_and_with_the_cameras_cut():
    leaks = [leak_share(Kit(filter_leak=x), TABLES, SUN) for x in (0.0, 1e-6, 1e-5, 1e-4)]
    assert leaks == sorted(leaks)
    assert leaks[3] > 1.0  # at 15 stops a leak of 1e-4 outshines the infrared
    assert leak_share(replace(CONVERTED, filter_leak=1e-4), TABLES, SUN) < 1e-3


def test_the_response_is_zero_nowhere_negative_and_needs_light_in_its_band():
    for kit in (Kit(), CONVERTED, Kit(sensor="full_spectrum", filter_cut_on_nm=950.0)):
        assert (band_response(kit, TABLES) >= 0).all()
        assert band_response(kit, TABLES).max() > 0


@given(st.floats(0, 90), st.floats(0, 90), st.floats(1.05, 2.0))
@settings(max_examples=100, deadline=None)
def test_a_mirror_gives_back_between_nothing_and_all_and_more_at_glancing_view(a, b, n):
    ra, rb = fresnel_reflectance(n, a), fresnel_reflectance(n, b)
    assert 0.0 <= ra <= 1.0 + 1e-12
    if a > b + 1.0:
        assert ra >= rb - 2e-3  # unpolarised reflectance hardly dips before it rises


@pytest.mark.parametrize("angle", [-1.0, 91.0, float("nan")])
def test_angles_that_do_not_exist_are_refused(angle):
    with pytest.raises(BadValue, match="0 to 90 degrees"):
        fresnel_reflectance(1.333, [10.0, angle])


@pytest.mark.parametrize(("wavelength", "f"), [(0.0, 8.0), (-500.0, 8.0), (800.0, 0.0), (800.0, float("inf"))])
def test_an_aperture_or_wavelength_that_does_not_exist_is_refused(wavelength, f):
    with pytest.raises(BadValue, match="above 0"):
        airy_diameter_um(wavelength, f)


def test_wind_makes_water_mirror_less_and_from_higher_up():
    calm, low, _ = water_mirror(TABLES, 80.0, "calm")
    rough, high, _ = water_mirror(TABLES, 80.0, "wind_rough")
    assert (rough < calm).all()
    assert high > low == 10.0
    assert water_mirror(TABLES, 80.0, "foam")[2] > 0.3
    with pytest.raises(BadValue, match="calm, wind_rough, foam"):
        water_mirror(TABLES, 80.0, "choppy")
    with pytest.raises(BadValue, match="0 to 90"):
        water_mirror(TABLES, 95.0, "calm")


def test_spectra_of_the_kit_lie_on_the_grid_of_the_tables():
    assert band_response(Kit(), TABLES).shape == TABLES.wavelength_nm.shape
    assert np.isfinite(band_response(Kit(), TABLES)).all()
