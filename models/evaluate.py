"""Score the scene network and the tones it leads to, with ../shared/scoring.py.

    python models/evaluate.py                               the shipped network, through irpreview.render
    python models/evaluate.py --folds a0.pt a1.pt a2.pt a3.pt --data .carry/data.bin --held-back FOLDER
                                                            (torch) answers of networks that have not seen the picture
    python models/evaluate.py --held-back FOLDER            cross-validated figures, ablation, spread of the error

The shipped network has seen the research pairs: its own figures show that it works, not how well. The honest
figures are those of --held-back, where FOLDER/NAME.npz holds `p` (9, h, w) and `m` (5, h, w) of a network trained
without the block of NAME. That run also writes models/held_back_errors.json (half the 5-95 % range per class, stops).
"""

from __future__ import annotations

import argparse
import csv
import json
import sys
from collections import defaultdict
from collections.abc import Mapping
from pathlib import Path

import cv2
import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from folds import HELD_BACK
from reading import read_grey

import irpreview
from irpreview.core.imaging.srgb import linear_pixels, to_linear
from irpreview.core.scene.reference_tone import reference_tone
from irpreview.core.scene.scene_map import scene_from_network
from irpreview.io.network import load_network
from irpreview.records import CLASS_NAMES, Photo

HERE = Path(__file__).resolve().parent
NATURAL = ("mountain", "country", "water", "field")
KEYS = ("rank", "order", "psnr", "ssim")
FIXED_MIX = np.array([0.5, 2.0, -1.5, 0.0, 0.0])


def basis(rgb: np.ndarray) -> np.ndarray:
    """(H, W, 3) uint8 -> (H, W, 5): display r, g, b, one, linear luminance."""
    y = linear_pixels(rgb) @ np.array((0.2126, 0.7152, 0.0722), np.float32)
    return np.dstack([rgb.astype(np.float32) / 255, np.ones_like(y), y])


def as_display(t: np.ndarray) -> np.ndarray:
    """A reference tone 0..1 as the display tone that scoring gives its linear tone."""
    import scoring  # noqa: PLC0415  (its folder is an option)

    return np.asarray(scoring.to_display(to_linear(np.clip(t, 0, 1).astype(np.float32))))


def write_held_back(checkpoints: list[Path], data_file: Path, folder: Path) -> None:
    """Answer every pair by the network of its own fold."""
    import data as packed  # noqa: PLC0415  (needs torch)
    import train  # noqa: PLC0415  (needs torch)

    pairs, _ = packed.load(data_file)
    networks = [train.load_network(path, "cpu") for path in checkpoints]
    folder.mkdir(parents=True, exist_ok=True)
    for i, (name, fold) in enumerate(zip(pairs.names, pairs.fold, strict=True)):
        if fold < 0:  # of unknown number: any of the networks may have been taught it
            continue
        p, m = train.answer(networks[fold], pairs.picture(i)[0], "cpu")
        np.savez(folder / f"{name}.npz", p=p[0].numpy().astype(np.float16), m=m[0].numpy().astype(np.float16))


def means(rows: list[dict[str, float]]) -> str:
    """Mean and standard deviation of each score, on one line."""
    return "  ".join(
        f"{k} {np.nanmean([r[k] for r in rows]):.4g} ± {np.nanstd([r[k] for r in rows]):.2g}"
        for k in KEYS
        if k in rows[0]
    )


def print_labels(title: str, counts: np.ndarray) -> None:
    """Print how well the classes are told, from counts (10, 10)."""
    import scoring  # noqa: PLC0415  (its folder is an option)

    accuracy, iou = scoring.label_scores(counts)
    print(f"{title}: pixel accuracy {accuracy:.4f}; " + ", ".join(f"{k} {v:.2f}" for k, v in iou.items()))


