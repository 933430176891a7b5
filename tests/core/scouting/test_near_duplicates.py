"""Like snaps put together: copies, crops and bursts of real photographs, and different views kept apart."""

from __future__ import annotations

from datetime import datetime, timedelta
from pathlib import Path

import cv2
import numpy as np
import pytest

from irpreview.core.scouting.near_duplicates import SAME_VIEW_FROM, fingerprint, group_views, likeness
from tests.conftest import read_picture

SCENES = Path(__file__).resolve().parents[3] / "demo_scenes"
NOON = datetime(2026, 6, 21, 12, 0, 0)


@pytest.fixture(scope="module")
def photographs(sample_photographs: dict[str, np.ndarray]) -> list[np.ndarray]:
    """Two real photographs and the invented scenes, sRGB."""
    scenes = [read_picture(p)[..., ::-1] for p in sorted(SCENES.glob("*/photo.jpg"))]
    return [np.ascontiguousarray(p) for p in (*sample_photographs.values(), *scenes)]


def encoded(pixels: np.ndarray, quality: int) -> np.ndarray:
    _, data = cv2.imencode(".jpg", pixels[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, quality])
    back = cv2.imdecode(data, cv2.IMREAD_COLOR)
    assert back is not None
    return np.ascontiguousarray(back[..., ::-1])


def changed(pixels: np.ndarray, how: str) -> np.ndarray:
    """The same view again."""
    height, width = pixels.shape[:2]
    if how == "half size, strongly compressed":
        return encoded(cv2.resize(pixels, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA), 40)
    if how == "cropped by a tenth":
        return pixels[height // 20 : height - height // 20, width // 50 : width - width * 8 // 100]
    if how == "cropped at the top":
        return pixels[height // 10 :]
    if how == "brighter":
        return np.clip(pixels.astype(np.float32) * 1.35, 0, 255).astype(np.uint8)
    turned = cv2.getRotationMatrix2D((width / 2, height / 2), 1.0, 1.02)
    turned[:, 2] += (0.02 * width, -0.01 * height)
    moved = cv2.warpAffine(pixels, turned, (width, height), borderMode=cv2.BORDER_REFLECT).astype(np.float32)
    noise = np.random.default_rng(7).normal(0, 5, moved.shape)
    return np.clip(moved + noise, 0, 255).astype(np.uint8)


WAYS = ("half size, strongly compressed", "cropped by a tenth", "cropped at the top", "brighter", "a hand-held burst")


@pytest.mark.parametrize("how", WAYS)
def test_the_same_view_again_is_found(photographs: list[np.ndarray], how: str) -> None:
    for pixels in photographs:
        a, b = fingerprint(pixels), fingerprint(np.ascontiguousarray(changed(pixels, how)))
        assert likeness(a, b) >= SAME_VIEW_FROM
        assert likeness(a, b) == pytest.approx(likeness(b, a), abs=1e-6)


def test_different_views_stay_apart(photographs: list[np.ndarray]) -> None:
    prints = [fingerprint(p) for p in photographs]
    for i, a in enumerate(prints):
        for b in prints[i + 1 :]:
            assert likeness(a, b) < SAME_VIEW_FROM - 0.04
    assert group_views(prints, [None] * len(prints)) == list(range(len(prints)))


@pytest.mark.research
def test_research_photographs_are_all_different_views(research: Path) -> None:
    prints = [
        fingerprint(np.ascontiguousarray(read_picture(p)[..., ::-1]))
        for p in sorted((research / "rgb_nir_pairs").glob("*_rgb.jpg"))
    ]
    homes = group_views(prints, [None] * len(prints))
    assert sum(home != i for i, home in enumerate(homes)) == 0


def test_groups_whatever_lies_between(photographs: list[np.ndarray]) -> None:
    # every view six times, mixed up
    prints, truth = [], []
    for how in (None, *WAYS):
        for number, pixels in enumerate(photographs):
            prints.append(fingerprint(pixels if how is None else np.ascontiguousarray(changed(pixels, how))))
            truth.append(number)
    homes = group_views(prints, [None] * len(prints))
    assert [truth[home] for home in homes] == truth
    assert len(set(homes)) == len(photographs)


def test_one_view_at_other_hours_is_two_pictures(photographs: list[np.ndarray]) -> None:
    print_ = fingerprint(photographs[0])
    assert group_views([print_] * 3, [NOON, NOON + timedelta(seconds=2), NOON + timedelta(hours=3)]) == [0, 0, 2]
    assert group_views([print_] * 2, [NOON, None]) == [0, 0]  # a copy that lost its time


def test_flat_and_odd_pictures_do_no_harm() -> None:
    flat = np.full((60, 80, 3), 127, np.uint8)
    thin = np.random.default_rng(1).integers(0, 255, (64, 1280, 3)).astype(np.uint8)
    prints = [
        fingerprint(flat),
        fingerprint(flat + 40),
        fingerprint(thin),
        fingerprint(np.ascontiguousarray(thin[:, :70])),
    ]
    assert group_views(prints, [None] * 4) == [0, 1, 2, 3]
    assert group_views([], []) == []
