"""Exposure, focus, noise and the light plan against published values; the source stands beside each check."""

import math
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from astral import Observer

from irpreview.core.exposure.calibration import calibrate_typed
from irpreview.core.exposure.focus import depth_of_field_m, hyperfocal_m, infrared_shift_mm, shift_is_covered
from irpreview.core.exposure.metering import ev100_of, ev100_of_lux, from_sun, parse_exposure
from irpreview.core.exposure.setting import exact_shutter_s
from irpreview.core.light.daylight import illuminance_lx
from irpreview.core.light.filter_factor import filter_factor
from irpreview.core.light.light_plan import plan_light
from irpreview.core.light.optics import airy_diameter_um
from irpreview.core.light.sensor_noise import Sensor
from irpreview.io.kits import load_kit
from irpreview.io.tables import load_tables
from irpreview.records import Light, Place

TABLES = load_tables()
INCH_M = 0.0254


# --- ISO 2720:1974, as quoted in articles on exposure meters: EV = log2(N^2/t), N^2/t = L S / K = E S / C -----------


def test_sixteen_at_a_hundredth_is_ev_14_644() -> None:
    assert ev100_of(16.0, 1 / 100) == pytest.approx(14.644, abs=0.001)


def test_ev_15_is_81920_lux_at_c_250() -> None:
    assert ev100_of_lux(81_920.0) == pytest.approx(15.0, abs=1e-9)


def test_k_12_5_and_c_250_meet_at_a_grey_of_sixteen_percent() -> None:
    # pi K / C = 0.157: a luminance of 4096 cd/m2 and 81920 lx both read EV 15
    assert math.pi * 12.5 / 250.0 == pytest.approx(0.157, abs=0.0005)
    luminance = 81_920.0 * (math.pi * 12.5 / 250.0) / math.pi
    assert luminance == pytest.approx(4096.0)
    assert math.log2(luminance * 100.0 / 12.5) == pytest.approx(ev100_of_lux(81_920.0))


# --- common practice, no source -------------------------------------------------------------------------------------


def test_sunny_sixteen_agrees_with_the_sun_model() -> None:
    sunny = ev100_of(16.0, 1 / 100, 100)
    modelled = from_sun(illuminance_lx(Light(), TABLES), Light())  # clear, 45 degrees high
    assert modelled.ev100.likely == pytest.approx(sunny, abs=0.5)
    assert modelled.ev100.low <= sunny <= modelled.ev100.high + 0.35


def test_a_720_filter_on_an_unmodified_camera_costs_about_fifteen_stops() -> None:
    whole, parts = filter_factor(load_kit("unmodified-720"), Light(), TABLES)
    assert whole.likely == pytest.approx(15.0, abs=1.0)
    assert whole.low < 15.0 < whole.high
    assert sum(p.likely for p in parts.values()) == pytest.approx(whole.likely)
    assert sum(p.low for p in parts.values()) == pytest.approx(whole.low)
    assert sum(p.high for p in parts.values()) == pytest.approx(whole.high)


def test_five_minutes_at_iso_64_and_thirty_seconds_at_iso_500_tell_the_same_factor() -> None:
    sun = 15.0
    slow = sun - ev100_of(10.0, 300.0, 64)
    fast = sun - ev100_of(10.0, 30.0, 500)
    assert slow == pytest.approx(15.9, abs=0.05)
    assert fast == pytest.approx(15.6, abs=0.05)
    assert abs(slow - fast) < 1.0
    assert 240 < exact_shutter_s(10.0, 64, slow, sun) < 360


def test_the_kits_factor_covers_both_of_the_trades_settings() -> None:
    whole, _ = filter_factor(load_kit("unmodified-720"), Light(), TABLES)
    for shutter_s, iso in ((300.0, 64), (30.0, 500)):
        low, high = (exact_shutter_s(10.0, iso, f, 15.0) for f in (whole.low, whole.high))
        assert low < shutter_s < high


def test_the_typed_example_comes_to_fifteen_stops() -> None:
    told = calibrate_typed(parse_exposure("1/125 at f/10 ISO 64"), parse_exposure("5 min"))
    assert told.factor_stops.likely == pytest.approx(15.2, abs=0.1)


def test_sunny_grey_at_45_degrees_takes_65_seconds_at_f8_and_15_stops() -> None:
    # 80.9 klx = EV 14.98; worked from SPECTRL2 (Bird and Riordan 1984) and C = 250
    ev = ev100_of_lux(80_900.0)
    assert ev == pytest.approx(14.98, abs=0.01)
    assert exact_shutter_s(8.0, 100, 0.0, ev) == pytest.approx(1 / 506, rel=0.01)
    assert exact_shutter_s(8.0, 100, 15.0, ev) == pytest.approx(65.0, abs=1.0)


# --- depth of field -------------------------------------------------------------------------------------------------


