"""The research photographs as padded uint8 arrays, the block-wise folds, and the augmentation on the device.

`python models/data.py pack ../shared .carry/data.npz` reads the folder once; the training reads the packed file.
"""

import csv
import sys
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import torch
import torch.nn.functional as F
from folds import fold_of_pairs
from network import CLASS_COUNT, display_light, linear_light, luminance
from torch import Tensor

PAIR_SIDE, SCENE_SIDE = 576, 320
SOURCE_WEIGHT = {  # share of the scene half of a batch; the facades would drown the rest
    "msrc_v2": 0.40,
    "labelmefacade": 0.22,
    "camvid": 0.09,
    "wsiseg": 0.08,
    "hyta": 0.07,
    "rugd_sample": 0.05,
    "umich_sample": 0.03,
    "cocostuff_sample": 0.03,
    "neon_snow": 0.03,
}


def pack(shared: Path, target: Path) -> None:
    """JPEG and PNG bytes of all photographs in one npz (the bytes as they are: no second compression loss)."""
    arrays: dict[str, np.ndarray] = {}
    pairs = sorted(p.name[: -len("_rgb.jpg")] for p in (shared / "rgb_nir_pairs").glob("*_rgb.jpg"))
    for name in pairs:
        for kind in ("rgb.jpg", "nir.jpg", "labels.png"):
            data = (shared / "rgb_nir_pairs" / f"{name}_{kind}").read_bytes()
            arrays[f"pair/{name}/{kind[:3]}"] = np.frombuffer(data, np.uint8)
    with (shared / "labelled_scenes" / "split.csv").open(newline="") as file:
        rows = list(csv.DictReader(file))
    for row in rows:
        for kind in ("jpg", "png"):
            data = (shared / "labelled_scenes" / f"{row['name']}.{kind}").read_bytes()
            arrays[f"scene/{row['name']}/{kind}"] = np.frombuffer(data, np.uint8)
    arrays["pairs"] = np.array(pairs)
    arrays["scenes"] = np.array([[r["name"], r["source"], r["split"], r["sky_means"]] for r in rows])
    target.parent.mkdir(parents=True, exist_ok=True)
    np.savez(target, **arrays)
    print(f"{len(pairs)} pairs, {len(rows)} scenes, {target.stat().st_size / 2**20:.1f} MiB")


@dataclass
class Pictures:
    """Photographs padded to one square size. Labels 0 = void; merged = clear sky and cloud count as one."""

    names: list[str]
    rgb: Tensor  # (N, 3, S, S) uint8
    label: Tensor  # (N, S, S) uint8
    nir: Tensor | None  # (N, S, S) uint8
    size: Tensor  # (N, 2) height, width
    merged: Tensor  # (N,) bool
    fold: list[int]
    source: list[str]
    split: list[str]

    def part(self, index: list[int], device: str) -> "Pictures":
        return Pictures(
            [self.names[i] for i in index],
            self.rgb[index].to(device),
            self.label[index].to(device),
            None if self.nir is None else self.nir[index].to(device),
            self.size[index].to(device),
            self.merged[index].to(device),
            [self.fold[i] for i in index],
            [self.source[i] for i in index],
            [self.split[i] for i in index],
        )

    def picture(self, i: int) -> tuple[np.ndarray, np.ndarray, np.ndarray | None]:
        """RGB (h, w, 3), labels (h, w), infrared (h, w) or None of picture i."""
        h, w = (int(v) for v in self.size[i])
        rgb = self.rgb[i, :, :h, :w].permute(1, 2, 0).cpu().numpy()
        nir = None if self.nir is None else self.nir[i, :h, :w].cpu().numpy()
        return np.ascontiguousarray(rgb), self.label[i, :h, :w].cpu().numpy(), nir


def _decode(data: np.ndarray, colour: bool) -> np.ndarray:
    import cv2

    if not colour:
        return cv2.imdecode(data, cv2.IMREAD_UNCHANGED)
    return cv2.cvtColor(cv2.imdecode(data, cv2.IMREAD_COLOR), cv2.COLOR_BGR2RGB)


