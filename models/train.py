"""Train the scene network.

    python models/data.py pack ../shared .carry/data.npz
    python models/train.py --data .carry/data.npz --encoder-weights efficientnet-lite2-9656183e.pth --out network.pt
    python models/train.py ... --fold 2                      # cross-validation: blocks of fold 2 are held back
    python models/train.py ... --teachers a.pt b.pt c.pt     # pseudo-infrared of an ensemble for the labelled scenes
    python models/train.py ... --everything                  # the shipped network: all pairs, all scenes

Needs torch and OpenCV. One H100 runs about 20 steps a second; `--steps` makes a run repeatable, `--seconds` fits it
into a lease.
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
from network import CLASS_COUNT, SceneNetwork, linear_light, tone, tone_basis
from torch import Tensor, nn

SHAPES = ((320, 448), (384, 384), (448, 320), (320, 448))
LONGEST = (400.0, 760.0)
CLASS_WEIGHT = (1.0, 1.2, 1.4, 1.1, 1.0, 1.2, 1.3, 1.4, 1.4)


def class_loss(logits: Tensor, label: Tensor, merged: Tensor) -> tuple[Tensor, Tensor]:
    """Cross-entropy (smoothed 0.03) and soft Jaccard distance; 0 is void; merged pictures know sky only as one."""
    label = label[:, 1::2, 1::2]  # every second pixel: a quarter of the work, the same answer
    logits = F.interpolate(logits.float(), label.shape[-2:], mode="bilinear", align_corners=False)
    logp = F.log_softmax(logits, 1)
    sky = torch.logsumexp(logp[:, :2], 1)
    nll = -logp
    m = merged[:, None, None]
    nll = torch.cat([torch.where(m, -sky, nll[:, 0])[:, None], torch.where(m, -sky, nll[:, 1])[:, None], nll[:, 2:]], 1)
    weight = torch.tensor((0.0, *CLASS_WEIGHT), device=label.device)[label]
    picked = nll.gather(1, (label - 1).clamp_min(0)[:, None])[:, 0]
    cross = ((0.97 * picked + 0.03 * nll.mean(1)) * weight).sum() / weight.sum().clamp_min(1)
    p = logp[:, 2:].exp()
    valid = (label > 0)[:, None]
    truth = F.one_hot(label, CLASS_COUNT + 1).permute(0, 3, 1, 2)[:, 3:].float()
    both = (p * truth * valid).sum((0, 2, 3))
    union = ((p + truth - p * truth) * valid).sum((0, 2, 3))
    there = truth.sum((0, 2, 3)) > 200
    jaccard = (1 - both / union.clamp_min(1))[there].mean() if there.any() else p.sum() * 0
    return cross, jaccard


def soft_loss(logits: Tensor, soft: Tensor) -> Tensor:
    """Cross-entropy against an ensemble's probabilities (N, 9, H, W), where there are any."""
    soft = F.interpolate(soft, logits.shape[-2:], mode="bilinear", align_corners=False)
    total = soft.sum(1, keepdim=True)
    return -(soft / total.clamp_min(0.1) * F.log_softmax(logits.float(), 1) * (total > 0.5)).sum(1).mean()


def fitted(t: Tensor, target: Tensor, inside: Tensor) -> Tensor:
    """Best straight line from t to target inside the picture, per picture."""
    w = inside.float()
    n = w.sum((1, 2, 3), keepdim=True).clamp_min(1)
    mt, mn = (t * w).sum((1, 2, 3), keepdim=True) / n, (target * w).sum((1, 2, 3), keepdim=True) / n
    a, b = (t - mt) * w, (target - mn) * w
    gain = (a * b).sum((1, 2, 3), keepdim=True) / (a * a).sum((1, 2, 3), keepdim=True).clamp_min(1e-3)
    return gain.clamp(0.2, 4.0) * (t - mt) + mn


def rank_loss(t: Tensor, target: Tensor, inside: Tensor, cell: int = 20) -> Tensor:
    """Pairs of cells whose true tones differ clearly but are predicted in the wrong order; plus 1 - correlation."""
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
    return order.mean() * 3 + 0.1 * (1 - correlation).mean()


