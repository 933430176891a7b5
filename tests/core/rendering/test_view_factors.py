"""Sky and water by where they stand in the view, and a planned light, on drawn scenes and against published optics."""

import dataclasses
from datetime import UTC, datetime
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from irpreview.core.imaging.picture_geometry import pixels_per_radian
from irpreview.core.light.planned_light import leak_doubts, planned_doubts, planned_light
from irpreview.core.light.water_surface import water_signal_by_view
from irpreview.core.rendering.class_physics import class_physics
from irpreview.core.rendering.full_size import HIGHEST_TONE, LOWEST_TONE
from irpreview.core.rendering.view_factors import View, brightness_change, enlarged, light_is_known, view_factors
from irpreview.core.scene.scene_map import repaint, scene_from_network
from irpreview.core.words import in_words, long_words
from irpreview.errors import BadValue
from irpreview.io.kits import load_kit
from irpreview.io.tables import load_tables
from irpreview.records import Conditions, Kit, Light, Photo, Place, Shot
from irpreview.single_answers import light_of, render
from irpreview.single_answers import planned_light as plan_for
from tests.core import drawn

TABLES = load_tables()
VIEW = View(1024, 768, pixels_per_radian(1024, 768, 26.0), 400.0, 0.0)
MIX = np.broadcast_to(np.array([0.25, 1.0, -0.75, 0.25, 0.0], np.float32)[:, None, None], (5, 4, 4)).copy()
"""Stands in for what the network would say: the fixed mix 2G + 0.5R - 1.5B of the display values."""
KITS = ("converted-590", "converted-720", "converted-850")


def sun(bearing=90.0, height=40.0, side="side", **more) -> Light:
    return Light(sun_height_deg=height, sun_bearing_deg=bearing, sun_side=side, **more)


@pytest.fixture(scope="module")
def scene_and_photo():
    photo, scene = drawn.drawn_scene(384, 512)
    facts: dict[str, Any] = {"heading_deg": 0.0, "shot": Shot(focal_35mm_mm=26.0), "place": Place(46.5, 7.0)}
    photo = dataclasses.replace(photo, taken_at=datetime(2024, 7, 10, 9, tzinfo=UTC), **facts)
    return photo, dataclasses.replace(scene, mix=MIX, network_stops=None)


def maps(scene, kit="unmodified-720", light=None, view=VIEW, roughness=None):
    light, reference = light or sun(), load_kit("reference-pairs")
    before = class_physics(reference, light, load_tables(), reference).factor_stops
    kit = load_kit(kit) if isinstance(kit, str) else kit
    found = view_factors(view, scene, kit, reference, light, light, TABLES, before, roughness)
    return found.sky + found.sky_factor.likely, found.water + found.water_factor.likely, found


# ---------------------------------------------------------------------------------------------------- geometry


