"""Tones and labels against real near-infrared photographs and label maps (research data beside the checkout).

The shipped networks have seen the pairs, so the first tests guard against a broken chain (a wrong basis, a swapped
channel, stale weights) more than they measure quality; the scenes of the validation split are judged by the one network
that has never seen them. Cross-validated figures are in models/README.md. Measured with
../shared/scoring.py: scores that ignore the unknown exposure of the pairs (RGB-NIR Scene Dataset, Brown and Susstrunk,
CVPR 2011).
"""

import csv
import importlib.util
from pathlib import Path

import cv2
import numpy as np
import pytest

import irpreview
from irpreview.io.network import load_network
from tests.conftest import read_picture

HELD_BACK = Path(__file__).resolve().parents[2] / "models" / "held_back"

pytestmark = pytest.mark.research
EVERY = 6


@pytest.fixture(scope="module")
def scoring(research):
    spec = importlib.util.spec_from_file_location("research_scoring", research / "scoring.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def pictures(research: Path) -> list[str]:
    return sorted(p.name.removesuffix("_rgb.jpg") for p in (research / "rgb_nir_pairs").glob("*_rgb.jpg"))[::EVERY]


@pytest.fixture(scope="module")
def results(research, scoring):
    kit = irpreview.load_kit("reference-pairs")
    rows, counts, covered = [], np.zeros((10, 10)), []
    for stem in pictures(research):
        base = research / "rgb_nir_pairs" / stem
        nir = read_picture(f"{base}_nir.jpg", cv2.IMREAD_GRAYSCALE)
        truth = read_picture(f"{base}_labels.png", cv2.IMREAD_GRAYSCALE)
        photo = irpreview.load_photo(Path(f"{base}_rgb.jpg"))
        scene = irpreview.map_scene(photo)
        rendering = irpreview.render(photo, scene, kit=kit)
        grey = cv2.cvtColor(photo.pixels, cv2.COLOR_RGB2GRAY)
        mix = cv2.transform(photo.pixels, np.array([[0.5, 2.0, -1.5]], np.float32))
        predicted = scoring.to_display(rendering.tones)
        rows.append([scoring.tone_scores(picture, nir) for picture in (predicted, grey, mix)])
        counts += scoring.label_counts(scene.label, truth)
        gain, offset = np.polyfit(nir.ravel().astype(float), predicted.ravel(), 1)
        real = np.clip(gain * nir + offset, 0, 255)
        bright = (real > 40) & (predicted > 40)
        # near enough: a step in display tones as stops through the slope of the sRGB curve (exponent about 2.2)
        off = 2.2 * np.abs(np.log2(predicted[bright] / real[bright]))
        covered.append(float((off <= rendering.spread_stops[bright]).mean()))
    return rows, counts, covered


@pytest.mark.parametrize(("key", "floor"), [("rank", 0.90), ("order", 0.97), ("psnr", 25.0)])
def test_tones_on_real_pairs(results, key, floor):
    rows, _, _ = results
    predicted, grey, mix = (np.nanmean([r[i][key] for r in rows]) for i in range(3))
    assert predicted >= floor
    assert predicted > mix > grey, "the network must beat what needs no network"


def test_labels_on_real_pairs(results, scoring):
    _, counts, _ = results
    accuracy, iou = scoring.label_scores(counts)
    assert accuracy >= 0.93
    for name in ("water", "tree", "ground", "structure"):
        assert iou[name] >= 0.6, name


def test_the_spread_covers_the_truth(results):
    """A 5-95 % range must hold at least 85 % of the pixels."""
    _, _, covered = results
    assert np.mean(covered) >= 0.85


def test_labels_of_scenes_by_another_annotator(research, scoring):
    """Every eighth photo of the validation split of the labelled scenes (sources and terms: models/README.md)."""
    with (research / "labelled_scenes" / "split.csv").open(newline="") as file:
        rows = [r for r in csv.DictReader(file) if r["split"] == "val"][::8]
    unseen = load_network(HELD_BACK)
    assert "val split" in unseen.not_seen
    counts = np.zeros((10, 10))
    for row in rows:
        path = research / "labelled_scenes" / f"{row['name']}.jpg"
        truth = cv2.imread(str(path.with_suffix(".png")), cv2.IMREAD_GRAYSCALE)
        label = irpreview.map_scene(irpreview.load_photo(path), unseen).label
        counts += scoring.label_counts(label, truth, row["sky_means"])
    accuracy, _ = scoring.label_scores(counts)
    assert accuracy >= 0.90
