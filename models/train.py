"""Train a scene network.

    python models/data.py pack ../shared .carry/data.bin
    python models/train.py --data .carry/data.bin --encoder-weights lite2.pth --fold 2 --out held.pt
    python models/train.py ... --everything --seed 2 --out all.pt                     # all pairs, all scenes
    python models/train.py ... --everything --teachers a.pt b.pt ... --out one.pt     # taught by others and by labels
    python models/train.py ... --leave-out ade_natural --out without.pt               # judged on what it never saw

--fold 0..3 holds back the pairs of that block, and always the val split of the labelled scenes; --leave-out a whole
source besides. The scores of what was held back come beside the weights as JSON. Needs torch and OpenCV. `--steps`
makes a run repeatable, `--seconds` or `--until` fits it into a lease.
"""

import argparse
import copy
import json
import math
import sys
import time
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import data as D
import numpy as np
import torch
import torch.nn.functional as F
from network import CLASS_COUNT, SceneNetwork, double, linear_light, tone, tone_basis
from torch import Tensor, nn

LONGEST = (400.0, 760.0)
SCENE_LONGEST = (360.0, 860.0)  # scenes of elsewhere: from far to a part of one class
PARTS = ("loss", "class", "jaccard", "tone", "taught")
CLASS_WEIGHT = (1.0, 1.1, 1.18, 1.05, 1.0, 1.1, 1.14, 1.18, 1.18)
SMOOTH, JACCARD = 0.03, 0.15
WATER, SNOW = 3, 9  # their labels


def class_loss(logits: Tensor, label: Tensor, merged: Tensor, weight: Tensor) -> tuple[Tensor, Tensor]:
    """Cross-entropy (smoothed) and soft Jaccard distance at half the view's size: every second pixel is a quarter of
    the work and the same answer. label (N, H, W), 0 is void; merged (N, H, W) marks where the label knows sky only as
    one; weight (10,) of void and the classes.
    """
    label, merged = label[:, 1::2, 1::2], merged[:, 1::2, 1::2]
    while logits.shape[-1] < label.shape[-1]:
        logits = double(logits)
    logp = F.log_softmax(logits.float(), 1)
    sky = torch.logsumexp(logp[:, :2], 1, keepdim=True)
    nll = -torch.cat([torch.where(merged[:, None], sky, logp[:, :2]), logp[:, 2:]], 1)
    truth = F.one_hot(label, CLASS_COUNT + 1).permute(0, 3, 1, 2)[:, 1:].float()
    share = weight[label]
    cross = ((1 - SMOOTH) * (nll * truth).sum(1) + SMOOTH * nll.mean(1)) * share
    p, truth, valid = logp[:, 2:].exp(), truth[:, 2:], (label > 0)[:, None]
    both = (p * truth * valid).sum((0, 2, 3))
    union = ((p + truth - p * truth) * valid).sum((0, 2, 3))
    there = (truth.sum((0, 2, 3)) > 200).float()
    jaccard = ((1 - both / union.clamp_min(1)) * there).sum() / there.sum().clamp_min(1)
    return cross.sum() / share.sum().clamp_min(1), jaccard


def fitted(t: Tensor, target: Tensor, inside: Tensor) -> Tensor:
    """Best straight line from t to target inside the picture, per picture."""
    w = inside.float()
    n = w.sum((1, 2, 3), keepdim=True).clamp_min(1)
    mt, mn = (t * w).sum((1, 2, 3), keepdim=True) / n, (target * w).sum((1, 2, 3), keepdim=True) / n
    a, b = (t - mt) * w, (target - mn) * w
    gain = (a * b).sum((1, 2, 3), keepdim=True) / (a * a).sum((1, 2, 3), keepdim=True).clamp_min(1e-3)
    return gain.clamp(0.2, 4.0) * (t - mt) + mn


