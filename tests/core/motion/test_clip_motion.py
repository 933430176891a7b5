"""Clips drawn with known sway, drift and shake, and what is measured back."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest

from irpreview.core.motion.blur import movement_at
from irpreview.core.motion.clip_motion import ClipMotion, measure_motion
from irpreview.core.motion.clip_spectra import peak_frequency, sine_power
from irpreview.core.motion.rates import rates_of_motion
from irpreview.core.words import in_words, long_words
from irpreview.errors import BadClip
from irpreview.records import CLASS_ID, Conditions, KnownBy, Photo, SceneMap, Shot
from tests.core.clip_drawing import draw_clip

SIZE = (234, 416)


def measured(**how: object) -> ClipMotion:
    clip = draw_clip(**{"size": SIZE, "seconds": 4.0, "fps": 16.0, **how})  # type: ignore[arg-type]
    return measure_motion(clip.frames, clip.fps, clip.label, px_per_rad=300.0)


def near(value: float, true: float, share: float = 0.1, px: float = 0.3) -> bool:
    return abs(value - true) <= max(share * abs(true), px)


@pytest.mark.parametrize(
    "how",
    [
        {"sway_px": 3.0, "sway_hz": 0.5},
        {"sway_px": 0.6, "sway_hz": 0.8},
        {"sway_px": 2.0, "sway_hz": 2.0, "sway_deg": 90.0},
        {"sway_px": 1.5, "sway_hz": 5.0, "noise": 5.0, "fps": 24.0},
        {"sway_px": 3.0, "sway_hz": 0.9, "shake_px": 10.0, "jpeg": 60},
        {"sway_px": 2.5, "sway_hz": 1.3, "shake_px": 5.0, "noise": 6.0, "jpeg": 40},
        {"sway_px": 9.0, "sway_hz": 0.6},
    ],
)
def test_sway_is_read_back(how: dict[str, float]) -> None:
    tree = measured(**how).classes["tree"]
    assert near(tree.amplitude_px.likely, how["sway_px"])
    assert tree.amplitude_px.low < how["sway_px"] < tree.amplitude_px.high
    assert tree.frequency_hz.likely == pytest.approx(how["sway_hz"], rel=0.1)
    assert not tree.aliased
    axis = (tree.direction_deg - how.get("sway_deg", 0.0) + 90.0) % 180.0 - 90.0
    assert abs(axis) < 10.0


@pytest.mark.parametrize(
    "how",
    [
        {"drift_px_s": (9.0, 2.0), "shake_px": 10.0, "noise": 6.0, "jpeg": 40, "size": (360, 640)},
        {"drift_px_s": (-3.0, 0.0), "cloud_contrast": 3.0},
        {"drift_px_s": (1.0, 1.0)},
        {"drift_px_s": (0.0, -4.0), "jpeg": 60},
    ],
)
def test_drift_is_read_back(how: dict[str, Any]) -> None:
    motion = measured(**how)
    assert motion.cloud_px_per_s is not None
    for value, true in zip(motion.cloud_px_per_s, how["drift_px_s"], strict=True):
        assert near(value, true)
    speed = math.degrees(math.hypot(*how["drift_px_s"]) / 300.0)
    assert motion.cloud_deg_per_s is not None
    assert motion.cloud_deg_per_s.low <= speed <= motion.cloud_deg_per_s.high
    direction = math.degrees(math.atan2(-how["drift_px_s"][1], how["drift_px_s"][0]))
    assert motion.cloud_image_deg is not None
    assert abs((motion.cloud_image_deg - direction + 180.0) % 360.0 - 180.0) < 8.0


def test_ten_pixels_of_shake_are_taken_out() -> None:
    motion = measured(shake_px=10.0)
    assert motion.shake_px > 5.0
    assert motion.residual_px < 0.3
    assert motion.classes["tree"].sigma_px < 0.3
    assert motion.cloud_px_per_s is not None
    assert math.hypot(*motion.cloud_px_per_s) < 0.3


def test_wave_period_from_the_flicker_of_water() -> None:
    motion = measured(wave_hz=0.9)
    assert motion.water_period_s == pytest.approx(1 / 0.9, rel=0.1)


def test_waves_longer_than_half_the_clip_are_not_told() -> None:
    motion = measured(wave_hz=0.2)
    assert motion.water_period_s is None
    assert any("waves are slower" in d or "film 10 s" in d for d in long_words(motion.doubts))


@pytest.mark.parametrize(("hz", "fps"), [(6.0, 10.0), (6.0, 5.0), (8.0, 18.0)])
def test_too_fast_for_the_frames_is_told_and_the_amplitude_stands(hz: float, fps: float) -> None:
    motion = measured(sway_px=2.0, sway_hz=hz, fps=fps)
    tree = motion.classes["tree"]
    assert tree.aliased
    assert any("too fast for" in d and "frames a second" in d for d in long_words(motion.doubts))
    assert near(tree.amplitude_px.likely, 2.0)


def test_short_and_slow_clips_are_told() -> None:
    motion = measured(sway_px=2.0, seconds=1.5, fps=10.0)
    assert any("1.5 s long" in d for d in long_words(motion.doubts))
    assert any("10 frames a second" in d for d in long_words(motion.doubts))


def test_a_clip_without_anything_still_is_told() -> None:
    clip = draw_clip(size=SIZE, seconds=2.0, sway_px=2.0)
    label = clip.label.copy()
    label[label == CLASS_ID["structure"]] = CLASS_ID["cloud"]
    motion = measure_motion(clip.frames, clip.fps, label, px_per_rad=300.0)
    assert math.isnan(motion.residual_px)
    assert any("stands still" in d and "%" in d for d in long_words(motion.doubts))


def test_stills_without_times_give_amplitudes_alone() -> None:
    clip = draw_clip(size=SIZE, seconds=4.0, fps=4.0, sway_px=3.0, sway_hz=0.7, drift_px_s=(5.0, 0.0))
    motion = measure_motion(clip.frames, clip.fps, clip.label, px_per_rad=300.0, timed=False)
    assert near(motion.classes["tree"].amplitude_px.likely, 3.0, share=0.15)
    assert motion.cloud_deg_per_s is None
    assert any("times between" in d for d in long_words(motion.doubts))


def test_a_blank_sky_tells_no_drift() -> None:
    motion = measured(cloud_contrast=0.0, noise=0.5, seconds=2.0)
    assert motion.cloud_px_per_s is None
    assert any("blank sky" in d or "no one direction" in d for d in long_words(motion.doubts))


def test_frames_that_show_nothing_are_refused() -> None:
    label = np.full((64, 64), CLASS_ID["tree"], np.uint8)
    black = [np.zeros((64, 64), np.uint8)] * 5
    flat = [np.full((64, 64), 90, np.uint8)] * 5
    with pytest.raises(BadClip, match="black"):
        measure_motion(black, 30.0, label, px_per_rad=100.0)
    with pytest.raises(BadClip, match="flat"):
        measure_motion(flat, 30.0, label, px_per_rad=100.0)
    with pytest.raises(BadClip, match="1 frame"):
        measure_motion(flat[:1], 30.0, label, px_per_rad=100.0)
    with pytest.raises(BadClip, match="differ in size"):
        measure_motion([flat[0], flat[0][:, :60]], 30.0, label, px_per_rad=100.0)
    with pytest.raises(BadClip, match="too small"):
        measure_motion([f[:20, :20] for f in flat], 30.0, label, px_per_rad=100.0)
    with pytest.raises(BadClip, match="frames per second"):
        measure_motion(flat, 0.0, label, px_per_rad=100.0)


def test_same_clip_same_answer() -> None:
    clip = draw_clip(size=SIZE, seconds=1.5, sway_px=2.0, shake_px=3.0, drift_px_s=(6.0, 0.0))
    a, b = (measure_motion(clip.frames, clip.fps, clip.label, px_per_rad=300.0) for _ in range(2))
    assert a.classes["tree"].amplitude_px == b.classes["tree"].amplitude_px
    assert a.cloud_px_per_s == b.cloud_px_per_s


@pytest.mark.parametrize("hz", [0.4, 0.7, 1.3, 6.0])
def test_frequency_of_two_cycles_and_more(hz: float) -> None:
    t = np.arange(150) / 30.0
    rng = np.random.default_rng(3)
    series = (np.sin(2 * np.pi * hz * t + 0.7) + 0.2 * t + rng.normal(0, 0.2, t.size))[:, None].astype(np.float32)
    assert peak_frequency(series, 30.0) == pytest.approx(hz, rel=0.05)


def test_power_is_the_variance_of_the_sine() -> None:
    t = np.arange(300) / 30.0
    series = (3.0 * np.sin(2 * np.pi * 1.5 * t))[:, None].astype(np.float32)
    assert sine_power(series, 30.0, np.array([1.5], np.float32))[0] == pytest.approx(4.5, rel=0.02)


def test_a_clip_overrides_the_wind_table() -> None:
    clip = draw_clip(size=SIZE, seconds=3.0, sway_px=3.0, sway_hz=1.0, drift_px_s=(6.0, 0.0))
    motion = measure_motion(clip.frames, clip.fps, clip.label, px_per_rad=300.0)
    label = np.repeat(np.repeat(clip.label, 2, axis=0), 2, axis=1)
    scene = SceneMap(
        np.zeros((9, 2, 2), np.float32), label, np.ones((1, 1), np.float32), np.zeros((1, 1, 1), np.float32)
    )
    photo = Photo(np.zeros((*label.shape, 3), np.uint8), shot=Shot(focal_35mm_mm=26.0))
    rates = rates_of_motion(scene, Conditions(), photo, clip=motion)
    tree = movement_at(rates, 10.0).classes["tree"]
    scale = rates.px_per_rad / 300.0
    assert tree.blur_px.likely == pytest.approx(2.0 * 3.0 * scale, rel=0.1)
    assert tree.known.by is KnownBy.CLIP
    assert "lull" in in_words(tree.known).long
    calm = rates_of_motion(scene, Conditions(wind_m_s=0.0), photo, clip=motion)
    assert movement_at(calm, 10.0).classes["tree"].blur_px.likely == tree.blur_px.likely
    assert rates.clouds is not None
    assert rates.clouds.known.measured
    assert rates.clouds.image_deg == pytest.approx(0.0, abs=5.0) or rates.clouds.image_deg == pytest.approx(
        360.0, abs=5.0
    )
