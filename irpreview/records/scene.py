"""What is where in the photo."""

from __future__ import annotations

from dataclasses import dataclass
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from irpreview.records.common import ByteArray, FloatArray

CLASS_NAMES = ("clear_sky", "cloud", "water", "tree", "grass", "structure", "ground", "other", "snow")
CLASS_WORDS = MappingProxyType(
    {
        "clear_sky": "clear sky",
        "cloud": "cloud",
        "water": "water",
        "tree": "trees",
        "grass": "grass",
        "structure": "buildings",
        "ground": "ground",
        "other": "people and objects",
        "snow": "snow",
    }
)
CLASS_ID = MappingProxyType({name: i + 1 for i, name in enumerate(CLASS_NAMES)})


@dataclass(frozen=True, slots=True)
class SceneMap:
    """What is where in the photo."""

    probability: FloatArray
    """(9, h, w) at the network's size; sums to 1 over classes."""
    label: ByteArray
    """(H, W) class ids 1..9 at the photo's size."""
    confidence: FloatArray
    """(H, W) probability of the label, 0..1."""
    mix: FloatArray
    """(k, h', w') what the tone prediction needs from the same network pass."""
    repainted: NDArray[np.bool_] | None = None
    """(H, W) where a person set the class; None = nowhere."""
    model_id: str = ""
    fine: FloatArray | None = None
    """(9, h', w') probability before any repainting at about 1024 px, along the photo's edges; made anew if None."""
    small: ByteArray | None = None
    """(h', w', 3) the photo at that size."""
    network_stops: FloatArray | None = None
    """(h', w') log2 of the tone of the research pairs' kit there, before any repainting; made anew if None. [stops]"""
    cloud_share: FloatArray | None = None
    """(h', w') share of white in the sky by its own colour, below 0 where it is bluer than the middle of the clear sky;
    None where there is next to no sky."""
    unmixed: ByteArray | None = None
    """(h, w, 3) `small` with the sky taken out of land along their border; None where there is next to no sky."""

    def share(self) -> dict[str, float]:
        """Share of the picture per class, 0..1, every class named."""
        # every second or third pixel of a large photo says the same for a fraction of the time
        step = max(1, round((self.label.size / 2e6) ** 0.5))
        label = self.label[::step, ::step]
        count = np.bincount(label.ravel(), minlength=10)[1:10]
        return {name: float(n) / label.size for name, n in zip(CLASS_NAMES, count, strict=True)}
