"""The patch for a custom reading: the largest sunlit green rectangle, or none."""

import numpy as np
import pytest

from irpreview.core.exposure.white_balance import patch_for_white_balance
from irpreview.core.words import in_words
from irpreview.records import CLASS_ID, Photo, SceneMap

LAWN, SHADED_LAWN = (95, 140, 60), (30, 45, 20)
STONE, SKY = (150, 148, 145), (120, 160, 220)


def scene_of(label: np.ndarray) -> SceneMap:
    return SceneMap(
        probability=np.full((9, 4, 4), 1 / 9, np.float32),
        label=label.astype(np.uint8),
        confidence=np.ones(label.shape, np.float32),
        mix=np.zeros((1, 4, 4), np.float32),
    )


def field() -> tuple[np.ndarray, np.ndarray]:
    rng = np.random.default_rng(1)
    pixels = np.empty((300, 400, 3), np.float64)
    pixels[:] = STONE
    label = np.full((300, 400), CLASS_ID["structure"])
    pixels[:80], label[:80] = SKY, CLASS_ID["clear_sky"]
    pixels[150:300, 0:250], label[150:300, 0:250] = SHADED_LAWN, CLASS_ID["grass"]
    pixels[180:260, 260:380], label[180:260, 260:380] = LAWN, CLASS_ID["grass"]
    noisy = pixels * (1 + 0.05 * rng.standard_normal((300, 400, 1)))
    return np.clip(noisy, 0, 255).astype(np.uint8), label


@pytest.mark.parametrize("with_scene", [True, False])
def test_it_finds_the_sunlit_lawn_not_the_larger_shaded_one(with_scene: bool) -> None:
    pixels, label = field()
    patch = patch_for_white_balance(Photo(pixels=pixels), scene_of(label) if with_scene else None)
    assert patch is not None
    assert patch.x >= 255
    assert patch.x + patch.width <= 385
    assert patch.y >= 175
    assert patch.y + patch.height <= 265
    assert patch.width * patch.height > 0.8 * 80 * 120
    assert "at the right" in in_words(patch).long
    assert "sunlit" in in_words(patch).long


def test_no_green_no_patch() -> None:
    assert patch_for_white_balance(Photo(pixels=np.full((100, 150, 3), STONE, np.uint8))) is None


def test_a_green_wall_is_no_lawn_where_the_scene_is_known() -> None:
    pixels = np.full((100, 150, 3), LAWN, np.uint8)
    wall = scene_of(np.full((100, 150), CLASS_ID["structure"]))
    assert patch_for_white_balance(Photo(pixels=pixels), wall) is None


def test_a_speck_is_not_worth_walking_to() -> None:
    pixels = np.full((300, 400, 3), STONE, np.uint8)
    pixels[100:106, 100:106] = LAWN
    assert patch_for_white_balance(Photo(pixels=pixels)) is None


def test_the_box_lies_inside_a_photo_of_any_size() -> None:
    for size in ((40, 60), (601, 801), (1200, 300)):
        patch = patch_for_white_balance(Photo(pixels=np.full((*size, 3), LAWN, np.uint8)))
        assert patch is not None
        assert 0 <= patch.x <= patch.x + patch.width <= size[1]
        assert 0 <= patch.y <= patch.y + patch.height <= size[0]
