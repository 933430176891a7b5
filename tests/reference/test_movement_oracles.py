"""Movement against published tables, laws and worked examples; the source stands beside each check."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.signal import lfilter

from irpreview.core.imaging import picture_geometry
from irpreview.core.motion import cloud_drift, sway, water_motion, wind
from irpreview.core.motion.blur import movement_at, rates_of_motion
from irpreview.core.units import beaufort_m_s
from irpreview.records import CLASS_ID, Conditions, Photo, SceneMap, Shot


@pytest.mark.parametrize(
    ("force", "low", "high"),
    [
        (1, 0.3, 1.5),
        (2, 1.6, 3.3),
        (3, 3.4, 5.4),
        (4, 5.5, 7.9),
        (5, 8.0, 10.7),
        (6, 10.8, 13.8),
        (7, 13.9, 17.1),
        (8, 17.2, 20.7),
    ],
)
def test_beaufort_speeds(force: int, low: float, high: float) -> None:
    """World Meteorological Organization, Manual on Codes, table of the Beaufort scale (10 m mean wind)."""
    entry = wind.BEAUFORT[force]
    assert (entry.low_m_s, entry.high_m_s) == (low, high)
    assert low <= beaufort_m_s(force) <= high


@pytest.mark.parametrize(
    ("wind_m_s", "words"),
    [
        (2.4, "leaves rustle"),
        (4.4, "twigs"),
        (6.7, "small branches"),
        (9.4, "small trees"),
        (12.3, "large branches"),
        (15.5, "whole trees"),
        (0.1, "smoke rises"),
    ],
)
def test_beaufort_land_criteria(wind_m_s: float, words: str) -> None:
    """The same table, land criteria."""
    assert words in wind.land_criterion(wind_m_s)


@pytest.mark.parametrize(("roughness", "gust"), [(0.0002, 1.28), (0.03, 1.52), (0.1, 1.65), (0.25, 1.81), (0.5, 2.0)])
def test_gust_factors(roughness: float, gust: float) -> None:
    """G = 1 + g I, I = 1 / ln(z / z0) (Harstveit 1996); sea to off-land 1.23-1.52 in WMO/TD-1555 (from memory)."""
    assert wind.gust_factor(roughness) == pytest.approx(gust, abs=0.01)


@pytest.mark.parametrize(
    ("cycles", "extent"),
    [(0.05, 0.200), (0.1, 0.397), (0.25, 0.950), (0.5, 1.637), (0.75, 1.950), (1.0, 2.0), (7, 2.0)],
)
def test_sine_sway_exposure_integral(cycles: float, extent: float) -> None:
    """Mean extent of a sine over a window of random phase: closed form, and our own simulation of it."""
    assert sway.sway_extent(1.0, 1.0, cycles) == pytest.approx(extent, abs=0.001)
    phases = np.linspace(0, 2 * np.pi, 721)[:-1]
    times = np.linspace(0.0, cycles, 400)
    path = np.sin(2 * np.pi * times[None] + phases[:, None])
    assert float(np.ptp(path, axis=1).mean()) == pytest.approx(extent, abs=0.004)


@pytest.mark.parametrize(
    ("frequency", "shutter", "extent"),
    [(0.6, 4, 3.3), (0.6, 15, 4.5), (0.6, 60, 5.6), (3.0, 4, 4.7), (3.0, 15, 5.7), (3.0, 60, 6.6)],
)
def test_random_sway_grows_slowly(frequency: float, shutter: float, extent: float) -> None:
    """Extent over rms of narrow-band noise of damping 0.1, simulated; our law within 6 %."""
    halo = sway.sway_halo(math.sqrt(2.0), frequency, shutter)
    assert halo == pytest.approx(extent, rel=0.06)


def test_random_sway_against_a_simulated_oscillator() -> None:
    """The same by a damped oscillator driven with white noise here and now."""

    rng = np.random.default_rng(5)
    f, damping, dt = 0.6, 0.1, 0.02
    w = 2 * math.pi * f
    pole = np.exp((-damping * w + 1j * w * math.sqrt(1 - damping**2)) * dt)
    path = lfilter([1.0], [1.0, -2 * pole.real, abs(pole) ** 2], rng.normal(size=400_000))[5000:]
    path /= path.std()
    for seconds in (4, 15, 60):
        n = int(seconds / dt)
        windows = path[: len(path) // n * n].reshape(-1, n)
        assert sway.sway_halo(math.sqrt(2.0), f, seconds) == pytest.approx(np.ptp(windows, axis=1).mean(), rel=0.1)


def test_cloud_base() -> None:
    """AMS Glossary, lifting condensation level: 125 m per kelvin; 25 / 15 degC gives 1250 m."""
    assert cloud_drift.cloud_base_m(25.0, 15.0) == 1250.0


@pytest.mark.parametrize(("angle", "omega"), [(0, 0.0536), (30, 0.0911), (60, 0.1384), (90, 0.1568)])
def test_cloud_angular_speed(angle: float, omega: float) -> None:
    """Flat layer, h 1000 m, v 8 m/s, elevation 20 degrees: formula, and 3-D vectors here."""
    assert cloud_drift.angular_speed_deg_s(8.0, 1000.0, 20.0, angle) == pytest.approx(omega, abs=0.00005)
    away = 1000.0 / math.tan(math.radians(20.0))
    start = np.array([0.0, 1000.0, away])
    psi = math.radians(angle)
    end = start + 0.01 * 8.0 * np.array([math.sin(psi), 0.0, math.cos(psi)])
    turned = math.degrees(np.linalg.norm(np.cross(start, end)) / np.linalg.norm(start) / np.linalg.norm(end)) / 0.01
    assert turned == pytest.approx(omega, abs=0.0005)


@pytest.mark.parametrize(("elevation", "seconds"), [(10, 126), (20, 64), (40, 34)])
def test_time_to_cross_a_fist(elevation: float, seconds: float) -> None:
    """Ten degrees at arm's length (common practice of star-gazers); cumulus of 8 m/s at 1000 m, crosswise."""
    omega = cloud_drift.angular_speed_deg_s(8.0, 1000.0, elevation, 90.0)
    assert cloud_drift.FIST_DEG / omega == pytest.approx(seconds, abs=0.6)


