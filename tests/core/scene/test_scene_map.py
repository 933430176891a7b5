import cv2
import numpy as np
import pytest

from irpreview.core.imaging.resize import size_within
from irpreview.core.scene.edge_guide import EdgeGuide
from irpreview.core.scene.reference_tone import reference_tone
from irpreview.core.scene.scene_map import (
    class_planes,
    layers_of,
    network_tone,
    probability_at,
    repaint,
    repaint_all,
    scene_from_network,
    working_pixels,
)
from irpreview.errors import BadValue
from irpreview.records import CLASS_ID, WORKING_SIDE_PX, Photo
from tests.core import drawn


def test_labels_follow_the_drawn_truth():
    label = drawn.landscape()
    _, scene = drawn.drawn_scene()
    assert (scene.label == label).mean() > 0.985


def test_labels_at_full_size_follow_the_photo_edges_better_than_plain_enlargement():
    label = cv2.resize(drawn.landscape(), (2560, 1920), interpolation=cv2.INTER_NEAREST)
    photo = Photo(pixels=drawn.paint(label))
    probability = drawn.probability(label, 40)
    scene = scene_from_network(photo, probability, np.zeros((1, 4, 4), np.float32))
    plain = np.stack([cv2.resize(p, (2560, 1920)) for p in probability]).argmax(0) + 1
    assert scene.label.shape == (1920, 2560)
    assert (scene.label != label).mean() < 0.5 * (plain != label).mean()


def test_probabilities_sum_to_one_and_records_are_read_only():
    photo, scene = drawn.drawn_scene()
    edges = EdgeGuide(photo.pixels)
    fine = probability_at(edges, class_planes(scene.probability, edges))
    assert np.allclose(fine.sum(0), 1, atol=1e-5)
    assert (fine >= 0).all()
    with pytest.raises(ValueError, match="read-only"):
        scene.label[0, 0] = 1


def test_the_guide_reproduces_an_exact_plane_of_its_colours():
    # He, Sun and Tang, "Guided image filtering", ECCV 2010, eq. 14-16: a target on a plane of the guide comes back
    pixels = np.random.default_rng(1).integers(0, 256, (40, 50, 3), dtype=np.uint8)
    target = (pixels / 255 @ np.array([0.7, -0.2, 0.4]) + 0.1).astype(np.float32)
    carried = EdgeGuide(pixels, radius_share=0.1, eps=1e-9).carry(target)
    assert np.allclose(carried, target, atol=2e-3)


def test_repaint_changes_the_class_where_painted_only():
    _, scene = drawn.drawn_scene()
    mask = np.zeros(scene.label.shape, bool)
    mask[150:180, 20:80] = True
    changed = repaint(scene, mask, "ground")
    assert (changed.label[mask] == CLASS_ID["ground"]).all()
    assert (changed.label[~mask] == scene.label[~mask]).all()
    assert changed.confidence[mask].min() == 1
    assert np.allclose(changed.probability.sum(0), 1, atol=1e-4)


def test_the_later_stroke_wins():
    _, scene = drawn.drawn_scene()
    mask = np.ones(scene.label.shape, bool)
    changed = repaint_all(scene, [(mask, "ground"), (mask, "snow")])
    assert (changed.label == CLASS_ID["snow"]).all()


@pytest.mark.parametrize("name", ["sea", "", "Tree"])
def test_an_unknown_class_is_refused_with_the_valid_ones(name):
    _, scene = drawn.drawn_scene()
    with pytest.raises(BadValue, match="clear_sky, cloud, water"):
        repaint(scene, np.zeros(scene.label.shape, bool), name)


def test_a_mask_of_another_size_is_refused():
    _, scene = drawn.drawn_scene()
    with pytest.raises(BadValue, match="10 x 10 px but the photo 256 x 192 px"):
        repaint(scene, np.zeros((10, 10), bool), "tree")


def test_share_names_every_class_and_sums_to_one():
    _, scene = drawn.drawn_scene()
    share = scene.share()
    assert set(share) == set(CLASS_ID)
    assert sum(share.values()) == pytest.approx(1)


