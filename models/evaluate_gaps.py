"""How well the separations between layers agree with real infrared pictures.

    python models/evaluate_gaps.py [--research FOLDER] [--unseen | --held-back FOLDER] [--fit]

Each pair is judged with the kit `reference-pairs`. The real picture's exposure and curve are unknown, so it is fitted
to the prediction by one gain and one offset in display tones (sRGB curve, white at the 99.5th percentile), then read
in zones; layers, print and limit are those of the verdict. The shipped network has seen the pairs; --unseen
judges 29 of them by the network for tests, that has not. --held-back takes other networks' answers: FOLDER holds
NAME.npz with `p` (9, h, w) and `m` (5, h, w).
--fit prints the constants that the residuals call for (NOISE_SHARE in irpreview/core/verdict/layers.py, the spread in
irpreview/core/verdict/separation.py), and what each category comes to when it is left out of the fit.
"""

from __future__ import annotations

import argparse
import sys
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from scipy.optimize import minimize

sys.path.insert(0, str(Path(__file__).resolve().parent))
sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from folds import HELD_BACK, UNSEEN_FOLD, fold_of_pairs
from reading import read_grey

from irpreview import single_answers
from irpreview.core.imaging.srgb import to_linear
from irpreview.core.scene.scene_map import scene_from_network
from irpreview.core.verdict.layers import LEAST_TRUST, find_layers, ground_of, resized, zones_of
from irpreview.core.verdict.separation import layer_tones, measure_separations, spread_in_zones, texture_limit
from irpreview.io.kits import load_kit
from irpreview.io.network import SceneNetwork, load_network
from irpreview.io.photos import load_photo
from irpreview.records import Light, Photo, Rendering, SceneMap


@dataclass(frozen=True)
class Row:
    """One separation: predicted and real."""

    name: str
    classes: tuple[str, str]
    zones: float
    low: float
    high: float
    says: str
    spread: float
    real_zones: float
    real_step: float
    real_holds: bool
    raw_zones: float
    """Before the picture's contrast is weighed."""
    error_share: float
    """Mean squared standard deviation of the tones over their variance in the picture."""

    @property
    def category(self) -> str:
        """The category of its pair."""
        return self.name.rsplit("_", 1)[0]


def display_tones(linear: np.ndarray) -> tuple[np.ndarray, float]:
    """(H, W) display tones 0..255 and the linear tone of their white."""
    white = max(float(np.percentile(linear, 99.5)), 1e-9)
    x = np.clip(linear / white, 0, 1)
    return 255 * np.where(x <= 0.0031308, 12.92 * x, 1.055 * x ** (1 / 2.4) - 0.055), white


def fitted_real(tones: np.ndarray, nir: np.ndarray) -> np.ndarray:
    """The real picture (H, W) uint8 in the linear tones of the prediction (H, W): one gain, one offset."""
    predicted, white = display_tones(tones)
    real = nir.astype(np.float64)
    gain, offset = np.polyfit(real.ravel(), predicted.ravel(), 1)
    return np.asarray(to_linear(np.clip(gain * real + offset, 0, 255).astype(np.float32) / 255) * white, np.float32)


def separations_of(photo: Photo, scene: SceneMap, nir: np.ndarray, grade: float = 4.0) -> list[Row]:
    """Every separation of one pair, predicted and real."""
    return separations_from(
        photo, scene, single_answers.render(photo, scene, load_kit("reference-pairs"), Light()), nir, grade
    )


def separations_from(
    photo: Photo, scene: SceneMap, rendering: Rendering, nir: np.ndarray, grade: float = 4.0
) -> list[Row]:
    """The same with the rendering at hand (kit `reference-pairs`)."""
    ground = ground_of(photo, scene, rendering)
    layers, layer_map = find_layers(ground)
    separations, curve = measure_separations(ground, layers, layer_map, rendering, grade)
    real_zones = zones_of(resized(fitted_real(rendering.tones, nir), ground.shape))
    real = layer_tones(real_zones, layer_map, len(layers), curve)
    raw = layer_tones(ground.infrared_zone, layer_map, len(layers), curve)
    error_share = float(np.mean((ground.spread_stops / 1.645) ** 2) / np.var(ground.infrared_zone, dtype=np.float64))
    rows = []
    for separation in separations:
        a, b = real[separation.a], real[separation.b]
        step = a.lightness - b.lightness
        rows.append(
            Row(
                name=photo.name,
                classes=(layers[separation.a].class_name, layers[separation.b].class_name),
                zones=separation.zones,
                low=separation.low,
                high=separation.high,
                says=separation.says,
                spread=spread_in_zones(layers[separation.a], layers[separation.b]),
                real_zones=a.zone - b.zone,
                real_step=step,
                real_holds=abs(step) > texture_limit(a.texture, b.texture),
                raw_zones=raw[separation.a].zone - raw[separation.b].zone,
                error_share=error_share,
            )
        )
    return rows


def pair_names(research: Path) -> list[str]:
    """The pairs in the folder."""
    return sorted(p.name.removesuffix("_rgb.jpg") for p in (research / "rgb_nir_pairs").glob("*_rgb.jpg"))


def unseen_pairs(research: Path) -> list[str]:
    """The pairs that the network for tests has not seen."""
    names = pair_names(research)
    return [n for n, fold in zip(names, fold_of_pairs(names), strict=True) if fold == UNSEEN_FOLD]


def unseen_rows(research: Path) -> list[Row]:
    """Gaps of the unseen pairs by the network that has not seen them."""
    return rows_of(research, unseen_pairs(research), network=load_network(HELD_BACK))


