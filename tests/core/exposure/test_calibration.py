"""Calibrating on simulated frame pairs finds the factor they were made with, and refuses what cannot tell."""

import dataclasses
from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from irpreview.core.exposure.calibration import calibrate_frames, calibrate_photos, calibrate_typed
from irpreview.core.exposure.frame_pairs import CAMERA_CURVES, curve_linear
from irpreview.core.exposure.metering import from_ev, parse_exposure
from irpreview.core.exposure.setting import plan_exposure
from irpreview.core.units import shutter_text
from irpreview.errors import BadPair
from irpreview.records import CLASS_ID, Conditions, Kit, Light, Range, Shot
from tests.core.simulated_frames import LEAF_LIFT, SATURATING, curve_code, draw, picture_pair, raw_pair, shoulder

FACTORS = {"tree": Range(LEAF_LIFT - 0.5, LEAF_LIFT, LEAF_LIFT + 0.5), "structure": Range(-0.3, 0.0, 0.3)}
MISFRAMED: dict[str, Any] = {"shift_px": (5.0, -3.0), "turn_deg": 0.5}


@given(st.sampled_from(list(CAMERA_CURVES.values())), st.floats(0.002, 0.998))
def test_each_camera_curve_is_undone(steepness: float, linear: float) -> None:
    there = curve_code(np.array([linear], np.float32), steepness)
    assert curve_linear(there, steepness)[0] == pytest.approx(linear, abs=2e-3, rel=2e-3)


@pytest.mark.parametrize("factor", [9.4, 16.1])
@pytest.mark.parametrize("leaves", [0.0, 0.4, 1.0])
def test_linear_frames_tell_the_factor_of_grey_whatever_fills_them(factor: float, leaves: float) -> None:
    drawn = draw(seed=3, leaves=leaves)
    answer = calibrate_frames(*raw_pair(drawn, factor, off_stops=-1.5, **MISFRAMED), FACTORS, drawn.label)
    assert answer.factor_stops.likely == pytest.approx(factor, abs=0.15)
    assert answer.factor_stops.low <= factor <= answer.factor_stops.high
    assert answer.factor_stops.width < 1.8


def test_grey_that_the_map_takes_for_leaves_does_not_shift_the_factor() -> None:
    drawn = draw(seed=3, leaves=0.0)
    as_leaves = np.where(drawn.label == CLASS_ID["structure"], CLASS_ID["tree"], drawn.label).astype(np.uint8)
    answer = calibrate_frames(*raw_pair(drawn, 14.0, off_stops=-1.5), FACTORS, as_leaves)
    assert set(answer.surfaces) == {"neutral"}
    assert answer.factor_stops.low <= 14.0 <= answer.factor_stops.high
    assert answer.factor_stops.likely == pytest.approx(14.0, abs=0.3)


def test_linear_frames_without_a_label_map_are_told_by_colour_with_more_doubt() -> None:
    drawn = draw(seed=4, leaves=0.5)
    pair = raw_pair(drawn, 15.0, off_stops=-1.5)
    by_colour = calibrate_frames(*pair)
    by_class = calibrate_frames(*pair, FACTORS, drawn.label)
    assert set(by_colour.surfaces) == {"neutral", "foliage"}
    assert by_colour.factor_stops.low <= 15.0 <= by_colour.factor_stops.high
    assert by_colour.factor_stops.likely == pytest.approx(15.0, abs=0.3)
    assert by_colour.factor_stops.width > by_class.factor_stops.width


@pytest.mark.parametrize("steepness", [0.0, 3.2, 5.0])
@pytest.mark.parametrize("off", [-1.5, -0.7])
def test_finished_pictures_tell_it_within_a_third_of_a_stop(steepness: float, off: float) -> None:
    drawn = draw(seed=5, leaves=0.4)
    pair = picture_pair(drawn, 14.6, steepness, off_stops=off, **MISFRAMED)
    answer = calibrate_photos(*pair, FACTORS, drawn.label)
    assert answer.factor_stops.likely == pytest.approx(14.6, abs=0.35)
    assert answer.factor_stops.low <= 14.6 <= answer.factor_stops.high
    assert answer.factor_stops.width < 2.2