def rank_loss(t: Tensor, target: Tensor, inside: Tensor, cell: int = 20) -> Tensor:
    """Pairs of cells whose true tones differ clearly but are predicted in the wrong order; plus 1 - correlation.
    (N,)
    """
    w = F.avg_pool2d(inside.float(), cell)
    a = (F.avg_pool2d(t * inside, cell) / w.clamp_min(0.1)).flatten(1)
    b = (F.avg_pool2d(target * inside, cell) / w.clamp_min(0.1)).flatten(1)
    ok = (w.flatten(1) > 0.8).float()
    gap = b[:, :, None] - b[:, None, :]
    clear = ((gap > 0.03).float() * ok[:, :, None] * ok[:, None, :]) * (0.3 + gap).clamp(0, 0.6)
    wrong = F.softplus(-(a[:, :, None] - a[:, None, :]) / 0.06) * 0.06
    order = (wrong * clear).sum((1, 2)) / clear.sum((1, 2)).clamp_min(1)
    n = ok.sum(1, keepdim=True).clamp_min(1)
    da, db = (a - (a * ok).sum(1, keepdim=True) / n) * ok, (b - (b * ok).sum(1, keepdim=True) / n) * ok
    correlation = (da * db).sum(1) / ((da.square().sum(1) * db.square().sum(1)).clamp_min(1e-6)).sqrt()
    return order * 3 + 0.1 * (1 - correlation)


def tone_loss(t: Tensor, target: Tensor, inside: Tensor, full: bool) -> Tensor:
    """Error after the best straight line; in full also the gradients, the structure and the absolute tone. (N,)"""
    fit = fitted(t, target, inside)
    w = inside.float()
    n = w.sum((1, 2, 3)).clamp_min(1)
    error = (fit - target) * w
    loss = error.abs().sum((1, 2, 3)) / n
    mse = error.square().sum((1, 2, 3)) / n
    loss = loss + 0.02 * torch.log(mse + 5e-4) + 0.5 * rank_loss(fit, target, inside, 20 if full else 10)
    if full:
        loss = loss + 0.15 * ((t - target).abs() * w).sum((1, 2, 3)) / n
        for scale in (1, 2, 4):
            e, v = F.avg_pool2d(error, scale), F.avg_pool2d(w, scale) > 0.99
            dx = ((e[..., :, 1:] - e[..., :, :-1]).abs() * v[..., :, 1:]).mean((1, 2, 3))
            dy = ((e[..., 1:, :] - e[..., :-1, :]).abs() * v[..., 1:, :]).mean((1, 2, 3))
            loss = loss + 0.25 * (dx + dy)

        def mean(z: Tensor) -> Tensor:
            return F.avg_pool2d(z, 9, 3)

        ma, mb = mean(fit), mean(target)
        va, vb, cov = mean(fit * fit) - ma * ma, mean(target * target) - mb * mb, mean(fit * target) - ma * mb
        ssim = (2 * ma * mb + 1e-4) * (2 * cov + 9e-4) / ((ma * ma + mb * mb + 1e-4) * (va + vb + 9e-4))
        loss = loss + 0.05 * ((1 - ssim) * (mean(w) > 0.99)).mean((1, 2, 3))
    return loss


def network_size(height: int, width: int, side: int = 512) -> tuple[int, int]:
    """Long side `side`, both sides rounded to multiples of 32."""
    k = side / max(height, width)
    return max(32, round(height * k / 32) * 32), max(32, round(width * k / 32) * 32)


@torch.no_grad()
def answer(model: nn.Module, rgb: np.ndarray, device: str) -> tuple[Tensor, Tensor]:
    """Class probabilities and mix of one picture (h, w, 3) uint8, area-reduced to the network's size."""
    size = network_size(*rgb.shape[:2])
    shrinks = max(rgb.shape[:2]) > max(size)
    small = cv2.resize(rgb, size[::-1], interpolation=cv2.INTER_AREA if shrinks else cv2.INTER_LINEAR)
    x = torch.from_numpy(small).to(device).permute(2, 0, 1)[None].float() / 255
    p, m = model(x)
    return p.float(), m.float()


