"""How long movement takes: redrawing at screen size after a change of wind or shutter, and measuring a 1080p clip.

Run by hand: python -m tests.benchmarks.movement. Prints medians and spreads; aims: 0.2 s to redraw 1024 px, 8 s for a
clip of 5 s at 1080p, both on two cores.
"""

from __future__ import annotations

import statistics
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import cv2
import numpy as np

from irpreview.core.motion.blur import movement_at
from irpreview.core.motion.clip_motion import measure_motion
from irpreview.core.motion.motion_rendering import picture_in_motion
from irpreview.core.motion.motion_stage import prepare_stage
from irpreview.core.motion.rates import rates_of_motion
from irpreview.io.clips import load_clip
from irpreview.records import CLASS_ID, Conditions, SceneMap
from tests.core.clip_drawing import draw_clip, texture


def timed(work: Callable[[], object], repeats: int) -> str:
    wall, busy = [], []
    for _ in range(repeats):
        a, b = time.perf_counter(), time.process_time()
        work()
        wall.append(time.perf_counter() - a)
        busy.append(time.process_time() - b)
    return (
        f"median {statistics.median(wall):.3f} s, best {min(wall):.3f} s, worst {max(wall):.3f} s wall; "
        f"processor time {statistics.median(busy):.3f} s over all cores"
    )


def drawn_picture(height: int = 768, width: int = 1024) -> tuple[np.ndarray, SceneMap]:
    """Everything that moves at once: cloud, trees, water, grass over half the picture."""
    label = np.full((height, width), CLASS_ID["cloud"], np.uint8)
    label[int(0.45 * height) :] = CLASS_ID["water"]
    label[int(0.6 * height) :] = CLASS_ID["grass"]
    label[int(0.2 * height) : int(0.65 * height), : int(0.4 * width)] = CLASS_ID["tree"]
    label[int(0.3 * height) : int(0.6 * height), int(0.6 * width) : int(0.8 * width)] = CLASS_ID["structure"]
    tones = np.maximum(texture(np.random.default_rng(4), height, width, 1.5, 0.12, 0.4), 0.01).astype(np.float32)
    none = np.zeros((1, 1, 1), np.float32)
    return tones, SceneMap(np.zeros((9, 2, 2), np.float32), label, np.ones((1, 1), np.float32), none)


def redraw() -> None:
    tones, scene = drawn_picture()
    print("take apart, once:", timed(lambda: prepare_stage(tones, scene), 5))
    stage = prepare_stage(tones, scene)
    for wind, shutter in ((3.0, 1 / 30), (9.4, 1.0), (9.4, 30.0), (9.4, 300.0)):

        def once(wind: float = wind, shutter: float = shutter) -> None:
            rates = rates_of_motion(scene, Conditions(wind_m_s=wind))
            picture_in_motion(tones, scene, movement_at(rates, shutter), stage=stage)

        print(f"redraw at {wind:g} m/s, {shutter:g} s:", timed(once, 9))


def clip() -> None:
    drawn = draw_clip(size=(360, 640), seconds=5.0, fps=30.0, sway_px=2.0, drift_px_s=(4.0, 1.0), shake_px=4.0)
    with tempfile.TemporaryDirectory() as folder:
        path = str(Path(folder) / "clip.mp4")
        writer = cv2.VideoWriter(path, cv2.VideoWriter.fourcc(*"mp4v"), 30.0, (1920, 1080))
        for frame in drawn.frames:
            big = cv2.resize(frame, (1920, 1080), interpolation=cv2.INTER_CUBIC)
            writer.write(cv2.cvtColor(big, cv2.COLOR_GRAY2BGR))
        writer.release()

        def once() -> None:
            loaded = load_clip(path)
            measure_motion(loaded.frames, loaded.fps, drawn.label, px_per_rad=460.0)

        print("clip of 5 s at 1080p, read and measured:", timed(once, 3))


if __name__ == "__main__":
    redraw()
    clip()