def shipped(research: Path) -> None:
    """The shipped network by the public functions, on photographs that it has seen; the val split of the labelled
    scenes by the one for tests, that has not.
    """
    import scoring  # noqa: PLC0415  (its folder is an option)

    kit = irpreview.load_kit("reference-pairs")
    unseen = load_network(HELD_BACK)
    rows: dict[str, list[dict[str, float]]] = defaultdict(list)
    counts: dict[str, np.ndarray] = defaultdict(lambda: np.zeros((10, 10)))
    for path in sorted((research / "rgb_nir_pairs").glob("*_rgb.jpg")):
        stem = path.name.removesuffix("_rgb.jpg")
        nir = read_grey(path.with_name(f"{stem}_nir.jpg"))
        truth = read_grey(path.with_name(f"{stem}_labels.png"))
        photo = irpreview.load_photo(path)
        scene = irpreview.map_scene(photo)
        score = scoring.tone_scores(scoring.to_display(irpreview.render(photo, scene, kit=kit).tones), nir)
        category = stem.rsplit("_", 1)[0]
        rows[category].append(score)
        counts["natural landscapes" if category in NATURAL else "other landscapes"] += scoring.label_counts(
            scene.label, truth
        )
    with (research / "labelled_scenes" / "split.csv").open(newline="") as file:
        for row in csv.DictReader(file):
            if row["split"] == "val":
                path = research / "labelled_scenes" / f"{row['name']}.jpg"
                truth = read_grey(path.with_suffix(".png"))
                label = irpreview.map_scene(irpreview.load_photo(path), unseen).label
                counts["labelled scenes, val split"] += scoring.label_counts(label, truth, row["sky_means"])
    print(
        "pairs: SEEN IN TRAINING (the honest figures are those of --held-back); val split: by the network that has not"
    )
    for category, members in rows.items():
        print(f"{category} ({len(members)}): {means(members)}")
    print(f"all: {means([r for members in rows.values() for r in members])}")
    for title, c in counts.items():
        print_labels(title, c)


def stops_off(predicted: np.ndarray, nir: np.ndarray) -> np.ndarray:
    """Error of linear tones (H, W) in stops, the real picture first fitted to them by one gain and one offset in
    display tones (its exposure and blacks are unknown). Where either is below 1/200 of white: nan, noise in stops.
    """
    import scoring  # noqa: PLC0415  (its folder is an option)

    p, real = scoring.to_display(predicted), nir.astype(np.float64)
    gain, offset = np.polyfit(real.ravel(), p.ravel(), 1)
    a = to_linear((p / 255).astype(np.float32))
    b = to_linear((np.clip(gain * real + offset, 0, 255) / 255).astype(np.float32))
    return np.where((a > 0.005) & (b > 0.005), np.log2(np.maximum(a, 1e-6) / np.maximum(b, 1e-6)), np.nan)


def cross_validated(research: Path, folder: Path, every: int) -> None:
    """Ablation, per category, and the spread of the error, from answers of networks that have not seen the picture."""
    import scoring  # noqa: PLC0415  (its folder is an option)

    kit = irpreview.load_kit("reference-pairs")
    stems = sorted(p.stem for p in folder.glob("*.npz"))
    fold_of = dict(zip(stems, _folds(stems), strict=True))
    stems = stems[::every]
    pictures = {}
    for stem in stems:
        base = research / "rgb_nir_pairs" / stem
        nir = read_grey(f"{base}_nir.jpg")
        truth = read_grey(f"{base}_labels.png")
        pictures[stem] = irpreview.load_photo(Path(f"{base}_rgb.jpg")), nir, truth, np.load(folder / f"{stem}.npz")

    # class mixes of each fold: least squares on the pairs outside the fold, probabilities weighting the maps
    gram = {s: _normal_equations(photo, nir, answer) for s, (photo, nir, _, answer) in pictures.items()}
    mixes, constants = {}, {}
    for k in sorted(set(fold_of.values())):
        others = [gram[s] for s in stems if fold_of[s] != k]
        a, b = (np.sum([g[i] for g in others], axis=0) for i in (0, 1))
        mixes[k] = np.linalg.solve(a + 1e-3 * np.trace(a) / len(a) * np.eye(len(a)), b).reshape(9, 5)
        c, d = (np.sum([g[i] for g in others], axis=0) for i in (2, 3))
        constants[k] = np.linalg.solve(c + 1e-3 * np.trace(c) / len(c) * np.eye(len(c)), d)

    scores: dict[str, dict[str, list[dict[str, float]]]] = defaultdict(lambda: defaultdict(list))
    counts: dict[str, np.ndarray] = defaultdict(lambda: np.zeros((10, 10)))
    errors: dict[str, list[np.ndarray]] = defaultdict(list)
    covered: dict[str, list[float]] = defaultdict(list)
    widths = []
    for stem in stems:
        photo, nir, truth, answer = pictures[stem]
        category, k = stem.rsplit("_", 1)[0], fold_of[stem]
        p, m = answer["p"].astype(np.float32), answer["m"].astype(np.float32)
        scene = scene_from_network(photo, p / p.sum(0), m, "held back")
        size = (photo.width, photo.height)
        full = np.dstack([cv2.resize(x, size, interpolation=cv2.INTER_LINEAR) for x in p])
        b = basis(photo.pixels)
        rendering = irpreview.render(photo, scene, kit=kit)
        b_linear = b[..., 4]
        variants = {
            "grey": 255 * b[..., :3] @ np.array((0.299, 0.587, 0.114), np.float32),
            "fixed mix": as_display(_unit(b @ FIXED_MIX)),
            "class factors alone": scoring.to_display(np.exp2(full @ constants[k]) * b_linear),
            "+ colour within the class": as_display((full * (b @ mixes[k].T)).sum(-1)),
            "+ local residual (network)": as_display(reference_tone(photo.pixels, m)),
            "irpreview.render": scoring.to_display(rendering.tones),
        }
        for name, picture in variants.items():
            scores[name][category].append(scoring.tone_scores(picture, nir))
        counts["natural landscapes" if category in NATURAL else "other landscapes"] += scoring.label_counts(
            scene.label, truth
        )
        off = stops_off(rendering.tones, nir)[::3, ::3]
        label, spread = scene.label[::3, ::3], rendering.spread_stops[::3, ::3]
        for i, name in enumerate(CLASS_NAMES):
            part = off[label == i + 1]
            part = part[np.isfinite(part)]
            if len(part) > 50:
                errors[name].append(np.random.default_rng(0).choice(part, 1500))
                covered[name].append(float((np.abs(part) <= spread[(label == i + 1) & np.isfinite(off)]).mean()))
        good = np.isfinite(off)
        covered["all"].append(float((np.abs(off[good]) <= spread[good]).mean()))
        widths.append(float(np.median(2 * spread[good])))
    for name, by_category in scores.items():
        print(f"{name}: {means([r for rows in by_category.values() for r in rows])}")
    for category, rows in scores["irpreview.render"].items():
        print(f"  {category} ({len(rows)}): {means(rows)}")
    for title, c in counts.items():
        print_labels(title, c)
    half = {name: round(float(np.percentile(np.abs(np.concatenate(e)), 90)), 3) for name, e in errors.items()}
    print("half the 5-95 % range of the error, stops:", half)
    print("covered by spread_stops:", {k: round(float(np.mean(v)), 3) for k, v in covered.items()})
    print(f"median width of the 5-95 % range: {np.median(widths):.2f} stops")
    report = {"about": "models/evaluate.py --held-back; errors on pictures held back", "residual_stops": half}
    (HERE / "held_back_errors.json").write_text(json.dumps(report, indent=1) + "\n")


