"""The picture at full size against true infrared: edges, even places, rims, and zones that are the zones drawn.

Sources: true infrared and classes of demo_scenes/*/ (made apart from the prediction: demo_scenes/README.md); the
registered pairs of the RGB-NIR Scene Dataset (Brown and Susstrunk, CVPR 2011). How the figures are made up:
tests/benchmarks/edges.py.
"""

from functools import lru_cache
from pathlib import Path

import cv2
import numpy as np
import pytest

import irpreview
from irpreview.core.imaging.srgb import linear_pixels
from irpreview.core.scene.sky_layer import BLUE_SLOPE
from irpreview.errors import IrpreviewError
from tests.benchmarks import edges

FOLDERS = sorted(path.parent for path in edges.SCENES.glob("*/truth.json"))
each_scene = pytest.mark.parametrize("folder", FOLDERS, ids=[folder.name for folder in FOLDERS])


@lru_cache(maxsize=16)
def snap(folder: Path):
    """(photo, scene map) of a demo scene."""

    photo = irpreview.load_photo(folder / "photo.jpg")
    try:
        return photo, irpreview.map_scene(photo)
    except IrpreviewError as error:
        pytest.skip(f"no scene network here: {error}")


def rendered(folder: Path, grade: float = 2.0):

    return irpreview.render(*snap(folder), grade=grade)


@lru_cache(maxsize=1)
def figures() -> edges.Figures:
    return edges.means([edges.of_scene(folder, rendered(folder).tones) for folder in FOLDERS])


@pytest.mark.xfail(strict=True, reason="aim 0.22; 0.29 on 2026-11-28 (0.34 before the sky was a layer of its own)")
def test_near_an_edge_the_tone_is_nearly_as_right_as_inside():
    assert figures().near <= 0.22


@pytest.mark.xfail(strict=True, reason="aim 0.16; 0.20 on 2026-11-28 (0.24 before the sky was a layer of its own)")
def test_a_little_off_the_edge():
    assert figures().middle <= 0.16


def test_what_was_reached_at_edges_holds():
    assert figures().near <= 0.30
    assert figures().middle <= 0.21


def test_inside():
    assert figures().inside <= 0.13


def test_even_stays_even():
    """True infrared itself is uneven by 0.049 stop in these cells; predicted 0.050 on 2026-11-28, 0.054 before."""
    assert figures().even_share > 0.1
    assert figures().uneven <= 0.053


def test_the_tower_has_no_rim():
    """Sky beside the tower, row by row: from 4 px on it is as dark as 30 px off (it fell from 105 to 42 over 15 px)."""
    folder = edges.SCENES / "moor_tower"
    drawn = rendered(folder, grade=4.0).picture.astype(float)
    classes = cv2.imread(str(folder / "classes.png"), cv2.IMREAD_GRAYSCALE)
    rims: dict[str, list[float]] = {"left": [], "right": []}
    for row in range(140, 360):
        stone = np.flatnonzero(classes[row] == 6)
        if stone.size < 40:
            continue
        sides = {"left": classes[row, : stone[0]][::-1], "right": classes[row, stone[-1] + 1 :]}
        levels = {"left": drawn[row, : stone[0]][::-1], "right": drawn[row, stone[-1] + 1 :]}
        for side, found in sides.items():
            if (found[3:40] == 1).all():
                rims[side].append(float(levels[side][4:16].mean() - levels[side][25:40].mean()))
    assert min(len(rows) for rows in rims.values()) > 15
    for side, rows in rims.items():
        assert abs(np.median(rows)) < 6, side


@pytest.mark.parametrize("grade", [0.0, 2.0, 4.0])
@each_scene
def test_the_zone_told_is_the_zone_drawn(folder, grade):
    """Median of the drawn grey in each class, through the sRGB curve (IEC 61966-2-1), within 0.3 zone."""
    _, scene = snap(folder)
    rendering = rendered(folder, grade)
    for class_id, name in enumerate(("clear_sky", "cloud", "water", "tree", "grass", "structure", "ground"), 1):
        where = scene.label == class_id
        if where.mean() < 0.02:
            continue
        grey = float(np.median(rendering.picture[where])) / 255
        linear = grey / 12.92 if grey <= 0.04045 else ((grey + 0.055) / 1.055) ** 2.4
        assert rendering.classes[name].zone.likely == pytest.approx(5 + np.log2(linear / 0.18), abs=0.3), name


@pytest.mark.research
def test_the_usual_slope_of_a_sky_is_that_of_the_pairs(research):
    """What the skies of the pairs lose per stop of log2(B / R): and the constant is among them."""

    slopes = []
    for path in sorted((research / "rgb_nir_pairs").glob("*_rgb.jpg")):
        base = str(path).removesuffix("_rgb.jpg")
        nir, labels = (cv2.imread(f"{base}_{kind}", cv2.IMREAD_GRAYSCALE) for kind in ("nir.jpg", "labels.png"))
        clear, sky = labels == 1, np.isin(labels, (1, 2))
        if clear.mean() < 0.03:
            continue
        colour = np.maximum(cv2.GaussianBlur(linear_pixels(cv2.imread(str(path))), (0, 0), 2), 0.003)
        tone = np.maximum(cv2.GaussianBlur(linear_pixels(nir), (0, 0), 2), 0.003)
        blueness = np.log2(colour[..., 0] / colour[..., 2])[sky]
        visible = np.log2(colour @ np.array([0.0722, 0.7152, 0.2126], np.float32))[sky]
        blown = cv2.imread(str(path)).min(axis=2)[sky] > 244
        if blueness[~blown].std() > 0.12:
            slopes.append(np.polyfit(blueness[~blown], (np.log2(tone)[sky] - visible)[~blown], 1)[0])
    assert len(slopes) > 20
    low, high = np.percentile(slopes, (10, 75))
    assert low < BLUE_SLOPE < high < 0
