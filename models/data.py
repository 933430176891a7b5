"""The research photographs as padded uint8 arrays, the block-wise folds, and the augmentation on the device.

`python models/data.py pack ../shared .carry/data.bin` reads the folder once; the training reads the packed file.
`python models/data.py rendered FOLDER .carry/rendered.bin` packs pictures of demo_scenes/generator/random_scenes.py.
"""

import csv
import json
import lzma
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import torch
import torch.nn.functional as F
from folds import fold_of_pairs
from network import CLASS_COUNT, display_light, linear_light, luminance
from reading import read_grey, read_picture
from torch import Tensor

PAIR_SIDE, SCENE_SIDE = 576, 320
SOURCE_WEIGHT = {  # share of the scene part of a batch; the facades would drown the rest
    "ade_natural": 0.44,
    "msrc_v2": 0.21,
    "labelmefacade": 0.12,
    "camvid": 0.05,
    "wsiseg": 0.05,
    "hyta": 0.045,
    "rugd_sample": 0.03,
    "umich_sample": 0.015,
    "cocostuff_sample": 0.02,
    "neon_snow": 0.02,
}
RENDERED = "rendered"
PACK_QUALITY = {"ade_natural": 84, "labelmefacade": 66, "camvid": 70}


def _picture(path: Path, quality: int) -> np.ndarray:
    return cv2.imencode(".webp", read_picture(path), [cv2.IMWRITE_WEBP_QUALITY, quality])[1].ravel()


def pack(shared: Path, target: Path) -> None:
    """All photographs in one file small enough for a lease: pictures as WebP (the training blurs, sharpens and adds
    noise anyway; figures are taken from the originals), label maps together without loss.
    """
    blobs: dict[str, np.ndarray] = {}
    maps: list[tuple[str, np.ndarray]] = []
    folders = {
        p.name.removesuffix("_rgb.jpg"): p.parent
        for folder in ("rgb_nir_pairs", "rgb_nir_pairs_more")
        for p in sorted((shared / folder).glob("*_rgb.jpg"))
    }
    for name, folder in folders.items():
        blobs[f"pair/{name}/rgb"] = _picture(folder / f"{name}_rgb.jpg", 87)
        blobs[f"pair/{name}/nir"] = _picture(folder / f"{name}_nir.jpg", 81)
        if (folder / f"{name}_labels.png").exists():
            maps.append((f"pair/{name}", read_grey(folder / f"{name}_labels.png")))
    with (shared / "labelled_scenes" / "split.csv").open(newline="") as file:
        rows = [[r["name"], r["source"], r["split"], r["sky_means"]] for r in csv.DictReader(file)]
    for name, source, *_ in rows:
        path = shared / "labelled_scenes" / f"{name}.jpg"
        blobs[f"scene/{name}/rgb"] = _picture(path, PACK_QUALITY.get(source, 73))
        maps.append((f"scene/{name}", read_grey(path.with_suffix(".png"))))
    _write(target, blobs, maps, list(folders), rows)


def pack_rendered(folder: Path, target: Path, most_of_one: float = 0.98) -> None:
    """Rendered pictures and their classes as scenes of one source, for training only. Left out: where one class
    covers all but `1 - most_of_one` of the picture, and the nearly black.
    """
    blobs: dict[str, np.ndarray] = {}
    maps: list[tuple[str, np.ndarray]] = []
    for path in sorted(folder.glob("*.jpg"), key=lambda p: int(p.stem)):
        label = cv2.imread(str(path.with_suffix(".png")), cv2.IMREAD_GRAYSCALE)
        if (
            label is None
            or np.bincount(label.ravel()).max() > most_of_one * label.size
            or read_picture(path).mean() < 25
        ):
            continue
        blobs[f"scene/{path.stem}/rgb"] = _picture(path, 84)
        maps.append((f"scene/{path.stem}", label))
    _write(
        target,
        blobs,
        maps,
        [],
        [[name.removeprefix("scene/"), RENDERED, "train", "clear_sky_only"] for name, _ in maps],
    )


