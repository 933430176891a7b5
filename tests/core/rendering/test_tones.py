import dataclasses

import cv2
import numpy as np
import pytest

from irpreview.core.imaging.srgb import linear_pixels, to_linear
from irpreview.core.rendering.class_physics import class_physics
from irpreview.core.rendering.full_size import HIGHEST_TONE, LOWEST_TONE
from irpreview.core.rendering.tones import RESIDUAL_LIMIT_STOPS
from irpreview.core.rendering.tones import render_tones as render_with
from irpreview.core.scene import scene_map as module
from irpreview.core.scene.scene_map import repaint, scene_from_network
from irpreview.installation import load_tables, pairs_table, reference_kit
from irpreview.io.kits import load_kit
from irpreview.records import Light, Photo, zone_of
from tests.core import drawn


@pytest.fixture(autouse=True)
def plain_network_tone(monkeypatch):
    """A stand-in for the network's tone: the fixed mix 2G + 0.5R - 1.5B of the display values."""

    def tone(pixels, mix):
        red, green, blue = np.moveaxis(pixels.astype(np.float32) / 255, -1, 0)
        return np.clip(0.25 + 0.5 * (2 * green + 0.5 * red - 1.5 * blue), 0, 1).astype(np.float32)

    monkeypatch.setattr(module, "reference_tone", tone)


def render(photo, scene, kit="unmodified-720", light=None, **options):
    kit = load_kit(kit) if isinstance(kit, str) else kit
    light = light or Light()
    return render_with(
        photo, scene, kit, light, class_physics(kit, light, load_tables(), reference_kit()), pairs_table(), **options
    )


@pytest.fixture(scope="module")
def scene_and_photo():
    photo, scene = drawn.drawn_scene()
    return photo, dataclasses.replace(scene, network_stops=None)  # the stand-in above is asked instead


def test_srgb_curve_of_iec_61966_2_1():
    # IEC 61966-2-1:1999, 5.2: 8-bit 188 decodes to about one half, the linear part ends at 0.04045
    table = linear_pixels(np.arange(256, dtype=np.uint8))
    assert table[0] == 0
    assert table[255] == 1
    assert table[188] == pytest.approx(0.5029, abs=1e-4)
    assert table[10] == pytest.approx(10 / 255 / 12.92, rel=1e-5)
    assert np.allclose(to_linear((np.arange(256) / 255).astype(np.float32)[None])[0], table, atol=2e-6)


def test_zones_count_stops_from_a_grey_card_in_zone_five():
    # zone V = 18 % reflectance, one zone = one stop; A. Adams, The Negative (1981), ch. 4
    assert zone_of(0.18) == 5
    assert zone_of(0.36) == pytest.approx(6)
    assert zone_of(1.0) == pytest.approx(7.474, abs=1e-3)


def test_leaves_go_bright_and_sky_and_water_go_dark(scene_and_photo):
    photo, scene = scene_and_photo
    zones = {name: tone.scene_zone.likely for name, tone in render(photo, scene).classes.items()}
    assert zones["tree"] - zones["clear_sky"] > 1.7  # the drawn sky lies where development crowds tones together
    assert zones["grass"] - zones["water"] > 2
    assert zones["cloud"] - zones["clear_sky"] > 2
    visible = np.log2(linear_pixels(photo.pixels)[..., 1] + 1e-6)
    assert np.median(visible[scene.label == 1]) > np.median(visible[scene.label == 4])  # in colour it is the reverse


def test_tones_stay_within_what_physics_allows(scene_and_photo):
    photo, scene = scene_and_photo
    for kit in ("unmodified-720", "converted-590", "converted-850", "reference-pairs"):
        rendering = render(photo, scene, kit)
        assert rendering.tones.dtype == np.float32
        assert rendering.tones.min() >= 0.999 * LOWEST_TONE
        assert rendering.tones.max() <= 1.001 * HIGHEST_TONE
        assert (rendering.spread_stops > 0).all()
        assert np.abs(rendering.parts_stops["residual"]).max() <= RESIDUAL_LIMIT_STOPS


