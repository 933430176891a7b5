"""How well the predicted tones hold at edges and in even places, printed; run by hand.

    python tests/benchmarks/edges.py                     the demo scenes against their true infrared
    python tests/benchmarks/edges.py --pairs [FOLDER]    the research pairs too (default ../shared/rgb_nir_pairs)

Edges, demo scenes: true infrared against `Rendering.tones`, both at half the photo's size and smoothed by 2 px, in
stops with everything below a tone of 0.01 taken as 0.01; each class's own median error (beyond 20 px from an edge) is
taken out. Root mean square within 8 px of a class edge, at 8 to 20 px, and inside; means over the scenes.

Even places: cells of a twentieth of the long side in which photo and true infrared are even (standard deviation below
`EVEN_PHOTO_STOPS` and `EVEN_TRUTH_STOPS` after the same smoothing). What is counted is how uneven the prediction is
there: the root mean square, over those cells, of its standard deviation inside the cell. [stops]

Edges, research pairs: the near-infrared photograph is first fitted to the prediction by one gain and one offset in
display tones, since its exposure and blacks are unknown (models/evaluate.py: stops_off); class edges are those of the
label maps drawn for the pairs. Pairs fit each other to about a pixel, so the inner 1.5 px are left out.
"""

from __future__ import annotations

import argparse
import json
import os
import sys
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

import irpreview
from irpreview.io.network import load_network
from models.folds import HELD_BACK, UNSEEN_FOLD, fold_of_pairs
from tests.conftest import read_picture

ROOT = Path(__file__).resolve().parents[2]
SCENES = ROOT / "demo_scenes"
RESEARCH = Path(os.environ.get("IRPREVIEW_RESEARCH", ROOT.parent / "shared"))
NEAR_PX, FAR_PX, SMOOTH_PX = 8.0, 20.0, 2.0
LOWEST_TONE = 0.01
CELL_SHARE = 0.05
EVEN_PHOTO_STOPS, EVEN_TRUTH_STOPS = 0.10, 0.07

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Figures:
    """Root mean square errors of one picture. [stops]"""

    near: float
    middle: float
    inside: float
    uneven: float
    """In even places; nan where there are none."""
    even_share: float


