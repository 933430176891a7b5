"""What each answer of an analysis is made of, and which wishes it hangs on."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from types import MappingProxyType

import numpy as np

from irpreview.core.rendering.class_physics import water_roughness
from irpreview.request import Request

DEPENDS_ON = MappingProxyType(
    {
        "photo": ("place", "taken_at", "heading_deg"),
        "bare_scene": (),
        "scene": ("bare_scene", "corrections"),
        "full_scene": ("scene",),
        "snap_light": ("photo", "sky of the day"),
        "light": ("snap_light", "planned"),
        "taught": ("light", "kit_asked", "lessons"),
        "rendering": ("scene", "light", "taught", "roughness of water", "grade", "film_look"),
        "full_rendering": ("rendering",),
        "stage": ("rendering",),
        "geometry": ("scene", "lens"),
        "rates": ("geometry", "photo", "conditions", "clip", "crisp"),
        "exposure": ("rendering", "rates", "readings", "wishes", "in_shade"),
        "shutter_s": ("exposure", "shutter_asked"),
        "movement": ("rates", "shutter_s"),
        "parted": ("rendering",),
        "verdict": ("parted", "movement"),
        "framings": ("verdict", "scene", "geometry", "rates", "conditions", "taught"),
        "white_patch": ("scene", "photo"),
        "day_plan": ("photo", "taught", "sky of the day", "conditions"),
        "hours": ("day_plan", "light", "exposure"),
        "winds": ("verdict",),
    }
)
"""What each answer is made of: other answers, and fields of the request (`kit` and `shutter_s` as `..._asked`)."""
ASPECTS: Mapping[str, Callable[[Request], object]] = MappingProxyType(
    {
        "sky of the day": lambda asked: (asked.conditions.sky_state, asked.conditions.haze),
        "lens": lambda asked: asked.conditions.focal_35mm_mm,
        "roughness of water": lambda asked: water_roughness(asked.conditions),
    }
)
"""What answers take from the conditions where they do not hang on all of them."""


def asked_by(name: str) -> frozenset[str]:
    """Fields of the request, and aspects of its conditions, that an answer hangs on, through all that it is made of."""
    if name not in DEPENDS_ON:
        return frozenset({{"kit_asked": "kit", "shutter_asked": "shutter_s"}.get(name, name)})
    return frozenset().union(*(asked_by(part) for part in DEPENDS_ON[name]))


ASKED_BY = MappingProxyType({name: asked_by(name) for name in DEPENDS_ON})


def made_of(name: str) -> frozenset[str]:
    """All answers that an answer is made of, itself included."""
    return frozenset({name}).union(*(made_of(part) for part in DEPENDS_ON.get(name, ())))


WITHOUT_LIGHT = frozenset(name for name in DEPENDS_ON if "snap_light" not in made_of(name)) - {"day_plan"}
"""Answers that no light of the snap went into."""


def same(one: object, other: object) -> bool:
    """Whether two values of a field ask the same; pictures and clips only where they are the very same."""
    if one is other:
        return True
    if isinstance(one, tuple) and isinstance(other, tuple) and len(one) == len(other):
        return all(same(a, b) for a, b in zip(one, other, strict=True))
    if isinstance(one, np.ndarray) or type(one) is not type(other) or type(one).__name__ == "ClipMotion":
        return False
    return bool(one == other)