def load(path: Path) -> tuple[Pictures, Pictures]:
    """Pairs and scenes of a packed file."""
    with np.load(path) as store:
        names = [str(n) for n in store["pairs"]]
        pairs = Pictures(
            names,
            torch.zeros(len(names), 3, PAIR_SIDE, PAIR_SIDE, dtype=torch.uint8),
            torch.zeros(len(names), PAIR_SIDE, PAIR_SIDE, dtype=torch.uint8),
            torch.zeros(len(names), PAIR_SIDE, PAIR_SIDE, dtype=torch.uint8),
            torch.zeros(len(names), 2, dtype=torch.long),
            torch.zeros(len(names), dtype=torch.bool),
            fold_of_pairs(names),
            [n.rsplit("_", 1)[0] for n in names],
            ["train"] * len(names),
        )
        for i, name in enumerate(names):
            rgb = _decode(store[f"pair/{name}/rgb"], True)
            nir = _decode(store[f"pair/{name}/nir"], False)
            label = _decode(store[f"pair/{name}/lab"], False)
            h, w = rgb.shape[:2]
            pairs.rgb[i, :, :h, :w] = torch.from_numpy(rgb).permute(2, 0, 1)
            pairs.nir[i, :h, :w] = torch.from_numpy(nir if nir.ndim == 2 else nir[..., 0])
            pairs.label[i, :h, :w] = torch.from_numpy(label)
            pairs.size[i] = torch.tensor([h, w])
        rows = [[str(v) for v in r] for r in store["scenes"]]
        scenes = Pictures(
            [r[0] for r in rows],
            torch.zeros(len(rows), 3, SCENE_SIDE, SCENE_SIDE, dtype=torch.uint8),
            torch.zeros(len(rows), SCENE_SIDE, SCENE_SIDE, dtype=torch.uint8),
            None,
            torch.zeros(len(rows), 2, dtype=torch.long),
            torch.tensor([r[3] != "clear_sky_only" for r in rows]),
            [-1] * len(rows),
            [r[1] for r in rows],
            [r[2] for r in rows],
        )
        for i, row in enumerate(rows):
            rgb = _decode(store[f"scene/{row[0]}/jpg"], True)
            label = _decode(store[f"scene/{row[0]}/png"], False)
            h, w = rgb.shape[:2]
            scenes.rgb[i, :, :h, :w] = torch.from_numpy(rgb).permute(2, 0, 1)
            scenes.label[i, :h, :w] = torch.from_numpy(label)
            scenes.size[i] = torch.tensor([h, w])
    return pairs, scenes


def scene_weight(scenes: Pictures) -> Tensor:
    """How often each labelled scene is drawn: SOURCE_WEIGHT shared out in a source, up to three times as often with
    snow or water in it."""
    count = {s: scenes.source.count(s) for s in set(scenes.source)}
    weight = torch.tensor([SOURCE_WEIGHT[s] / count[s] for s in scenes.source], device=scenes.label.device)
    share = ((scenes.label == 9) | (scenes.label == 3)).flatten(1).float().mean(1)
    return weight * (1 + 2 * (share / 0.1).clamp(max=1))


def paste(
    rgb: Tensor, label: Tensor, merged: Tensor, share: Tensor, gen: torch.Generator
) -> tuple[Tensor, Tensor, Tensor, Tensor]:
    """Part of another view of the batch laid over some views: a rectangle, or all of some of its classes.

    share (N,): how probable that is. Returns rgb, label, merged, and kept (N, 1, h, w): where the view is still its
    own (its infrared tone holds)."""
    n, _, h, w = rgb.shape
    device = rgb.device

    def uniform(shape: tuple[int, ...]) -> Tensor:
        return torch.rand(shape, generator=gen, device=device)

    other = torch.randperm(n, generator=gen, device=device)
    sides = 0.3 + 0.45 * uniform((n, 2))
    start = uniform((n, 2)) * (1 - sides)
    y, x = torch.arange(h, device=device) / h, torch.arange(w, device=device) / w
    rows = (y >= start[:, :1]) & (y < (start + sides)[:, :1])
    columns = (x >= start[:, 1:]) & (x < (start + sides)[:, 1:])
    box = rows[:, :, None] & columns[:, None, :]
    classes = uniform((n, CLASS_COUNT + 1)) < 0.4
    classes[:, 0] = False
    shape = classes.gather(1, label[other].flatten(1)).view(n, h, w)
    mask = (
        torch.where(uniform((n, 1, 1)) < 0.5, box & (label[other] > 0), shape) & (uniform((n,)) < share)[:, None, None]
    )
    return (
        torch.where(mask[:, None], rgb[other], rgb),
        torch.where(mask, label[other], label),
        torch.where(mask, merged[other], merged),
        ~mask[:, None],
    )