@torch.no_grad()
def tone_picture(rgb: np.ndarray, mix: Tensor) -> np.ndarray:
    """Display tone 0..255 of the picture, through linear tones as the tool gives them."""
    import scoring  # noqa: PLC0415  (its folder is an option)

    x = torch.from_numpy(rgb).to(mix.device).permute(2, 0, 1)[None].float() / 255
    linear = linear_light(tone(x, mix).clamp(0, 1))
    return np.asarray(scoring.to_display(linear[0, 0].cpu().numpy()))


def evaluate(model: nn.Module, pictures: D.Pictures, device: str) -> dict[str, Any]:
    """Scores of ../shared/scoring.py, per picture and summed."""
    import scoring  # noqa: PLC0415  (its folder is an option)

    rows, counts, natural = [], np.zeros((10, 10)), np.zeros((10, 10))
    for i, name in enumerate(pictures.names):
        rgb, label, nir = pictures.picture(i)
        p, m = answer(model, rgb, device)
        big = F.interpolate(p.float(), rgb.shape[:2], mode="bilinear", align_corners=False)
        guess = (big.argmax(1) + 1)[0].cpu().numpy()
        c = scoring.label_counts(guess, label, "sky_or_cloud" if pictures.merged[i] else "clear_sky_only")
        counts += c
        row = {"name": name, "source": pictures.source[i], "labels": np.trace(c) / max(c.sum(), 1)}
        if nir is not None:
            row |= scoring.tone_scores(tone_picture(rgb, m.float()), nir)
            if pictures.source[i] in ("mountain", "country", "water", "field"):
                natural += c
        rows.append(row)
    accuracy, iou = scoring.label_scores(counts)
    result = {"rows": rows, "counts": counts.tolist(), "accuracy": accuracy, "iou": iou}
    if natural.sum():
        result["natural_counts"] = natural.tolist()
        result["natural_accuracy"], result["natural_iou"] = scoring.label_scores(natural)
    for key in ("rank", "order", "psnr", "ssim"):
        if rows and key in rows[0]:
            result[key] = float(np.nanmean([r[key] for r in rows]))
    return result


def brief(result: dict[str, Any]) -> str:
    """The scores on one line."""
    words = [
        f"{k} {result[k]:.4g}" for k in ("rank", "order", "psnr", "ssim", "accuracy", "natural_accuracy") if k in result
    ]
    words += [f"{k}:{v:.2f}" for k, v in (result.get("natural_iou") or result["iou"]).items()]
    return " ".join(words)


def load_network(path: Path, device: str) -> SceneNetwork:
    """The network that `save_network` wrote, ready to answer."""
    state = torch.load(path, map_location="cpu", weights_only=True)
    model = SceneNetwork(state["encoder"])
    model.load_state_dict({k: v.float() if v.is_floating_point() else v for k, v in state["weights"].items()})
    model.to(device).eval()
    return model


def save_network(model: nn.Module, encoder: str, not_seen: str, path: Path) -> None:
    """Weights with two or more dimensions as half precision: the shipped file rounds them the same way."""
    weights = {k: v.half() if v.is_floating_point() and v.dim() > 1 else v for k, v in model.state_dict().items()}
    torch.save({"encoder": encoder, "not_seen": not_seen, "weights": weights}, path)


@dataclass
class Views:
    """One batch: pairs first. The teachers' answer belongs to the views before they were spoilt."""

    x: Tensor
    label: Tensor
    merged: Tensor
    nir: Tensor
    inside: Tensor
    """(N, 1, H, W): where a pixel lies in the picture and its tone still holds."""
    taught: Tensor | None = None
    """(N, 9, H/4, W/4) probabilities."""
    taught_tone: Tensor | None = None
    """(N, 1, H, W)"""