def _write(
    target: Path,
    blobs: dict[str, np.ndarray],
    maps: list[tuple[str, np.ndarray]],
    pairs: list[str],
    rows: list[list[str]],
) -> None:
    every_map = np.concatenate([m.ravel() for _, m in maps]).astype(np.uint8)
    blobs["labels"] = np.frombuffer(lzma.compress(every_map.tobytes()), np.uint8)
    facts = {
        "blobs": {key: len(value) for key, value in blobs.items()},
        "maps": {key: m.shape for key, m in maps},
        "pairs": pairs,
        "scenes": rows,
    }
    head = lzma.compress(json.dumps(facts).encode())
    target.parent.mkdir(parents=True, exist_ok=True)
    target.write_bytes(len(head).to_bytes(4, "little") + head + np.concatenate(list(blobs.values())).tobytes())
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
        """Some of the photographs, on a device."""
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


def _unpack(path: Path) -> tuple[dict[str, np.ndarray], dict[str, np.ndarray], dict[str, Any]]:
    data = path.read_bytes()
    start = 4 + int.from_bytes(data[:4], "little")
    facts = json.loads(lzma.decompress(data[4:start]))
    blobs = {}
    for key, size in facts["blobs"].items():
        blobs[key] = np.frombuffer(data, np.uint8, size, start)
        start += size
    every_map, maps, at = np.frombuffer(lzma.decompress(blobs["labels"].tobytes()), np.uint8), {}, 0
    for key, (h, w) in facts["maps"].items():
        maps[key], at = every_map[at : at + h * w].reshape(h, w), at + h * w
    return blobs, maps, facts


def _empty(names: list[str], side: int, infrared: bool) -> Pictures:
    n = len(names)
    square = (n, side, side)
    return Pictures(
        names,
        torch.zeros(n, 3, side, side, dtype=torch.uint8),
        torch.zeros(square, dtype=torch.uint8),
        torch.zeros(square, dtype=torch.uint8) if infrared else None,
        torch.zeros(n, 2, dtype=torch.long),
        torch.zeros(n, dtype=torch.bool),
        [-1] * n,
        [""] * n,
        ["train"] * n,
    )


def load(path: Path) -> tuple[Pictures, Pictures]:
    """Pairs and scenes of a packed file. Pairs without a label map are void throughout and belong to fold -1."""
    blobs, maps, facts = _unpack(path)

    def picture(key: str, how: int) -> np.ndarray:
        read: np.ndarray | None = cv2.imdecode(blobs[key], how)
        if read is None:
            sys.exit(f"{path}: {key} holds no picture")
        return read

    def put(pictures: Pictures, i: int, key: str) -> None:
        bgr = picture(f"{key}/rgb", cv2.IMREAD_COLOR)
        h, w = bgr.shape[:2]
        pictures.rgb[i, :, :h, :w] = torch.from_numpy(np.ascontiguousarray(bgr[..., ::-1])).permute(2, 0, 1)
        if pictures.nir is not None:
            pictures.nir[i, :h, :w] = torch.from_numpy(picture(f"{key}/nir", cv2.IMREAD_GRAYSCALE))
        if key in maps:
            pictures.label[i, :h, :w] = torch.from_numpy(maps[key].copy())
        pictures.size[i] = torch.tensor([h, w])

    names = facts["pairs"]
    pairs = _empty(names, PAIR_SIDE, True)
    labelled = [n for n in names if f"pair/{n}" in maps]
    fold = dict(zip(labelled, fold_of_pairs(labelled), strict=True))
    pairs.fold, pairs.source = [fold.get(n, -1) for n in names], [n.rsplit("_", 1)[0] for n in names]
    for i, name in enumerate(names):
        put(pairs, i, f"pair/{name}")
    rows = facts["scenes"]
    scenes = _empty([r[0] for r in rows], SCENE_SIDE, False)
    scenes.source, scenes.split = [r[1] for r in rows], [r[2] for r in rows]
    scenes.merged = torch.tensor([r[3] != "clear_sky_only" for r in rows])
    for i, row in enumerate(rows):
        put(scenes, i, f"scene/{row[0]}")
    return pairs, scenes


