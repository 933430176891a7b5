"""A short clip from the still's passes: trees sway and clouds drift by known amounts, the hand shakes by a known path.

Nothing is rendered again. The land in front (with its alpha) is warped by the sway, the sky behind it by the drift of a
cloud layer, then both are joined, shaken and developed like the photo. Grass and water stand still.
"""

import json
import math

import camera
import cv2
import numpy as np
import truth
from clouds import KeptSky
from scipy.ndimage import gaussian_filter, map_coordinates, maximum_filter1d
from stage import LONG_SIDE_MM

LONG_SIDE, FPS, SECONDS = 480, 15, 4.4
LAYER_M = 1900.0
NEAR_TREES_M = 75.0
FULL_ARM_M = 9.0
SHAKE_RMS_PX = 0.7


def _shrunk(plane, size_xy):
    return cv2.resize(plane.astype(np.float32), size_xy, interpolation=cv2.INTER_AREA)


def _warped(planes, row, column):
    return np.stack(
        [map_coordinates(planes[..., k], [row, column], order=1, mode="nearest") for k in range(planes.shape[-1])], -1
    )


def _drift_px_s(look, pitch_deg, focal_px, speed_m_s):
    """Image velocity (right, down) [px/s] of a layer at LAYER_M in each direction."""
    c, s = math.cos(math.radians(pitch_deg)), math.sin(math.radians(pitch_deg))
    reach = LAYER_M / np.maximum(look[..., 2], 0.03)
    point = look * reach[..., None]

    def project(p):
        ahead, up = p[..., 1] * c + p[..., 2] * s, -p[..., 1] * s + p[..., 2] * c
        return focal_px * p[..., 0] / ahead, -focal_px * up / ahead

    a, b = project(point), project(point + np.array([*speed_m_s, 0.0]))
    return np.stack([b[0] - a[0], b[1] - a[1]], -1)


