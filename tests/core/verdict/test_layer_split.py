"""Near and far of one kind: split where a person would, and only there."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from irpreview.core.verdict.layer_split import masked_mean, split_by_distance, two_heaps
from irpreview.core.verdict.layers import find_layers, ground_of
from irpreview.records import Photo
from tests.core.drawn_scenes import Canvas, drawn

HEIGHT, WIDTH = 384, 512


def _slope(seed: int = 1) -> np.ndarray:
    """Texture of a wooded slope: 0.3 zone."""
    noise = np.random.default_rng(seed).standard_normal((HEIGHT, WIDTH)).astype(np.float32)
    smooth = cv2.GaussianBlur(noise, (0, 0), 2.0)
    return np.asarray(0.3 * smooth / smooth.std(), np.float32)


def _ridge() -> np.ndarray:
    """Rows below a crest that runs through the frame."""
    x = np.arange(WIDTH) / WIDTH
    crest = HEIGHT * (0.5 + 0.08 * np.sin(5 * x))
    return np.asarray(np.arange(HEIGHT)[:, None] > crest[None])


def test_a_dark_ridge_before_a_hazy_one_comes_apart_at_the_crest() -> None:
    near = _ridge()
    inside = np.zeros((HEIGHT, WIDTH), bool)
    inside[90:340] = True
    parts = split_by_distance(inside, ((5.5 - 1.5 * near + _slope()).astype(np.float32),))
    assert parts is not None
    agreed = (parts.one == (inside & ~near))[inside].mean()
    assert agreed > 0.97
    assert not (parts.one & parts.other).any()


@pytest.mark.parametrize("kind", ["even", "gradient", "mottled", "side by side", "faint"])
def test_what_is_one_thing_stays_one(kind: str) -> None:
    rows, columns = np.mgrid[0:HEIGHT, 0:WIDTH].astype(np.float32)
    cue = {
        "even": np.full((HEIGHT, WIDTH), 5.0),
        "gradient": 4.0 + 2.5 * rows / HEIGHT,  # haze that thickens slowly has no edge
        "mottled": 5.0 + 0.9 * np.sign(np.sin(columns / 11) * np.sin(rows / 9)),  # sun and shade under trees
        "side by side": 5.0 + 0.8 * np.sign(columns - WIDTH / 2),  # feet at one height: not one behind the other
        "faint": 5.0 + 0.25 * np.sign(rows - HEIGHT / 2),
    }[kind]
    inside = np.zeros((HEIGHT, WIDTH), bool)
    inside[60:360] = True
    assert split_by_distance(inside, ((cue + _slope()).astype(np.float32),)) is None


def test_a_small_region_is_not_looked_into() -> None:
    inside = np.zeros((HEIGHT, WIDTH), bool)
    inside[200:240, 100:300] = True
    cue = np.where(np.arange(HEIGHT)[:, None] > 220, 3.0, 6.0) * np.ones((1, WIDTH))
    assert split_by_distance(inside, (cue.astype(np.float32),)) is None


def test_two_heaps_are_parted_between_their_means() -> None:
    """Otsu, A threshold selection method from gray-level histograms, 1979: the split of greatest variance between."""
    rng = np.random.default_rng(0)
    values = np.concatenate([rng.normal(2, 0.2, 4000), rng.normal(5, 0.3, 6000)]).astype(np.float32)
    threshold, distance = two_heaps(values)
    assert 2.6 < threshold < 4.2
    assert distance == pytest.approx(3.0, abs=0.05)
    assert two_heaps(np.full(100, 3.0, np.float32))[1] == 0.0


def test_masked_mean_takes_nothing_from_outside() -> None:
    inside = np.zeros((40, 40), bool)
    inside[:, :20] = True
    values = np.where(inside, 1.0, 100.0).astype(np.float32)
    mean, cover = masked_mean(values, inside, 3)
    assert np.allclose(mean[inside], 1.0)
    assert cover[20, 10] == pytest.approx(1.0)


def test_far_hills_in_blue_haze_are_a_layer_of_their_own_at_any_size() -> None:
    """A wood that rises to a crest, hills behind it pale and blue with haze: two layers of trees, near before far."""
    label = Canvas().box("tree", 0, 0.3, 1, 0.8).box("grass", 0, 0.78, 1, 1).label
    photo, scene, rendering = drawn(label)
    height, width = label.shape
    far = (label == 4) & (np.arange(height)[:, None] < 0.52 * height)
    pixels = photo.pixels.copy()
    pixels[far] = (0.35 * pixels[far] + 0.65 * np.array([150, 175, 205])).astype(np.uint8)

    def names(k: float) -> list[str]:
        def sized(a: np.ndarray) -> np.ndarray:
            return np.asarray(cv2.resize(a, (round(width * k), round(height * k)), interpolation=cv2.INTER_NEAREST))

        hazy = Photo(pixels=sized(pixels))
        smaller = type(scene)(scene.probability, sized(scene.label), sized(scene.confidence), scene.mix)
        tones = type(rendering)(
            maps=lambda: (sized(rendering.tones), sized(rendering.spread_stops)),
            classes=rendering.classes,
            picture=sized(rendering.picture),
            kit=rendering.kit,
            light=rendering.light,
        )
        return [la.name for la in find_layers(ground_of(hazy, smaller, tones))[0]]

    assert names(1.0) == ["near grass", "near trees", "far trees", "sky"]
    assert names(0.5) == names(1.0)
    assert "far trees" not in [la.name for la in find_layers(ground_of(photo, scene, rendering))[0]]