def losses(
    model: SceneNetwork, v: Views, class_weight: Tensor, weights: argparse.Namespace
) -> tuple[Tensor, tuple[Tensor, ...]]:
    """The whole loss of a step, and its class, Jaccard, tone and teachers' parts. v.nir (M, 1, H, W) belongs to the
    first M views, the pairs; scenes have no infrared picture.
    """
    with torch.autocast(v.x.device.type, torch.bfloat16, enabled=v.x.device.type == "cuda"):
        answers = model.heads(v.x)
    cross, jaccard = class_loss(answers["logits"], v.label, v.merged, class_weight)
    cross8, _ = class_loss(answers["logits8"], v.label, v.merged, class_weight)
    pairs = len(v.nir)
    inside = v.inside[:pairs]
    every = tone_basis(v.x)
    basis = every[:pairs]
    mixed = (double(answers["mix"].float()) * every).sum(1, keepdim=True)
    of_mix = tone_loss(mixed[:pairs], v.nir, inside, True).mean()
    # the helpers, all in one go, are judged on every second pixel
    half = (..., slice(None, None, 2), slice(None, None, 2))
    helpers = [double(answers[key][:pairs].float()) for key in ("coarse", "middle", "by_class")]
    maps = torch.stack([*helpers, answers["fine"][:pairs].float()])
    t = (maps * basis[half]).sum(2, keepdim=True).flatten(0, 1)
    each = tone_loss(t, v.nir[half].repeat(4, 1, 1, 1), inside[half].repeat(4, 1, 1, 1), False).view(4, -1).mean(1)
    of_helpers = 0.3 * (each[0] + each[1] + each[3]) + 0.2 * each[2]
    loss = weights.label_weight * (cross + JACCARD * jaccard + 0.3 * cross8)
    loss = loss + weights.tone_weight * (of_mix + of_helpers)
    by_teachers = torch.zeros_like(loss)
    if v.taught is not None and v.taught_tone is not None:
        here = F.avg_pool2d(v.inside.float(), 4) > 0.5 if weights.taught_inside else torch.ones_like(v.taught[:, :1])
        for key, share in (("logits", 1.0), ("logits8", 0.3)):
            logits = answers[key] if key == "logits" else double(answers[key])
            soft = -(v.taught * F.log_softmax(logits.float(), 1)).sum(1, keepdim=True)
            by_teachers = by_teachers + share * (soft * here).sum() / here.sum().clamp_min(1)
        tones = tone_loss(mixed, v.taught_tone, v.inside, True).mean()
        loss = loss + weights.taught_weight * by_teachers + weights.taught_tone_weight * tones
    return loss, (cross, jaccard, of_mix, by_teachers)


class Teachers:
    """Several networks; each step asks some of them, each about the views as they are or mirrored."""

    def __init__(self, paths: list[Path], asked: int, device: str, gen: torch.Generator):
        self.models = [load_network(p, device).requires_grad_(False) for p in paths]
        self.asked, self.device, self.gen = min(asked, len(paths)), device, gen

    @torch.no_grad()
    def answer(self, x: Tensor) -> tuple[Tensor, Tensor]:
        """Mean probabilities (N, 9, H/4, W/4) and mean tone (N, 1, H, W)."""
        chosen = torch.randperm(len(self.models), generator=self.gen, device=self.device)[: self.asked].tolist()
        mirrored = (torch.rand(self.asked, generator=self.gen, device=self.device) < 0.5).tolist()
        total, tones = 0.0, 0.0
        for i, flip in zip(chosen, mirrored, strict=True):
            view = x.flip(-1) if flip else x
            with torch.autocast(x.device.type, torch.bfloat16, enabled=x.device.type == "cuda"):
                p, m = self.models[i](view)
            t = tone(view, m.float())
            total = total + (p.float().flip(-1) if flip else p.float())
            tones = tones + (t.flip(-1) if flip else t)
        return total / self.asked, tones / self.asked


