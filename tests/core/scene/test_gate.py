"""The gate: drawings and screens by rule, the rest by a fitted regression. Held-out figures: models/fit_gate.py."""

import numpy as np
import pytest

from irpreview import installation
from irpreview.core.scene.gate import FEATURES, gate_features, gate_of, landscape_chance, quadratic
from irpreview.core.scene.gate_table import COEFFICIENTS, MEAN, MODEL_ID, SCALE
from irpreview.records import Photo, SceneMap, Shot
from tests.core.drawn_scenes import drawn, layered_view


def test_the_table_fits_its_features_and_the_shipped_network() -> None:
    assert len(MEAN) == len(SCALE) == len(FEATURES)
    assert len(COEFFICIENTS) == quadratic(np.zeros(len(FEATURES))).size
    assert installation.scene_network().model_id == MODEL_ID, "run models/fit_gate.py again: the network has changed"


def _scene(photo: Photo, probability: np.ndarray) -> SceneMap:
    shape = (photo.height, photo.width)
    return SceneMap(
        probability, np.full(shape, 8, np.uint8), np.ones(shape, np.float32), np.zeros((1, 2, 2), np.float32)
    )


def test_a_screen_is_no_landscape() -> None:
    page = np.full((480, 640, 3), 245, np.uint8)
    page[40:60, 40:400] = 20
    photo = Photo(pixels=page)
    gate = gate_of(photo, _scene(photo, np.full((9, 24, 32), 1 / 9, np.float32)))
    assert not gate.landscape
    assert gate.reasons[0] == "drawn"


def test_lamplight_by_the_meter_is_night() -> None:
    photo, scene, _ = drawn(layered_view())
    dark = Photo(pixels=photo.pixels, shot=Shot(f_number=1.8, shutter_s=1 / 10, iso=3200.0))
    assert dark.shot.ev100 is not None
    assert dark.shot.ev100 < 4
    assert "night" in gate_of(dark, scene).reasons


def test_a_picture_without_colour_is_not_judged_and_one_with_little_is() -> None:
    """Grey and toned prints carry no sign of leaves; a misty landscape has its colour still."""
    photo, scene, _ = drawn(layered_view())
    assert gate_of(photo, scene).landscape
    luma = photo.pixels.astype(np.float64) @ (0.299, 0.587, 0.114)
    grey = np.repeat(luma[..., None], 3, axis=2)
    for toned in (grey, grey * (1.0, 0.93, 0.8)):
        without = Photo(pixels=np.ascontiguousarray(toned.astype(np.uint8)))
        assert gate_of(without, scene).reasons == ("without_colour",)
    misty = 0.55 * grey + 0.25 * photo.pixels + 40
    assert "without_colour" not in gate_of(Photo(pixels=misty.astype(np.uint8)), scene).reasons


def test_features_do_not_hang_on_the_size() -> None:
    photo, scene, _ = drawn(layered_view())
    half = np.ascontiguousarray(photo.pixels[::2, ::2])
    once, other = (gate_features(p, scene.probability) for p in (photo.pixels, half))
    assert abs(landscape_chance(once) - landscape_chance(other)) < 0.25


@pytest.mark.parametrize("side", [40, 3000])
def test_any_size_gives_an_answer(side: int) -> None:
    pixels = np.random.default_rng(1).integers(0, 255, (side, side, 3)).astype(np.uint8)
    photo = Photo(pixels=pixels)
    assert 0 <= gate_of(photo, _scene(photo, np.full((9, 16, 16), 1 / 9, np.float32))).chance <= 1