_SEASONS = {  # label: chance, red / green, blue / green, greatest brightening
    5: (0.4, (1.05, 1.45), (0.35, 0.75), 1.8),  # straw-dry grass
    4: (0.2, (1.1, 2.0), (0.25, 0.7), 1.3),  # autumn leaves
    7: (0.15, (0.97, 1.1), (0.85, 1.0), 3.0),  # pale rock, chalk
}


def other_season(rgb: Tensor, label: Tensor, gen: torch.Generator) -> tuple[Tensor, Tensor]:
    """Grass dried to straw, leaves turned, ground bleached, in some of the views: labels hold, infrared tones do not.

    rgb (N, 3, h, w) display, label (N, h, w). Returns rgb, and kept (N, 1, h, w): where nothing was recoloured. The
    ratios are those of straw, russet leaves and chalk in snapshots by daylight (from memory)."""
    n = rgb.shape[0]
    linear = linear_light(rgb)
    light, kept = luminance(linear), torch.ones_like(label, dtype=torch.bool)[:, None]

    def uniform(low: float, high: float) -> Tensor:
        return torch.rand((n, 1, 1, 1), generator=gen, device=rgb.device) * (high - low) + low

    for index, (chance, red, blue, bright) in _SEASONS.items():
        here = (label == index)[:, None] & (uniform(0, 1) < chance)
        ratio = torch.cat([uniform(*red), torch.ones_like(light[..., :1, :1]), uniform(*blue)], 1)
        recoloured = light * ratio / luminance(ratio) * uniform(1, bright)
        share = uniform(0.5, 1.0) * here
        linear = linear * (1 - share) + recoloured * share
        kept = kept & ~here
    return display_light(linear), kept


def windows(size: Tensor, out: tuple[int, int], longest: tuple[float, float], gen: torch.Generator) -> Tensor:
    """Random views: pixel coordinates (N, h, w, 2) as x, y in the source picture of each output pixel.

    The picture's long side covers longest[0]..longest[1] output pixels (log-uniform), up to 12 % stretched, up to
    4 degrees turned, half of them mirrored; the view lies inside the picture as far as it fits."""
    n, device = size.shape[0], size.device
    h_out, w_out = out

    def uniform(low: float, high: float) -> Tensor:
        return torch.rand(n, generator=gen, device=device) * (high - low) + low

    h, w = size[:, 0].float(), size[:, 1].float()
    scale = torch.exp(uniform(float(np.log(longest[0])), float(np.log(longest[1])))) / torch.maximum(h, w)
    stretch = torch.exp(uniform(-0.12, 0.12))
    sx, sy = scale * torch.sqrt(stretch), scale / torch.sqrt(stretch)
    angle = uniform(-0.07, 0.07) * (uniform(0, 1) < 0.5)
    half_w, half_h = w_out / sx / 2, h_out / sy / 2
    cx = torch.where(
        w > 2 * half_w, half_w + uniform(0, 1) * (w - 2 * half_w), w / 2 + uniform(-1, 1) * (half_w - w / 2).abs()
    )
    cy = torch.where(
        h > 2 * half_h, half_h + uniform(0, 1) * (h - 2 * half_h), h / 2 + uniform(-1, 1) * (half_h - h / 2).abs()
    )
    mirror = torch.where(uniform(0, 1) < 0.5, -1.0, 1.0)
    y, x = torch.meshgrid(
        torch.arange(h_out, device=device) + 0.5 - h_out / 2,
        torch.arange(w_out, device=device) + 0.5 - w_out / 2,
        indexing="ij",
    )
    u, v = x[None] / sx[:, None, None] * mirror[:, None, None], y[None] / sy[:, None, None]
    cos, sin = torch.cos(angle)[:, None, None], torch.sin(angle)[:, None, None]
    return torch.stack([cx[:, None, None] + cos * u - sin * v, cy[:, None, None] + sin * u + cos * v], -1)


