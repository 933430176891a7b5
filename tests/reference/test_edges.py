"""The picture at full size against true infrared: edges, even places, rims, and zones that are the zones drawn.

Sources: true infrared and classes of demo_scenes/*/ (made apart from the prediction: demo_scenes/README.md); the
registered pairs of the RGB-NIR Scene Dataset (Brown and Susstrunk, CVPR 2011). How the figures are made up:
tests/benchmarks/edges.py.
"""

import json
from functools import lru_cache
from pathlib import Path

import cv2
import numpy as np
import pytest

import irpreview
from irpreview.analysis import analyse
from irpreview.core.imaging.srgb import UNDEVELOPED_OF_LEVEL, linear_pixels
from irpreview.core.rendering.finishing import print_of
from irpreview.core.scene.sky_layer import BLUE_SLOPE
from irpreview.request import Request
from tests.benchmarks import edges
from tests.conftest import read_picture

FOLDERS = sorted(path.parent for path in edges.SCENES.glob("*/truth.json"))
each_scene = pytest.mark.parametrize("folder", FOLDERS, ids=[folder.name for folder in FOLDERS])


@lru_cache(maxsize=16)
def snap(folder: Path):
    """(photo, scene map) of a demo scene."""

    photo = irpreview.load_photo(folder / "photo.jpg")
    return photo, irpreview.map_scene(photo)


def rendered(folder: Path, grade: float = 2.0):
    return irpreview.render(*snap(folder), grade=grade)


@lru_cache(maxsize=1)
def figures() -> edges.Figures:
    return edges.means([edges.of_scene(folder, rendered(folder).tones) for folder in FOLDERS])


def test_near_an_edge_the_tone_is_nearly_as_right_as_inside():
    assert figures().near <= 0.215  # aim 0.22; 0.210 on 2026-11-28


@pytest.mark.xfail(
    strict=True,
    raises=AssertionError,
    reason="aim 0.16; 0.168 on 2026-11-29; 0.164 the day before, with the true classes as well (0.24 at first)",
)
def test_a_little_off_the_edge():
    assert figures().middle <= 0.16


def test_what_was_reached_at_edges_holds():
    assert figures().middle <= 0.169  # by the fifth network; 0.165 by the fourth


def test_inside():
    assert figures().inside <= 0.13


def test_even_stays_even():
    """True infrared itself is uneven by 0.049 stop in these cells; predicted 0.051 on 2026-11-28.

    0.054 and 0.050 before, with skies of less contrast than the true ones.
    """
    assert figures().even_share > 0.1
    assert figures().uneven <= 0.053


RIM_SCENES = ("autumn_pool", "dry_hill", "hazel_wood_edge", "moor_tower", "pellow_street", "plain_blue_lea")


@pytest.mark.parametrize("name", RIM_SCENES)
def test_sky_has_no_rim_beside_tower_roofs_and_crowns(name):
    """Clear sky from 3 px off a thing on is as far from the true infrared as at 24 to 36 px, to a fifth of a stop.

    At the photo's 1152 px. Before, the sky beside the tower was 1.3 stops too light at 4 px and fell over 15 px.
    """
    folder = edges.SCENES / name
    code = json.loads((folder / "truth.json").read_text(encoding="utf-8"))["infrared_png"]
    classes, true = (read_picture(folder / f, cv2.IMREAD_GRAYSCALE) for f in ("classes.png", "infrared.png"))
    true = code["full_scale"] * (cv2.resize(true.astype(np.float32), classes.shape[::-1]) / 255.0) ** 2
    off = np.log2(np.maximum(rendered(folder).tones, 2.0**-8)) - np.log2(np.maximum(true, 2.0**-8))
    judged = 0
    for thing in (4, 6):
        distance = cv2.distanceTransform((classes != thing).astype(np.uint8), cv2.DIST_L2, 5)
        others = cv2.distanceTransform(np.isin(classes, (0, 1, thing)).astype(np.uint8), cv2.DIST_L2, 5)
        sky = (classes == 1) & (others > 20)
        far = sky & (distance >= 24) & (distance < 36)
        for nearest, farthest in ((3, 5), (5, 8), (8, 12), (12, 18)):
            beside = sky & (distance >= nearest) & (distance < farthest)
            if min(beside.sum(), far.sum()) > 150:
                judged += 1
                assert abs(np.median(off[beside]) - np.median(off[far])) < 0.2, (thing, nearest)
    assert judged >= 3