def test_the_parts_add_up_to_the_tone(scene_and_photo):
    photo, scene = scene_and_photo
    rendering = render(photo, scene)
    total = sum(rendering.parts_stops.values())
    inside = (rendering.tones > 1.01 * LOWEST_TONE) & (rendering.tones < 0.99 * HIGHEST_TONE)
    assert np.abs(np.log2(rendering.tones) - total)[inside].max() < 1e-3


def test_other_kits_depart_from_the_reference_by_class_factors_open_shade_and_development_alone(scene_and_photo):
    photo, scene = scene_and_photo
    a, b = render(photo, scene, "reference-pairs"), render(photo, scene, "converted-850")
    by_factor = b.parts_stops["factor"] - a.parts_stops["factor"]
    by_shade = b.parts_stops["shade"] - a.parts_stops["shade"]
    by_development = b.parts_stops["visible"] - a.parts_stops["visible"]
    assert np.abs(by_factor).max() > 0.3
    assert by_shade.min() < -0.05 < 0.0 <= by_shade.max()
    unclipped = np.abs(a.parts_stops["residual"]) < RESIDUAL_LIMIT_STOPS - 0.2
    unclipped &= (b.tones > 1.01 * LOWEST_TONE) & (a.tones < 0.99 * HIGHEST_TONE) & (b.tones < 0.99 * HIGHEST_TONE)
    assert unclipped.mean() > 0.9
    assert np.abs(np.log2(b.tones / a.tones) - by_factor - by_shade - by_development)[unclipped].max() < 0.02


def test_the_development_of_highlights_is_undone_for_the_scene_but_not_for_the_pairs_kit(scene_and_photo):
    """Contrast of light against what is drawn: 1.15 at middle grey, 2 and more near white (`imaging.srgb`)."""
    photo, scene = scene_and_photo
    luminance = np.log2(linear_pixels(photo.pixels) @ np.array([0.2126, 0.7152, 0.0722], np.float32))
    for kit, least in (("reference-pairs", 1.0), ("unmodified-720", 1.15)):
        visible = render(photo, scene, kit).parts_stops["visible"]
        cloud, grass = (scene.label == i for i in (2, 5))
        step = np.median(visible[cloud]) - np.median(visible[grass])
        drawn = np.median(luminance[cloud]) - np.median(luminance[grass])
        assert step == pytest.approx(drawn, abs=1e-3) if least == 1.0 else step > least * drawn, kit


def test_a_longer_filter_darkens_the_sky_more(scene_and_photo):
    # Rayleigh scattering falls with the fourth power of wavelength: blue sky goes darker behind a longer cut-on
    photo, scene = scene_and_photo
    sky = [
        (lambda z: z["clear_sky"].scene_zone.likely - z["cloud"].scene_zone.likely)(render(photo, scene, kit).classes)
        for kit in ("converted-590", "converted-720", "converted-850")
    ]
    assert sky[0] > sky[1] + 0.1 > sky[2] + 0.2


def test_haze_takes_darkness_from_the_sky(scene_and_photo):
    photo, scene = scene_and_photo
    clear = render(photo, scene, light=Light(haze_aod=0.05)).classes["clear_sky"].scene_zone.likely
    hazy = render(photo, scene, light=Light(haze_aod=0.3)).classes["clear_sky"].scene_zone.likely
    assert hazy > clear + 0.15


def test_a_repainted_region_takes_the_tone_of_its_new_class(scene_and_photo):
    photo, scene = scene_and_photo
    mask = np.zeros(scene.label.shape, bool)
    mask[155:185, 30:90] = True
    before = render(photo, scene)
    after = render(photo, repaint(scene, mask, "water"))
    change = np.log2(after.tones[mask]) - np.log2(before.tones[mask])
    assert np.median(change) < -1
    assert np.abs(after.parts_stops["residual"][160:180, 40:80]).max() == 0
    far = np.zeros_like(mask)
    far[:60] = True
    assert np.abs(np.log2(after.tones[far] / before.tones[far])).max() < 0.5


@pytest.mark.parametrize("stops", [-2 / 3, 2 / 3])
def test_exposure_of_the_snap_moves_zones_by_less_than_their_spread(scene_and_photo, stops):
    photo, scene = scene_and_photo
    linear = linear_pixels(photo.pixels) * 2.0**stops
    display = np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * np.maximum(linear, 1e-9) ** (1 / 2.4) - 0.055)
    other = dataclasses.replace(photo, pixels=np.clip(255 * display + 0.5, 0, 255).astype(np.uint8))
    a, b = render(photo, scene).classes, render(other, scene).classes
    for name, tone in a.items():
        assert abs(tone.scene_zone.likely - b[name].scene_zone.likely) < tone.scene_zone.width / 2, name


