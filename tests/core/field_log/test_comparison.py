"""Predicted against taken on drawn tones whose difference is known, and the correction learned from it."""

import numpy as np
import pytest

from irpreview.core.field_log.comparison import check_correction, compare, differences_of, personal_correction
from irpreview.core.field_log.entries import ToneDifference
from irpreview.core.imaging.registration import Registration
from irpreview.core.words.field_log_words import check_words, comparison_words
from irpreview.errors import BadPair
from irpreview.records import CLASS_ID, Layer, Range

HERE = Registration(np.eye(3), 0.9, 0.5, 1.0, 0.0, 1.0, 0.0)
TALL, WIDE = 240, 360


def scene():
    """(predicted tones, labels): sky, trees, grass, ground in bands, with texture."""
    rng = np.random.default_rng(0)
    label = np.zeros((TALL, WIDE), np.uint8)
    zone = np.zeros((TALL, WIDE), np.float32)
    for i, (name, z) in enumerate((("clear_sky", 3.0), ("tree", 6.5), ("grass", 7.0), ("ground", 5.0))):
        label[i * 60 : (i + 1) * 60] = CLASS_ID[name]
        zone[i * 60 : (i + 1) * 60] = z
    zone += rng.normal(0.0, 0.15, zone.shape).astype(np.float32)
    return (0.18 * 2.0 ** (zone - 5.0)).astype(np.float32), label


def test_the_same_picture_at_another_exposure_and_contrast_differs_by_nothing():
    tones, label = scene()
    frame = np.clip(0.4 * tones**0.8, 0, 1)  # softer and darker
    found = compare(tones, label, frame, HERE)
    assert found.mean_error_zones < 0.1
    assert found.contrast == pytest.approx(1 / 0.8, rel=0.05)
    assert found.rank > 0.98
    assert any("no class differs" in s for s in comparison_words(found))
    assert set(found.classes) == {"clear_sky", "tree", "grass", "ground"}
    assert found.picture.shape == (TALL, WIDE, 3)


def test_a_class_that_came_out_brighter_is_named():
    tones, label = scene()
    frame = 0.3 * tones
    frame[label == CLASS_ID["ground"]] *= 2.0
    layers = (Layer(0, "near ground", "ground", 0.25, Range(5, 5, 5), 5.0, (0.5, 0.9)),)
    layer_map = np.where(label == CLASS_ID["ground"], 0, -1).astype(np.int16)
    found = compare(tones, label, frame, HERE, layers, layer_map)
    spread = found.classes["ground"].zones.likely - found.classes["grass"].zones.likely
    assert spread == pytest.approx(1.0 * found.contrast, abs=0.15)
    assert found.layers[0].zones.likely == pytest.approx(found.classes["ground"].zones.likely, abs=0.05)
    assert any(s.startswith("ground: ") and "brighter" in s for s in comparison_words(found))
    brighter = found.picture[label == CLASS_ID["ground"]].mean(axis=0)
    assert brighter[0] > brighter[2] + 20  # red over blue
    kept = differences_of(found, "k", "pair")
    assert {d.class_name for d in kept} == set(found.classes)


def test_frames_that_cannot_be_compared_are_refused():
    tones, label = scene()
    with pytest.raises(BadPair, match="can be compared"):
        compare(tones, label, np.full_like(tones, 1.0), HERE)
    aside = Registration(np.array([[1, 0, 340.0], [0, 1, 0], [0, 0, 1]]), 0.9, 0.5, 0.05, 0.0, 1.0, 0.9)
    with pytest.raises(BadPair):
        compare(tones, label, 0.3 * tones, aside)


def pairs(count, truth, scatter, rng):
    out = []
    for k in range(count):
        level = rng.normal() * 0.5  # the exposure of the pair is not known
        for name, value in truth.items():
            out.append(ToneDifference("k", name, value + level + scatter * rng.normal(), 0.3, str(k)))
    return out


def test_correction_is_shrunk_toward_none_and_grows_with_pairs():
    truth = {"tree": 0.6, "grass": 0.0, "ground": -0.6}
    rng = np.random.default_rng(1)
    every = pairs(30, truth, 0.1, rng)
    found = [personal_correction(every[: 3 * n]) for n in (1, 4, 30)]
    tree = [f["tree"].stops.likely for f in found]
    assert 0.0 < tree[0] < tree[1] < tree[2] <= 0.65
    assert found[-1]["ground"].stops.likely == pytest.approx(-0.6, abs=0.1)
    assert abs(found[-1]["tree"].unshrunk_stops) >= abs(tree[-1])
    assert found[-1]["tree"].pairs == 30
    assert personal_correction(()) == {}


def test_correction_helps_new_pairs_and_one_odd_pair_does_not_spoil_it():
    rng = np.random.default_rng(2)
    truth = {"tree": 0.5, "grass": 0.2, "ground": -0.4, "structure": 0.0}
    spoilt = [
        *pairs(12, truth, 0.3, rng),
        ToneDifference("k", "tree", -6.0, 0.3, "odd"),
        ToneDifference("k", "grass", 0.0, 0.3, "odd"),
    ]
    own = personal_correction(spoilt)
    centre = np.mean(list(truth.values()))
    before = sum(abs(v - centre) for v in truth.values())
    mean_own = np.mean([own[n].stops.likely for n in truth])
    after = sum(abs((v - centre) - (own[n].stops.likely - mean_own)) for n, v in truth.items())
    assert after < 0.5 * before


def test_correction_covers_the_truth():
    inside = total = 0
    for k in range(100):
        rng = np.random.default_rng(k)
        truth = {n: 0.35 * rng.normal() for n in ("tree", "grass", "ground", "structure", "water")}
        own = personal_correction(pairs(8, truth, 0.5, rng))
        # only how classes lie to each other can be known
        shift = np.mean([truth[n] - own[n].stops.likely for n in truth])
        for n, v in truth.items():
            inside += bool(own[n].stops.low <= v - shift <= own[n].stops.high)
            total += 1
    assert 0.85 <= inside / total <= 0.99


def test_the_check_on_pairs_held_back_tells_help_from_chance():
    rng = np.random.default_rng(5)
    kit_differs = check_correction(pairs(10, {"tree": 0.7, "grass": 0.1, "ground": -0.6, "structure": 0.0}, 0.2, rng))
    assert kit_differs is not None
    assert kit_differs.helps
    assert "it helps" in check_words(kit_differs)
    assert kit_differs.after_zones < 0.6 * kit_differs.before_zones
    helped = 0
    for k in range(20):
        nothing = pairs(8, dict.fromkeys(("tree", "grass", "ground"), 0.0), 0.3, np.random.default_rng(k))
        by_chance = check_correction(nothing)
        assert by_chance is not None
        helped += by_chance.helps
    assert helped <= 3
    assert check_correction(pairs(2, {"tree": 0.5, "grass": 0.0}, 0.1, rng)) is None


def test_a_kit_that_differs_clearly_is_corrected_by_most_of_it():
    """Ten pairs that scatter by 0.2 stop tell the prior of 0.35 stop nearly off."""
    rng = np.random.default_rng(6)
    own = personal_correction(pairs(10, {"tree": 0.5, "grass": 0.0, "ground": -0.5}, 0.2, rng))
    assert own["tree"].stops.likely - own["ground"].stops.likely == pytest.approx(1.0, abs=0.25)
