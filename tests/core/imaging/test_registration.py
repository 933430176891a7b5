"""An infrared-like frame laid over the photograph it was made from, by a placement that is known."""

import cv2
import numpy as np
import pytest

from irpreview.core.imaging.registration import best_placement, register
from irpreview.errors import BadPair, BadValue


def visible(pixels, side=400):
    k = side / max(pixels.shape[:2])
    small = cv2.resize(pixels, None, fx=k, fy=k, interpolation=cv2.INTER_AREA).astype(np.float32) / 255
    return small**2.2 @ np.array([0.2126, 0.7152, 0.0722], np.float32)


def infrared_like(pixels, side=400):
    """Tones turned round where there is blue or green: leaves bright, sky dark."""
    k = side / max(pixels.shape[:2])
    small = cv2.resize(pixels, None, fx=k, fy=k, interpolation=cv2.INTER_AREA).astype(np.float32) / 255
    red, green, blue = np.moveaxis(small**2.2, 2, 0)
    return np.clip(0.25 + 1.6 * green - 0.9 * blue - 0.5 * red, 0.01, None)


def moved(picture, turn_deg, zoom, shift):
    """(frame, matrix snap -> frame), the rim cut off so that nothing shows where the picture ended."""
    tall, wide = picture.shape
    matrix = np.vstack((cv2.getRotationMatrix2D((wide / 2, tall / 2), turn_deg, zoom), [0, 0, 1]))
    matrix[:2, 2] += np.array(shift) * wide
    frame = cv2.warpPerspective(picture, matrix, (wide, tall))
    cut_x, cut_y = round(0.12 * wide), round(0.12 * tall)
    return frame[cut_y : tall - cut_y, cut_x : wide - cut_x], np.array(
        [[1, 0, -cut_x], [0, 1, -cut_y], [0, 0, 1.0]]
    ) @ matrix


def error_of(placed, matrix, shape):
    tall, wide = shape
    points = np.stack(np.meshgrid(np.linspace(0.2, 0.8, 6) * wide, np.linspace(0.2, 0.8, 6) * tall), -1).reshape(-1, 2)
    true = np.column_stack((points, np.ones(len(points)))) @ matrix.T
    return float(np.median(np.hypot(*(placed.at(points) - true[:, :2]).T))) / wide


@pytest.mark.parametrize(
    ("turn_deg", "zoom", "shift"), [(0.0, 1.0, (0.0, 0.0)), (5.0, 1.15, (0.03, -0.02)), (-5.0, 0.87, (-0.04, 0.02))]
)
def test_a_known_placement_is_found(sample_photographs, turn_deg, zoom, shift):
    pixels = sample_photographs["china.jpg"]
    snap = visible(pixels)
    frame, matrix = moved(infrared_like(pixels), turn_deg, zoom, shift)
    placed = register(snap, frame)
    assert error_of(placed, matrix, snap.shape) < 0.01
    assert placed.zoom == pytest.approx(zoom, rel=0.03)
    assert placed.turn_deg == pytest.approx(-turn_deg, abs=0.6)
    assert 0.0 < placed.confidence <= 1.0


def test_frames_of_another_size_and_inverted_tones(sample_photographs):
    pixels = sample_photographs["china.jpg"]
    snap = visible(pixels)
    frame, matrix = moved(1.0 - visible(pixels), 3.0, 1.1, (0.02, 0.0))
    twice = cv2.resize(frame, None, fx=2.0, fy=2.0, interpolation=cv2.INTER_LINEAR)
    placed = register(snap, twice)
    true = np.diag([2.0, 2.0, 1.0]) @ matrix
    assert error_of(placed, true, snap.shape) < 0.01 * 2.0
    laid = placed.lay_over(twice, *snap.shape)
    assert np.isnan(laid).any()
    known = np.isfinite(laid)
    assert np.corrcoef(laid[known], 1.0 - snap[known])[0, 1] > 0.97


def test_what_does_not_belong_is_refused(sample_photographs):
    temple, flower = sample_photographs["china.jpg"], sample_photographs["flower.jpg"]
    snap = visible(temple)
    for other in (infrared_like(flower), infrared_like(temple)[:, ::-1]):
        with pytest.raises(BadPair, match="could not be laid over") as refused:
            register(snap, np.ascontiguousarray(other))
        assert "\n" not in str(refused.value)
    assert best_placement(snap, np.full_like(snap, 0.3)) is None
    noise = np.random.default_rng(0).uniform(0.1, 0.9, snap.shape).astype(np.float32)
    with pytest.raises(BadPair):
        register(snap, noise)
    with pytest.raises(BadValue, match="64 px"):
        register(snap, snap[:30])


def test_the_same_pictures_give_the_same_answer(sample_photographs):
    pixels = sample_photographs["china.jpg"]
    frame, _ = moved(infrared_like(pixels), 2.0, 1.05, (0.01, 0.0))
    first, second = (register(visible(pixels), frame) for _ in range(2))
    np.testing.assert_array_equal(first.matrix, second.matrix)
