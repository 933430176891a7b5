"""Gaps against real near-infrared photographs: the RGB-NIR Scene Dataset (Brown and Susstrunk, CVPR 2011).

Judged on the 29 pairs that the network for tests has not seen (models/folds.py). Its fold is the luckiest of four: over
all 123 pairs, each by a network that had not seen it, the mean error is 0.30 zone, the range covers 0.85, `separates`
is right in 0.96, `merges` in 0.74 and 0.19 stay uncertain (models/README.md), so the figures here keep some distance
from what they must reach.
"""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path
from types import ModuleType

import cv2
import numpy as np
import pytest

from irpreview import single_answers
from irpreview.io.kits import load_kit
from irpreview.io.photos import load_photo
from irpreview.records import Conditions, Light, Photo, Verdict

pytestmark = pytest.mark.research

MEASURED = {
    "separations": 142,
    "mean_error": 0.219,
    "sign_above_1": 1.0,
    "sign_above_half": 1.0,
    "covered": 0.944,
    "median_width": 1.07,
    "separates_right": 0.988,
    "merges_right": 0.857,
    "uncertain": 0.211,
}
"""On 2026-11-28, by the network for tests, which has not seen these pairs and is of the same recipe as the one that
ships; constants of the doubt fitted to all 123 pairs held back in turn. The version before, with constants fitted to
these pairs alone (128 separations): error 0.214, covered 0.898, separates 0.959, merges 0.941, uncertain 0.297."""


@pytest.fixture(scope="module")
def evaluation() -> ModuleType:
    path = Path(__file__).resolve().parents[2] / "models" / "evaluate_gaps.py"
    if not path.exists():
        pytest.skip("models/evaluate_gaps.py is not beside the tests")
    spec = importlib.util.spec_from_file_location("evaluate_gaps", path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules["evaluate_gaps"] = module
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="module")
def figures(research: Path, evaluation: ModuleType) -> dict[str, float]:
    found: dict[str, float] = evaluation.figures(evaluation.unseen_rows(research))
    return found


def test_signs_of_clear_gaps_are_right(figures: dict[str, float]) -> None:
    assert figures["separations"] > 120
    assert figures["sign_above_1"] >= 0.97
    assert figures["sign_above_half"] >= 0.90
    assert figures["real_sign_above_1"] >= 0.97


def test_mean_error_is_a_quarter_of_a_zone_at_most(figures: dict[str, float]) -> None:
    assert figures["mean_error"] <= 0.25


def test_spread_covers_what_it_says_and_is_no_wide_guess(figures: dict[str, float]) -> None:
    assert figures["covered"] >= 0.85
    assert figures["median_width"] <= 1.1


def test_verdicts_agree_with_the_real_pictures(figures: dict[str, float]) -> None:
    """Goals: 0.95 and 0.80 right, 0.22 uncertain."""
    assert figures["separates_right"] >= 0.95
    assert figures["merges_right"] >= 0.80
    assert figures["uncertain"] <= 0.24


def test_a_picture_fitted_to_itself_has_no_error(evaluation: ModuleType) -> None:
    """Gain, offset and the sRGB curve must cancel: the measure itself adds nothing."""
    rng = np.random.default_rng(3)
    tones = cv2.GaussianBlur(rng.uniform(0.02, 0.9, (120, 160)).astype(np.float32), (0, 0), 3)
    display, white = evaluation.display_tones(tones)
    real = np.round(0.6 * np.clip(display, 0, 255) + 40).astype(np.uint8)
    back = evaluation.fitted_real(tones, real)
    assert np.abs(np.log2(back / np.minimum(tones, white))).max() < 0.06


# ---- stability on real photographs


def _verdict(pixels: np.ndarray) -> Verdict:
    photo = Photo(pixels=np.ascontiguousarray(pixels))
    kit, light = load_kit("reference-pairs"), Light()
    scene = single_answers.map_scene(photo)
    rendering = single_answers.render(photo, scene, kit, light)
    return single_answers.judge(photo, scene, kit, light, Conditions(wind_m_s=2.0), 1 / 30, rendering=rendering)


