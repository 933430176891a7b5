"""Layers: few, connected, in order, in plain words, and the same for the same scene."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from scipy import ndimage

from irpreview.core.imaging.srgb import luminance
from irpreview.core.verdict.layers import (
    MOST_LAYERS,
    at_photo_size,
    edge_lengths,
    find_layers,
    ground_of,
    zones_of,
)
from irpreview.errors import BadValue
from irpreview.records import CLASS_NAMES, zone_of
from tests.core.drawn_scenes import Canvas, drawn, layered_view, oak_in_a_meadow, tower_on_a_moor


def test_layers_run_from_near_to_far() -> None:
    """Near things stand lower in the frame on level ground (perspective, any textbook); sky lies behind everything."""
    layers, _ = find_layers(ground_of(*drawn(layered_view())))
    assert [la.class_name for la in layers] == ["grass", "water", "tree", "cloud", "cloud", "clear_sky"]
    assert [la.index for la in layers] == list(range(6))
    assert layers[0].name == "near grass"
    assert {layers[3].name, layers[4].name} == {"cloud on the left", "cloud on the right"}


def test_each_layer_is_connected_and_the_map_agrees_with_the_shares() -> None:
    layers, layer_map = find_layers(ground_of(*drawn(layered_view())))
    for layer in layers:
        inside = layer_map == layer.index
        assert inside.mean() == pytest.approx(layer.share)
        _, count = ndimage.label(inside, structure=np.ones((3, 3)))
        assert count == 1, layer.name
        row, column = (int(layer.centre_xy[i] * layer_map.shape[1 - i]) for i in (1, 0))
        assert inside[row, column], f"the point of {layer.name} lies outside it"
    assert sum(la.share for la in layers) == pytest.approx(1.0)


def test_zone_of_a_layer_is_the_zone_of_its_tone() -> None:
    """Zone = 5 + log2(tone / 0.18): one stop a zone, V = 18 % (Adams, The Negative, 1981)."""
    layers, _ = find_layers(ground_of(*drawn(tower_on_a_moor(), {"structure": 0.09, "clear_sky": 0.045})))
    by_class = {la.class_name: la for la in layers}
    assert by_class["structure"].zone.likely == pytest.approx(4.0, abs=0.08)
    assert by_class["clear_sky"].zone.likely == pytest.approx(3.0, abs=0.05)
    assert by_class["clear_sky"].zone.low < 3 < by_class["clear_sky"].zone.high


def test_never_more_than_eight_layers_and_small_ones_join_a_neighbour() -> None:
    canvas = Canvas().box("grass", 0, 0.5, 1, 1)
    for i in range(12):
        canvas.box("structure", 0.04 + 0.08 * i, 0.4, 0.08 + 0.08 * i, 0.6)
    layers, layer_map = find_layers(ground_of(*drawn(canvas.label)))
    assert len(layers) <= MOST_LAYERS
    assert (layer_map >= 0).all()
    speck = oak_in_a_meadow()
    cv2.circle(speck, (400, 330), 5, CLASS_NAMES.index("water") + 1, -1)
    layers, _ = find_layers(ground_of(*drawn(speck)))
    assert "water" not in {la.class_name for la in layers}


def test_a_slim_tower_is_still_named() -> None:
    label = Canvas().box("grass", 0, 0.7, 1, 1).box("structure", 0.48, 0.3, 0.53, 0.75).label
    layers, _ = find_layers(ground_of(*drawn(label)))
    assert "building" in {la.name for la in layers}


@pytest.mark.parametrize("seed", range(6))
def test_names_are_plain_and_never_twice_the_same(seed: int) -> None:
    rng = np.random.default_rng(seed)
    canvas = Canvas()
    for _ in range(25):
        x, y = rng.uniform(0, 1, 2)
        canvas.round(
            str(rng.choice(["tree", "structure", "water", "grass", "cloud"])), x, y, *rng.uniform(0.05, 0.2, 2)
        )
    layers, _ = find_layers(ground_of(*drawn(canvas.label)))
    names = [la.name for la in layers]
    assert len(set(names)) == len(names), names
    assert all(set(name) <= set("abcdefghijklmnopqrstuvwxyz ") and len(name) < 40 for name in names), names


def test_the_same_layers_at_any_size() -> None:
    def found(scale: float) -> list[tuple[str, float]]:
        photo, scene, rendering = drawn(cv2.resize(layered_view(), None, fx=scale, fy=scale, interpolation=0))
        return [(la.name, la.share) for la in find_layers(ground_of(photo, scene, rendering))[0]]

    once, half, twice = found(1), found(0.5), found(2)
    assert [n for n, _ in once] == [n for n, _ in half] == [n for n, _ in twice]
    assert np.allclose([s for _, s in once], [s for _, s in half], atol=0.012)
    assert np.allclose([s for _, s in once], [s for _, s in twice], atol=0.012)


def test_the_map_comes_back_at_the_photos_size() -> None:
    photo, scene, rendering = drawn(cv2.resize(layered_view(), None, fx=1.7, fy=1.7, interpolation=0))
    _, layer_map = find_layers(ground_of(photo, scene, rendering))
    full = at_photo_size(layer_map, photo.height, photo.width)
    assert full.shape == scene.label.shape
    assert full.dtype == np.int16
    assert not full.flags.writeable


def test_edges_are_counted_both_ways() -> None:
    regions = np.array([[0, 0, 1], [0, 2, 1], [-1, 2, 2]], np.int16)
    assert edge_lengths(regions, 3).tolist() == [[0, 1, 2], [1, 0, 2], [2, 2, 0]]


def test_luminance_and_zones_against_published_values() -> None:
    """sRGB 119 is 18.4 % linear (IEC 61966-2-1); Rec. 709 weights; zone V is 18 %."""
    grey = np.full((1, 1, 3), 119, np.uint8)
    assert float(luminance(grey)[0, 0]) == pytest.approx(0.1845, abs=2e-4)
    green = np.array([[[0, 255, 0]]], np.uint8)
    assert float(luminance(green)[0, 0]) == pytest.approx(0.7152, abs=1e-4)
    assert float(zones_of(np.array([[0.18]], np.float32))[0, 0]) == pytest.approx(5.0, abs=1e-5)
    assert zone_of(0.36) == pytest.approx(6.0)


def test_sizes_that_differ_are_refused_in_one_line() -> None:
    photo, scene, _ = drawn(oak_in_a_meadow())
    _, _, other = drawn(Canvas(200, 300).label)
    with pytest.raises(BadValue, match="must have one size") as refused:
        ground_of(photo, scene, other)
    assert "\n" not in str(refused.value)