@pytest.mark.parametrize(
    "camera",
    [
        {"finish": shoulder},
        {"finish": 7.0},
        {"finish": 3.2, "gains": (2.4, 1.0, 1.3)},
        {"finish": 3.2, "conversion": SATURATING},
        {"finish": 3.2, "filtered_gains": (1.0, 2.27, 2.12)},
    ],
    ids=["film shoulder", "harder than the family", "other gains", "saturated colour", "custom white balance"],
)
def test_cameras_outside_the_assumed_family_still_come_out_within_a_third_of_a_stop(camera) -> None:
    drawn = draw(seed=16, leaves=0.3)
    answer = calibrate_photos(*picture_pair(drawn, 13.7, off_stops=-1.5, **camera), FACTORS, drawn.label)
    assert answer.factor_stops.likely == pytest.approx(13.7, abs=0.35)
    assert answer.factor_stops.low <= 13.7 <= answer.factor_stops.high


def test_noise_widens_nothing_silently_and_the_answer_holds() -> None:
    drawn = draw(seed=6)
    answer = calibrate_frames(*raw_pair(drawn, 15.0, off_stops=-1.5, noise=60.0), FACTORS, drawn.label)
    assert answer.factor_stops.likely == pytest.approx(15.0, abs=0.15)


def test_it_covers_the_truth_over_many_draws_and_stays_narrow() -> None:
    held, widths, errors = 0, [], []
    rng = np.random.default_rng(8)
    for seed in range(10):
        drawn = draw(seed=100 + seed, leaves=float(rng.uniform(0.1, 0.9)), size=(200, 300))
        factor = float(rng.uniform(9, 17))
        answer = calibrate_frames(
            *raw_pair(drawn, factor, off_stops=-1.5, noise=5.0), FACTORS, drawn.label
        ).factor_stops
        held += answer.low <= factor <= answer.high
        widths.append(answer.width)
        errors.append(abs(answer.likely - factor))
    assert held >= 9
    assert np.median(widths) < 1.0
    assert max(errors) < 0.15


def test_red_is_named_as_the_channel_that_clips_first_with_its_headroom() -> None:
    drawn = draw(seed=7, leaves=0.0)
    answer = calibrate_frames(*raw_pair(drawn, 15.0, off_stops=-1.0), FACTORS, drawn.label)
    assert answer.clips_first == "red"
    assert answer.clips_in_stops is not None
    more = calibrate_frames(*raw_pair(drawn, 15.0, off_stops=-2.0), FACTORS, drawn.label)
    assert more.clips_in_stops == pytest.approx(answer.clips_in_stops + 1.0, abs=0.15)
    assert answer.channel_stops["red"] < answer.channel_stops["green"]


@pytest.mark.parametrize("which", ["plain", "filtered"])
def test_a_blown_out_frame_is_refused_with_its_channel(which: str) -> None:
    drawn = draw(seed=9, leaves=0.3)
    off = 6.0 if which == "filtered" else 0.0
    plain, filtered = raw_pair(drawn, 15.0, off_stops=off)
    if which == "plain":
        bright = np.minimum(plain.linear * 64, np.array(plain.gains, np.float32))
        plain = dataclasses.replace(plain, linear=bright, clipped=bright >= 0.985 * np.array(plain.gains))
    with pytest.raises(BadPair, match=rf"{which} frame\) is blown out: \d+% of its \w+ channel.*take it again"):
        calibrate_frames(plain, filtered, FACTORS, drawn.label)


def test_partly_clipped_surfaces_are_left_out_not_clipped_into_the_answer() -> None:
    drawn = draw(seed=10, leaves=0.4)  # leaves clip, stone does not
    plain, filtered = raw_pair(drawn, 15.0, off_stops=1.2)
    assert filtered.clipped is not None
    assert 0.05 < filtered.clipped.any(axis=2).mean() < 0.6
    answer = calibrate_frames(plain, filtered, FACTORS, drawn.label)
    assert answer.factor_stops.likely == pytest.approx(15.0, abs=0.15)


def test_a_frame_that_is_too_dark_is_refused() -> None:
    drawn = draw(seed=11)
    with pytest.raises(BadPair, match=r"too dark.*more exposure"):
        calibrate_frames(*raw_pair(drawn, 15.0, off_stops=-12.0), FACTORS, drawn.label)