def make_views(
    pairs: D.Pictures,
    scenes: D.Pictures,
    chance: Tensor,
    args: argparse.Namespace,
    teachers: Teachers | None,
    gen: torch.Generator,
) -> Views:
    """A batch: views drawn, answered by the teachers, recoloured, hazed, jittered, pasted."""
    device, view = args.device, (args.view, args.view)
    chosen = torch.randint(len(pairs.names), (args.pairs,), generator=gen, device=device)
    x1, l1, nir, in1 = D.sample(pairs, chosen, view, LONGEST, gen)
    drawn = torch.rand(args.scenes, generator=gen, device=device) * chance[-1]
    picked = torch.searchsorted(chance, drawn).clamp_max(len(scenes.names) - 1)
    x2, l2, _, in2 = D.sample(scenes, picked, view, SCENE_LONGEST, gen)
    x, label, inside = torch.cat([x1, x2]), torch.cat([l1, l2]), torch.cat([in1, in2])
    taught = taught_tone = None
    if teachers is not None:
        taught, taught_tone = teachers.answer(x)
    x, as_taken = D.other_season(x, label, gen)
    for over, new_label, often in ((D.snowfall, SNOW, args.snowfall), (D.flood, WATER, args.flood)):
        x, covered = over(x, label, gen, often)
        label, as_taken = label.masked_fill(covered, new_label), as_taken & ~covered[:, None]
        if taught is not None:
            certain = F.one_hot(torch.tensor(new_label - 1, device=device), CLASS_COUNT).to(taught.dtype)
            taught = torch.where(covered[:, None, 2::4, 2::4], certain.view(1, -1, 1, 1), taught)
    x, shaded = D.cast_shade(x, label, gen, args.cast_shade)
    as_taken = as_taken & ~shaded[:, None]
    x = D.far_haze(x, label, gen, args.far_haze)
    x = D.jitter(x, gen, args.jitter)
    merged = torch.cat([pairs.merged[chosen], scenes.merged[picked]])[:, None, None].expand_as(label)
    share = torch.tensor([args.paste[0]] * args.pairs + [args.paste[1]] * args.scenes, device=device)
    mask, other = D.paste(label, share, gen)
    x = torch.where(mask[:, None], x[other], x)
    label, merged = torch.where(mask, label[other], label), torch.where(mask, merged[other], merged)
    if taught is not None:
        taught = torch.where(mask[:, None, 2::4, 2::4], taught[other], taught)
    return Views(x, label, merged, nir, inside & as_taken & ~mask[:, None], taught, taught_tone)