def _sway_px(tree, depth, focal_px, sway_m):
    """Peak sideways sway [px] of each pixel: grows with the height above the foot of its tree, falls with distance."""
    height, width = tree.shape
    row = np.mgrid[0:height, 0:width][0].astype(np.float32)
    lowest = maximum_filter1d(np.where(tree, row, 0).max(0), max(9, width // 16))
    foot = np.broadcast_to(lowest[None], tree.shape)
    arm = np.clip(foot - row, 0, None) * depth / focal_px
    bend = np.clip(arm / FULL_ARM_M, 0, 1.2) ** 1.5
    peak = np.where(tree, sway_m * bend * focal_px / np.maximum(depth, 4), 0)
    weight = gaussian_filter(tree.astype(np.float32), 2.0)
    spread = gaussian_filter(peak, 2.0) / np.maximum(weight, 1e-3)
    return np.where(weight > 0.03, spread * np.minimum(1, weight * 2), 0).astype(np.float32)


def make(scene, work, out):
    """Write clip.mp4 and what is true of it into truth.json."""
    kept = np.load(work / f"{scene.name}.npz")
    full_height, full_width = kept["visible_depth"].shape
    scale = LONG_SIDE / max(full_height, full_width)
    width, height = (round(v * scale / 2) * 2 for v in (full_width, full_height))
    _, passes, marched = camera.radiance(kept, scene, 0, (full_width, full_height))
    share = truth.coverage(passes, marched)
    tree_share = _shrunk(share[..., 3], (width, height))
    picture = np.dstack([_shrunk(passes["picture"][..., k], (width, height)) for k in range(4)])
    clearness = _shrunk(passes["clearness"], (width, height))
    depth = cv2.resize(passes["depth"], (width, height), interpolation=cv2.INTER_NEAREST)
    sky = KeptSky(kept, scene)
    look = camera.directions(width, height, scene.pitch_deg, scene.focal_35mm)
    focal_px = scene.focal_35mm * max(width, height) / LONG_SIDE_MM
    still_cloud = np.dstack([_shrunk(marched[..., k], (width, height)) for k in range(4)])
    facts, rng = scene.clip, np.random.default_rng(scene.clip["seed"])
    tree = (tree_share > 0.5) & (depth < NEAR_TREES_M)
    peak = _sway_px(tree, depth, focal_px, facts["sway_m"])
    velocity = _drift_px_s(look, scene.pitch_deg, focal_px, facts["drift_m_s"])
    row, column = np.mgrid[0:height, 0:width].astype(np.float32)
    phase = column / width * 3.0
    frames = int(SECONDS * FPS)
    time = np.arange(frames) / FPS
    shake = gaussian_filter(rng.normal(size=(frames, 2)), (3, 0))
    shake = (shake - shake[0]) / shake.std(0) * SHAKE_RMS_PX
    gain = None
    folder = out / scene.name
    writer = cv2.VideoWriter(str(folder / "clip.mp4"), cv2.VideoWriter.fourcc(*"mp4v"), FPS, (width, height))
    for i, t in enumerate(time):
        swing = np.sin(2 * np.pi * facts["frequency_hz"] * t + phase) + 0.22 * np.sin(
            2 * np.pi * 2.6 * facts["frequency_hz"] * t + 2.3 * phase
        )
        front = _warped(np.dstack([picture, clearness]), row, column - peak * swing)
        cloud = _warped(still_cloud, row - velocity[..., 1] * t, column - velocity[..., 0] * t)
        behind = sky.paint(look, 0, cloud)
        moved = {"picture": front[..., :4], "clearness": front[..., 4]}
        frame = camera.through_air(moved, sky, look, 0, scene.haze, behind)
        if gain is None:
            gain = camera.metered_gain(frame)
        frame = _warped(frame, row - shake[i, 1], column - shake[i, 0])
        done = camera.develop(frame, gain, scene.cloud_seed + i, 0.35, scene.saturation, scene.warmth)
        writer.write(np.ascontiguousarray(done[..., ::-1]))
    writer.release()
    cloudy = (share[..., 1] > truth.SURE) if not scene.overcast else np.zeros(share.shape[:2], bool)
    cloudy = cv2.resize(cloudy.astype(np.uint8), (width, height), interpolation=cv2.INTER_NEAREST) > 0
    path = folder / "truth.json"
    told = json.loads(path.read_text())
    drift = np.median(velocity[cloudy], 0) if cloudy.any() else np.zeros(2)
    told["clip"] = {
        "file": "clip.mp4",
        "width": width,
        "height": height,
        "fps": FPS,
        "frames": frames,
        "focal_px": round(focal_px, 1),
        "tree_sway": {
            "frequency_hz": facts["frequency_hz"],
            "peak_at_crown_m": facts["sway_m"],
            "peak_px_median": round(float(np.median(peak[tree])), 3) if tree.any() else None,
            "peak_px_90": round(float(np.percentile(peak[tree], 90)), 3) if tree.any() else None,
            "direction": "sideways",
            "moving_share": round(float(tree.mean()), 4),
            "form": "peak x (sin(2 pi f t + p) + 0.22 sin(2.6 * 2 pi f t + 2.3 p)), p = 3 x / width",
        },
        "cloud_drift": {
            "speed_m_s_right_ahead": list(facts["drift_m_s"]),
            "layer_m": LAYER_M,
            "px_per_s_right_down": [round(float(v), 3) for v in drift],
            "px_per_s_10_90": [round(float(v), 3) for v in np.percentile(np.hypot(*velocity[cloudy].T), (10, 90))]
            if cloudy.any()
            else None,
            "deg_per_s": round(float(np.degrees(np.hypot(*drift) / focal_px)), 4),
            "image_deg": round(float(np.degrees(np.arctan2(-drift[1], drift[0])) % 360), 1),
            "where": "median over the cloud pixels",
        },
        "hand_shake_rms_px": SHAKE_RMS_PX,
        "stands_still": ["structure", "ground", "grass", "water"],
    }
    path.write_text(json.dumps(told, indent=1) + "\n")
    print("clip", json.dumps(told["clip"]))