def tone_loss(t: Tensor, target: Tensor, inside: Tensor, full: bool) -> Tensor:
    """Error after the best straight line; in full also the gradients, the structure and the absolute tone."""
    fit = fitted(t, target, inside)
    w = inside.float()
    n = w.sum((1, 2, 3)).clamp_min(1)
    error = (fit - target) * w
    loss = (error.abs().sum((1, 2, 3)) / n).mean()
    mse = error.square().sum((1, 2, 3)) / n
    loss = loss + 0.02 * torch.log(mse + 5e-4).mean() + 0.5 * rank_loss(fit, target, inside, 20 if full else 10)
    if full:
        loss = loss + 0.15 * ((t - target).abs() * w).sum() / w.sum()
        for scale in (1, 2, 4):
            e, v = F.avg_pool2d(error, scale), F.avg_pool2d(w, scale) > 0.99
            dx = ((e[..., :, 1:] - e[..., :, :-1]).abs() * v[..., :, 1:]).mean()
            dy = ((e[..., 1:, :] - e[..., :-1, :]).abs() * v[..., 1:, :]).mean()
            loss = loss + 0.25 * (dx + dy)

        def mean(z: Tensor) -> Tensor:
            return F.avg_pool2d(z, 9, 3)

        ma, mb = mean(fit), mean(target)
        va, vb, cov = mean(fit * fit) - ma * ma, mean(target * target) - mb * mb, mean(fit * target) - ma * mb
        ssim = (2 * ma * mb + 1e-4) * (2 * cov + 9e-4) / ((ma * ma + mb * mb + 1e-4) * (va + vb + 9e-4))
        loss = loss + 0.05 * ((1 - ssim) * (mean(w) > 0.99)).mean()
    return loss


def network_size(height: int, width: int, side: int = 512) -> tuple[int, int]:
    """Long side `side`, both sides rounded to multiples of 32."""
    k = side / max(height, width)
    return max(32, round(height * k / 32) * 32), max(32, round(width * k / 32) * 32)


@torch.no_grad()
def answer(models: list[nn.Module], rgb: np.ndarray, device: str, side: int, flip: bool) -> tuple[Tensor, Tensor]:
    """Mean class probabilities and mean mix of one picture (h, w, 3) uint8, area-reduced to the network's size."""
    import cv2

    size = network_size(*rgb.shape[:2], side)
    small = cv2.resize(rgb, size[::-1], interpolation=cv2.INTER_AREA if max(rgb.shape[:2]) > side else cv2.INTER_LINEAR)
    x = torch.from_numpy(small).to(device).permute(2, 0, 1)[None].float() / 255
    if flip:
        x = torch.cat([x, x.flip(-1)])
    answers = [model(x) for model in models]
    p, m = (torch.stack([a[k].float() for a in answers]).mean(0) for k in (0, 1))
    if flip:
        p, m = ((v[:1] + v[1:].flip(-1)) / 2 for v in (p, m))
    return p, m


@torch.no_grad()
def tone_picture(rgb: np.ndarray, mix: Tensor) -> np.ndarray:
    """Display tone 0..255 of the picture, through linear tones as the tool gives them."""
    import scoring

    x = torch.from_numpy(rgb).to(mix.device).permute(2, 0, 1)[None].float() / 255
    linear = linear_light(tone(x, mix).clamp(0, 1))
    return scoring.to_display(linear[0, 0].cpu().numpy())


def evaluate(models: list[nn.Module], pictures: D.Pictures, device: str, side: int = 512, flip: bool = False) -> dict:
    """Scores of ../shared/scoring.py, per picture and summed."""
    import scoring

    rows, counts, natural = [], np.zeros((10, 10)), np.zeros((10, 10))
    for i, name in enumerate(pictures.names):
        rgb, label, nir = pictures.picture(i)
        p, m = answer(models, rgb, device, side, flip)
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