@pytest.mark.parametrize("quality", [35, 60, 95])
def test_jpeg_quality_moves_zones_by_less_than_their_spread(scene_and_photo, quality):
    photo, scene = scene_and_photo
    coded = cv2.imencode(".jpg", photo.pixels, [cv2.IMWRITE_JPEG_QUALITY, quality])[1]
    other = dataclasses.replace(photo, pixels=cv2.imdecode(coded, cv2.IMREAD_COLOR))
    a, b = render(photo, scene).classes, render(other, scene).classes
    for name, tone in a.items():
        assert abs(tone.scene_zone.likely - b[name].scene_zone.likely) < 0.5 * tone.scene_zone.width / 2, name


def test_a_mirrored_snap_gives_the_mirrored_picture():
    label = drawn.landscape()
    pixels = drawn.paint(label)
    straight = Photo(pixels=pixels)
    mirrored = Photo(pixels=np.ascontiguousarray(pixels[:, ::-1]))
    mix = np.zeros((1, 4, 4), np.float32)
    a = render(straight, scene_from_network(straight, drawn.probability(label), mix)).tones
    b = render(mirrored, scene_from_network(mirrored, drawn.probability(label[:, ::-1]), mix)).tones
    assert np.abs(np.log2(a / b[:, ::-1])).mean() < 0.02


def test_full_size_tones_agree_with_the_working_size():
    label = cv2.resize(drawn.landscape(), (2048, 1536), interpolation=cv2.INTER_NEAREST)
    big = Photo(pixels=drawn.paint(label))
    small = Photo(pixels=cv2.resize(big.pixels, (1024, 768), interpolation=cv2.INTER_AREA))
    mix = np.zeros((1, 4, 4), np.float32)
    a = render(big, scene_from_network(big, drawn.probability(label, 16), mix))
    b = render(small, scene_from_network(small, drawn.probability(label, 16), mix))
    assert a.tones.shape == (1536, 2048)
    reduced = cv2.resize(a.tones, (1024, 768), interpolation=cv2.INTER_AREA)
    assert np.abs(np.log2(reduced / b.tones)).mean() < 0.15
    for name in b.classes:
        assert a.classes[name].scene_zone.likely == pytest.approx(b.classes[name].scene_zone.likely, abs=0.1)


def test_finishing_leaves_the_tones_alone(scene_and_photo):
    photo, scene = scene_and_photo
    a, b = render(photo, scene, grade=0), render(photo, scene, grade=5, film_look=True)
    assert (a.tones == b.tones).all()
    assert (a.picture != b.picture).any()


def test_the_same_input_gives_the_same_output(scene_and_photo):
    photo, scene = scene_and_photo
    a, b = render(photo, scene), render(photo, scene)
    assert (a.tones == b.tones).all()
    assert (a.picture == b.picture).all()


def test_a_personal_correction_moves_its_class_only(scene_and_photo):
    photo, scene = scene_and_photo
    kit = load_kit("unmodified-720")
    corrected = dataclasses.replace(kit, class_correction_stops={"grass": -0.7})
    a, b = render(photo, scene, kit).classes, render(photo, scene, corrected).classes
    assert b["grass"].scene_zone.likely - a["grass"].scene_zone.likely == pytest.approx(-0.7, abs=0.1)
    assert b["structure"].scene_zone.likely == pytest.approx(a["structure"].scene_zone.likely, abs=0.05)


@pytest.mark.parametrize("shape", [(1, 1), (7, 300), (300, 7), (33, 2000)])
def test_odd_shapes_are_rendered(shape):
    label = np.full(shape, 5, np.uint8)
    photo = Photo(pixels=drawn.paint(label))
    probability = np.full((9, 4, 4), 0.1 / 8, np.float32)
    probability[4] = 0.9
    scene = scene_from_network(photo, probability, np.zeros((1, 4, 4), np.float32))
    assert render(photo, scene).picture.shape == shape
