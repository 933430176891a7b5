"""The scene network: weights found, checked and run by OpenCV's `dnn`; no other engine is needed.

Two networks of one build look at the snap and their answers are averaged: where they disagree neither is believed, and
a picture's mistakes are rarer and smaller. The weights lie in a checkout's `models/` and in an installed wheel's
`irpreview/data/models/`; `scene_network.json` names them (sha256, what each has seen, classes, mix basis, input rule).
"""

from __future__ import annotations

import hashlib
import json
import threading
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np

from irpreview.errors import BadModel
from irpreview.records import CLASS_NAMES, ByteArray, FloatArray

CARD = "scene_network.json"


@dataclass(frozen=True, slots=True)
class NetworkAnswer:
    """What one pass says about a picture."""

    probability: FloatArray
    """(9, h, w), sums to 1 over classes; order of records.CLASS_NAMES."""
    mix: FloatArray
    """(5, h', w'): maps for `core.reference_tone.reference_tone`."""


class _Member:
    """One network in memory. Several threads may ask; they wait for one another."""

    def __init__(self, name: str, weights: bytes) -> None:
        import cv2

        try:
            self._net = cv2.dnn.readNetFromONNX(np.frombuffer(weights, np.uint8))
        except cv2.error as error:
            raise BadModel(
                f"OpenCV {cv2.__version__} cannot read {name} ({str(error).splitlines()[0]}); "
                "install opencv-python-headless 4.10 or newer"
            ) from error
        self.name = name
        self._lock = threading.Lock()

    def run(self, blob: FloatArray) -> tuple[FloatArray, FloatArray]:
        with self._lock:
            self._net.setInput(blob, "pixels")
            probability, mix = self._net.forward(["probability", "mix"])
        if not (np.isfinite(probability).all() and np.isfinite(mix).all()):
            raise BadModel(
                f"{self.name} gave numbers that are not finite; reinstall irpreview, its weights are damaged"
            )
        return probability[0], mix[0]


class SceneNetwork:
    """Weights in memory. `run` gives the same answer for the same pixels, and may be called from several threads."""

    def __init__(self, members: tuple[_Member, ...], card: dict[str, Any]) -> None:
        self._members = members
        self._card = card
        self.model_id = str(card["model_id"])
        self.weights: tuple[dict[str, Any], ...] = tuple(card["weights"])
        """Of each network: file, sha256, bytes, seed, and what it has not seen."""
        self.classes = tuple(card["classes"])
        self.mix_basis = str(card["mix_basis"])
        self.long_side = int(card["input"]["long_side"])
        self.multiple = int(card["input"]["multiple"])

    def alone(self, name: str) -> SceneNetwork:
        """The one network of that file name by itself: to judge it on photographs that the others have seen."""
        return SceneNetwork(tuple(m for m in self._members if m.name == name), self._card)

    def input_size(self, height: int, width: int) -> tuple[int, int]:
        """Height and width that the network sees: long side 512, both sides to the nearest multiple of 32. [pixels]"""
        scale = self.long_side / max(height, width)
        return (
            max(self.multiple, round(height * scale / self.multiple) * self.multiple),
            max(self.multiple, round(width * scale / self.multiple) * self.multiple),
        )

    def run(self, pixels: ByteArray) -> NetworkAnswer:
        """Answer for sRGB pixels (H, W, 3) uint8, any size and shape. Raises BadModel if the weights give nonsense."""
        import cv2

        height, width = self.input_size(*pixels.shape[:2])
        shrinks = max(pixels.shape[:2]) > self.long_side
        small = cv2.resize(
            np.ascontiguousarray(pixels), (width, height), interpolation=cv2.INTER_AREA if shrinks else cv2.INTER_LINEAR
        )
        blob = np.asarray(cv2.dnn.blobFromImage(small, 1.0 / 255.0), np.float32)
        answers = [member.run(blob) for member in self._members]
        probability = np.mean([p for p, _ in answers], axis=0, dtype=np.float32)
        probability /= probability.sum(0, keepdims=True)
        return NetworkAnswer(probability, np.mean([m for _, m in answers], axis=0, dtype=np.float32))


def model_folders() -> tuple[Path, ...]:
    """Where weights are looked for, in this order: an installed wheel's data, a checkout's models."""
    package = Path(__file__).resolve().parents[1]
    return package / "data" / "models", package.parent / "models"


def load_network(folder: Path | None = None) -> SceneNetwork:
    """The scene network, read once per process and folder. Raises BadModel: missing, damaged or unreadable weights."""
    if folder is None:
        for candidate in model_folders():
            if (candidate / CARD).is_file():
                folder = candidate
                break
        else:
            raise BadModel(
                f"{CARD} is missing, looked in {' and '.join(str(f) for f in model_folders())}; reinstall irpreview"
            )
    return _load(Path(folder))


@lru_cache(maxsize=2)
def _load(folder: Path) -> SceneNetwork:
    try:
        card = json.loads((folder / CARD).read_text(encoding="utf-8"))
    except (OSError, ValueError) as error:
        raise _unreadable(folder, error) from error
    missing = [key for key in ("model_id", "weights", "classes", "mix_basis", "input") if key not in card]
    if missing or tuple(card["classes"]) != CLASS_NAMES:
        what = f"lacks {', '.join(missing)}" if missing else "names other classes"
        raise BadModel(
            f"{folder / CARD} {what} and does not fit this version; "
            "reinstall irpreview so that weights and program belong together"
        )
    return SceneNetwork(tuple(_member(folder, str(w["file"]), str(w["sha256"])) for w in card["weights"]), card)


def _member(folder: Path, name: str, expected: str) -> _Member:
    try:
        weights = (folder / name).read_bytes()
    except OSError as error:
        raise _unreadable(folder, error) from error
    found = hashlib.sha256(weights).hexdigest()
    if found != expected:
        raise BadModel(
            f"{folder / name} is damaged: sha256 {found[:12]}…, expected {expected[:12]}…; reinstall irpreview"
        )
    return _Member(name, weights)


def _unreadable(folder: Path, error: Exception) -> BadModel:
    reason = str(error).splitlines()[0]
    return BadModel(f"the scene network in {folder} cannot be read ({reason}); reinstall irpreview")