@pytest.mark.parametrize("grade", [0.0, 2.0, 4.0])
@each_scene
def test_the_zone_told_is_the_zone_drawn(folder, grade):
    """Median of the drawn grey in each class, through the sRGB curve (IEC 61966-2-1), within 0.3 zone."""
    _, scene = snap(folder)
    rendering, judged = rendered(folder, grade), 0
    for class_id, name in enumerate(("clear_sky", "cloud", "water", "tree", "grass", "structure", "ground"), 1):
        where = scene.label == class_id
        if where.mean() < 0.02:
            continue
        judged += 1
        grey = float(np.median(rendering.picture[where])) / 255
        linear = grey / 12.92 if grey <= 0.04045 else ((grey + 0.055) / 1.055) ** 2.4
        assert rendering.classes[name].zone.likely == pytest.approx(5 + np.log2(linear / 0.18), abs=0.3), name
    assert judged >= 2


@pytest.mark.parametrize("grade", [0.0, 2.0, 4.0])
@each_scene
def test_the_zone_told_of_a_layer_is_the_zone_drawn(folder, grade):
    """The same for the layers that the verdict names: what the print's curve says of a layer, and its drawn median."""
    answer = analyse(irpreview.load_photo(folder / "photo.jpg"), Request(grade=grade))
    verdict, picture, curve = answer.verdict, answer.rendering.picture, print_of(answer.rendering)
    of_layer = cv2.resize(verdict.layer_map, picture.shape[::-1], interpolation=cv2.INTER_NEAREST)
    assert verdict.layers
    for layer in verdict.layers:
        grey = float(np.median(picture[of_layer == layer.index])) / 255
        linear = grey / 12.92 if grey <= 0.04045 else ((grey + 0.055) / 1.055) ** 2.4
        told = float(curve.zone(layer.zone.likely))
        assert told == pytest.approx(5 + np.log2(linear / 0.18), abs=0.3), (layer.name, grey)


@pytest.mark.research
def test_the_usual_slope_of_a_sky_is_that_of_the_pairs(research):
    """What the skies of the pairs lose per stop of log2(B / R): and the constant is among them."""

    slopes = []
    for path in sorted((research / "rgb_nir_pairs").glob("*_rgb.jpg")):
        base = str(path).removesuffix("_rgb.jpg")
        nir, labels = (read_picture(f"{base}_{kind}", cv2.IMREAD_GRAYSCALE) for kind in ("nir.jpg", "labels.png"))
        clear, sky = labels == 1, np.isin(labels, (1, 2))
        if clear.mean() < 0.03:
            continue
        colour = np.maximum(cv2.GaussianBlur(linear_pixels(read_picture(path)), (0, 0), 2), 0.003)
        tone = np.maximum(cv2.GaussianBlur(linear_pixels(nir), (0, 0), 2), 0.003)
        scene = np.maximum(cv2.GaussianBlur(UNDEVELOPED_OF_LEVEL[read_picture(path)], (0, 0), 2), 0.001)
        blueness = np.log2(scene[..., 0] / scene[..., 2])[sky]
        visible = np.log2(colour @ np.array([0.0722, 0.7152, 0.2126], np.float32))[sky]
        blown = read_picture(path).min(axis=2)[sky] > 244
        if blueness[~blown].std() > 0.12:
            slopes.append(np.polyfit(blueness[~blown], (np.log2(tone)[sky] - visible)[~blown], 1)[0])
    assert len(slopes) > 20
    low, high = np.percentile(slopes, (10, 75))
    assert low < BLUE_SLOPE < high < 0