def _unit(x: np.ndarray) -> np.ndarray:
    low, high = np.percentile(x, (0.5, 99.5))
    return np.asarray((x - low) / max(high - low, 1e-6))


def _normal_equations(
    photo: Photo, nir: np.ndarray, answer: Mapping[str, np.ndarray]
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """A^T A and A^T t of one pair: for class mixes (45 unknowns) on its display tones, and for class constants (9) on
    log2(infrared / visible) after its median is taken out. The pair's own stretch is undone by its percentiles.
    """
    p = answer["p"].astype(np.float32)
    h, w = p.shape[1:]
    small = cv2.resize(photo.pixels, (w, h), interpolation=cv2.INTER_AREA)
    t = cv2.resize(nir.astype(np.float32), (w, h), interpolation=cv2.INTER_AREA) / 255
    b = basis(small).reshape(-1, 5)
    q = (p / p.sum(0)).reshape(9, -1).T
    a = (q[:, :, None] * b[:, None, :]).reshape(len(q), 45)
    ratio = np.log2(np.maximum(_linear(t.ravel()), 2**-9) / np.maximum(b[:, 4], 2**-9))
    ratio = np.clip(ratio - np.median(ratio), -4, 4)
    return a.T @ a / len(a), a.T @ t.ravel() / len(a), q.T @ q / len(q), q.T @ ratio / len(q)


def _linear(t: np.ndarray) -> np.ndarray:
    return np.where(t <= 0.04045, t / 12.92, ((np.maximum(t, 0) + 0.055) / 1.055) ** 2.4)


def _folds(stems: list[str]) -> list[int]:
    members = defaultdict(list)
    for s in sorted(stems):
        members[s.rsplit("_", 1)[0]].append(s)
    return [members[s.rsplit("_", 1)[0]].index(s) * 4 // len(members[s.rsplit("_", 1)[0]]) for s in stems]


def main() -> None:
    """Score what was asked for."""
    parser = argparse.ArgumentParser(description="Score the scene network.")
    parser.add_argument("--research", type=Path, default=HERE.parents[1] / "shared")
    parser.add_argument("--held-back", type=Path)
    parser.add_argument("--every", type=int, default=1, help="only every n-th pair, to save time")
    parser.add_argument("--folds", type=Path, nargs=4)
    parser.add_argument("--data", type=Path, default=HERE.parent / ".carry" / "data.bin")
    args = parser.parse_args()
    sys.path.insert(0, str(args.research))
    if args.folds:
        write_held_back(args.folds, args.data, args.held_back)
    elif args.held_back:
        cross_validated(args.research, args.held_back, args.every)
    else:
        shipped(args.research)


if __name__ == "__main__":
    main()