def rows_of(
    research: Path, names: Iterable[str], held_back: Path | None = None, network: SceneNetwork | None = None
) -> list[Row]:
    """Gaps of many pairs, by the shipped network, another, or answers of others that have not seen the pairs."""
    rows: list[Row] = []
    for name in names:
        photo = load_photo(research / "rgb_nir_pairs" / f"{name}_rgb.jpg", name=name)
        nir = read_grey(research / "rgb_nir_pairs" / f"{name}_nir.jpg")
        if held_back is None:
            scene = single_answers.map_scene(photo, network)
        else:
            with np.load(held_back / f"{name}.npz") as stored:
                scene = scene_from_network(
                    photo, stored["p"].astype(np.float32), stored["m"].astype(np.float32), "held back"
                )
        rows += separations_of(photo, scene, nir)
    return rows


def figures(rows: list[Row]) -> dict[str, float]:
    """The figures that the verdict is held to."""
    zones, real = np.array([r.zones for r in rows]), np.array([r.real_zones for r in rows])
    said, holds = np.array([r.says for r in rows]), np.array([r.real_holds for r in rows])
    covered = np.array([r.low <= r.real_zones <= r.high for r in rows])

    def share(part: np.ndarray, of: np.ndarray) -> float:
        return float(part[of].mean()) if of.any() else float("nan")

    right = np.sign(zones) == np.sign(real)
    return {
        "separations": len(rows),
        "mean_error": float(np.abs(zones - real).mean()),
        "sign_above_1": share(right, np.abs(zones) > 1),
        "sign_above_half": share(right, np.abs(zones) > 0.5),
        "real_sign_above_1": share(right, np.abs(real) > 1),
        "real_sign_above_half": share(right, np.abs(real) > 0.5),
        "covered": float(covered.mean()),
        "median_width": float(np.median([r.high - r.low for r in rows])),
        "separates": float((said == "separates").mean()),
        "merges": float((said == "merges").mean()),
        "uncertain": float((said == "uncertain").mean()),
        "separates_right": share(holds, said == "separates"),
        "merges_right": share(~holds, said == "merges"),
    }


def print_table(rows: list[Row]) -> None:
    """Print the figures of each category and of all."""
    by_category: dict[str, list[Row]] = defaultdict(list)
    for row in rows:
        by_category[row.category].append(row)
    head = list(figures(rows))
    print("| category | " + " | ".join(head) + " |")
    print("|---" * (len(head) + 1) + "|")
    for name, part in [*sorted(by_category.items()), ("all", rows)]:
        cells = [f"{v:.0f}" if k == "separations" else f"{v:.3f}" for k, v in figures(part).items()]
        print(f"| {name} | " + " | ".join(cells) + " |")


def _arrays(rows: list[Row], *keys: str) -> list[np.ndarray]:
    return [np.array([getattr(row, key) for row in rows], float) for key in keys]


def weighed(rows: list[Row], noise_share: float) -> np.ndarray:
    """Separations [zones] after the picture's contrast is weighed by that share."""
    raw, error = _arrays(rows, "raw_zones", "error_share")
    return raw * np.clip(1 - noise_share * error, LEAST_TRUST, 1)


def best_noise_share(rows: list[Row]) -> float:
    """The share with the least mean error."""
    (real,) = _arrays(rows, "real_zones")
    shares = np.arange(0, 1.001, 0.02)
    return float(shares[np.argmin([np.abs(weighed(rows, k) - real).mean() for k in shares])])


def fit(rows: list[Row]) -> None:
    """Print the constants, and what each category comes to when it is left out of their fit."""
    left_out: list[np.ndarray] = []
    print("| left out | separations | NOISE_SHARE of the others | mean error | unweighed |\n|---|---|---|---|---|")
    for name in sorted({row.category for row in rows}):
        part, rest = ([r for r in rows if (r.category == name) == own] for own in (True, False))
        share = best_noise_share(rest)
        real, raw = _arrays(part, "real_zones", "raw_zones")
        left_out.append(np.abs(weighed(part, share) - real))
        print(f"| {name} | {len(part)} | {share:.2f} | {left_out[-1].mean():.3f} | {np.abs(raw - real).mean():.3f} |")
    share = best_noise_share(rows)
    print(
        f"NOISE_SHARE of all {share:.2f}; mean error with each category left out {np.concatenate(left_out).mean():.3f}"
    )

    real, spread = _arrays(rows, "real_zones", "spread")
    residual = real - weighed(rows, share)

    def cost(x: np.ndarray) -> float:
        scale = np.hypot(np.exp(x[0]), x[1] * spread)
        z = residual / scale
        return float((np.log(scale) + 3.0 * np.log1p(z * z / 5)).sum())  # Student t, 5 degrees: a few are far off

    best = minimize(cost, [np.log(0.15), 0.3], method="Nelder-Mead", options={"maxiter": 4000}).x
    z = residual / np.hypot(np.exp(best[0]), best[1] * spread)
    print(f"spread: floor {np.exp(best[0]):.3f}, per spread {abs(best[1]):.3f}")
    print("5 and 95 % of the scaled residual:", np.round(np.percentile(z, (5, 50, 95)), 2))


def main() -> None:
    """Judge the pairs that were asked for."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--research", type=Path, default=Path(__file__).resolve().parents[2] / "shared")
    parser.add_argument("--unseen", action="store_true")
    parser.add_argument("--held-back", type=Path, default=None)
    parser.add_argument("--fit", action="store_true")
    args = parser.parse_args()
    if args.unseen:
        rows = unseen_rows(args.research)
    else:
        rows = rows_of(args.research, pair_names(args.research), args.held_back)
    print_table(rows)
    if args.fit:
        fit(rows)


if __name__ == "__main__":
    main()