def half_labels(labels: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Labels at half size where all four pixels agree, else 0."""
    height, width = labels.shape[0] // 2, labels.shape[1] // 2
    blocks = labels[: 2 * height, : 2 * width].reshape(height, 2, width, 2).transpose(0, 2, 1, 3)
    four = blocks.reshape(height, width, 4)
    return np.where((four == four[..., :1]).all(-1), four[..., 0], 0).astype(np.uint8)


def edge_distance(labels: NDArray[np.uint8]) -> Array:
    """Distance of each pixel from the nearest pixel whose 3 x 3 surroundings hold two values. [px]"""
    kernel = np.ones((3, 3), np.uint8)
    edge = cv2.dilate(labels, kernel) != cv2.erode(labels, kernel)
    return np.asarray(cv2.distanceTransform((~edge).astype(np.uint8), cv2.DIST_L2, 5), np.float64)


def smooth_stops(tones: Array) -> Array:
    """log2 of tones smoothed by 2 px, not below that of 0.01."""
    return np.log2(np.maximum(cv2.GaussianBlur(np.asarray(tones, np.float64), (0, 0), SMOOTH_PX), LOWEST_TONE))


def edge_errors(error: Array, labels: NDArray[np.uint8], least_px: float = 0.0) -> tuple[float, float, float]:
    """Root mean square error near edges, farther off, and inside, each class's own median taken out. [stops]

    error: in stops, nan where nothing is counted. labels: 0 = not sure.
    """
    distance, left = edge_distance(labels), error.copy()
    good = (labels > 0) & np.isfinite(error)
    for class_id in np.unique(labels[labels > 0]):
        of_class = (labels == class_id) & good
        inner = of_class & (distance > FAR_PX)
        counted = inner if inner.sum() >= 50 else of_class
        if counted.any():
            left[of_class] -= np.median(left[counted])
    bands = (
        (distance >= least_px) & (distance <= NEAR_PX),
        (distance > NEAR_PX) & (distance <= FAR_PX),
        distance > FAR_PX,
    )
    near, middle, inside = (
        float(np.sqrt((left[band & good] ** 2).mean())) if (band & good).any() else float("nan") for band in bands
    )
    return near, middle, inside


def _cells(array: Array, size: int) -> Array:
    """(n, size * size) of the whole cells of a map."""
    height, width = array.shape[0] // size * size, array.shape[1] // size * size
    cut = array[:height, :width].reshape(height // size, size, width // size, size)
    return cut.transpose(0, 2, 1, 3).reshape(-1, size * size)


def unevenness(predicted: Array, true: Array, photo: NDArray[np.uint8]) -> tuple[float, float]:
    """(unevenness in even places [stops], their share of the picture). predicted, true: smoothed stops (h, w).

    photo: (h, w, 3) sRGB of that size. Even to the eye: in luminance and in both ratios of its channels.
    """
    size = max(8, round(CELL_SHARE * max(true.shape)))
    linear = np.asarray(photo, np.float64) / 255
    linear = np.where(linear <= 0.04045, linear / 12.92, ((linear + 0.055) / 1.055) ** 2.4)
    stops = [smooth_stops(linear[..., k]) for k in range(3)]
    seen = (stops[0] * 0.2126 + stops[1] * 0.7152 + stops[2] * 0.0722, stops[0] - stops[1], stops[2] - stops[1])
    even = _cells(true, size).std(1) < EVEN_TRUTH_STOPS
    for channel in seen:
        even &= _cells(channel, size).std(1) < EVEN_PHOTO_STOPS
    if not even.any():
        return float("nan"), 0.0
    return float(np.sqrt((_cells(predicted, size)[even].std(1) ** 2).mean())), float(even.mean())


def of_scene(folder: Path, tones: NDArray[np.floating]) -> Figures:
    """Figures of one demo scene, from predicted tones at the photo's size."""
    code = json.loads((folder / "truth.json").read_text(encoding="utf-8"))["infrared_png"]
    true = code["full_scale"] * (read_picture(folder / "infrared.png", cv2.IMREAD_GRAYSCALE) / 255.0) ** 2
    height, width = true.shape
    labels = half_labels(read_picture(folder / "classes.png", cv2.IMREAD_GRAYSCALE))[:height, :width]
    photo = cv2.resize(read_picture(folder / "photo.jpg")[..., ::-1], (width, height), interpolation=cv2.INTER_AREA)
    predicted = smooth_stops(cv2.resize(np.asarray(tones, np.float64), (width, height), interpolation=cv2.INTER_AREA))
    near, middle, inside = edge_errors(predicted - smooth_stops(true), labels)
    return Figures(near, middle, inside, *unevenness(predicted, smooth_stops(true), photo))


def of_pair(
    photo: NDArray[np.uint8], nir: NDArray[np.uint8], labels: NDArray[np.uint8], tones: NDArray[np.floating]
) -> Figures:
    """Figures of one research pair, from predicted tones of the kit `reference-pairs`; labels 0 = not sure."""
    top = max(float(np.percentile(tones, 99.5)), 1e-9)
    shown = np.clip(np.asarray(tones, np.float64) / top, 0, 1)
    shown = np.where(shown <= 0.0031308, 12.92 * shown, 1.055 * shown ** (1 / 2.4) - 0.055)
    gain, offset = np.polyfit(nir.ravel() / 255.0, shown.ravel(), 1)
    real = np.clip(gain * nir / 255.0 + offset, 0, 1)
    real = np.where(real <= 0.04045, real / 12.92, ((real + 0.055) / 1.055) ** 2.4)
    predicted, true = smooth_stops(np.asarray(tones / top, np.float64)), smooth_stops(real)
    near, middle, inside = edge_errors(predicted - true, labels, least_px=1.5)
    return Figures(near, middle, inside, *unevenness(predicted, true, photo))


def means(rows: list[Figures]) -> Figures:
    """Mean of each figure over pictures, nan left out."""
    return Figures(*(float(np.nanmean([getattr(row, name) for row in rows])) for name in Figures.__dataclass_fields__))


def line(name: str, row: Figures) -> str:
    """One row of the table."""
    return (
        f"{name:24} near {row.near:.3f}  8-20 px {row.middle:.3f}  inside {row.inside:.3f}  "
        f"uneven {row.uneven:.3f} in {100 * row.even_share:.0f} %"
    )


def main() -> None:
    parser = argparse.ArgumentParser(description="Tones at edges and in even places.")
    parser.add_argument("--pairs", nargs="?", type=Path, const=RESEARCH / "rgb_nir_pairs")
    parser.add_argument("--every", type=int, default=4, help="every n-th pair")
    args = parser.parse_args()
    sys.path.insert(0, str(ROOT))

    rows = []
    for folder in sorted(path.parent for path in SCENES.glob("*/truth.json")):
        rows.append(of_scene(folder, irpreview.render(irpreview.load_photo(folder / "photo.jpg")).tones))
        print(line(folder.name, rows[-1]))
    print(line("demo scenes, mean", means(rows)))
    if args.pairs is None:
        return

    kit, unseen = irpreview.load_kit("reference-pairs"), load_network(HELD_BACK)
    names = sorted(path.name.removesuffix("_rgb.jpg") for path in args.pairs.glob("*_rgb.jpg"))
    folds = fold_of_pairs(names)
    groups: dict[str, list[Figures]] = {"held back": [], "seen in training": []}
    seen = [n for n, f in zip(names, folds, strict=True) if f != UNSEEN_FOLD][:: args.every]
    for name in [n for n, f in zip(names, folds, strict=True) if f == UNSEEN_FOLD] + seen:
        base = args.pairs / name
        photo = irpreview.load_photo(Path(f"{base}_rgb.jpg"))
        nir, labels = (read_picture(f"{base}_{k}", cv2.IMREAD_GRAYSCALE) for k in ("nir.jpg", "labels.png"))
        tones = irpreview.render(photo, irpreview.map_scene(photo, unseen), kit=kit).tones
        groups["seen in training" if name in seen else "held back"].append(of_pair(photo.pixels, nir, labels, tones))
    for title, members in groups.items():
        print(line(f"pairs {title} ({len(members)})", means(members)))


if __name__ == "__main__":
    main()
