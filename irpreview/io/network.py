"""The scene network: weights found, checked and run by OpenCV's `dnn`; no other engine is needed.

The weights lie in a checkout's `models/` and in an installed wheel's `irpreview/data/models/`; `scene_network.json`
describes them (sha256, what they have not seen, classes, mix basis, input rule). A checkout's `models/held_back/` holds
a second network of the same build that has not seen the photographs on which tests and figures judge it; no wheel
carries it.
"""

from __future__ import annotations

import hashlib
import json
import threading
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

import cv2
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
    """(5, h', w'): maps for `core.scene.reference_tone.reference_tone`."""


class SceneNetwork:
    """Weights in memory. `run` gives the same answer for the same pixels; several threads may ask, they wait for one
    another.
    """

    def __init__(self, weights: bytes, card: dict[str, Any]) -> None:
        self.model_id = str(card["model_id"])
        self.name = str(card["weights"]["file"])
        self.not_seen = str(card["weights"]["not_seen"])
        """Which research photographs had no part in its training; empty = it has seen all of them."""
        self.classes = tuple(card["classes"])
        self.mix_basis = str(card["mix_basis"])
        self.long_side = int(card["input"]["long_side"])
        self.multiple = int(card["input"]["multiple"])
        self._lock = threading.Lock()
        try:
            self._net = cv2.dnn.readNetFromONNX(np.frombuffer(weights, np.uint8))
        except cv2.error as error:
            raise BadModel(
                f"OpenCV {cv2.__version__} cannot read {self.name} ({str(error).splitlines()[0]}); "
                "install opencv-python-headless 4.10 or newer"
            ) from error

    def input_size(self, height: int, width: int) -> tuple[int, int]:
        """Height and width that the network sees: long side 512, both sides to the nearest multiple of 32. [pixels]"""
        scale = self.long_side / max(height, width)
        return (
            max(self.multiple, round(height * scale / self.multiple) * self.multiple),
            max(self.multiple, round(width * scale / self.multiple) * self.multiple),
        )

    def run(self, pixels: ByteArray) -> NetworkAnswer:
        """Answer for sRGB pixels (H, W, 3) uint8, any size and shape. Raises BadModel if the weights give nonsense."""
        height, width = self.input_size(*pixels.shape[:2])
        shrinks = max(pixels.shape[:2]) > self.long_side
        small = cv2.resize(
            np.ascontiguousarray(pixels), (width, height), interpolation=cv2.INTER_AREA if shrinks else cv2.INTER_LINEAR
        )
        blob = np.asarray(cv2.dnn.blobFromImage(small, 1.0 / 255.0), np.float32)
        with self._lock:
            self._net.setInput(blob, "pixels")
            probability, mix = (a[0] for a in self._net.forward(["probability", "mix"]))
        if not (np.isfinite(probability).all() and np.isfinite(mix).all()):
            raise BadModel(
                f"{self.name} gave numbers that are not finite; reinstall irpreview, its weights are damaged"
            )
        return NetworkAnswer(probability / probability.sum(0, keepdims=True), np.array(mix))


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
    if missing or tuple(card["classes"]) != CLASS_NAMES or not isinstance(card["weights"], dict):
        what = f"lacks {', '.join(missing)}" if missing else "is of another kind"
        raise BadModel(
            f"{folder / CARD} {what} and does not fit this version; "
            "reinstall irpreview so that weights and program belong together"
        )
    name, expected = str(card["weights"]["file"]), str(card["weights"]["sha256"])
    try:
        weights = (folder / name).read_bytes()
    except OSError as error:
        raise _unreadable(folder, error) from error
    found = hashlib.sha256(weights).hexdigest()
    if found != expected:
        raise BadModel(
            f"{folder / name} is damaged: sha256 {found[:12]}…, expected {expected[:12]}…; reinstall irpreview"
        )
    return SceneNetwork(weights, card)


def _unreadable(folder: Path, error: Exception) -> BadModel:
    reason = str(error).splitlines()[0]
    return BadModel(f"the scene network in {folder} cannot be read ({reason}); reinstall irpreview")