def _exposed(pixels: np.ndarray, stops: float) -> np.ndarray:
    x = pixels.astype(np.float32) / 255
    linear = np.where(x <= 0.04045, x / 12.92, ((x + 0.055) / 1.055) ** 2.4) * 2.0**stops
    y = np.clip(linear, 0, 1)
    return np.round(255 * np.where(y <= 0.0031308, 12.92 * y, 1.055 * y ** (1 / 2.4) - 0.055)).astype(np.uint8)


def _changed(pixels: np.ndarray, how: str) -> tuple[np.ndarray, float]:
    """(changed pixels, share cropped on each side)."""
    h, w = pixels.shape[:2]
    if how == "re-encoded":
        _, data = cv2.imencode(".jpg", pixels[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, 80])
        back = cv2.imdecode(data, cv2.IMREAD_COLOR)
        assert back is not None
        return np.asarray(back[..., ::-1]), 0.0
    if how == "cropped":
        return pixels[round(0.02 * h) : h - round(0.02 * h), round(0.02 * w) : w - round(0.02 * w)], 0.02
    if how == "half size":
        return cv2.resize(pixels, (w // 2, h // 2), interpolation=cv2.INTER_AREA), 0.0
    return _exposed(pixels, 2 / 3 if how == "brighter" else -2 / 3), 0.0


def _same_separations(one: Verdict, other: Verdict, cropped: float) -> list[tuple[str, str]]:
    """(says, says) of the separations above one zone, layers matched by where they lie."""
    y, x = (np.mgrid[0:150, 0:200] + 0.5) / np.array([150, 200]).reshape(2, 1, 1)

    def at(layer_map: np.ndarray, u: np.ndarray, v: np.ndarray) -> np.ndarray:
        return layer_map[(v * layer_map.shape[0]).astype(int), (u * layer_map.shape[1]).astype(int)]

    k = 1 - 2 * cropped
    first, second = at(one.layer_map, cropped + k * x, cropped + k * y), at(other.layer_map, x, y)
    shared = np.zeros((len(one.layers), len(other.layers)))
    np.add.at(shared, (first.ravel(), second.ravel()), 1)
    match = shared.argmax(1)
    said = {frozenset((g.a, g.b)): g.says for g in other.separations}
    found: list[tuple[str, str]] = []
    for separation in one.separations:
        pair = frozenset((int(match[separation.a]), int(match[separation.b])))
        if abs(separation.zones) > 1 and pair in said:
            found.append((separation.says, said[pair]))
    return found


@pytest.fixture(scope="module")
def small_changes(research: Path) -> tuple[list[bool], list[tuple[str, str]]]:
    """Whether the lead stays, and what is said of clear separations before and after, when snaps change a little.

    On these four no lead of 20 changes and one separation of 67 (to or from "uncertain"). By the network before,
    with mirroring as the sixth, by hand on 2026-11-28: 5 leads of 246 over 41 pairs (every third) and 8 of 246 over 41
    others: strengths within a tenth of what a lead needs, and skies that 2/3 stop more turn to plain white.
    By the fourth network on 2026-11-29, all 123 pairs: 720 of 738 (702 before). Mended on two thirds of them, 486 of
    492; the last third was judged afterwards: 231 of 246 at the first look, 234 in the end and before
    (docs/measured.md).
    """
    leads: list[bool] = []
    separations: list[tuple[str, str]] = []
    for name in ("water_0003", "oldbuilding_0003", "mountain_0008", "country_0027"):
        pixels = load_photo(research / "rgb_nir_pairs" / f"{name}_rgb.jpg").pixels
        once = _verdict(pixels)
        for how in ("re-encoded", "cropped", "half size", "brighter", "darker"):
            changed, cropped = _changed(pixels, how)
            other = _verdict(changed)
            leads.append(other.lead == once.lead)
            separations += _same_separations(once, other, cropped)
    return leads, separations


def test_clear_gaps_survive_small_changes_of_the_snap(small_changes) -> None:
    _, separations = small_changes
    assert len(separations) > 30
    assert {"separates", "merges"} not in [set(pair) for pair in separations]
    assert sum(a == b for a, b in separations) >= 0.98 * len(separations)


def test_every_lead_survives_small_changes_of_the_snap(small_changes) -> None:
    leads, _ = small_changes
    assert len(leads) == 20
    assert all(leads)
