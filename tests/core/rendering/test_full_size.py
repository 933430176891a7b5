"""The step from the working size to the photo's own: tones without the print's texture, one picture from strips."""

import cv2
import numpy as np
import pytest

from irpreview.core.rendering.finishing import finish, place_print
from irpreview.core.rendering.full_size import HIGHEST_TONE, LOWEST_TONE, FullSize, fine_texture, print_root
from irpreview.errors import BadValue
from tests.core import drawn


@pytest.fixture(scope="module")
def maps():
    label = cv2.resize(drawn.landscape(), (2050, 1537), interpolation=cv2.INTER_NEAREST)
    pixels = drawn.paint(label)
    small = cv2.resize(pixels, (1024, 768), interpolation=cv2.INTER_AREA)
    grey = cv2.cvtColor(small, cv2.COLOR_RGB2GRAY).astype(np.float32) / 255
    return pixels, small, np.log2(0.02 + grey**2).astype(np.float32)


def printed(pixels, small, stops, texture, spread, grade=4.0, film_look=False):
    root = print_root(stops, texture)
    full = FullSize(pixels, small, stops, texture, root, spread)
    return *full.maps(), full.picture(place_print(root, grade), film_look)


def test_tones_follow_the_photo_and_keep_their_level(maps):
    pixels, small, stops = maps
    none = np.zeros_like(stops)
    tones, spread, picture = printed(pixels, small, stops, none, none + 0.7)
    assert tones.shape == spread.shape == picture.shape == pixels.shape[:2]
    assert spread == pytest.approx(0.7)
    assert tones.min() >= LOWEST_TONE * 0.999
    assert tones.max() <= HIGHEST_TONE * 1.001
    back = cv2.resize(tones, (1024, 768), interpolation=cv2.INTER_AREA)
    assert np.abs(np.log2(back) - stops).mean() < 0.03


def test_the_picture_is_that_of_the_whole(maps):
    """Printed in strips with a curve from a sample: the same as finishing the square roots of the tones at once."""
    pixels, small, stops = maps
    none = np.zeros_like(stops)
    tones, _, picture = printed(pixels, small, stops, none, none, 3.0)
    whole = finish(np.sqrt(tones), curve=place_print(print_root(stops, none), 3.0))
    assert np.abs(picture.astype(int) - whole).max() <= 1


def test_texture_is_in_the_picture_and_not_in_the_tones(maps):
    pixels, small, stops = maps
    none = np.zeros_like(stops)
    texture = fine_texture(stops)  # the network saw the leaves softly, the print takes them from the snap
    assert np.abs(texture).max() <= 0.7
    plain, rough = (printed(pixels, small, stops, t, none) for t in (none, texture))
    assert np.abs(np.log2(plain[0] / rough[0])).mean() < 0.06
    assert np.abs(plain[2].astype(int) - rough[2]).mean() > 1


def test_the_film_look_glows_at_full_size_too(maps):
    pixels, small, stops = maps
    none = np.zeros_like(stops)
    plain, glow = (printed(pixels, small, stops, none, none, film_look=film) for film in (False, True))
    assert (plain[0] == glow[0]).all()
    assert (glow[2].astype(int) - plain[2]).mean() > 0.2


@pytest.mark.parametrize("grade", [-1.0, 5.5])
def test_no_paper_of_that_grade(maps, grade):
    pixels, small, stops = maps
    with pytest.raises(BadValue, match="outside 0 to 5"):
        printed(pixels, small, stops, stops * 0, stops * 0, grade)
