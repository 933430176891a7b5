"""The sky as a layer: a matte as fine as the photo, one line of tone, and no colour of the sky in the land."""

import cv2
import numpy as np
import pytest

from irpreview.core.imaging.srgb import LUMINANCE_WEIGHTS
from irpreview.core.scene.sky_layer import BLUE_SLOPE, SAMPLE_STEP, has_sky, sky_layer, sky_matte, unmixed

CLEAR, CLOUD, TWIG = (96, 146, 205), (232, 235, 238), (52, 48, 40)


def probability_of(sky: np.ndarray, cloud: np.ndarray | None = None, cell: int = 8) -> np.ndarray:
    """What a network says that sees nothing finer than `cell` px: (9, h, w)."""
    size = (sky.shape[1] // cell, sky.shape[0] // cell)
    cloud = np.zeros(sky.shape) if cloud is None else cloud
    maps = [sky & ~cloud.astype(bool), sky & cloud.astype(bool), ~sky]
    clear, white, land = (cv2.resize(m.astype(np.float32), size, interpolation=cv2.INTER_AREA) for m in maps)
    out = np.full((9, *clear.shape), 1e-3, np.float32)
    out[0] += clear
    out[1] += white
    out[3] += land
    return np.asarray(out / out.sum(0), np.float32)


def noisy(pixels: np.ndarray) -> np.ndarray:
    grain = np.random.default_rng(1).normal(0, 2, pixels.shape)
    return np.clip(pixels + grain, 0, 255).astype(np.uint8)


def linear_stops(pixels: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """(log2 luminance, log2 B / R of the scene, development undone), by IEC 61966-2-1 and Rec. 709."""
    x = pixels / 255.0
    linear = np.where(x <= 0.04045, x / 12.92, ((x + 0.055) / 1.055) ** 2.4)
    scene = linear / (3.5 - 2.5 * linear)
    return np.log2(linear @ np.array([0.2126, 0.7152, 0.0722])), np.log2(scene[..., 2] / scene[..., 0])


def asked(pixels, probability, told):
    return sky_layer(pixels, probability, probability[0] + probability[1], told)


def test_twigs_finer_than_the_network_sees_stand_before_the_sky():
    """A crown below, twigs of 3 px above it: the network has half a guess, the colour decides."""
    pixels = np.full((240, 320, 3), CLEAR, np.uint8)
    land = np.zeros((240, 320), bool)
    land[150:] = True
    for x in range(20, 300, 24):
        land[120:150, x : x + 3] = True
    pixels[land] = TWIG
    share = sky_matte(noisy(pixels), probability_of(~land)[0])
    assert share[land].max() < 0.1
    assert share[~land].min() > 0.9


def test_sky_shows_between_leaves_and_not_in_the_middle_of_a_field():
    pixels = np.full((240, 320, 3), (60, 96, 40), np.uint8)
    pixels[:100] = CLEAR
    truth = np.zeros((240, 320), bool)
    truth[:100] = True
    pixels[104:108, 100:106] = CLEAR  # a gap in the crown
    pixels[200:204, 100:106] = CLEAR  # something blue in the grass
    share = sky_matte(noisy(pixels), probability_of(truth)[0])
    assert share[105:107, 101:105].min() > 0.8
    assert share[195:].max() < 0.2


def test_the_tone_is_one_line_of_blueness_where_the_network_wavers():
    """A veil that thins out from white to blue; the network calls it clear, cloud and clear again in hard patches.

    Told -0.65, drawn towards the usual -0.45: the picture holds too little blue to be sure of a slope of its own.
    """
    veil = np.linspace(0, 1, 320)[None, :, None] * np.ones((240, 1, 1))
    pixels = noisy(np.array(CLEAR) * veil + np.array(CLOUD) * (1 - veil))
    sky = np.ones((240, 320), bool)
    cloud = (np.arange(320) // 64 % 2 == 0)[None] * np.ones((240, 1))
    luminance, blueness = linear_stops(pixels)
    wavers = np.where(cloud > 0, 0.3, -0.3)
    told = luminance - 0.65 * blueness + wavers
    layer = asked(pixels, probability_of(sky, cloud), told[::SAMPLE_STEP, ::SAMPLE_STEP].astype(np.float32))
    gain = (layer.stops - luminance)[10:-10].mean(0)
    assert np.abs(np.diff(gain)).max() < 0.06
    assert (gain[-20:].mean() - gain[:20].mean()) / np.ptp(blueness.mean(0)) == pytest.approx(-0.52, abs=0.1)
    assert np.abs(np.diff(layer.cloud_share.mean(0))).max() < 0.05
    assert layer.cloud_share[:, :20].mean() > layer.cloud_share[:, -20:].mean() + 0.5


def test_a_sky_of_one_blue_takes_the_usual_slope_and_the_networks_level():
    pixels = noisy(np.full((120, 160, 3), CLEAR, np.uint8))
    luminance, _ = linear_stops(pixels)
    told = np.asarray(luminance - 1.3, np.float32)
    layer = asked(pixels, probability_of(np.ones((120, 160), bool)), told[::SAMPLE_STEP, ::SAMPLE_STEP])
    assert np.median(layer.stops - luminance) == pytest.approx(-1.3, abs=0.05)
    assert BLUE_SLOPE < 0
    assert np.median(layer.cloud_share) == pytest.approx(0.0, abs=0.05)


def test_a_blown_sky_keeps_the_networks_word():
    pixels = np.full((120, 160, 3), 255, np.uint8)
    told = np.tile(np.linspace(-1.0, 0.0, 54, dtype=np.float32), (40, 1))
    layer = asked(pixels, probability_of(np.ones((120, 160), bool), np.ones((120, 160))), told)
    assert layer.stops[60, 20] < layer.stops[60, 140] - 0.5


def test_no_layer_without_sky():
    assert not has_sky(np.full((20, 30), 0.3, np.float32))
    assert has_sky(np.full((20, 30), 0.9, np.float32))


def test_sky_is_taken_out_of_the_hue_and_grey_of_land_on_the_border():
    """A dark green wood before a bright blue sky, the row between them half of each: it reads green again."""
    photo = np.zeros((80, 120, 3), np.uint8)
    photo[:40], photo[40:] = (150, 190, 240), (40, 70, 35)
    photo[40] = (95, 130, 138)
    share = np.zeros((80, 120), np.float32)
    share[:40] = 1
    hue, both = unmixed(photo, share)
    assert np.array_equal(hue[:40], photo[:40])  # the sky is left as it is
    assert np.array_equal(hue[48:], photo[48:])  # so is land farther off
    bluer = [np.log2(p[40, :, 2] / p[40, :, 1]).mean() for p in (photo.astype(float), hue.astype(float))]
    assert bluer[1] < bluer[0] - 0.3
    light = [float((p[40].astype(float) @ LUMINANCE_WEIGHTS).mean()) for p in (photo, hue, both)]
    assert light[1] == pytest.approx(light[0], rel=0.05)  # hue alone leaves the grey
    assert light[2] < 0.75 * light[0]


def test_a_lone_leaf_in_the_sky_is_no_black_dot():
    """Leaves half as large as a pixel beyond a crown, as a camera mixes them: no darker in print than the sky there."""
    sky = np.zeros((240, 320), bool)
    sky[:120] = True
    photo = np.where(sky[..., None], CLEAR, (40, 62, 30)).astype(float)
    leaves = [(row, column) for row in (96, 104, 112) for column in range(20, 300, 11)]
    for row, column in leaves:
        photo[row, column] = 0.55 * np.array(CLEAR) + 0.45 * np.array((40, 62, 30))
    layer = asked(noisy(photo), probability_of(sky), np.full((80, 107), -3.0, np.float32))
    at = tuple(np.transpose(leaves))
    beyond = np.median(layer.stops[90:116, 20:300])
    assert np.median(layer.stops[at]) > beyond - 0.15
    assert 0.3 < np.median(1 - layer.share[at]) < 0.6  # and land in about the share that they cover
    assert np.median(layer.share[60:80]) > 0.99


def test_a_photo_without_sky_is_left_as_it_is():
    photo = np.full((40, 60, 3), 90, np.uint8)
    assert all(picture is photo for picture in unmixed(photo, np.zeros((40, 60), np.float32)))