def joined(scenes: Pictures, more: Pictures) -> Pictures:
    """Labelled scenes of two packed files, one after the other."""
    a, b = scenes, more
    return Pictures(
        a.names + b.names,
        torch.cat([a.rgb, b.rgb]),
        torch.cat([a.label, b.label]),
        None,
        torch.cat([a.size, b.size]),
        torch.cat([a.merged, b.merged]),
        a.fold + b.fold,
        a.source + b.source,
        a.split + b.split,
    )


def scene_weight(scenes: Pictures, rendered: float = 0.15) -> Tensor:
    """How often each labelled scene is drawn: SOURCE_WEIGHT (and `rendered`) shared out in a source, up to three times
    as often with water in it, seven times with snow.
    """
    count = {s: scenes.source.count(s) for s in set(scenes.source)}
    of_source = {**SOURCE_WEIGHT, RENDERED: rendered}
    weight = torch.tensor([of_source[s] / count[s] for s in scenes.source], device=scenes.label.device)
    flat = scenes.label.flatten(1)
    share = ((flat == 9) | (flat == 3)).float().mean(1)
    snow = (flat == 9).float().mean(1)
    return weight * (1 + 2 * (share / 0.1).clamp(max=1)) * (1 + 1.5 * (snow / 0.1).clamp(max=1))


class Draws:
    """Random numbers for N views, drawn where the generator lives. each: shape of what a view gets, unless told."""

    def __init__(self, views: int, gen: torch.Generator, each: tuple[int, ...] = (1, 1, 1)) -> None:
        self._views, self._gen, self._each = views, gen, each

    def uniform(self, low: float, high: float, shape: tuple[int, ...] | None = None) -> Tensor:
        """Evenly between low and high: (N, *shape)."""
        size = (self._views, *(self._each if shape is None else shape))
        return torch.rand(size, generator=self._gen, device=self._gen.device) * (high - low) + low

    def normal(self, shape: tuple[int, ...]) -> Tensor:
        """Of mean 0 and spread 1: (N, *shape)."""
        return torch.randn((self._views, *shape), generator=self._gen, device=self._gen.device)

    def often(self, share: float) -> Tensor:
        """True in so many of the views."""
        return self.uniform(0, 1) < share


def paste(label: Tensor, share: Tensor, gen: torch.Generator) -> tuple[Tensor, Tensor]:
    """Which part of another view of the batch is laid over each view: a rectangle, or all of some of its classes.

    label (N, h, w); share (N,): how probable that is. Returns mask (N, h, w), and the other view's index (N,).
    """
    n, h, w = label.shape
    device, draws = label.device, Draws(n, gen)
    other = torch.randperm(n, generator=gen, device=device)
    sides = 0.3 + 0.45 * draws.uniform(0, 1, (2,))
    start = draws.uniform(0, 1, (2,)) * (1 - sides)
    y, x = torch.arange(h, device=device) / h, torch.arange(w, device=device) / w
    rows = (y >= start[:, :1]) & (y < (start + sides)[:, :1])
    columns = (x >= start[:, 1:]) & (x < (start + sides)[:, 1:])
    box = rows[:, :, None] & columns[:, None, :]
    classes = draws.uniform(0, 1, (CLASS_COUNT + 1,)) < 0.4
    classes[:, 0] = False
    shape = classes.gather(1, label[other].flatten(1)).view(n, h, w)
    mask = torch.where(draws.uniform(0, 1, (1, 1)) < 0.5, box & (label[other] > 0), shape)
    return mask & (draws.uniform(0, 1, ()) < share)[:, None, None], other


