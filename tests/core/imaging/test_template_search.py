"""A frame finds its own snap among others at first look, and its place on it to a few pixels."""

import cv2
import numpy as np
import pytest

from irpreview.core.imaging.registration import LEAST_BITE, placement_near
from irpreview.core.imaging.template_search import likely_places, rough_places, sharper_place, template_of

TALL, WIDE = 360, 480


def scene(seed):
    """Drawn tones: a horizon, a few walls, crowns; linear, 1 = white."""
    rng = np.random.default_rng(seed)
    picture = np.full((TALL, WIDE), 0.1, np.float32)
    horizon = int(rng.uniform(0.3, 0.6) * TALL)
    picture[horizon:] = 0.4
    for _ in range(9):
        x, y = int(rng.uniform(0, WIDE)), int(rng.uniform(0.2, 0.95) * TALL)
        tone = float(rng.uniform(0.05, 0.9))
        if rng.random() < 0.5:
            cv2.rectangle(picture, (x, y - int(rng.uniform(30, 110))), (x + int(rng.uniform(20, 90)), y), tone, -1)
        else:
            cv2.ellipse(picture, (x, y), (int(rng.uniform(12, 50)), int(rng.uniform(12, 60))), 0, 0, 360, tone, -1)
    picture *= 2.0 ** (0.25 * cv2.GaussianBlur(rng.standard_normal((TALL, WIDE)), (0, 0), 3) * 8).astype(np.float32)
    return picture


def framed(picture, turn_deg, zoom, shift):
    """(frame, matrix snap -> frame) as another camera frames it."""
    matrix = np.vstack((cv2.getRotationMatrix2D((WIDE / 2, TALL / 2), turn_deg, zoom), [0, 0, 1]))
    matrix[:2, 2] += shift
    frame = cv2.warpAffine(picture, matrix[:2], (WIDE, TALL), borderMode=cv2.BORDER_REFLECT)
    cut = np.array([[1, 0, -30], [0, 1, -20], [0, 0, 1.0]])
    return frame[20:-20, 30:-30] * 0.6, cut @ matrix


def off_px(matrix, true):
    points = np.array([[x, y, 1.0] for x in (100, 240, 380) for y in (80, 180, 280)]).T
    a, b = matrix @ points, true @ points
    return float(np.median(np.hypot(*(a[:2] / a[2] - b[:2] / b[2]))))


SCENES = [scene(i) for i in range(8)]
TEMPLATES = [template_of(s) for s in SCENES]


@pytest.mark.parametrize("own", range(8))
def test_a_frame_is_most_like_its_own_snap(own):
    rng = np.random.default_rng(own)
    frame, _ = framed(SCENES[own], rng.uniform(-4, 4), rng.uniform(0.87, 1.15), rng.uniform(-20, 20, 2))
    found = rough_places(TEMPLATES, frame)
    assert int(np.argmax([place.likeness for place in found])) == own
    assert all(-1.0 <= place.likeness <= 1.0 for place in found)


@pytest.mark.parametrize(("turn", "zoom"), [(0.0, 1.0), (4.0, 0.9), (-5.0, 1.2)])
def test_the_place_comes_nearer_with_each_look(turn, zoom):
    frame, true = framed(SCENES[2], turn, zoom, (14, -9))
    likely = likely_places([TEMPLATES[2]], frame)[0]
    assert likely[0].likeness >= likely[-1].likeness
    assert off_px(likely[0].matrix, true) < 0.05 * WIDE
    sharp = sharper_place(SCENES[2], frame, likely[0])
    assert off_px(sharp.matrix, true) < 0.02 * WIDE
    placed = placement_near(SCENES[2], frame, sharp.matrix)
    assert placed is not None
    assert placed.bite > 2 * LEAST_BITE
    assert off_px(placed.matrix, true) < 0.006 * WIDE


def test_another_size_of_the_frame_changes_nothing():
    frame, _ = framed(SCENES[1], 2.0, 1.0, (5, 5))
    large = cv2.resize(frame, None, fx=2, fy=2)
    a, b = (rough_places(TEMPLATES[1:2], f)[0] for f in (frame, large))
    assert a.likeness == pytest.approx(b.likeness, abs=0.03)
    assert np.allclose(np.diag([2, 2, 1.0]) @ a.matrix, b.matrix, atol=12)


def test_a_flat_frame_is_like_nothing():
    places = rough_places(TEMPLATES, np.full((300, 400), 0.2, np.float32))
    assert places
    assert all(abs(place.likeness) < 0.2 for place in places)
    assert placement_near(SCENES[0], np.full((300, 400), 0.2, np.float32), np.eye(3)) is None
