"""Film clips with a known movement, drawn by a script: textured, shaken, noisy, and compressed where asked.

A rock and ground that stand still, a patch of foliage that sways as one, a soft sheet of cloud that drifts, water that
flickers. Fixed seeds.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from irpreview.records import CLASS_ID


@dataclass(frozen=True)
class Drawn:
    frames: list[np.ndarray]
    """Grey (h, w) uint8."""
    label: np.ndarray
    fps: float


def texture(rng: np.random.Generator, h: int, w: int, grain: float, contrast: float, mean: float) -> np.ndarray:
    field = cv2.GaussianBlur(rng.normal(0, 1, (h, w)).astype(np.float32), (0, 0), grain)
    field = field + 0.7 * cv2.GaussianBlur(rng.normal(0, 1, (h, w)).astype(np.float32), (0, 0), 3 * grain) * 3
    return np.asarray(mean + contrast * (field - field.mean()) / field.std(), np.float32)


def labels(h: int, w: int) -> np.ndarray:
    label = np.full((h, w), CLASS_ID["structure"], np.uint8)
    label[: int(0.4 * h)] = CLASS_ID["cloud"]
    label[int(0.45 * h) : int(0.95 * h), int(0.05 * w) : int(0.5 * w)] = CLASS_ID["tree"]
    label[int(0.7 * h) :, int(0.55 * w) :] = CLASS_ID["water"]
    return label


def shifted(image: np.ndarray, dx: float, dy: float) -> np.ndarray:
    matrix = np.array([[1, 0, dx], [0, 1, dy]], np.float32)
    return cv2.warpAffine(image, matrix, image.shape[::-1], flags=cv2.INTER_CUBIC, borderMode=cv2.BORDER_REFLECT)


def draw_clip(
    *,
    sway_px: float = 0.0,
    sway_hz: float = 1.0,
    sway_deg: float = 0.0,
    drift_px_s: tuple[float, float] = (0.0, 0.0),
    wave_hz: float = 0.0,
    shake_px: float = 0.0,
    noise: float = 2.0,
    jpeg: int | None = None,
    fps: float = 30.0,
    seconds: float = 5.0,
    size: tuple[int, int] = (360, 640),
    cloud_contrast: float = 8.0,
    seed: int = 1,
) -> Drawn:
    """shake_px: amplitude of the camera's movement (two slow sines and a little rotation). jpeg: quality per frame."""
    rng = np.random.default_rng(seed)
    h, w = size
    pad = 64
    label = labels(h, w)
    rock = texture(rng, h, w, 1.3, 30, 110)
    leaves = texture(rng, h + 2 * pad, w + 2 * pad, 1.5, 28, 90)
    cloud = texture(rng, h + 2 * pad, w + 2 * pad, 8.0, cloud_contrast, 190)
    waves = np.random.default_rng(seed + 1).uniform(0, 2 * np.pi, (h // 8 + 1, w // 8 + 1)).astype(np.float32)
    phase = cv2.resize(waves, (w, h), interpolation=cv2.INTER_NEAREST)
    frames = []
    angle = np.radians(sway_deg)
    for k in range(round(seconds * fps) + 1):
        t = k / fps
        s = sway_px * np.sin(2 * np.pi * sway_hz * t + 0.4)
        moved = shifted(leaves, s * np.cos(angle), -s * np.sin(angle))[pad:-pad, pad:-pad]
        sheet = shifted(cloud, drift_px_s[0] * t - 20, drift_px_s[1] * t)[pad:-pad, pad:-pad]
        frame = rock.copy()
        frame[label == CLASS_ID["cloud"]] = sheet[label == CLASS_ID["cloud"]]
        frame[label == CLASS_ID["tree"]] = moved[label == CLASS_ID["tree"]]
        water = 100 + 25 * np.sin(2 * np.pi * wave_hz * t + phase)
        frame[label == CLASS_ID["water"]] = water[label == CLASS_ID["water"]]
        if shake_px:
            dx = shake_px * np.sin(2 * np.pi * 0.7 * t) if k else 0.0
            dy = 0.6 * shake_px * np.sin(2 * np.pi * 1.1 * t + 1.0) - 0.6 * shake_px * np.sin(1.0) if k else 0.0
            turn = cv2.getRotationMatrix2D((w / 2, h / 2), 0.05 * np.sin(2 * np.pi * 0.9 * t), 1.0)
            turn[:, 2] += (dx, dy)
            frame = cv2.warpAffine(frame, turn, (w, h), flags=cv2.INTER_CUBIC, borderMode=cv2.BORDER_REFLECT)
        frame = frame + rng.normal(0, noise, frame.shape)
        frame = np.clip(frame, 0, 255).astype(np.uint8)
        if jpeg is not None:
            back = cv2.imdecode(cv2.imencode(".jpg", frame, [cv2.IMWRITE_JPEG_QUALITY, jpeg])[1], 0)
            assert back is not None
            frame = back
        frames.append(frame)
    return Drawn(frames, label, fps)