_RECOLOURED = (  # label, chance, red / green, blue / green, brightening from, to
    (5, 0.30, (1.05, 1.45), (0.35, 0.75), 1.0, 1.8),  # straw-dry grass
    (4, 0.15, (1.10, 2.00), (0.25, 0.70), 1.0, 1.3),  # autumn leaves
    (7, 0.12, (0.97, 1.10), (0.85, 1.00), 1.0, 3.0),  # pale rock, chalk
    (7, 0.10, (1.25, 2.20), (0.40, 0.80), 0.7, 1.6),  # red rock and soil, ochre sand
    (7, 0.08, (0.95, 1.20), (0.70, 1.05), 0.3, 0.7),  # dark rock, wet sand
    (3, 0.12, (0.30, 0.80), (0.90, 1.35), 1.0, 2.0),  # turquoise shallows
    (3, 0.10, (1.05, 1.50), (0.50, 0.85), 0.8, 1.5),  # water brown with silt
    (3, 0.10, (0.90, 1.05), (0.95, 1.15), 0.7, 1.6),  # grey water
    (3, 0.08, (0.55, 0.90), (1.10, 1.80), 0.4, 1.0),  # deep blue water
)


def other_season(rgb: Tensor, label: Tensor, gen: torch.Generator) -> tuple[Tensor, Tensor]:
    """Grass dried to straw, leaves turned, ground and water of other colours, in some of the views: labels hold,
    infrared tones do not.

    rgb (N, 3, h, w) display, label (N, h, w). Returns rgb, and kept (N, 1, h, w): where nothing was recoloured. The
    ratios are those of straw, russet leaves, chalk, red soil and water in snapshots by daylight (from memory).
    """
    draws = Draws(len(rgb), gen)
    linear = linear_light(rgb)
    light, kept = luminance(linear), torch.ones_like(label, dtype=torch.bool)[:, None]

    for index, chance, red, blue, dark, bright in _RECOLOURED:
        here = (label == index)[:, None] & draws.often(chance)
        ratio = torch.cat([draws.uniform(*red), torch.ones_like(light[..., :1, :1]), draws.uniform(*blue)], 1)
        recoloured = light * ratio / luminance(ratio) * draws.uniform(dark, bright)
        share = draws.uniform(0.5, 1.0) * here
        linear = linear * (1 - share) + recoloured * share
        kept = kept & ~here
    return display_light(linear), kept


def _patches(draws: Draws, size: tuple[int, int], parts: tuple[tuple[int, float], ...]) -> Tensor:
    """Smooth noise (N, 1, *size) of no shape of its own, from parts of so many cells a side and such a weight."""
    smooth = [F.interpolate(draws.normal((1, k, k)), size, mode="bicubic") * share for k, share in parts]
    return torch.stack(smooth).sum(0)


