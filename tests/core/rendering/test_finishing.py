import numpy as np
import pytest

from irpreview.core.imaging.srgb import to_linear
from irpreview.core.rendering.finishing import (
    PrintCurve,
    finish,
    iso_range,
    place_print,
    placement_stops,
    print_luminance,
    print_of,
)
from irpreview.errors import BadValue
from irpreview.records import CLASS_NAMES, Range, zone_of
from tests.core.drawn_scenes import drawn, tower_on_a_moor


def test_grade_bands_of_iso_6846():
    # ISO 6846:1992 / ANSI 1966 grade bands as listed in handbooks; values from memory
    bands = [(140, 170), (115, 140), (95, 115), (80, 95), (65, 80), (50, 65)]
    for grade, (low, high) in enumerate(bands):
        assert low <= iso_range(grade) <= high


@pytest.mark.parametrize("grade", range(6))
def test_density_points_lie_the_iso_range_apart(grade):
    # ISO 6846: R = 100 x log exposure range between density 0.04 and 0.9 Dmax above base
    stops = np.linspace(-25, 25, 200001)
    density = -np.log10(print_luminance(stops, grade))
    log_exposure = -stops * np.log10(2) * 0.55
    at = np.interp([0.04, 0.9 * 2.1], density[::-1], log_exposure[::-1])
    assert 100 * (at[1] - at[0]) == pytest.approx(iso_range(grade), abs=0.5)


def test_middle_of_the_paper_is_an_18_percent_grey():
    for grade in range(6):
        assert print_luminance(np.array([0.0]), grade)[0] == pytest.approx(0.18, abs=1e-6)


def test_a_harder_grade_has_more_contrast_and_keeps_the_order():
    root = np.sqrt(np.geomspace(0.01, 1, 500, dtype=np.float32))[None].repeat(4, 0)
    soft, hard = finish(root, grade=1), finish(root, grade=5)
    assert (np.diff(soft[0].astype(int)) >= 0).all()
    assert (np.diff(hard[0].astype(int)) >= 0).all()
    step = [float(np.ptp(np.log2(print_luminance(np.array([-0.5, 0.5]), grade)))) for grade in (1, 5)]
    assert step[1] > 1.5 * step[0]


def test_the_picture_does_not_depend_on_the_overall_exposure():
    rng = np.random.default_rng(0)
    root = np.sqrt(rng.uniform(0.02, 0.8, (60, 80))).astype(np.float32)
    a, b = finish(root), finish(root * np.float32(np.sqrt(0.5)))
    assert np.abs(a.astype(int) - b.astype(int)).max() <= 3


def test_film_look_glows_round_lights_and_never_darkens():
    root = np.full((100, 100), 0.2, np.float32)
    root[45:55, 45:55] = 1.0
    plain, glow = finish(root), finish(root, film_look=True)
    assert (glow >= plain).all()
    assert glow[43, 50] > plain[43, 50]


def test_flat_black_and_flat_white_pictures_finish():
    for tone in (2.0**-10, 2.0):
        picture = finish(np.full((20, 30), np.sqrt(tone), np.float32))
        assert picture.shape == (20, 30)
        assert np.isfinite(placement_stops(np.full((20, 30), np.sqrt(tone), np.float32), 4))


@pytest.mark.parametrize("grade", [-1, 5.1, 99])
def test_grade_outside_the_scale_is_refused(grade):
    with pytest.raises(BadValue, match="0 to 5"):
        iso_range(grade)


@pytest.mark.parametrize("grade", [0, 2, 4])
def test_the_zone_told_is_the_zone_drawn(grade):
    """IEC 61966-2-1 decodes the drawn grey; zone V is 18 %, one zone a stop (Adams, The Negative, 1981, ch. 4)."""
    tones = np.geomspace(2.0**-9, 1.5, 60, dtype=np.float32)
    root = np.sqrt(tones)[None].repeat(3, 0)
    curve = place_print(root, grade)
    drawn = finish(root, grade=grade)[0] / 255.0
    linear = np.where(drawn <= 0.04045, drawn / 12.92, ((drawn + 0.055) / 1.055) ** 2.4)
    told = curve.zone(5 + np.log2(tones / 0.18))
    assert np.abs(told - (5 + np.log2(linear / 0.18))).max() < 0.15
    assert (np.diff(told) >= 0).all()


def test_zones_of_the_print_end_at_paper_white_and_above_nothing():
    """Paper white is log2(1 / 0.18) = 2.5 zones above middle grey."""
    curve = PrintCurve(4, 0.0)
    assert float(curve.zone(20.0)) == pytest.approx(5 + np.log2(1 / 0.18), abs=0.02)
    assert -2.5 < float(curve.zone(-20.0)) < -1
    told = curve.zone_range(Range(3, 5, 6))
    assert told.low < told.likely < told.high


def test_a_rendering_tells_the_print_it_shows():
    _, scene, rendering = drawn(tower_on_a_moor())
    curve = print_of(rendering)
    for name, tone in rendering.classes.items():
        shown = np.median(rendering.picture[scene.label == CLASS_NAMES.index(name) + 1])
        assert zone_of(float(to_linear(shown / 255.0))) == pytest.approx(tone.zone.likely, abs=0.15), name
        assert float(curve.zone(tone.scene_zone.likely)) == pytest.approx(tone.zone.likely, abs=1e-6)
