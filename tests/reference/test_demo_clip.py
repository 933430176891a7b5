"""The demo scene's own clip, drawn with a written truth, and measured here: two programs that must agree."""

from __future__ import annotations

import json
import math
from pathlib import Path

import cv2
import numpy as np
import pytest

from irpreview.core.motion.clip_motion import measure_motion
from irpreview.io.clips import load_clip
from tests.conftest import read_picture

SCENE = Path(__file__).resolve().parents[2] / "demo_scenes" / "moor_tower"


@pytest.mark.skipif(not (SCENE / "clip.mp4").is_file(), reason="the demo scene's clip is not in this checkout")
def test_the_demo_clip_is_read_as_it_was_drawn() -> None:
    truth = json.loads((SCENE / "truth.json").read_text())["clip"]
    clip = load_clip(SCENE / "clip.mp4")
    height, width = clip.frames[0].shape
    classes = read_picture(SCENE / "classes.png", cv2.IMREAD_GRAYSCALE)
    # 0 = edges where no class is sure: the nearest sure one
    _, nearest = cv2.distanceTransformWithLabels(
        (classes == 0).astype(np.uint8), cv2.DIST_L2, 5, labelType=cv2.DIST_LABEL_PIXEL
    )
    names = np.zeros(int(nearest.max()) + 1, np.uint8)
    names[nearest[classes > 0]] = classes[classes > 0]
    label = names[nearest]
    label = np.asarray(cv2.resize(label, (width, height), interpolation=cv2.INTER_NEAREST), np.uint8)
    scale = width / truth["width"]
    motion = measure_motion(clip.frames, clip.fps, label, px_per_rad=truth["focal_px"] * scale)
    sway = truth["tree_sway"]
    tree = motion.classes["tree"]
    assert tree.amplitude_px.low < sway["peak_px_median"] * scale < tree.amplitude_px.high
    assert abs(tree.amplitude_px.likely - sway["peak_px_median"] * scale) < 0.3
    assert tree.frequency_hz.likely == pytest.approx(sway["frequency_hz"], rel=0.1)
    assert not tree.aliased
    assert min(tree.direction_deg, 180.0 - tree.direction_deg) < 10.0
    drift = truth["cloud_drift"]
    assert motion.cloud_px_per_s is not None
    for value, true in zip(motion.cloud_px_per_s, drift["px_per_s_right_down"], strict=True):
        assert abs(value - true * scale) < 0.3
    assert motion.cloud_deg_per_s is not None
    assert motion.cloud_deg_per_s.likely == pytest.approx(drift["deg_per_s"], rel=0.15)
    assert motion.cloud_image_deg is not None
    assert abs((motion.cloud_image_deg - drift["image_deg"] + 180.0) % 360.0 - 180.0) < 10.0
    # the sheet's own speed at its height explains the angle: v / h as seen, within the reach of rows
    assert math.hypot(*drift["speed_m_s_right_ahead"]) / drift["layer_m"] > math.radians(drift["deg_per_s"])
    assert motion.shake_px > 0.3
    assert motion.residual_px < 0.3