def test_directions_are_those_of_a_level_pinhole_camera():
    bearing, height = VIEW.directions()
    # x = f X / d: the edge of a 36 mm frame behind 26 mm stands atan(18 / 26) to the side; textbook optics
    assert bearing[0, -1] < np.degrees(np.arctan(18 / 26)) < bearing[0, -1] + 2.0
    assert bearing == pytest.approx(-bearing[:, ::-1])
    row = int(np.argmin(np.abs(height[:, height.shape[1] // 2])))
    assert (row + 0.5) / height.shape[0] * 768 == pytest.approx(400.0, abs=16.0)
    assert (np.diff(height, axis=0) < 0).all()


# --------------------------------------------------------------------------------------------------------- sky


def test_blue_sky_is_darkest_across_the_sun(scene_and_photo):
    # air scatters as 1 + cos^2 of the angle, least at 90 degrees (Rayleigh 1871); a longer wavelength keeps less of it
    _, scene = scene_and_photo
    heights = VIEW.directions()[1]
    up = heights[:, 0] > 15.0
    dark = {
        name: float(np.median(maps(scene, light=sun(bearing, 30.0, side))[0][up]))
        for name, bearing, side in (("ahead", 0.0, "ahead"), ("across", 90.0, "side"))
    }
    assert dark["across"] < dark["ahead"] - 0.15


def test_the_sky_darkens_upward_without_bands(scene_and_photo):
    _, scene = scene_and_photo
    for light in (sun(), sun(180.0, 10.0, "behind_camera"), sun(30.0, 60.0, "ahead"), sun(haze_aod=0.3)):
        sky, _, _ = maps(scene, light=light)
        full = enlarged(sky, 768, 1024)
        column = full[:330, 512]
        assert column[0] < column[-1] - 0.1
        # one row moves the tone by hardly a hundredth of a stop, and the slope itself turns slowly
        assert np.abs(np.diff(full[:330], axis=0)).max() < 0.02
        assert np.abs(np.diff(full[:330], axis=1)).max() < 0.02
        assert np.abs(np.diff(full[:330], 2, axis=0)).max() < 0.004


def test_a_longer_filter_and_clear_air_darken_it_more(scene_and_photo):
    # Rayleigh: the fourth power of wavelength; haze scatters nearly without colour
    _, scene = scene_and_photo
    by_kit = [maps(scene, kit)[2].sky_factor.likely for kit in KITS]
    assert by_kit[0] > by_kit[1] + 0.15 > by_kit[2] + 0.4
    by_haze = [maps(scene, light=sun(haze_aod=aod))[2].sky_factor.likely for aod in (0.05, 0.1, 0.3)]
    assert by_haze[0] + 0.1 < by_haze[1] < by_haze[2] - 0.3
    low = maps(scene, light=sun(height=8.0))[2].sky_factor.likely
    assert abs(low - by_haze[1]) < 0.8


def test_an_unknown_bearing_leaves_height_alone(scene_and_photo):
    _, scene = scene_and_photo
    nowhere = dataclasses.replace(VIEW, heading_deg=None)
    sky, _, found = maps(scene, view=nowhere)
    heights = nowhere.directions()[1]
    order = np.argsort(heights[heights > 2.0])
    assert (np.diff(sky[heights > 2.0][order]) < 1e-3).all()  # nothing but height counts
    assert found.sky_factor.width > maps(scene)[2].sky_factor.width


def test_an_overcast_has_no_blue(scene_and_photo):
    _, scene = scene_and_photo
    sky, _, _ = maps(scene, light=sun(sky_state="overcast"))
    assert sky == pytest.approx(-0.1, abs=1e-5)


# ------------------------------------------------------------------------------------------------------- water


def test_water_under_an_even_sky_mirrors_as_fresnel_says():
    # n = 1.333, unpolarised: 0.0204 at 0, 0.0597 at 60, 0.3479 at 80 degrees (Fresnel equations); an even sky looks as
    # bright as a white surface that it lights, so the share mirrored is the tone, beside the little that comes out
    grey = Light(sky_state="overcast")
    visible, band = water_signal_by_view(Kit(), grey, TABLES, [0.0, 60.0, 81.0], "calm")
    assert visible[0] == pytest.approx([0.0204, 0.0597, 0.3838], abs=0.02)
    assert band[0] == pytest.approx([0.0204, 0.0597, 0.3838], abs=0.02)


def test_water_goes_dark_looking_down_and_bright_where_it_mirrors_trees(scene_and_photo):
    _, scene = scene_and_photo
    heights = VIEW.directions()[1]
    _, water, _ = maps(scene)
    near, far = water[heights < -20.0].mean(), water[(heights > -6.0) & (heights < -1.0)].mean()
    assert near < far - 0.4
    label = drawn.landscape(384, 512)
    wooded = label.copy()
    wooded[:170][wooded[:170] < 3] = 4  # trees up to the top of the picture
    of_trees = scene_from_network(Photo(pixels=drawn.paint(wooded)), drawn.probability(wooded), MIX)
    low = heights < -2.0
    assert maps(of_trees, roughness="calm")[1][low].mean() > maps(scene, roughness="calm")[1][low].mean() + 1.0
    clouded = label.copy()
    clouded[clouded == 1] = 2
    of_cloud = scene_from_network(Photo(pixels=drawn.paint(clouded)), drawn.probability(clouded), MIX)
    ruffled = (maps(which, roughness="wind_rough")[1][low].mean() for which in (of_cloud, scene))
    assert next(ruffled) > next(ruffled) + 0.5


def test_roughness_counts(scene_and_photo):
    _, scene = scene_and_photo
    low = VIEW.directions()[1] < -2.0
    calm, rough, foam = (maps(scene, roughness=r)[1][low].mean() for r in ("calm", "wind_rough", "foam"))
    assert foam > max(calm, rough) + 0.3
    assert abs(calm - rough) > 0.02
    unknown = maps(scene)[2].water_factor
    assert unknown.width >= maps(scene, roughness="calm")[2].water_factor.width


# ------------------------------------------------------------------------------------------------- the picture


def test_the_reference_kit_does_not_move(scene_and_photo):
    """What the network learned is the pairs' own look: a known light gives other kits directions, not this one."""
    photo, scene = scene_and_photo
    known = render(photo, scene, load_kit("reference-pairs"))
    plain = render(dataclasses.replace(photo, taken_at=None), scene, load_kit("reference-pairs"))
    assert light_is_known(known.light)
    assert not light_is_known(plain.light)
    free = np.abs(known.parts_stops["residual"]) < 2.5
    assert free.mean() > 0.9
    assert np.abs(np.log2(known.tones / plain.tones)).mean() < 0.06  # placement of the snap, not directions


def test_direction_reaches_tone_zone_and_spread(scene_and_photo):
    label = np.full((384, 512), 5, np.uint8)
    label[:180] = 1
    photo = dataclasses.replace(scene_and_photo[0], pixels=drawn.paint(label))
    scene = scene_from_network(photo, drawn.probability(label), MIX)
    here, blind = render(photo, scene), render(dataclasses.replace(photo, taken_at=None), scene)

    def slope(rendering):  # from 1 to 3 degrees above the horizon up to 15 and more
        stops = np.log2(rendering.tones)
        return float(np.median(stops[160:172]) - np.median(stops[:80]))

    assert slope(here) > slope(blind) + 0.2
    assert here.classes["clear_sky"].factor_stops != blind.classes["clear_sky"].factor_stops
    assert np.median(here.spread_stops[:170]) < np.median(blind.spread_stops[:170])


def test_open_shade_differs_from_sun_by_kit(scene_and_photo):
    photo, _ = scene_and_photo
    label = np.full((384, 512), 7, np.uint8)
    label[:60] = 1
    pixels = drawn.paint(label).astype(np.float32)
    pixels[200:230, 200:240] *= np.array((0.36, 0.40, 0.52), np.float32)  # darker and bluer: lit by the sky alone
    shaded = dataclasses.replace(photo, pixels=pixels.astype(np.uint8))
    scene = scene_from_network(shaded, drawn.probability(label), MIX)

    def depth(kit):
        stops = np.log2(render(shaded, scene, load_kit(kit)).tones)
        return float(np.median(stops[330:, :]) - np.median(stops[205:225, 205:235]))

    depths = [depth(kit) for kit in KITS]
    assert depths[0] + 0.05 < depths[1] < depths[2] - 0.05


def test_a_mirrored_view_gives_the_mirrored_picture():
    label = drawn.landscape(192, 256)
    pixels, probability, mix = drawn.paint(label), drawn.probability(label), MIX
    # sun 60 degrees to the right; seen in a mirror it stands 60 degrees to the left
    straight = Photo(pixels=pixels, heading_deg=0.0, shot=Shot(focal_35mm_mm=24.0))
    turned = Photo(pixels=np.ascontiguousarray(pixels[:, ::-1]), heading_deg=0.0, shot=straight.shot)
    a = render(straight, scene_from_network(straight, probability, mix), light=sun(60.0))
    b = render(turned, scene_from_network(turned, probability[:, :, ::-1].copy(), mix), light=sun(-60.0))
    assert np.abs(np.log2(a.tones / b.tones[:, ::-1])).mean() < 0.02
    assert np.abs(a.parts_stops["factor"] - b.parts_stops["factor"][:, ::-1]).max() < 0.1


@settings(max_examples=12, deadline=None)
@given(
    height=st.floats(1.0, 90.0),
    bearing=st.floats(0.0, 359.0),
    haze=st.floats(0.0, 1.0),
    kit=st.sampled_from(("unmodified-720", *KITS, "reference-pairs")),
    wind=st.sampled_from((None, 0.5, 5.0, 15.0)),
)
def test_no_light_gives_a_tone_that_physics_forbids(scene_and_photo, height, bearing, haze, kit, wind):
    photo, scene = scene_and_photo
    light = sun(bearing, height, "unknown", haze_aod=haze, planned=True)
    done = render(photo, scene, load_kit(kit), light, conditions=Conditions(wind_m_s=wind))
    assert np.isfinite(done.tones).all()
    assert done.tones.min() >= 0.999 * LOWEST_TONE
    assert done.tones.max() <= 1.001 * HIGHEST_TONE
    assert (done.spread_stops > 0).all()
    parts = sum(done.parts_stops.values())
    inside = (done.tones > 1.01 * LOWEST_TONE) & (done.tones < 0.99 * HIGHEST_TONE)
    assert np.abs(np.log2(done.tones) - parts)[inside].max() < 2e-3


# ---------------------------------------------------------------------------------------------------- planned light


def test_a_planned_light_is_marked_and_doubted(scene_and_photo):
    photo, scene = scene_and_photo
    done = render(photo, scene, light=plan_for(photo, sun_height_deg=6.0, haze="hazy"))
    assert done.light.planned
    assert "no forecast" in in_words(done.doubts[0]).long
    assert "own shadows" in in_words(done.doubts[0]).long
    assert any("snap's light differs from the planned one" in doubt for doubt in long_words(done.doubts))
    assert not any("planned" in doubt for doubt in long_words(render(photo, scene).doubts))
    same = render(photo, scene, light=plan_for(photo, sun_height_deg=light_of(photo).sun_height_deg + 2.0))
    assert "no forecast" in in_words(same.doubts[0]).long
    assert not any("differs" in doubt for doubt in long_words(same.doubts))
    unknown = render(Photo(pixels=photo.pixels), scene, light=plan_for(Photo(pixels=photo.pixels), sun_height_deg=30))
    assert any("is not known" in doubt for doubt in long_words(unknown.doubts))


def test_haze_lightens_the_planned_sky_and_spares_the_land(scene_and_photo):
    photo, scene = scene_and_photo
    height = light_of(photo).sun_height_deg
    clear, hazy = (
        render(photo, scene, light=plan_for(photo, sun_height_deg=height, haze=h)) for h in ("clear", "hazy")
    )
    change = {
        n: hazy.classes[n].scene_zone.likely - clear.classes[n].scene_zone.likely
        for n in ("clear_sky", "grass", "cloud")
    }
    assert change["clear_sky"] > 0.8
    assert abs(change["grass"]) < 0.25
    assert abs(change["cloud"]) < 0.35


def test_the_sky_is_brightest_towards_a_low_sun(scene_and_photo):
    # the ring of haze round the sun; common practice, no source
    _, scene = scene_and_photo
    before = sun(90.0, 45.0)
    ahead, across = (
        brightness_change(VIEW, scene, sun(bearing, 8.0, planned=True), before, TABLES)[0] for bearing in (0.0, 90.0)
    )
    assert ahead.mean() > across.mean()
    assert np.abs(ahead).max() <= 1.5


@pytest.mark.parametrize(
    ("given_light", "words"),
    [
        ({}, "a sun height or a time"),
        ({"sun_height_deg": 20.0, "when": datetime(2024, 7, 1, 9, tzinfo=UTC)}, "not both"),
        ({"sun_height_deg": -3.0}, "1 to 90"),
        ({"sun_height_deg": float("nan")}, "1 to 90"),
        ({"sun_height_deg": 95.0}, "1 to 90"),
        ({"when": datetime(2024, 7, 1, 9, tzinfo=UTC)}, "needs a place"),
        ({"when": datetime(2024, 7, 1, 9), "place": Place(46.0, 7.0)}, "has no zone"),
        ({"when": datetime(2024, 7, 1, 0, tzinfo=UTC), "place": Place(46.0, 7.0)}, "between sunrise and sunset"),
        ({"sun_height_deg": 20.0, "haze": "thick"}, "must be one of"),
    ],
)
def test_nonsense_is_refused_with_a_remedy(given_light, words):
    with pytest.raises(BadValue, match=words):
        planned_light(Light(), **given_light)


def test_a_planned_time_finds_its_sun():
    when = datetime(2024, 6, 21, 12, tzinfo=UTC)
    light = planned_light(Light(haze_aod=0.2), when=when, place=Place(0.0, 0.0), heading_deg=180.0)
    # at the June solstice the noon sun on the equator stands 90 - 23.44 degrees high, in the north; astronomy
    assert light.sun_height_deg == pytest.approx(66.6, abs=0.4)
    assert light.sun_side == "behind_camera"
    assert light.haze_aod == 0.2
    assert light.planned
    said = planned_doubts(light, sun(180.0, 66.0, "ahead"), True)
    assert any("into the light instead of sun behind you" in text for text in long_words(said))


# ------------------------------------------------------------------------------------------------------- the leak


def test_a_leak_lightens_the_sky_first(scene_and_photo):
    photo, scene = scene_and_photo
    tight = load_kit("unmodified-720")
    loose = dataclasses.replace(tight, name="loose", filter_leak=1e-4)
    a, b = render(photo, scene, tight), render(photo, scene, loose)
    rise = {
        n: b.classes[n].scene_zone.likely - a.classes[n].scene_zone.likely
        for n in ("clear_sky", "structure", "tree", "grass")
    }
    assert rise["clear_sky"] > 0.3
    assert abs(rise["structure"]) < 0.5 * rise["clear_sky"]
    assert rise["tree"] < -0.3
    assert rise["grass"] < -0.3
    assert any("leaks" in doubt for doubt in long_words(b.doubts))
    assert not any("leaks" in doubt for doubt in long_words(a.doubts))
    assert leak_doubts(tight, 0.02) == ()


def test_a_painted_cloud_stays_a_cloud(scene_and_photo):
    photo, scene = scene_and_photo
    mask = np.zeros(scene.label.shape, bool)
    mask[100:140, 20:120] = True
    before, after = render(photo, scene), render(photo, repaint(scene, mask, "cloud"))
    assert np.median(np.log2(after.tones[110:130, 30:110] / before.tones[110:130, 30:110])) > 0.5