def snowfall(rgb: Tensor, label: Tensor, gen: torch.Generator, chance: float) -> tuple[Tensor, Tensor]:
    """Snow over grass and bare ground in some of the views, whole or in patches: few photographs have any.

    rgb (N, 3, h, w) display, label (N, h, w). Returns rgb, and where snow lies now (N, h, w) bool. Its albedo of 0.55
    to 0.95 and the blue of its shade are those of snow by daylight (from memory); what is left of the ground's own
    drawing keeps slopes and tracks visible.
    """
    n, _, h, w = rgb.shape
    draws = Draws(n, gen)
    linear = linear_light(rgb)
    light = luminance(linear)
    land = ((label == 5) | (label == 7))[:, None]
    mean = (light * land).sum((2, 3), keepdim=True) / land.sum((2, 3), keepdim=True).clamp_min(1)
    wide = F.interpolate(F.avg_pool2d(light, 16), (h, w), mode="bilinear", align_corners=False)
    drawing = ((light + 0.02) / (wide + 0.02)).clamp(0.2, 4.0) ** draws.uniform(0.1, 0.5)
    lit = ((wide + 0.02) / (mean + 0.02)).clamp(0.1, 4.0) ** draws.uniform(0.2, 0.6)
    # melting leaves patches: of no shape of its own, and rather where the ground is dark
    patches = _patches(draws, (h, w), ((5, 0.6), (14, 0.45), (48, 0.3))) - 0.5 * (drawing - 1)
    least = torch.where(draws.often(0.65), torch.full_like(mean, -9.0), draws.uniform(-0.8, 0.6))
    cover = ((patches - least) / 0.15).clamp(0, 1) * land * draws.often(chance)
    snow = draws.uniform(0.55, 0.95) * lit * drawing
    blue = (draws.uniform(0.0, 0.22) * (1.6 - snow / 0.6)).clamp(-0.05, 0.35)
    tint = torch.cat([1 - blue, torch.ones_like(blue), 1 + 0.8 * blue], 1)
    tint = tint / luminance(tint)
    return display_light(linear * (1 - cover) + snow * tint * cover), cover[:, 0] > 0.5


def _ripples(draws: Draws, u: Tensor, v: Tensor) -> Tensor:
    """Smooth noise of about -1 to 1 at coordinates (N, 1, h, w) that run on over its edge: (N, 1, h, w)."""
    noise = F.interpolate(draws.normal((1, 24, 24)), (96, 96), mode="bicubic", align_corners=False)
    return F.grid_sample(noise, torch.cat([u % 2 - 1, v % 2 - 1], 1).permute(0, 2, 3, 1), align_corners=False)


def flood(rgb: Tensor, label: Tensor, gen: torch.Generator, chance: float) -> tuple[Tensor, Tensor]:
    """Water over grass, bare ground and the foot of woods in some of the views, a lake or a river: what stands on the
    bank is mirrored in it, which the network takes for trees otherwise, and brown or grey water for soil.

    rgb (N, 3, h, w) display, label (N, h, w). Returns rgb, and where water lies now (N, h, w) bool. Near water shows
    its own colour, far water the mirror image (Fresnel); levels and colours are those of ponds, rivers and lakes by
    daylight (from memory).
    """
    n, _, h, w = rgb.shape
    draws = Draws(n, gen)
    linear = linear_light(rgb)
    y = ((torch.arange(h, device=rgb.device) + 0.5) / h).view(1, 1, h, 1).expand(n, 1, h, w)
    x = ((torch.arange(w, device=rgb.device) + 0.5) / w).view(1, 1, 1, w).expand(n, 1, h, w)
    shore = draws.uniform(0.3, 0.85) + draws.uniform(-0.15, 0.15) * (x - 0.5)
    bays = F.interpolate(draws.normal((1, 1, 6)), (1, w), mode="bicubic", align_corners=False)
    lake = y > shore + bays * draws.uniform(0.0, 0.06)
    bends = F.interpolate(draws.normal((1, 5, 1)), (h, 1), mode="bicubic", align_corners=False)
    middle = draws.uniform(0.1, 0.9) + draws.uniform(-1.2, 1.2) * (y - shore) + bends * draws.uniform(0.0, 0.2)
    river = (y > shore) & ((x - middle).abs() < draws.uniform(0.15, 0.8) * (y - shore))
    land = ((label == 5) | (label == 7))[:, None] | ((label == 4)[:, None] & draws.often(0.4))
    here = torch.where(draws.often(0.35), river, lake) & land & draws.often(chance)
    below = (y - shore).clamp_min(0)
    near = draws.uniform(0.02, 0.2) + below  # the water's plane meets the eye's height so far above the shore
    u, v, long = (x - 0.5) / near, 1 / near, draws.uniform(0.3, 1.5)
    waves = 0.6 * _ripples(draws, u * long, v * 2) + 0.4 * _ripples(draws, u * long * 3, v * 6)
    rough = draws.uniform(0.0, 1.0) ** 2
    row = shore - below * draws.uniform(0.8, 1.4) - 0.08 * rough * waves
    where = torch.cat([x + 0.03 * rough * waves, row.clamp(0, 1)], 1).permute(0, 2, 3, 1) * 2 - 1
    smeared = F.avg_pool2d(linear, (7, 3), 1, (3, 1), count_include_pad=False)
    mirror = F.grid_sample(smeared, where, padding_mode="reflection", align_corners=False)
    least = draws.uniform(0.03, 0.7)
    share = (least + (1 - least) * torch.exp(-below / draws.uniform(0.03, 0.5))) * draws.uniform(0.5, 1.0)
    level = torch.exp(draws.uniform(-4.0, -1.1)) * (luminance(linear).mean((2, 3), keepdim=True) / 0.2).clamp(0.4, 2.0)
    tint = torch.cat([draws.uniform(0.4, 1.5), torch.ones_like(level), draws.uniform(0.4, 1.4)], 1)
    water = mirror * share + level * tint / luminance(tint) * (1 - share)
    water = water * torch.exp(waves * draws.uniform(0.0, 0.5))
    foam = (waves > draws.uniform(0.5, 1.2)) & draws.often(0.15)
    water = torch.where(foam, draws.uniform(0.4, 0.9), water)
    return display_light(torch.where(here, water, linear)), here[:, 0]


