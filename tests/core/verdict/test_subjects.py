"""What leads, on drawn scenes that differ in one thing. Common practice of landscape photographers, no source, unless
named."""

from __future__ import annotations

import numpy as np
import pytest

from irpreview.core.verdict.judging import judge_scene
from irpreview.core.verdict.layers import find_layers, ground_of
from irpreview.core.verdict.lead import LEADS_FROM, find_lead, needed_strength
from irpreview.core.verdict.separation import measure_separations
from irpreview.core.verdict.sky import read_sky
from irpreview.core.verdict.subjects import _loneness, _sky_strength, parting, subjects_of
from irpreview.core.words.verdict_words import reasons
from irpreview.records import Conditions, Layer, Range, Separation, Shade, Sky, Verdict
from tests.core.drawn_scenes import (
    Canvas,
    drawn,
    layered_view,
    oak_in_a_meadow,
    plain_under_blue_sky,
    tower_on_a_moor,
)


def judged(label: np.ndarray, wind_m_s: float = 0.5, shutter_s: float = 1 / 60, **options: object) -> Verdict:
    return judge_scene(*drawn(label, **options), Conditions(wind_m_s=wind_m_s), shutter_s=shutter_s)  # type: ignore[arg-type]


def strengths(label: np.ndarray, **options: object) -> dict[str, float]:
    photo, scene, rendering = drawn(label, **options)  # type: ignore[arg-type]
    ground = ground_of(photo, scene, rendering)
    layers, layer_map = find_layers(ground)
    separations, curve = measure_separations(ground, layers, layer_map, rendering, 4.0)
    found = subjects_of(layers, separations, layer_map, ground, curve, read_sky(ground))
    return {c.choice: c.strength for c in reversed(found)}


def test_a_line_of_far_trees_under_an_empty_sky_is_a_backdrop() -> None:
    """It is white on black and right across the frame, and still nothing to build on: wait for cloud."""
    verdict = judged(Canvas().box("tree", 0, 0.56, 1, 0.6).box("grass", 0, 0.6, 1, 1).label)
    assert verdict.lead == "wait"
    assert "cloud" in reasons(verdict)[0].text


def test_a_lone_tree_against_the_sky_is_a_figure_though_small() -> None:
    label = (
        Canvas()
        .box("ground", 0, 0.6, 1, 1)
        .round("tree", 0.55, 0.42, 0.07, 0.12)
        .box("tree", 0.54, 0.5, 0.56, 0.62)
        .label
    )
    verdict = judged(label)
    assert verdict.lead == "foliage"
    assert (label == 4).mean() < 0.04


def test_a_tower_carries_the_picture_under_an_empty_sky() -> None:
    assert judged(tower_on_a_moor()).lead == "structure"


def test_an_empty_sky_asks_more_the_larger_it_is() -> None:
    sky = read_sky(ground_of(*drawn(plain_under_blue_sky())))
    asked = [needed_strength(sky, share) for share in (0.1, 0.4, 0.6)]
    assert asked[0] == LEADS_FROM
    assert asked == sorted(asked)
    assert asked[2] > asked[1] > asked[0]


def test_a_wall_along_the_lower_edge_is_no_figure_but_the_same_wall_against_the_sky_is() -> None:
    low = strengths(Canvas().box("grass", 0, 0.5, 1, 1).box("structure", 0, 0.86, 1, 1).label)
    high = strengths(Canvas().box("grass", 0, 0.5, 1, 1).box("structure", 0.2, 0.3, 0.8, 0.54).label)
    assert low["structure"] < 0.5 * high["structure"]


def test_rock_and_snow_of_one_mountain_are_one_thing() -> None:
    canvas = Canvas(background="cloud").box("ground", 0, 0.7, 1, 1)
    for k in range(6):
        canvas.box("ground", 0.1 + 0.06 * k, 0.7 - 0.08 * k, 0.9 - 0.06 * k, 0.78 - 0.08 * k)
    canvas.box("snow", 0.35, 0.45, 0.65, 0.62)
    verdict = judged(canvas.label, cloud_texture_stops=0.05)
    assert verdict.lead == "structure"
    assert "mountain" in reasons(verdict)[0].text


def test_a_shore_as_level_as_the_horizon_is_no_hill_even_when_the_snap_is_tilted() -> None:
    flats, tilted, hill = (Canvas(background="cloud").box("grass", 0, 0.75, 1, 1) for _ in range(3))
    flats.box("ground", 0, 0.5, 1, 0.76)
    for k in range(20):
        tilted.box("ground", k / 20, 0.5 + 0.0015 * k, (k + 1) / 20, 0.76)
        hill.box("ground", k / 20, 0.5 - 0.2 * np.sin(np.pi * k / 19), (k + 1) / 20, 0.76)
    level, aslant, rising = (strengths(one.label).get("structure", 0.0) for one in (flats, tilted, hill))
    assert level == 0.0
    assert aslant < 0.2 * rising
    assert rising > 0.2


def test_leaves_lead_when_they_shine() -> None:
    """The same wood, white or mid-grey, under cloud that stands white on a dark sky."""
    drawn = Canvas().box("cloud", 0.1, 0.05, 0.45, 0.25).box("cloud", 0.6, 0.1, 0.95, 0.3).box("tree", 0, 0.38, 1, 0.62)
    label = drawn.box("water", 0, 0.62, 1, 0.75).box("grass", 0, 0.75, 1, 1).label
    bright, grey = (judged(label, tones={"tree": tone}, cloud_texture_stops=0.4) for tone in (0.6, 0.12))
    assert bright.lead == "foliage"
    assert grey.lead == "sky"


