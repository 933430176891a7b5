"""Laying infrared over visible frames: real pairs of one scene are taken for one scene, others are not.

RGB-NIR Scene Dataset (Brown and Susstrunk, CVPR 2011), registered pairs; skips where it is not at hand.
"""

from pathlib import Path

import cv2
import numpy as np
import pytest

from irpreview.core.imaging.registration import SAME_SCENE, align

NAMES = ("country_0001", "mountain_0003", "urban_0002")


def brightness(path: Path) -> np.ndarray:
    picture = cv2.imread(str(path))
    assert picture is not None, path
    return ((picture.astype(np.float32) / 255.0) ** 2.2).mean(axis=2).astype(np.float32)


@pytest.mark.research
def test_real_pairs_are_one_scene_even_when_moved_and_others_are_not(research: Path) -> None:
    folder = research / "rgb_nir_pairs"
    names = [n for n in NAMES if (folder / f"{n}_rgb.jpg").exists()] or sorted(
        p.name.removesuffix("_rgb.jpg") for p in folder.glob("*_rgb.jpg")
    )[::40]
    assert len(names) >= 2
    for name, other in zip(names, [*names[1:], names[0]], strict=True):
        plain, infrared = brightness(folder / f"{name}_rgb.jpg"), brightness(folder / f"{name}_nir.jpg")
        tall, wide = plain.shape
        moved = cv2.warpAffine(
            infrared,
            np.array([[1, 0, 7], [0, 1, -4]], np.float32),
            (wide, tall),
            borderMode=cv2.BORDER_REFLECT,
        )
        found = align(plain, moved)
        assert found.bite > SAME_SCENE, name
        centre = found.at(np.array([[wide / 2, tall / 2]]))[0]
        assert centre == pytest.approx([wide / 2 + 7, tall / 2 - 4], abs=2.0), name
        foreign = cv2.resize(brightness(folder / f"{other}_nir.jpg"), (wide, tall))
        assert align(plain, foreign).bite < SAME_SCENE, (name, other)
        assert align(plain, np.ascontiguousarray(infrared[:, ::-1])).bite < SAME_SCENE, name