def test_hyperfocal_of_a_two_inch_lens() -> None:
    # US Army course SS0507: 2 in, f/8, blur 0.002 in -> 20.8 ft, near limit 10.4 ft
    foot_m = 12 * INCH_M
    h = hyperfocal_m(2 * 25.4, 8.0, 0.002 * 25.4)
    near, far = depth_of_field_m(2 * 25.4, 8.0, h, 0.002 * 25.4)
    assert h / foot_m == pytest.approx(20.8, abs=0.25)
    assert near / foot_m == pytest.approx(10.4, abs=0.15)
    assert math.isinf(far)


def test_metric_hyperfocal_and_limits() -> None:
    # H = f^2 / (N c) + f; near and far by the standard equations of any handbook
    assert hyperfocal_m(50, 8, 0.03) == pytest.approx(10.467, abs=0.001)
    assert hyperfocal_m(24, 8, 0.03) == pytest.approx(2.424, abs=0.001)
    near, far = depth_of_field_m(50, 8, 5.0, 0.03)
    assert near == pytest.approx(3.389, abs=0.003)
    assert far == pytest.approx(9.527, abs=0.01)


@pytest.mark.parametrize(
    ("wavelength", "f_number", "um"),
    [(550, 8, 10.74), (720, 5.6, 9.84), (720, 11, 19.32), (850, 16, 33.18)],
)
def test_airy_diameter(wavelength: float, f_number: float, um: float) -> None:
    # 2.44 lambda N, first dark ring; any optics text
    assert airy_diameter_um(wavelength, f_number) == pytest.approx(um, abs=0.005)


def test_the_focus_shift_is_the_quarter_percent_of_the_old_rule() -> None:
    # crown and flint doublet from Sellmeier data, 800 nm: 0.24 %; the trade's ".25 % of the focal length", from memory
    assert infrared_shift_mm(100.0, 800.0).likely == pytest.approx(0.25, abs=0.02)
    assert infrared_shift_mm(50.0, 720.0).likely == pytest.approx(0.065, abs=0.001)
    assert shift_is_covered(infrared_shift_mm(50.0, 800.0).likely, 8.0, 0.03)


# --- noise: SNR = S / sqrt(S + D t + R^2), worked table for the stated sensor class ---------------------------------


@pytest.mark.parametrize(
    ("iso", "signal", "short", "cool", "warm"),
    [
        (64, 9922, 99.6, 99.3, 97.9),
        (100, 6350, 79.6, 79.3, 77.6),
        (400, 1588, 39.7, 39.0, 36.1),
        (1600, 397, 19.9, 18.5, 14.6),
        (6400, 99, 9.8, 7.8, 4.7),
        (25600, 25, 4.8, 2.7, 1.3),
    ],
)
def test_mid_grey_noise_table(iso: float, signal: float, short: float, cool: float, warm: float) -> None:
    sensor = Sensor()
    assert sensor.signal_e(iso) == pytest.approx(signal, abs=0.6)
    assert sensor.snr(iso, 1 / 60) == pytest.approx(short, abs=0.06)
    assert sensor.snr(iso, 600.0, 20.0) == pytest.approx(cool, abs=0.06)
    assert sensor.snr(iso, 600.0, 35.0) == pytest.approx(warm, abs=0.06)


# --- the light plan against independent astronomy -------------------------------------------------------------------


def test_the_plans_sun_agrees_with_astral() -> None:
    astral_sun = pytest.importorskip("astral.sun")

    place = Place(51.0, 10.0)
    plan = plan_light(place, datetime(2026, 9, 10).date(), "Europe/Berlin", load_kit("unmodified-720"), TABLES)
    observer = Observer(place.latitude_deg, place.longitude_deg, 0.0)
    rows = [q for q in plan.days[0].quarters if q.sun_height_deg > 5]
    assert len(rows) > 30
    height = np.array([astral_sun.elevation(observer, q.time) for q in rows])
    bearing = np.array([astral_sun.azimuth(observer, q.time) for q in rows])
    assert np.abs(height - [q.sun_height_deg for q in rows]).max() < 0.03
    assert np.abs(bearing - [q.sun_bearing_deg for q in rows]).max() < 0.03


def test_sunrise_of_the_naval_observatory() -> None:
    # USNO, 39 N 105 W, 2015-01-02: sunrise 07:19, sunset 16:49 local standard time (quoted in pvlib's tests)
    plan = plan_light(
        Place(39.0, -105.0), datetime(2015, 1, 2).date(), "America/Denver", load_kit("unmodified-720"), TABLES
    )
    up = [q.time for q in plan.days[0].quarters if q.sun_height_deg > -0.27]  # upper limb: half a sun below centre
    assert up[0] - timedelta(minutes=15) <= datetime(2015, 1, 2, 14, 19, tzinfo=UTC) <= up[0] + timedelta(minutes=1)
    assert up[-1] <= datetime(2015, 1, 2, 23, 49, tzinfo=UTC) <= up[-1] + timedelta(minutes=16)