@pytest.mark.parametrize("size", [(3000, 4000), (3001, 4001), (2002, 4004), (1500, 1100), (5000, 1200)])
def test_halving_first_gives_the_area_mean_to_a_level(size):
    pixels = drawn.paint(cv2.resize(drawn.landscape(), size[::-1], interpolation=cv2.INTER_NEAREST))
    small = working_pixels(pixels)
    h, w = size_within(size[0], size[1], WORKING_SIDE_PX)
    assert small.shape == (h, w, 3)
    plain = cv2.resize(pixels, (w, h), interpolation=cv2.INTER_AREA)
    off = np.abs(small.astype(int) - plain)
    assert off.mean() < 1.0
    assert np.quantile(off, 0.999) < 16


def test_one_polynomial_gives_the_tone_of_five_carried_maps():
    rng = np.random.default_rng(4)
    pixels = cv2.resize(drawn.paint(drawn.landscape()), (800, 600), interpolation=cv2.INTER_LINEAR)
    edges = EdgeGuide(pixels)
    assert edges.reduced != edges.shape
    mix = rng.normal(0.2, 0.2, (5, 40, 50)).astype(np.float32)
    one_by_one = reference_tone(pixels, np.stack([edges.carry(m) for m in mix]))
    assert np.abs(network_tone(pixels, mix, edges) - one_by_one).max() < 1e-4


def test_the_border_is_decided_at_full_size_and_the_inside_is_not_touched():
    label = cv2.resize(drawn.landscape(), (2304, 1728), interpolation=cv2.INTER_NEAREST)
    photo = Photo(pixels=drawn.paint(label))
    scene = scene_from_network(photo, drawn.probability(label, 9), np.zeros((5, 4, 4), np.float32))
    assert scene.label.shape == label.shape
    assert (scene.label == label).mean() > 0.98
    assert scene.cloud_share is not None
    assert scene.network_stops is not None
    tower = slice(1400, 1800)  # its edges are those of the picture, to a few pixels of 2304
    wrong = scene.label[400:700, tower] != label[400:700, tower]
    assert wrong.mean() < 0.03


def test_repainting_keeps_what_the_network_said():
    _, scene = drawn.drawn_scene()
    again = repaint(scene, scene.label == 5, "water")
    assert again.network_stops is scene.network_stops
    assert again.cloud_share is scene.cloud_share


def test_a_weighted_guide_hears_only_what_counts():
    """A plane fitted to the left half alone comes back exactly there, whatever stands on the right."""
    pixels = np.random.default_rng(2).integers(0, 256, (60, 80, 3), dtype=np.uint8)
    target = (pixels / 255 @ np.array([0.5, 0.3, -0.2]) + 0.2).astype(np.float32)
    spoilt = target.copy()
    spoilt[:, 40:] = 5.0
    weight = np.zeros((60, 80), np.float32) + 1e-6
    weight[:, :40] = 1.0
    carried = EdgeGuide(pixels, radius_share=0.1, eps=1e-9, weight=weight).carry(spoilt)
    assert np.abs(carried - target)[:, :40].max() < 0.01
    assert np.abs(EdgeGuide(pixels, radius_share=0.1, eps=1e-9).carry(spoilt) - target)[:, :40].max() > 0.2


def test_sky_and_land_do_not_spill_over_their_edge():
    """A wall before the sky, the network's answer blurred over 16 px: the tone steps within 3 px and is flat beyond."""
    pixels = np.full((300, 400, 3), (96, 146, 205), np.uint8)
    pixels[:, 200:] = (176, 160, 138)
    pixels = np.clip(pixels + np.random.default_rng(0).normal(0, 2, pixels.shape), 0, 255).astype(np.uint8)
    step = np.clip((np.arange(100) - 47.5) / 4, 0, 1).astype(np.float32)  # a cell is 4 px
    probability = np.full((9, 75, 100), 1e-3, np.float32)
    probability[0], probability[5] = 1 - step, step
    probability /= probability.sum(0)
    mix = np.zeros((5, 150, 200), np.float32)
    mix[3] = np.repeat(0.2 + 0.5 * step, 2)  # display tone 0.2 in the sky, 0.7 on the wall
    edges = EdgeGuide(pixels)
    fine = probability_at(edges, class_planes(probability, edges))
    layers = layers_of(pixels, probability, mix, edges, probability, fine)
    assert layers.network_stops is not None
    row = layers.network_stops[50:250].mean(0)
    assert np.ptp(row[150:197]) < 0.15
    assert np.ptp(row[203:250]) < 0.15
    assert row[250] - row[150] > 2
    assert np.allclose(layers.probability.sum(0), 1, atol=1e-4)