def test_another_scene_or_a_mirrored_one_is_refused() -> None:
    one, other = draw(seed=12), draw(seed=13)
    plain, _ = raw_pair(one, 15.0, off_stops=-1.0)
    _, filtered = raw_pair(other, 15.0, off_stops=-1.0)
    with pytest.raises(BadPair, match="do not show the same scene"):
        calibrate_frames(plain, filtered, FACTORS, one.label)
    _, right = raw_pair(one, 15.0, off_stops=-1.0)
    mirrored = dataclasses.replace(
        right, linear=right.linear[:, ::-1].copy(), clipped=np.zeros(right.linear.shape, bool)
    )
    with pytest.raises(BadPair, match="do not show the same scene"):
        calibrate_frames(plain, mirrored, FACTORS, one.label)


def test_frames_without_exposure_data_or_long_apart_or_of_other_shape_are_refused() -> None:
    drawn = draw(seed=14)
    plain, filtered = raw_pair(drawn, 15.0, off_stops=-1.0)
    with pytest.raises(BadPair, match="does not say its time and aperture and ISO"):
        calibrate_frames(dataclasses.replace(plain, shot=Shot()), filtered)
    noon = datetime(2026, 6, 21, 12, tzinfo=UTC)
    with pytest.raises(BadPair, match="120 min apart"):
        calibrate_frames(
            dataclasses.replace(plain, taken_at=noon),
            dataclasses.replace(filtered, taken_at=noon + timedelta(hours=2)),
            FACTORS,
            drawn.label,
        )
    turned = dataclasses.replace(filtered, linear=np.rot90(filtered.linear).copy(), clipped=None)
    with pytest.raises(BadPair, match="their shapes differ"):
        calibrate_frames(plain, turned)


def test_the_meters_own_example_comes_to_fifteen_stops() -> None:
    told = calibrate_typed(parse_exposure("meter said 1/125 at f/10 ISO 64"), parse_exposure("5 min looked right"))
    assert told.factor_stops.likely == pytest.approx(np.log2(300 * 125), abs=0.01)  # 15.19
    assert told.factor_stops.low < 15.19 < told.factor_stops.high
    darker = calibrate_typed(parse_exposure("1/125 f/10 ISO 64"), parse_exposure("5 min"), too_dark_stops=1.0)
    assert darker.factor_stops.likely == pytest.approx(told.factor_stops.likely + 1.0)
    assert darker.factor_stops.width > told.factor_stops.width


@pytest.mark.parametrize(
    ("meter", "filtered", "says"),
    [
        ("1/125 f/10", "5 min", "is not whole"),
        ("1/125 f/10 ISO 64", "ISO 100", "lacks time"),
        ("5 min f/10 ISO 64", "1/125", "check which is which"),
    ],
)
def test_typed_nonsense_is_refused(meter: str, filtered: str, says: str) -> None:
    with pytest.raises(BadPair, match=says):
        calibrate_typed(parse_exposure(meter), parse_exposure(filtered))


def test_a_test_frame_of_the_plan_calibrates_to_the_factor_it_stood_for() -> None:
    factor = Range(13.4, 15.0, 16.3)
    answer = plan_exposure(
        None, Kit(), Light(), Conditions(), None, factor=(factor, {"camera": factor}), readings=(from_ev(14.0),)
    )
    assert answer.placement is not None
    assert answer.test_exposures
    for one in answer.test_exposures:
        typed = parse_exposure(f"{shutter_text(one.shutter_s)} f/{one.f_number} ISO {one.iso}")
        told = calibrate_typed(14.0, typed, placement_stops=answer.placement.stops)
        assert told.factor_stops.likely == pytest.approx(one.factor_stops, abs=0.01)


def test_a_calibrated_kit_carries_factor_and_source() -> None:
    told = calibrate_typed(parse_exposure("1/125 f/10 ISO 64"), parse_exposure("5 min"))
    kit = told.applied_to(Kit(), "two frames")
    assert kit.factor_stops == told.factor_stops
    assert kit.factor_source == "two frames"
