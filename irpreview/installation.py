"""What comes with the installation and is loaded once: network, table of the research pairs, built-in kits, tables."""

from __future__ import annotations

import json
from functools import lru_cache
from types import MappingProxyType

import numpy as np

from irpreview.core.rendering.per_class import PairsTable
from irpreview.core.rendering.tones import REFERENCE_KIT
from irpreview.errors import BadModel
from irpreview.io.kits import load_kit
from irpreview.io.network import SceneNetwork, load_network
from irpreview.io.paths import data_file
from irpreview.io.tables import load_tables
from irpreview.records import CLASS_NAMES, Kit, Range

__all__ = ["default_kit", "load_tables", "pairs_table", "reference_kit", "scene_network"]


@lru_cache(maxsize=1)
def scene_network() -> SceneNetwork:
    """The scene network. Raises BadModel where its weights are missing or damaged."""
    return load_network()


@lru_cache(maxsize=1)
def pairs_table() -> PairsTable:
    """What the research pairs taught about each class. Raises BadModel where the table is missing or damaged."""
    path = data_file("reference_pairs_tones.json")
    try:
        classes = json.loads(path.read_text())["classes"]
        return PairsTable(
            factor_stops=MappingProxyType({n: Range(*classes[n]["factor_stops"]) for n in CLASS_NAMES}),
            colour_stops=np.array([classes[n]["colour_stops"] for n in CLASS_NAMES], np.float32),
            colour_centre=np.array([classes[n]["colour_centre"] for n in CLASS_NAMES], np.float32),
            residual_stops=MappingProxyType({n: float(classes[n]["residual_stops"]) for n in CLASS_NAMES}),
        )
    except (OSError, ValueError, KeyError, TypeError) as error:
        raise BadModel(
            f"the table {path.name} of this installation is damaged ({error}); install irpreview again"
        ) from error


def default_kit() -> Kit:
    """The kit taken where none is named: 720 nm long-pass on an unmodified camera."""
    return load_kit("unmodified-720")


@lru_cache(maxsize=1)
def reference_kit() -> Kit:
    """The kit of the research pairs, whose look the network learned."""
    return load_kit(REFERENCE_KIT)