@torch.no_grad()
def ask_teachers(teachers: list[nn.Module], pictures: D.Pictures, device: str) -> tuple[Tensor, Tensor]:
    """What the ensemble says of each picture and of its mirror image: tones (N, S, S) and class probabilities
    (N, 9, S/4, S/4), padded like the pictures, uint8."""
    n, side = pictures.label.shape[:2]
    tones = torch.zeros_like(pictures.label)
    soft = torch.zeros(n, CLASS_COUNT, side // 4, side // 4, dtype=torch.uint8, device=pictures.label.device)
    for i in range(n):
        rgb, _, _ = pictures.picture(i)
        h, w = rgb.shape[:2]
        probability, mix = answer(teachers, rgb, device, 512, True)
        x = torch.from_numpy(rgb).to(device).permute(2, 0, 1)[None].float() / 255
        tones[i, :h, :w] = (tone(x, mix.float()).clamp(0, 1)[0, 0] * 255).round().to(torch.uint8)
        size = (math.ceil(h / 4), math.ceil(w / 4))
        small = F.interpolate(probability.float(), size, mode="bilinear", align_corners=False)
        soft[i, :, : size[0], : size[1]] = (small[0] * 255).round().to(torch.uint8)
    return tones, soft


def load_network(path: Path, device: str) -> SceneNetwork:
    state = torch.load(path, map_location="cpu", weights_only=True)
    model = SceneNetwork(state["encoder"])
    model.load_state_dict({k: v.float() if v.is_floating_point() else v for k, v in state["weights"].items()})
    return model.to(device).eval()


def save_network(model: nn.Module, encoder: str, path: Path) -> None:
    """Weights with two or more dimensions as half precision: the shipped file rounds them the same way."""
    weights = {k: v.half() if v.is_floating_point() and v.dim() > 1 else v for k, v in model.state_dict().items()}
    torch.save({"encoder": encoder, "weights": weights}, path)


def train(args: argparse.Namespace) -> None:
    device = args.device
    torch.manual_seed(args.seed)
    torch.backends.cuda.matmul.allow_tf32 = True
    pairs_all, scenes_all = D.load(args.data)
    held = [i for i, f in enumerate(pairs_all.fold) if f == args.fold]
    pairs = pairs_all.part([i for i, f in enumerate(pairs_all.fold) if f != args.fold], device)
    scenes = scenes_all.part([i for i, s in enumerate(scenes_all.split) if s == "train" or args.everything], device)
    weight = torch.tensor([D.SOURCE_WEIGHT[s] / scenes.source.count(s) for s in scenes.source], device=device)
    teachers = [load_network(Path(p), device) for p in args.teachers]
    if teachers:
        scenes.nir, scenes.soft = ask_teachers(teachers, scenes, device)
        _, pairs.soft = ask_teachers(teachers, pairs, device)
        del teachers

    model = SceneNetwork(args.encoder, args.drop_path, args.dropout)
    if args.encoder_weights:
        if str(args.encoder_weights).endswith(".pth"):
            model.encoder.load_imagenet(args.encoder_weights)
        else:
            model.encoder.load_state_dict(torch.load(args.encoder_weights, weights_only=True))
    model = model.to(device)
    if args.channels_last:
        model = model.to(memory_format=torch.channels_last)
    average = copy.deepcopy(model).eval()
    for p in average.parameters():
        p.requires_grad_(False)
    encoder = list(model.encoder.parameters())
    rest = [p for n, p in model.named_parameters() if not n.startswith("encoder.")]
    groups = [{"params": encoder, "base": args.lr * args.encoder_lr}, {"params": rest, "base": args.lr}]
    optimizer = torch.optim.AdamW(groups, lr=args.lr, weight_decay=args.weight_decay, fused=device == "cuda")
    gen = torch.Generator(device=device).manual_seed(args.seed)
    shape_rng = np.random.default_rng(args.seed)
    started, step, seen = time.time(), 0, {}
    model.train()
    while True:
        spent = time.time() - started
        progress = step / args.steps if args.steps else spent / args.seconds
        if progress >= 1:
            break
        if progress >= args.self_teach and scenes.nir is None:
            scenes.nir, scenes.soft = ask_teachers([average], scenes, device)
            _, pairs.soft = ask_teachers([average], pairs, device)
        rise = min(1.0, step / 100)
        for group in optimizer.param_groups:
            group["lr"] = group["base"] * rise * (0.02 + 0.98 * 0.5 * (1 + math.cos(math.pi * progress)))
        out = SHAPES[shape_rng.integers(len(SHAPES))]
        chosen = torch.randint(len(pairs.names), (args.pairs,), generator=gen, device=device)
        x1, l1, n1, i1, s1 = D.sample(pairs, chosen, out, LONGEST, gen)
        picked = torch.multinomial(weight, args.scenes, replacement=True, generator=gen)
        x2, l2, n2, i2, s2 = D.sample(scenes, picked, out, LONGEST, gen)
        if step == args.bench_from and device == "cuda":
            torch.cuda.synchronize()
            bench = time.time()
        x = D.jitter(torch.cat([x1, x2]), gen, args.jitter)
        label = torch.cat([l1, l2])
        merged = torch.cat([pairs.merged[chosen], scenes.merged[picked]])
        count = args.pairs + (args.scenes if n2 is not None else 0)
        target = n1 if n2 is None else torch.cat([n1, n2])
        inside = i1 if n2 is None else torch.cat([i1, i2])
        with torch.autocast(device, torch.bfloat16, enabled=device == "cuda"):
            answers = model.heads(x.contiguous(memory_format=torch.channels_last) if args.channels_last else x)
        cross, jaccard = class_loss(answers["logits"], label, merged)
        cross8, _ = class_loss(answers["logits8"], label, merged)
        loss = cross + 0.3 * jaccard + 0.3 * cross8
        if s2 is not None:
            loss = loss + args.soft_weight * soft_loss(answers["logits"], torch.cat([s1, s2]))
        share = args.tone_weight
        basis = tone_basis(x[:count])
        for key, factor, full in (
            ("mix", 1.0, True),
            ("coarse", 0.3, False),
            ("middle", 0.3, False),
            ("fine", 0.3, False),
            ("by_class", 0.2, False),
        ):
            every = slice(None, None, 1 if full else 2)  # helper answers are judged on every second pixel
            cut = (..., every, every)
            b, y, z = basis[cut], target[cut], inside[cut]
            maps = F.interpolate(answers[key][:count].float(), b.shape[-2:], mode="bilinear", align_corners=False)
            t = (maps * b).sum(1, keepdim=True)
            part = tone_loss(t[: args.pairs], y[: args.pairs], z[: args.pairs], full)
            if n2 is not None:
                rest_of = slice(args.pairs, None)
                pseudo = tone_loss(t[rest_of], y[rest_of], z[rest_of], full)
                part = part + args.pseudo_weight * pseudo
            loss = loss + share * factor * part
            if key == "mix":
                seen["tone"] = part
        optimizer.zero_grad(set_to_none=True)
        loss.backward()
        nn.utils.clip_grad_norm_(model.parameters(), 2.0)
        optimizer.step()
        step += 1
        decay = min(args.ema, (1 + step) / (10 + step))
        with torch.no_grad():
            mine, theirs = list(average.state_dict().values()), list(model.state_dict().values())
            floats = [(a, b) for a, b in zip(mine, theirs, strict=True) if a.is_floating_point()]
            torch._foreach_lerp_([a for a, _ in floats], [b for _, b in floats], 1 - decay)
        if step % args.log_every == 0:
            print(
                f"[{args.name}] step {step} {spent:.0f}s loss {loss.item():.3f} class {cross.item():.3f} "
                f"jaccard {jaccard.item():.3f} tone {seen['tone'].item():.3f}",
                flush=True,
            )
    if device == "cuda":
        torch.cuda.synchronize()
        if step > args.bench_from:
            print(f"[{args.name}] {1000 * (time.time() - bench) / (step - args.bench_from):.0f} ms a step", flush=True)
    print(f"[{args.name}] {step} steps in {time.time() - started:.0f} s", flush=True)
    save_network(average, args.encoder, args.out)
    if args.quick:
        return
    average = load_network(args.out, device)
    report: dict[str, object] = {
        "name": args.name,
        "steps": step,
        "arguments": {k: str(v) for k, v in vars(args).items()},
    }
    if held:
        report["pairs"] = evaluate([average], pairs_all.part(held, "cpu"), device)
        print(f"[{args.name}] RESULT pairs {brief(report['pairs'])}", flush=True)
    if not args.everything:
        val = scenes_all.part([i for i, s in enumerate(scenes_all.split) if s == "val"], "cpu")
        report["scenes"] = evaluate([average], val, device)
        print(f"[{args.name}] RESULT scenes {brief(report['scenes'])}", flush=True)
    args.out.with_suffix(".json").write_text(json.dumps(report))


def parser() -> argparse.ArgumentParser:
    p = argparse.ArgumentParser(description="Train the scene network.")
    p.add_argument("--data", type=Path, required=True)
    p.add_argument("--scoring", type=Path, default=Path(__file__).parents[2] / "shared", help="folder of scoring.py")
    p.add_argument("--encoder", default="lite2")
    p.add_argument("--encoder-weights", type=Path, default=None)
    p.add_argument("--out", type=Path, required=True)
    p.add_argument("--name", default="network")
    p.add_argument("--fold", type=int, default=-1, help="0..3 held back; -1 = train on all pairs")
    p.add_argument("--everything", action="store_true", help="the scenes of the val split too")
    p.add_argument("--teachers", nargs="*", default=[])
    p.add_argument("--self-teach", type=float, default=1.0, help="from this share on, the averaged network teaches")
    p.add_argument("--steps", type=int, default=0)
    p.add_argument("--seconds", type=float, default=450)
    p.add_argument("--seed", type=int, default=1)
    p.add_argument("--pairs", type=int, default=12)
    p.add_argument("--scenes", type=int, default=12)
    p.add_argument("--lr", type=float, default=2e-3)
    p.add_argument("--encoder-lr", type=float, default=0.25)
    p.add_argument("--weight-decay", type=float, default=0.03)
    p.add_argument("--drop-path", type=float, default=0.15)
    p.add_argument("--dropout", type=float, default=0.15)
    p.add_argument("--jitter", type=float, default=1.0)
    p.add_argument("--tone-weight", type=float, default=3.0)
    p.add_argument("--pseudo-weight", type=float, default=0.5)
    p.add_argument("--soft-weight", type=float, default=0.7)
    p.add_argument("--ema", type=float, default=0.997)
    p.add_argument("--device", default="cuda" if torch.cuda.is_available() else "cpu")
    p.add_argument("--channels-last", action="store_true")
    p.add_argument("--bench-from", type=int, default=30, help="steps before this one are not timed")
    p.add_argument("--log-every", type=int, default=100)
    p.add_argument("--quick", action="store_true", help="no evaluation at the end")
    return p


if __name__ == "__main__":
    arguments = parser().parse_args()
    sys.path.insert(0, str(arguments.scoring))
    train(arguments)