def sample(
    pictures: Pictures, index: Tensor, out: tuple[int, int], longest: tuple[float, float], gen: torch.Generator
) -> tuple[Tensor, Tensor, Tensor | None, Tensor]:
    """Views of pictures[index]: rgb (N,3,h,w) 0..1 display, labels (N,h,w) long, nir (N,1,h,w) 0..1 or None,
    inside (N,1,h,w) bool."""
    size = pictures.size[index]
    where = windows(size, out, longest, gen)
    side = pictures.rgb.shape[-1]
    limit = size.flip(1).float()[:, None, None, :]
    inside = ((where > 0) & (where < limit)).all(-1)
    clamped = torch.minimum(where.clamp_min(0.5), limit - 0.5)
    grid = clamped / side * 2 - 1
    rgb = pictures.rgb[index].float() / 255
    # a minified view is averaged first, as the tool does when it makes a snap small
    rgb_view = F.grid_sample(_softened(rgb, out, size, where), grid, mode="bilinear", align_corners=False)
    label = F.grid_sample(pictures.label[index].float()[:, None], grid, mode="nearest", align_corners=False)[
        :, 0
    ].long()
    nir = None
    if pictures.nir is not None:
        nir = F.grid_sample(pictures.nir[index].float()[:, None] / 255, grid, mode="bilinear", align_corners=False)
    rgb_view = torch.where(inside[:, None], rgb_view, torch.full_like(rgb_view, 0.5))
    label = torch.where(inside, label, torch.zeros_like(label))
    return rgb_view, label, nir, inside[:, None]


def _softened(rgb: Tensor, out: tuple[int, int], size: Tensor, where: Tensor) -> Tensor:
    step = (where[:, 0, 1] - where[:, 0, 0]).norm(dim=-1)[:, None, None, None]
    blur = F.avg_pool2d(F.pad(rgb, (1, 1, 1, 1), mode="replicate"), 3, 1)
    share = ((step - 1.0) / 1.0).clamp(0, 0.8)
    return rgb * (1 - share) + blur * share


def jitter(rgb: Tensor, gen: torch.Generator, strength: float = 1.0) -> Tensor:
    """What another camera, light, haze or phone's processing makes of the same scene. rgb (N,3,h,w) display 0..1."""
    n, _, h, w = rgb.shape
    device = rgb.device

    def uniform(low: float, high: float, shape: tuple[int, ...] = (1, 1, 1)) -> Tensor:
        return torch.rand((n, *shape), generator=gen, device=device) * (high - low) + low

    def often(share: float) -> Tensor:
        return (torch.rand((n, 1, 1, 1), generator=gen, device=device) < share).float()

    def normal(shape: tuple[int, ...]) -> Tensor:
        return torch.randn((n, *shape), generator=gen, device=device)

    s = strength
    linear = linear_light(rgb)
    exposure = 2.0 ** (s * (uniform(-0.8, 0.8) * often(0.7)))
    balance = 2.0 ** (s * 0.13 * normal((3, 1, 1)) * often(0.7))
    linear = linear * exposure * balance
    # haze: light of the air, more of it towards the top third (farther away), bluish to white
    ramp = torch.linspace(1, 0, h, device=device).view(1, 1, h, 1)
    haze = s * uniform(0.0, 0.35) * often(0.3) * (0.3 + 0.7 * ramp ** uniform(0.5, 2.0))
    air = torch.cat([uniform(0.45, 0.8), uniform(0.5, 0.85), uniform(0.6, 1.0)], 1)
    linear = linear * (1 - haze) + air * haze
    x = display_light(linear)
    gamma = 2.0 ** (s * uniform(-0.35, 0.35) * often(0.6))
    x = x.clamp_min(1e-4) ** gamma
    curve = s * uniform(-0.5, 0.7) * often(0.5)  # S-shaped or flattened contrast about the middle
    x = x + curve * (x - 0.5) * x * (1 - x) * 2
    grey = luminance(x)
    x = grey + (x - grey) * (1 + s * uniform(-0.45, 0.5) * often(0.6))
    soft = F.avg_pool2d(F.pad(x, (1, 1, 1, 1), mode="replicate"), 3, 1)
    x = x + (x - soft) * s * uniform(-0.9, 0.9) * often(0.4)
    x = x + normal((3, h, w)) * s * uniform(0, 0.02) * often(0.4)
    return x.clamp(0, 1)


if __name__ == "__main__":
    if len(sys.argv) != 4 or sys.argv[1] != "pack":
        sys.exit("usage: python models/data.py pack SHARED_FOLDER DATA.npz")
    pack(Path(sys.argv[2]), Path(sys.argv[3]))