def train(args: argparse.Namespace) -> None:
    """Train, write the weights, and beside them the scores of what was held back."""
    device = args.device
    torch.manual_seed(args.seed)
    torch.backends.cuda.matmul.allow_tf32 = True
    pairs_all, scenes_all = D.load(args.data)
    if args.rendered:
        scenes_all = D.joined(scenes_all, D.load(args.rendered)[1])
    held = [i for i, f in enumerate(pairs_all.fold) if f == args.fold and f >= 0]
    if args.leave_out == "pairs":  # their photographs fill the batch, but teach nothing
        pairs_all.label.zero_()
        args.tone_weight = 0.0
        truth_of_pairs, _ = D.load(args.data)
    # where nothing may have been seen: numbers of the pairs without label maps are unknown
    kept = [i for i, f in enumerate(pairs_all.fold) if i not in held and (f >= 0 or args.fold < 0)]
    pairs = pairs_all.part(kept, device)
    scenes = scenes_all.part(
        [
            i
            for i, s in enumerate(scenes_all.split)
            if (s == "train" or args.everything) and scenes_all.source[i] != args.leave_out
        ],
        device,
    )
    chance = torch.cumsum(D.scene_weight(scenes, args.rendered_share), 0)

    parts_kept = [f"pairs of fold {args.fold}"] * bool(held) + ["labelled scenes, val split"] * (not args.everything)
    kept_back = ", ".join(parts_kept + [args.leave_out] * bool(args.leave_out))

    model = SceneNetwork(args.encoder, args.drop_path, args.dropout)
    if args.start:
        model.load_state_dict(load_network(args.start, "cpu").state_dict())
    elif args.encoder_weights:
        model.encoder.load_imagenet(args.encoder_weights)
    model = model.to(device)
    torch.backends.cudnn.benchmark = True
    # every card tried trains 1.2 to 3 times as fast with this order of the numbers in memory
    form = torch.channels_last if device == "cuda" else torch.contiguous_format
    model = model.to(memory_format=form)
    average = copy.deepcopy(model).eval()
    for p in average.parameters():
        p.requires_grad_(False)
    states = zip(average.state_dict().values(), model.state_dict().values(), strict=True)
    averaged, current = zip(*((a, b) for a, b in states if a.is_floating_point()), strict=True)
    encoder = list(model.encoder.parameters())
    rest = [p for n, p in model.named_parameters() if not n.startswith("encoder.")]
    groups = [{"params": encoder, "base": args.lr * args.encoder_lr}, {"params": rest, "base": args.lr}]
    optimizer = torch.optim.AdamW(groups, lr=args.lr, weight_decay=args.weight_decay, fused=device == "cuda")
    gen = torch.Generator(device=device).manual_seed(args.seed)
    teachers = Teachers(args.teachers, args.asked, device, gen) if args.teachers else None
    class_weight = torch.tensor((0.0, *CLASS_WEIGHT), device=device)
    started, step, half_way = time.time(), 0, False
    seconds = args.until - started if args.until else args.seconds
    model.train()
    while True:
        spent = time.time() - started
        progress = step / args.steps if args.steps else spent / seconds
        if progress >= 1:
            break
        rise = min(1.0, step / args.rise)
        for group in optimizer.param_groups:
            group["lr"] = group["base"] * rise * (0.02 + 0.98 * 0.5 * (1 + math.cos(math.pi * progress)))
        views = make_views(pairs, scenes, chance, args, teachers, gen)
        views.x = views.x.to(memory_format=form)
        loss, seen = losses(model, views, class_weight, args)
        optimizer.zero_grad(set_to_none=True)
        loss.backward()
        nn.utils.clip_grad_norm_(model.parameters(), 2.0)
        optimizer.step()
        step += 1
        decay = min(args.ema, (1 + step) / (10 + step))
        with torch.no_grad():
            torch._foreach_lerp_(averaged, current, 1 - decay)
        if progress > 0.85 and not half_way:  # a lease may end before its time
            half_way = True
            save_network(average, args.encoder, f"of {kept_back}, not taught to the end", args.out)
        if step % args.log_every == 0:
            line = " ".join(f"{name} {value.item():.3f}" for name, value in zip(PARTS, (loss, *seen), strict=True))
            print(f"[{args.name}] step {step} {spent:.0f}s {line}", flush=True)
    torch.backends.cudnn.benchmark = False  # the evaluation has a new shape for every picture
    print(f"[{args.name}] {step} steps in {time.time() - started:.0f} s", flush=True)
    save_network(average, args.encoder, kept_back, args.out)
    if args.quick:
        return
    average = load_network(args.out, device)
    report: dict[str, Any] = {
        "name": args.name,
        "steps": step,
        "arguments": {k: str(v) for k, v in vars(args).items()},
    }
    parts: dict[str, D.Pictures] = {}
    if held:
        parts["pairs"] = pairs_all.part(held, "cpu")
    if args.leave_out == "pairs":
        parts["left out"] = truth_of_pairs.part([i for i, f in enumerate(truth_of_pairs.fold) if f >= 0], "cpu")
    elif args.leave_out:
        parts["left out"] = scenes_all.part([i for i, s in enumerate(scenes_all.source) if s == args.leave_out], "cpu")
    if not args.everything:
        for elsewhere in (True, False):
            parts["elsewhere" if elsewhere else "scenes"] = scenes_all.part(
                [
                    i
                    for i, s in enumerate(scenes_all.split)
                    if s == "val" and (scenes_all.source[i] == "ade_natural") == elsewhere
                ],
                "cpu",
            )
    for title, part in parts.items():
        report[title] = evaluate(average, part, device)
        print(f"[{args.name}] RESULT {title} {brief(report[title])}", flush=True)
    args.out.with_suffix(".json").write_text(json.dumps(report))


