"""Train a scene network.

    python models/data.py pack ../shared .carry/data.npz
    python models/train.py --data .carry/data.npz --encoder-weights lite2.pth --fold 2 --out fold2.pt
    python models/train.py ... --everything --seed 2 --out all.pt       # all pairs, all scenes

--fold 0..3 holds back the pairs of that block, and always the val split of the labelled scenes; the scores of what was
held back come beside the weights as JSON. Needs torch and OpenCV. `--steps` makes a run repeatable, `--seconds` fits it
into a lease: one H100 does 8 to 12 steps a second, shared among several runs.
"""

import argparse
import copy
import json
import math
import sys
import time
from pathlib import Path

import data as D
import numpy as np
import torch
import torch.nn.functional as F
from network import CLASS_COUNT, SceneNetwork, double, linear_light, tone, tone_basis
from torch import Tensor, nn

LONGEST = (400.0, 760.0)
PARTS = ("loss", "class", "jaccard", "tone")
CLASS_WEIGHT = (1.0, 1.1, 1.18, 1.05, 1.0, 1.1, 1.14, 1.18, 1.18)
SMOOTH, JACCARD = 0.03, 0.15


def class_loss(logits: Tensor, label: Tensor, merged: Tensor, weight: Tensor) -> tuple[Tensor, Tensor]:
    """Cross-entropy (smoothed) and soft Jaccard distance at half the view's size: every second pixel is a quarter of
    the work and the same answer. label (N, H, W), 0 is void; merged (N, H, W) marks where the label knows sky only as
    one; weight (10,) of void and the classes."""
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
    (N,)"""
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
    import cv2

    size = network_size(*rgb.shape[:2])
    shrinks = max(rgb.shape[:2]) > max(size)
    small = cv2.resize(rgb, size[::-1], interpolation=cv2.INTER_AREA if shrinks else cv2.INTER_LINEAR)
    x = torch.from_numpy(small).to(device).permute(2, 0, 1)[None].float() / 255
    p, m = model(x)
    return p.float(), m.float()


@torch.no_grad()
def tone_picture(rgb: np.ndarray, mix: Tensor) -> np.ndarray:
    """Display tone 0..255 of the picture, through linear tones as the tool gives them."""
    import scoring

    x = torch.from_numpy(rgb).to(mix.device).permute(2, 0, 1)[None].float() / 255
    linear = linear_light(tone(x, mix).clamp(0, 1))
    return scoring.to_display(linear[0, 0].cpu().numpy())


def evaluate(model: nn.Module, pictures: D.Pictures, device: str) -> dict:
    """Scores of ../shared/scoring.py, per picture and summed."""
    import scoring

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


def brief(result: dict) -> str:
    words = [
        f"{k} {result[k]:.4g}" for k in ("rank", "order", "psnr", "ssim", "accuracy", "natural_accuracy") if k in result
    ]
    words += [f"{k}:{v:.2f}" for k, v in (result.get("natural_iou") or result["iou"]).items()]
    return " ".join(words)


def load_network(path: Path, device: str) -> SceneNetwork:
    state = torch.load(path, map_location="cpu", weights_only=True)
    model = SceneNetwork(state["encoder"])
    model.load_state_dict({k: v.float() if v.is_floating_point() else v for k, v in state["weights"].items()})
    return model.to(device).eval()


def save_network(model: nn.Module, encoder: str, not_seen: str, path: Path) -> None:
    """Weights with two or more dimensions as half precision: the shipped file rounds them the same way."""
    weights = {k: v.half() if v.is_floating_point() and v.dim() > 1 else v for k, v in model.state_dict().items()}
    torch.save({"encoder": encoder, "not_seen": not_seen, "weights": weights}, path)


def losses(
    model: SceneNetwork,
    x: Tensor,
    label: Tensor,
    merged: Tensor,
    nir: Tensor,
    inside: Tensor,
    class_weight: Tensor,
    tone_weight: float,
) -> tuple[Tensor, tuple[Tensor, Tensor, Tensor]]:
    """The whole loss of a step, and its class, Jaccard and tone parts. nir, inside (M, 1, H, W) belong to the first M
    views, the pairs; scenes have no infrared picture."""
    with torch.autocast(x.device.type, torch.bfloat16, enabled=x.device.type == "cuda"):
        answers = model.heads(x)
    cross, jaccard = class_loss(answers["logits"], label, merged, class_weight)
    cross8, _ = class_loss(answers["logits8"], label, merged, class_weight)
    pairs = len(nir)
    basis = tone_basis(x[:pairs])
    of_mix = tone_loss((double(answers["mix"][:pairs].float()) * basis).sum(1, keepdim=True), nir, inside, True).mean()
    # the helpers, all in one go, are judged on every second pixel
    half = (..., slice(None, None, 2), slice(None, None, 2))
    helpers = [double(answers[key][:pairs].float()) for key in ("coarse", "middle", "by_class")]
    maps = torch.stack([*helpers, answers["fine"][:pairs].float()])
    t = (maps * basis[half]).sum(2, keepdim=True).flatten(0, 1)
    each = tone_loss(t, nir[half].repeat(4, 1, 1, 1), inside[half].repeat(4, 1, 1, 1), False).view(4, -1).mean(1)
    of_helpers = 0.3 * (each[0] + each[1] + each[3]) + 0.2 * each[2]
    loss = cross + JACCARD * jaccard + 0.3 * cross8 + tone_weight * (of_mix + of_helpers)
    return loss, (cross, jaccard, of_mix)


def train(args: argparse.Namespace) -> None:
    device = args.device
    torch.manual_seed(args.seed)
    torch.backends.cuda.matmul.allow_tf32 = True
    pairs_all, scenes_all = D.load(args.data)
    held = [i for i, f in enumerate(pairs_all.fold) if f == args.fold]
    pairs = pairs_all.part([i for i, f in enumerate(pairs_all.fold) if f != args.fold], device)
    scenes = scenes_all.part([i for i, s in enumerate(scenes_all.split) if s == "train" or args.everything], device)
    chance = torch.cumsum(D.scene_weight(scenes), 0)

    model = SceneNetwork(args.encoder, args.drop_path, args.dropout)
    if args.start:
        model.load_state_dict(load_network(args.start, "cpu").state_dict())
        for stage in (model.encoder.stem, *model.encoder.stages[:3]):
            stage.requires_grad_(False)
    elif args.encoder_weights:
        model.encoder.load_imagenet(args.encoder_weights)
    model = model.to(device)
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
    class_weight = torch.tensor((0.0, *CLASS_WEIGHT), device=device)
    pasted = torch.tensor([args.paste[0]] * args.pairs + [args.paste[1]] * args.scenes, device=device)
    view = (args.view, args.view)
    started, step = time.time(), 0
    model.train()
    if args.start:  # a few steps of small batches would spoil the running means
        for module in model.modules():
            if isinstance(module, nn.BatchNorm2d):
                module.eval()
    torch.backends.cudnn.benchmark = True
    while True:
        spent = time.time() - started
        progress = step / args.steps if args.steps else spent / args.seconds
        if progress >= 1:
            break
        rise = min(1.0, step / args.rise)
        for group in optimizer.param_groups:
            group["lr"] = group["base"] * rise * (0.02 + 0.98 * 0.5 * (1 + math.cos(math.pi * progress)))
        chosen = torch.randint(len(pairs.names), (args.pairs,), generator=gen, device=device)
        x1, l1, nir, inside = D.sample(pairs, chosen, view, LONGEST, gen)
        drawn = torch.rand(args.scenes, generator=gen, device=device) * chance[-1]
        picked = torch.searchsorted(chance, drawn).clamp_max(len(scenes.names) - 1)
        x2, l2, _, _ = D.sample(scenes, picked, view, LONGEST, gen)
        label = torch.cat([l1, l2])
        x, as_taken = D.other_season(torch.cat([x1, x2]), label, gen)
        x = D.jitter(x, gen, args.jitter)
        merged = torch.cat([pairs.merged[chosen], scenes.merged[picked]])[:, None, None].expand_as(label)
        x, label, merged, kept = D.paste(x, label, merged, pasted, gen)
        loss, seen = losses(
            model, x, label, merged, nir, inside & (kept & as_taken)[: args.pairs], class_weight, args.tone_weight
        )
        optimizer.zero_grad(set_to_none=True)
        loss.backward()
        nn.utils.clip_grad_norm_(model.parameters(), 2.0)
        optimizer.step()
        step += 1
        decay = min(args.ema, (1 + step) / (10 + step))
        with torch.no_grad():
            torch._foreach_lerp_(averaged, current, 1 - decay)
        if step % args.log_every == 0:
            parts = " ".join(f"{name} {value.item():.3f}" for name, value in zip(PARTS, (loss, *seen), strict=True))
            print(f"[{args.name}] step {step} {spent:.0f}s {parts}", flush=True)
    torch.backends.cudnn.benchmark = False  # the evaluation has a new shape for every picture
    print(f"[{args.name}] {step} steps in {time.time() - started:.0f} s", flush=True)
    kept_back = [f"pairs of fold {args.fold}"] * bool(held) + ["labelled scenes, val split"] * (not args.everything)
    save_network(average, args.encoder, ", ".join(kept_back), args.out)
    if args.quick:
        return
    average = load_network(args.out, device)
    report: dict[str, object] = {
        "name": args.name,
        "steps": step,
        "arguments": {k: str(v) for k, v in vars(args).items()},
    }
    if held:
        report["pairs"] = evaluate(average, pairs_all.part(held, "cpu"), device)
        print(f"[{args.name}] RESULT pairs {brief(report['pairs'])}", flush=True)
    if not args.everything:
        val = scenes_all.part([i for i, s in enumerate(scenes_all.split) if s == "val"], "cpu")
        report["scenes"] = evaluate(average, val, device)
        print(f"[{args.name}] RESULT scenes {brief(report['scenes'])}", flush=True)
    args.out.with_suffix(".json").write_text(json.dumps(report))


def parser() -> argparse.ArgumentParser:
    p = argparse.ArgumentParser(description="Train the scene network.")
    p.add_argument("--data", type=Path, required=True)
    p.add_argument("--scoring", type=Path, default=Path(__file__).parents[2] / "shared", help="folder of scoring.py")
    p.add_argument("--encoder", default="lite2")
    p.add_argument("--encoder-weights", type=Path, default=None)
    p.add_argument("--start", type=Path, default=None, help="go on from these weights; the early encoder is held")
    p.add_argument("--out", type=Path, required=True)
    p.add_argument("--name", default="network")
    p.add_argument("--fold", type=int, default=-1, help="0..3 held back; -1 = train on all pairs")
    p.add_argument("--everything", action="store_true", help="the scenes of the val split too")
    p.add_argument("--steps", type=int, default=0)
    p.add_argument("--seconds", type=float, default=450)
    p.add_argument("--seed", type=int, default=1)
    p.add_argument("--view", type=int, default=384, help="side of a view [px]")
    p.add_argument("--pairs", type=int, default=9)
    p.add_argument("--scenes", type=int, default=15)
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
    p.add_argument("--tone-weight", type=float, default=3.0)
    p.add_argument("--ema", type=float, default=0.997)
    p.add_argument("--device", default="cuda" if torch.cuda.is_available() else "cpu")
    p.add_argument("--log-every", type=int, default=100)
    p.add_argument("--quick", action="store_true", help="no evaluation at the end")
    return p


if __name__ == "__main__":
    arguments = parser().parse_args()
    sys.path.insert(0, str(arguments.scoring))
    train(arguments)