def cast_shade(rgb: Tensor, label: Tensor, gen: torch.Generator, chance: float) -> tuple[Tensor, Tensor]:
    """Shade of clouds, slopes and trees over parts of the land in some of the views: dark grass and rock are no trees.

    rgb (N, 3, h, w) display, label (N, h, w). Returns rgb, and where it fell (N, h, w) bool. Open shade keeps an eighth
    to three fifths of the light and is bluer (clear-sky diffuse share, handbook tables).
    """
    n, _, h, w = rgb.shape
    draws = Draws(n, gen)
    shape = _patches(draws, (h, w), ((4, 0.8), (11, 0.4), (40, 0.2)))
    edge = torch.exp(draws.uniform(-4.0, -1.0))
    on_land = ((label >= 3) | (label == 0))[:, None]
    depth = ((shape - draws.uniform(-0.6, 0.6)) / edge).clamp(0, 1) * on_land * draws.often(chance)
    blue = draws.uniform(0.0, 0.3)
    left = draws.uniform(0.12, 0.6) * torch.cat([1 - blue, torch.ones_like(blue), 1 + blue], 1)
    return display_light(linear_light(rgb) * (1 - depth * (1 - left))), depth[:, 0] > 0.05


def far_haze(rgb: Tensor, label: Tensor, gen: torch.Generator, chance: float) -> Tensor:
    """Haze before what lies far off in some of the views: thickest just under the lowest sky of a column, gone towards
    the foot of the picture; what stands near (structures, other) stays clear. rgb (N, 3, h, w) display.
    """
    n, _, h, _ = rgb.shape
    draws = Draws(n, gen)
    sky = ((label == 1) | (label == 2))[:, None]
    row = torch.arange(h, device=rgb.device, dtype=torch.float32).view(1, 1, h, 1)
    lowest = torch.where(sky, row, torch.full_like(row, -1.0)).amax(2, keepdim=True)
    below = ((row - lowest) / h).clamp_min(0)
    land = ~sky & (lowest >= 0) & ((label != 6) & (label != 8) & (label != 0))[:, None]
    thick = draws.uniform(0.25, 0.85) * torch.exp(-below / draws.uniform(0.04, 0.25)) * land * draws.often(chance)
    bright = draws.uniform(0.35, 0.9)
    air = torch.cat([bright * draws.uniform(0.8, 1.0), bright * draws.uniform(0.9, 1.0), bright], 1)
    return display_light(linear_light(rgb) * (1 - thick) + air * thick)