def parser() -> argparse.ArgumentParser:
    """What the command line takes."""
    p = argparse.ArgumentParser(description="Train the scene network.")
    p.add_argument("--data", type=Path, required=True)
    p.add_argument("--scoring", type=Path, default=Path(__file__).parents[2] / "shared", help="folder of scoring.py")
    p.add_argument("--encoder", default="lite2")
    p.add_argument("--encoder-weights", type=Path, default=None)
    p.add_argument("--rendered", type=Path, default=None, help="packed rendered scenes, taught as well")
    p.add_argument("--rendered-share", type=float, default=0.15, help="of them, against 1 for all labelled scenes")
    p.add_argument("--start", type=Path, default=None, help="go on from these weights")
    p.add_argument("--teachers", type=Path, nargs="*", default=[], help="networks whose mean teaches this one too")
    p.add_argument("--asked", type=int, default=2, help="teachers asked in each step")
    p.add_argument(
        "--leave-out", default="", help="a source of the scenes, or 'pairs': never seen, judged on at the end"
    )
    p.add_argument("--out", type=Path, required=True)
    p.add_argument("--name", default="network")
    p.add_argument("--fold", type=int, default=-1, help="0..3 held back; -1 = train on all pairs")
    p.add_argument("--everything", action="store_true", help="the scenes of the val split too")
    p.add_argument("--steps", type=int, default=0)
    p.add_argument("--seconds", type=float, default=450)
    p.add_argument("--until", type=float, default=0, help="instead: the clock's time [s since 1970], loading counts")
    p.add_argument("--seed", type=int, default=1)
    p.add_argument("--view", type=int, default=384, help="side of a view [px]")
    p.add_argument("--pairs", type=int, default=9)
    p.add_argument("--scenes", type=int, default=19)
    p.add_argument("--rise", type=int, default=100, help="steps until the rate is full")
    p.add_argument("--lr", type=float, default=2e-3)
    p.add_argument("--encoder-lr", type=float, default=0.25)
    p.add_argument("--weight-decay", type=float, default=0.03)
    p.add_argument("--drop-path", type=float, default=0.15)
    p.add_argument("--dropout", type=float, default=0.15)
    p.add_argument("--jitter", type=float, default=1.0)
    p.add_argument(
        "--paste", type=float, nargs=2, default=(0.5, 0.2), help="share of pairs, of scenes with a part pasted"
    )
    p.add_argument("--far-haze", type=float, default=0.12, help="share of views with haze before what is far")
    p.add_argument("--snowfall", type=float, default=0.08, help="share of views whose open ground lies under snow")
    p.add_argument("--flood", type=float, default=0.1, help="share of views with a lake or river laid over open ground")
    p.add_argument("--cast-shade", type=float, default=0.12, help="share of views with shade over parts of the land")
    p.add_argument("--tone-weight", type=float, default=3.0)
    p.add_argument("--label-weight", type=float, default=1.0)
    p.add_argument("--taught-weight", type=float, default=1.0)
    p.add_argument("--taught-tone-weight", type=float, default=1.0)
    p.add_argument("--taught-inside", action="store_true", help="teachers' classes only where the view is as taken")
    p.add_argument("--ema", type=float, default=0.997)
    p.add_argument("--device", default="cuda" if torch.cuda.is_available() else "cpu")
    p.add_argument("--log-every", type=int, default=100)
    p.add_argument("--quick", action="store_true", help="no evaluation at the end")
    return p


if __name__ == "__main__":
    arguments = parser().parse_args()
    sys.path.insert(0, str(arguments.scoring))
    train(arguments)