def test_the_sky_steps_back_for_a_tower() -> None:
    with_cloud = Canvas().box("cloud", 0.05, 0.1, 0.35, 0.3).box("cloud", 0.65, 0.15, 0.95, 0.35)
    alone = strengths(with_cloud.box("ground", 0, 0.72, 1, 1).label)
    tower = strengths(with_cloud.box("structure", 0.44, 0.25, 0.56, 0.78).label)
    assert tower["sky"] < 0.8 * alone["sky"]
    assert tower["structure"] > tower["sky"]


def test_cloud_on_a_dark_sky_counts_more_than_cloud_on_a_pale_one() -> None:
    label = Canvas().box("cloud", 0.1, 0.1, 0.5, 0.35).box("grass", 0, 0.6, 1, 1).label
    dark, pale = (strengths(label, tones={"clear_sky": tone})["sky"] for tone in (0.06, 0.55))
    assert dark > pale + 0.1


@pytest.mark.parametrize("edge_share", [0.0, 0.5, 1.0])
def test_parting_grows_with_the_step_and_takes_the_edge_into_account(edge_share: float) -> None:
    def separation(step: float) -> Separation:
        return Separation(0, 1, 1.0, 0.5, 1.5, 0.0, "separates", 1.0, edge_share, Range(step - 4, step, step + 4), 2.0)

    values = [parting(separation(step)) for step in (0, 5, 10, 20, 30, 60)]
    assert values == sorted(values)
    assert values[0] >= 0.75 * edge_share
    assert values[-1] == pytest.approx(1.0, abs=0.01)


# ---- what turns no lead: small changes of the snap


@pytest.mark.parametrize("scene", [tower_on_a_moor(), plain_under_blue_sky(), layered_view(), oak_in_a_meadow()])
def test_a_mirrored_scene_has_the_same_strengths(scene: np.ndarray) -> None:
    """No measure knows left from right. The drawn grain is not mirrored, hence the small rest."""
    once, mirrored = strengths(scene), strengths(np.ascontiguousarray(scene[:, ::-1]))
    assert once.keys() == mirrored.keys()
    for choice, strength in once.items():
        assert mirrored[choice] == pytest.approx(strength, abs=0.03)


def test_a_faint_sky_does_not_lead_however_large_and_a_lively_one_does() -> None:
    """By the words of the textures: faint below 0.08 stop, form that carries from 0.09 on."""
    layer = Layer(0, "cloud", "cloud", 0.6, Range(6, 7, 8), 7.0, (0.5, 0.3))

    def strength(stops: float, share: float = 0.6, figure: float = 0.0) -> float:
        return _sky_strength((layer,), (), Sky(8, stops, "textured", share=share), share, figure)

    grows = [strength(stops) for stops in np.linspace(0.0, 0.2, 41)]
    assert grows == sorted(grows)
    assert strength(0.07, 1.0) < LEADS_FROM < strength(0.09, 0.35)
    assert max(np.diff(grows)) < 0.1
    back = [strength(0.2, figure=figure) for figure in (0.0, 0.3, 0.6, 1.0)]
    assert back == sorted(back, reverse=True)
    assert back[-1] < 0.25 * back[0]


def test_the_sky_steps_back_for_a_mountain_as_for_a_tower() -> None:
    with_cloud = Canvas().box("cloud", 0.05, 0.05, 0.35, 0.25).box("cloud", 0.65, 0.05, 0.95, 0.25)
    plain = strengths(with_cloud.box("ground", 0, 0.75, 1, 1).label)
    for k in range(8):
        with_cloud.box("ground", 0.2 + 0.04 * k, 0.72 - 0.06 * k, 0.8 - 0.04 * k, 0.8 - 0.06 * k)
    peak = strengths(with_cloud.label)
    assert peak["structure"] > plain.get("structure", 0.0) + 0.2
    assert peak["sky"] < 0.85 * plain["sky"]
    assert peak["structure"] > peak["sky"]


@pytest.mark.parametrize(
    ("okta", "stops", "waits"),
    [
        *((0, 0.02, "cloud"), (1, 0.02, "cloud"), (3, 0.02, "cloud"), (4, 0.05, "breaks"), (6, 0.05, "breaks")),
        *((7, 0.05, "breaks"), (8, 0.02, "breaks"), (8, 0.09, None), (3, 0.09, None), (0, 0.09, None)),
    ],
)
def test_what_a_sky_without_form_lacks(okta: int, stops: float, waits: str | None) -> None:
    """Cloud while it is bare, breaks once half is covered; a sky with form lacks neither, and no okta lies between."""
    lead = find_lead((), (), Sky(okta, stops, "textured", share=0.5), 0.5, None, Shade(False), None)
    assert lead.wait_for == waits
    assert lead.choice == ("none" if waits is None else "wait")


def test_how_alone_a_tree_is_goes_by_degrees() -> None:
    """What a wood loses to a building, a lone tree does not: between the two lies no step."""
    found = []
    for width in np.linspace(0.2, 0.5, 16):
        inside = np.zeros((100, 200), bool)
        inside[40:60, 10 : 10 + round(200 * width)] = True
        found.append(_loneness(inside, float(inside.mean()), 0.8))
    assert found == sorted(found, reverse=True)
    assert found[0] == 1.0
    assert found[-1] == 0.0
    assert min(np.diff(found)) > -0.4
