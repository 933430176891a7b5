"""The verdict on scenes whose answer is known, its criterion beside published figures, and its stability."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest

from irpreview.core.motion.blur import movement_at, rates_of_motion
from irpreview.core.motion.print_blur import kept_by
from irpreview.core.rendering.finishing import PrintCurve
from irpreview.core.units import beaufort_m_s
from irpreview.core.verdict.judging import judge_scene
from irpreview.core.verdict.layers import LEAST_TRUST, NOISE_SHARE, ground_of, trust_in
from irpreview.core.verdict.separation import (
    LEAST_STEP,
    edge_step,
    print_curve,
    says_of,
    step_range,
    texture_limit,
    word_for,
)
from irpreview.core.words.verdict_words import reasons, sentences
from irpreview.errors import BadValue
from irpreview.records import Conditions, Light, Range, Separation, Verdict
from tests.core.drawn_scenes import (
    Canvas,
    drawn,
    layered_view,
    oak_in_a_meadow,
    plain_under_blue_sky,
    tower_on_a_moor,
    wood_under_cloud,
)


def judged(
    label: np.ndarray, wind_m_s: float | None = 1.0, shutter_s: float | None = 1 / 60, **options: object
) -> Verdict:
    return judge_scene(*drawn(label, **options), Conditions(wind_m_s=wind_m_s), shutter_s=shutter_s)  # type: ignore[arg-type]


def gap_between(verdict: Verdict, one: str, other: str) -> Separation:
    for separation in verdict.separations:
        if {verdict.layers[separation.a].class_name, verdict.layers[separation.b].class_name} == {one, other}:
            return separation
    raise AssertionError(f"no separation between {one} and {other}")


# ---- the criterion


def test_lightness_of_the_print_against_cie_1976() -> None:
    """18 % is L* 49.5, 9 % is L* 36 (CIE 15:2004): a reflectance of the print gives the L* of the standard."""
    curve = PrintCurve(2.0, -float(np.log2(0.18)))  # zone V on the middle of the paper
    assert float(curve.lightness(5.0)) == pytest.approx(49.5, abs=0.5)


def test_a_print_is_monotonic_and_a_harder_grade_steeper() -> None:
    zones = np.linspace(0, 9, 60)
    for grade in range(6):
        assert (np.diff(PrintCurve(grade, 2.0).lightness(zones)) >= 0).all()
    steps = [float(np.ptp(PrintCurve(g, -float(np.log2(0.18))).lightness(np.array([4.5, 5.5])))) for g in range(6)]
    assert steps == sorted(steps)


def test_least_step_is_half_a_stop_at_mid_grey() -> None:
    """Half a stop, ratio 1.41, is one 'shade of grey' of the ergonomics handbooks: 8 L* about 18 % reflectance."""

    def lightness(y: float) -> float:
        return 116 * y ** (1 / 3) - 16

    assert lightness(0.18 * 2**0.25) - lightness(0.18 * 2**-0.25) == pytest.approx(LEAST_STEP, abs=0.7)


def test_same_gap_counts_less_in_the_shadows_of_the_print() -> None:
    """L* per stop falls towards black (CIE 1976): 7 a stop at 2 %, 15 at 18 %."""
    curve = PrintCurve(2.0, 1.0)
    dark, middle = (float(np.ptp(curve.lightness(np.array([z - 0.25, z + 0.25])))) for z in (0.5, 4.0))
    assert dark < 0.5 * middle


def test_rough_textures_ask_for_more() -> None:
    assert texture_limit(0, 0) == LEAST_STEP
    assert texture_limit(10, 10) == pytest.approx(13.0)
    assert texture_limit(40, 40) == 15.0


@pytest.mark.parametrize(
    ("step", "word"),
    [
        (Range(10, 20, 30), "separates"),
        (Range(-30, -20, -10), "separates"),
        (Range(-5, 0, 5), "merges"),
        (Range(2, 9, 20), "uncertain"),
        (Range(-20, 1, 5), "uncertain"),
        (Range(-30, 0, 30), "uncertain"),
    ],
)
def test_a_gap_holds_only_when_its_end_nearer_to_nothing_clears_the_limit(step: Range, word: str) -> None:
    assert says_of(step, 8.0) == word


def test_contrast_is_trusted_as_far_as_regression_to_the_mean_allows() -> None:
    """Slope of truth on prediction = 1 - error variance / predicted variance (attenuation; Fuller 1987, chapter 1)."""
    rng = np.random.default_rng(5)
    truth = rng.normal(5.0, 1.2, (300, 400))
    predicted = truth + rng.normal(0.0, 0.7, truth.shape)
    slope = float(np.polyfit(predicted.ravel(), truth.ravel(), 1)[0])
    spread = np.full(truth.shape, 1.645 * 0.7 / np.sqrt(NOISE_SHARE), np.float32)
    assert trust_in(predicted.astype(np.float32), spread) == pytest.approx(slope, abs=0.01)
    assert trust_in(predicted.astype(np.float32), 0 * spread) == 1.0
    assert trust_in(np.full((20, 20), 5.0, np.float32), spread[:20, :20]) == LEAST_TRUST


def test_only_the_kit_of_the_research_pairs_is_weighed() -> None:
    """Other kits carry physics that those pairs cannot show."""
    for kit, weighed in (("reference-pairs", True), ("unmodified-720", False)):
        photo, scene, rendering = drawn(tower_on_a_moor(), kit=kit, spread_stops=1.2)
        assert (ground_of(photo, scene, rendering).trust < 1) == weighed


@pytest.mark.parametrize(
    ("separation", "sigma", "word"),
    [
        (1.5, 0.2, "separates"),
        (-1.5, 0.2, "separates"),
        (0.05, 0.2, "merges"),
        (0.35, 0.2, "uncertain"),
        (1.0, 0.9, "uncertain"),  # the likely step is large, its sign is open
    ],
)
def test_words_of_a_gap_in_the_middle_of_the_scale(separation: float, sigma: float, word: str) -> None:
    curve = PrintCurve(4.0, -float(np.log2(0.18)))
    assert word_for(5 + separation / 2, 5 - separation / 2, sigma, 10.0, curve) == word


def test_a_doubtful_gap_never_says_more_than_a_sure_one() -> None:
    curve = PrintCurve(4.0, -float(np.log2(0.18)))
    for separation in np.arange(0.0, 2.5, 0.1):
        words = [
            word_for(5 + separation / 2, 5 - separation / 2, sigma, 10.0, curve) for sigma in (0.01, 0.2, 0.5, 1.0, 2.0)
        ]
        assert words == sorted(words, key=lambda w: w == "uncertain"), (separation, words)


def test_step_has_the_sign_of_the_gap() -> None:
    curve = PrintCurve(4.0, 2.0)
    up, down = step_range(6.0, 5.0, 0.5, 1.5, curve), step_range(5.0, 6.0, -1.5, -0.5, curve)
    assert up.low > 0
    assert down.high < 0
    assert up.likely == pytest.approx(-down.likely)


def test_edge_step_is_measured_at_the_edge() -> None:
    """Two ramps that meet with a step of 0.5 zone although their areas differ by 2.5."""
    height, width = 200, 300
    layer_map = np.zeros((height, width), np.int16)
    layer_map[100:] = 1
    rows = np.arange(height, dtype=np.float32)[:, None] * np.ones((1, width), np.float32)
    zones = np.where(layer_map == 0, 6 - rows / 100, 4.5 - (rows - 100) / 100).astype(np.float32)
    edge = edge_step(zones, layer_map, 0, 1, print_curve(zones, 2.0), 4.0)
    assert edge.zones == pytest.approx(0.5, abs=0.12)
    assert edge.xy[1] == pytest.approx(0.5, abs=0.02)


# ---- scenes with a known answer


def test_gaps_are_differences_of_the_layers_zones() -> None:
    verdict = judged(layered_view())
    assert verdict.separations
    for separation in verdict.separations:
        difference = verdict.layers[separation.a].zone.likely - verdict.layers[separation.b].zone.likely
        assert separation.zones == pytest.approx(difference, abs=1e-4)
        assert separation.low <= separation.zones <= separation.high
        visible = verdict.layers[separation.a].visible_zone - verdict.layers[separation.b].visible_zone
        assert separation.visible_zones == pytest.approx(visible, abs=1e-4)
        x, y = separation.edge_xy
        assert 0 <= x <= 1
        assert 0 <= y <= 1


def test_foliage_melts_into_white_cloud() -> None:
    separation = gap_between(judged(wood_under_cloud(), tones={"tree": 0.62, "cloud": 0.66}), "tree", "cloud")
    assert separation.says == "merges"
    assert abs(separation.visible_zones) > 1.5  # colour kept them apart: dark green against white


def test_tower_parts_from_blue_sky() -> None:
    verdict = judged(tower_on_a_moor())
    assert gap_between(verdict, "structure", "clear_sky").says == "separates"
    assert verdict.lead == "structure"


def test_plain_blue_sky_says_wait_for_cloud() -> None:
    verdict = judged(plain_under_blue_sky())
    assert verdict.lead == "wait"
    assert verdict.sky.word == "clear"
    assert "cloud" in reasons(verdict)[0].text.lower()
    assert "cannot tell how long" in reasons(verdict)[0].text
    assert any("wait for cloud" in s.text.lower() for s in sentences(verdict))


def test_grey_day_over_mud_says_wait_for_breaks() -> None:
    label = Canvas(background="cloud").box("ground", 0, 0.6, 1, 1).box("water", 0.1, 0.7, 0.9, 0.8).label
    verdict = judged(label, tones={"ground": 0.5, "cloud": 0.55, "water": 0.35}, cloud_texture_stops=0.01)
    assert verdict.sky.word == "overcast"
    assert verdict.lead == "wait"
    assert verdict.wait_for == "breaks"


def test_the_same_oak_leads_in_a_light_air_and_not_in_a_strong_breeze_at_30_s() -> None:
    """Beaufort 1: smoke drifts; 6: large branches in motion (WMO code 1100)."""
    calm = judged(oak_in_a_meadow(), beaufort_m_s(1), 1 / 60)
    windy = judged(oak_in_a_meadow(), beaufort_m_s(6), 30.0)
    assert calm.lead == "foliage"
    assert windy.lead != "foliage"
    assert "lull" in reasons(windy)[0].text


def test_the_lead_turns_at_the_wind_it_names() -> None:
    label = oak_in_a_meadow()
    turns = judged(label, 2.0, 1.0).turns_at_wind_m_s
    assert turns is not None
    assert turns.low < turns.likely < turns.high
    assert judged(label, 0.8 * turns.likely, 1.0).lead == "foliage"
    assert judged(label, 1.25 * turns.likely, 1.0).lead != "foliage"
    # a longer time lets less wind through
    longer = judged(label, 2.0, 1 / 30).turns_at_wind_m_s
    assert longer is None or longer.likely > turns.likely


def test_with_a_tower_beside_it_the_oak_hands_over_to_the_tower() -> None:
    label = (
        Canvas()
        .box("ground", 0, 0.7, 1, 1)
        .round("tree", 0.7, 0.5, 0.14, 0.22)
        .box("structure", 0.3, 0.35, 0.36, 0.75)
        .label
    )
    tones = {"structure": 0.2, "clear_sky": 0.06}
    assert judged(label, 0.5, 1 / 125, tones=tones).lead in ("foliage", "structure")
    assert judged(label, 12.0, 30.0, tones=tones).lead == "structure"


def test_everything_in_shade_is_told() -> None:
    """Open shade has about an eighth of the light of sun and sky: three stops (clear-sky diffuse share, handbooks)."""
    verdict = judged(
        oak_in_a_meadow(),
        tones={"tree": 0.12, "grass": 0.11, "clear_sky": 0.06},
        colour_gain={"tree": 0.42, "grass": 0.42},
    )
    assert any("shade" in s.text for s in sentences(verdict))
    assert verdict.lead == "wait"
    assert not any("shade" in s.text for s in sentences(judged(oak_in_a_meadow())))


def test_a_sun_below_the_horizon_is_shade_too() -> None:
    light = Light(sun_height_deg=0.0, sun_bearing_deg=270.0)
    assert any("shade" in s.text for s in sentences(judged(oak_in_a_meadow(), light=light)))


def test_unknown_wind_and_shutter_leave_the_turning_wind_open() -> None:
    verdict = judged(oak_in_a_meadow(), None, None)
    assert verdict.turns_at_wind_m_s is None
    assert verdict.lead == "foliage"


def test_movement_that_is_handed_in_is_used() -> None:
    photo, scene, rendering = drawn(oak_in_a_meadow())
    storm = Conditions(wind_m_s=15.0)
    movement = movement_at(rates_of_motion(scene, storm, photo), 10.0)
    assert judge_scene(photo, scene, rendering, storm, movement).lead == "wait"


def test_foliage_loses_the_lead_steadily_as_it_smears() -> None:
    """0.2 mm is one minute of arc from 0.7 m: nothing is lost that an eye of decimal acuity 1 sees (ISO 8596)."""
    kept = [kept_by(mm) for mm in (0.0, 0.2, 0.3, 0.6, 0.9, 2.4, 20)]
    assert kept[:2] == [1.0, 1.0]
    assert kept == sorted(kept, reverse=True)
    assert kept[-1] == 0.0


def test_layered_contrast_orders_scenes_and_shows_its_parts() -> None:
    deep, flat = judged(layered_view()), judged(wood_under_cloud(), tones={"tree": 0.62, "cloud": 0.66})
    assert 0 <= flat.layered_contrast < 30 < 70 < deep.layered_contrast <= 100
    for verdict in (deep, flat):
        parts = verdict.layered_contrast_parts
        score = 100 * parts.parting**0.6 * parts.depth**0.2 * parts.range**0.2
        assert verdict.layered_contrast == pytest.approx(score, abs=0.2)


def test_composition_tells_facts() -> None:
    facts = judged(oak_in_a_meadow()).composition
    assert facts.horizon_height == pytest.approx(0.3, abs=0.02)
    assert facts.sky_share + facts.ground_share == pytest.approx(1.0, abs=0.002)
    crops = {crop.format: crop for crop in facts.crops}
    assert crops["4:3"].keeps_share == pytest.approx(1.0)
    assert crops["1:1"].keeps_share == pytest.approx(0.75, abs=0.01)
    assert crops["2:1"].keeps_share == pytest.approx(2 / 3, abs=0.01)


def test_a_soft_paper_holds_less_apart() -> None:
    photo, scene, rendering = drawn(tower_on_a_moor(), {"structure": 0.2, "clear_sky": 0.14})
    soft, hard = (judge_scene(photo, scene, rendering, grade=g) for g in (0.0, 5.0))
    steps = [abs(gap_between(v, "structure", "clear_sky").print_step.likely) for v in (soft, hard)]
    assert steps[0] < 0.6 * steps[1]


@pytest.mark.parametrize("grade", [-1.0, 5.5])
def test_a_grade_outside_the_scale_is_refused(grade: float) -> None:
    with pytest.raises(BadValue, match="0 to 5"):
        judge_scene(*drawn(oak_in_a_meadow()), grade=grade)


def test_one_thing_that_fills_the_frame_is_one_layer_without_gaps() -> None:
    verdict = judged(Canvas(background="tree").label)
    assert len(verdict.layers) == 1
    assert verdict.separations == ()
    assert verdict.layered_contrast == 0
    assert verdict.sky.word == "none"


# ---- stability


@pytest.mark.parametrize("scene_of", [layered_view, oak_in_a_meadow, tower_on_a_moor, plain_under_blue_sky])
def test_half_size_and_a_small_crop_change_no_lead_and_no_clear_gap(scene_of: object) -> None:
    label = scene_of()  # type: ignore[operator]
    once = judged(label, 2.0, 1 / 30)
    for other_label in (cv2.resize(label, None, fx=0.5, fy=0.5, interpolation=0), label[8:-8, 10:-10]):
        other = judged(np.ascontiguousarray(other_label), 2.0, 1 / 30)
        assert other.lead == once.lead
        clear = {(once.layers[g.a].name, once.layers[g.b].name): g.says for g in once.separations if abs(g.zones) > 1}
        found = {(other.layers[g.a].name, other.layers[g.b].name): g.says for g in other.separations}
        assert {pair: found.get(pair) for pair in clear} == clear


def test_the_same_input_gives_the_same_verdict() -> None:
    first, second = judged(layered_view()), judged(layered_view())
    assert np.array_equal(first.layer_map, second.layer_map)
    assert replace(first, layer_map=second.layer_map) == second