@pytest.mark.parametrize(
    ("period", "length", "speed"), [(1, 1.56, 1.56), (3, 14.1, 4.7), (8, 99.9, 12.5), (10, 156, 15.6)]
)
def test_deep_water_dispersion(period: float, length: float, speed: float) -> None:
    """Airy waves in deep water, L = g T^2 / 2 pi (Lamb, Hydrodynamics; any oceanography text)."""
    assert water_motion.deep_water_length_m(period) == pytest.approx(length, rel=0.006)
    assert water_motion.deep_water_speed_m_s(period) == pytest.approx(speed, rel=0.006)


def test_waves_of_a_fetch() -> None:
    """Shore-protection handbook relations; worked example U 15 m/s, F 200 km: T 9.0 s, H 3.42 m."""
    period, height = water_motion.fetch_waves(15.0, 200e3)
    assert period == pytest.approx(9.0, abs=0.05)
    assert height == pytest.approx(3.42, abs=0.02)
    assert water_motion.fetch_waves(5.0, 1000.0)[0] == pytest.approx(1.1, abs=0.05)
    # fully grown sea: 8.13 U / g
    assert water_motion.fetch_waves(10.0, 1e7)[0] == pytest.approx(8.3, abs=0.05)


@pytest.mark.parametrize(
    ("shutter", "period", "word"),
    [(0.25, 5, "frozen"), (1, 5, "texture"), (5, 5, "silky"), (15, 5, "smooth"), (60, 5, "mist")],
)
def test_words_for_water(shutter: float, period: float, word: str) -> None:
    """Exposures in use (trade guides, common practice): slight at 1/4-1 s, silky at 1-5 s, mist at 15-30 s and more."""
    assert water_motion.water_word(shutter / period) == word


def test_falling_water() -> None:
    """v = sqrt(2 g h), free fall."""
    for height, speed in ((1, 4.4), (3, 7.7), (10, 14.0), (20, 19.8)):
        assert water_motion.fall_speed_m_s(height) == pytest.approx(speed, abs=0.05)


@pytest.mark.parametrize(("focal", "per_rad", "mm_at_30"), [(24, 4000, 7.5), (50, 8333, 3.6), (100, 16667, 1.8)])
def test_pinhole_geometry(focal: float, per_rad: float, mm_at_30: float) -> None:
    """x = f X / d with a 6 um pixel on 36 x 24 mm (any optics text)."""
    scale = picture_geometry.pixels_per_radian(6000, 4000, focal)
    assert scale == pytest.approx(per_rad, abs=0.5)
    assert 1000.0 * 30.0 / scale == pytest.approx(mm_at_30, abs=0.01)


def test_a_whole_tree_in_the_picture() -> None:
    """Worked example: 30 m, 50 mm, 4.4 m/s, 1/4 s. Leaf, twig, branch, crown of 1.35, 1.65, 2.34, 3.85 px: 5.53 px."""
    label = np.full((4000, 6000), CLASS_ID["tree"], np.uint8)
    scene = SceneMap(
        np.zeros((9, 2, 2), np.float32), label, np.ones((1, 1), np.float32), np.zeros((1, 1, 1), np.float32)
    )
    photo = Photo(np.zeros((4000, 6000, 3), np.uint8), shot=Shot(focal_35mm_mm=50.0))
    conditions = Conditions(wind_m_s=4.4, distance_m={"tree": 30.0})
    rates = rates_of_motion(scene, conditions, photo)
    amplitudes = [part.amplitude_px.likely for part in rates.classes["tree"].parts]
    assert amplitudes == pytest.approx([1.35, 1.65, 2.34, 3.85], abs=0.02)
    assert movement_at(rates, 0.25).classes["tree"].blur_px.likely == pytest.approx(5.53, abs=0.02)
    assert rates.hold_limit_px == pytest.approx(4.8, abs=0.05)