def windows(size: Tensor, out: tuple[int, int], longest: tuple[float, float], gen: torch.Generator) -> Tensor:
    """Random views: pixel coordinates (N, h, w, 2) as x, y in the source picture of each output pixel.

    The picture's long side covers longest[0]..longest[1] output pixels (log-uniform), up to 12 % stretched, up to
    4 degrees turned, half of them mirrored; the view lies inside the picture as far as it fits.
    """
    n, device = size.shape[0], size.device
    h_out, w_out = out
    draws = Draws(n, gen, each=())
    h, w = size[:, 0].float(), size[:, 1].float()
    scale = torch.exp(draws.uniform(float(np.log(longest[0])), float(np.log(longest[1])))) / torch.maximum(h, w)
    stretch = torch.exp(draws.uniform(-0.12, 0.12))
    sx, sy = scale * torch.sqrt(stretch), scale / torch.sqrt(stretch)
    angle = draws.uniform(-0.07, 0.07) * draws.often(0.5)
    half_w, half_h = w_out / sx / 2, h_out / sy / 2
    cx = torch.where(
        w > 2 * half_w,
        half_w + draws.uniform(0, 1) * (w - 2 * half_w),
        w / 2 + draws.uniform(-1, 1) * (half_w - w / 2).abs(),
    )
    cy = torch.where(
        h > 2 * half_h,
        half_h + draws.uniform(0, 1) * (h - 2 * half_h),
        h / 2 + draws.uniform(-1, 1) * (half_h - h / 2).abs(),
    )
    mirror = torch.where(draws.often(0.5), -1.0, 1.0)
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
    inside (N,1,h,w) bool.
    """
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
    h = rgb.shape[2]
    draws = Draws(len(rgb), gen)
    s = strength
    linear = linear_light(rgb)
    exposure = 2.0 ** (s * (draws.uniform(-0.8, 0.8) * draws.often(0.7)))
    balance = 2.0 ** (s * 0.13 * draws.normal((3, 1, 1)) * draws.often(0.7))
    linear = linear * exposure * balance
    # haze: light of the air, more of it towards the top third (farther away), bluish to white
    ramp = torch.linspace(1, 0, h, device=rgb.device).view(1, 1, h, 1)
    haze = s * draws.uniform(0.0, 0.35) * draws.often(0.3) * (0.3 + 0.7 * ramp ** draws.uniform(0.5, 2.0))
    air = torch.cat([draws.uniform(0.45, 0.8), draws.uniform(0.5, 0.85), draws.uniform(0.6, 1.0)], 1)
    linear = linear * (1 - haze) + air * haze
    x = display_light(linear)
    gamma = 2.0 ** (s * draws.uniform(-0.35, 0.35) * draws.often(0.6))
    x = x.clamp_min(1e-4) ** gamma
    curve = s * draws.uniform(-0.5, 0.7) * draws.often(0.5)  # S-shaped or flattened contrast about the middle
    x = x + curve * (x - 0.5) * x * (1 - x) * 2
    grey = luminance(x)
    x = grey + (x - grey) * (1 + s * draws.uniform(-0.45, 0.5) * draws.often(0.6))
    soft = F.avg_pool2d(F.pad(x, (1, 1, 1, 1), mode="replicate"), 3, 1)
    x = x + (x - soft) * s * draws.uniform(-0.9, 0.9) * draws.often(0.4)
    x = x + draws.normal(tuple(rgb.shape[1:])) * s * draws.uniform(0, 0.02) * draws.often(0.4)
    return x.clamp(0, 1)


if __name__ == "__main__":
    if len(sys.argv) != 4 or sys.argv[1] not in ("pack", "rendered"):
        sys.exit("usage: python models/data.py pack SHARED_FOLDER DATA.bin | rendered FOLDER RENDERED.bin")
    (pack if sys.argv[1] == "pack" else pack_rendered)(Path(sys.argv[2]), Path(sys.argv[3]))
