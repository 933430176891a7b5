"""Words and numbers as they are said: shared by the sentences of the verdict."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from types import MappingProxyType

import numpy as np

from irpreview.core.motion.wind import beaufort_of
from irpreview.core.verdict.layers import UNSURE_WALL
from irpreview.core.verdict.sky import BLANK_STOPS, DRAMATIC_STOPS, FAINT_STOPS
from irpreview.records import Layer, Range, Sky, Subject, SubjectKind

_PLURAL = ("trees", "objects", "buildings", "clouds")
_NUMBER = (
    *("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten"),
    *("eleven", "twelve", "thirteen", "fourteen", "fifteen", "sixteen", "seventeen", "eighteen"),
)
_SHORT = {"clear_sky": "sky", "cloud": "clouds", "tree": "trees", "structure": "building", "other": "objects"}
_BUILT: frozenset[SubjectKind] = frozenset(("tower", "building", "buildings"))
SUBJECTS: Mapping[SubjectKind, str] = MappingProxyType(
    {
        "tower": "tower",
        "building": "building",
        "buildings": "buildings",
        "lone_tree": "lone tree",
        "trees": "trees",
        "grass": "grass",
        "hill": "high ground",
        "mountain": "mountain",
        "snow": "snow",
        "sky": "sky",
    }
)
BLURS: Mapping[str, str] = MappingProxyType(
    {"sharp": "sharp", "slightly_soft": "slightly soft", "soft_shapes": "soft shapes", "plain_tone": "an even tone"}
)
"""The scale of motion.print_blur."""
FORCES = (
    *("calm", "light air", "light breeze", "gentle breeze", "moderate breeze", "fresh breeze", "strong breeze"),
    *("near gale", "gale", "strong gale", "storm", "violent storm", "hurricane"),
)
"""Names of the Beaufort scale, force 0 to 12 (WMO-No. 306, code table 1100; WMO-No. 8)."""


def counted(number: int) -> str:
    """A small number in words."""
    return _NUMBER[number] if number < len(_NUMBER) else str(number)


def is_plural(name: str) -> bool:
    """Whether a name is a plural."""
    return any(word in name.split() for word in _PLURAL)


def short(layer: Layer) -> str:
    """What a layer is, without where it is."""
    if UNSURE_WALL in layer.name:
        return UNSURE_WALL
    return _SHORT.get(layer.class_name, layer.class_name)


def subject_name(subject: Subject, layers: Sequence[Layer]) -> str:
    """What a subject is called; a wall that may be rock is not called a building."""
    if subject.kind in _BUILT and subject.layer < len(layers) and UNSURE_WALL in layers[subject.layer].name:
        return UNSURE_WALL
    return SUBJECTS[subject.kind]


def cap(text: str) -> str:
    """With a capital first letter."""
    return text[:1].upper() + text[1:]


def one_line(text: str) -> str:
    """Printable text on one line."""
    return " ".join("".join(mark if mark.isprintable() else " " for mark in text).split())


def sentence(text: str) -> str:
    """On one line, with a first capital and a full stop; a file's name or an aperture at its head stays as written."""
    text = one_line(text)
    first = text.partition(" ")[0]
    if not ("." in first[:-1] or "/" in first):
        text = cap(text)
    return text if not text or text.endswith((".", "!", "?")) else text + "."


def listed(names: Sequence[str]) -> str:
    """Names with commas, and an "and" before the last."""
    if len(names) <= 1:
        return "".join(names)
    return ", ".join(names[:-1]) + " and " + names[-1]


def zones_text(value: float) -> str:
    """A size in zones as it is said."""
    size = abs(value)
    if size < 0.4:
        return "a third of a zone"
    if size < 0.6:
        return "half a zone"
    if size < 0.85:
        return "three quarters of a zone"
    if size < 1.25:
        return "one zone"
    return f"{size:.1f} zones".replace(".0 zones", " zones")


_HOURS = re.compile(r"(?<=\d\d:\d\d) to (?=\d\d:\d\d)")
_WITH_UNIT = re.compile(
    r"(?<=\d) (?=(?:s|min|h|m|mm|cm|m/s|%|stops|times)\b)|(?<=ISO) (?=\d)|(?<=\d°) (?=(?:right|left|up|down)\b)"
)


def held(text: str) -> str:
    """Figures that no line break parts from their units."""
    return _WITH_UNIT.sub("\u00a0", _HOURS.sub("\u00a0to\u00a0", text))


def two_figures(value: float) -> str:
    """A size of which no more is known: 0.23, 2.3, 230; never with an exponent."""
    return np.format_float_positional(float(f"{value:.2g}"), trim="-")


def percent(share: float) -> str:
    """A share of the picture."""
    return f"{100 * share:.0f} %" if share >= 0.015 else f"{100 * share:.1f} %"


def millimetres(value: Range) -> str:
    """A blur with its range."""
    return (
        f"{two_figures(value.likely)} mm ({two_figures(value.low)} to {two_figures(value.high)}) on a 30 x 40 cm print"
    )


def wind_name(wind_m_s: float) -> str:
    """A wind by its name alone: `gentle breeze`."""
    return FORCES[beaufort_of(wind_m_s)]


def wind_text(wind_m_s: float) -> str:
    """A wind as it is said: its name and force."""
    return f"{wind_name(wind_m_s)} (Beaufort {beaufort_of(wind_m_s)})"


def in_a(wind_m_s: float) -> str:
    """`in a gentle breeze`, `in calm air`: names that are no countable thing go without the article."""
    name = wind_name(wind_m_s)
    return {"calm": "in calm air", "light air": "in light air"}.get(name, f"in a {name}")


def sky_facts(sky: Sky) -> str:
    """What was measured of a sky."""
    cover = "no sky" if sky.okta is None else "overcast" if sky.okta == 8 else f"cloud {sky.okta}/8"
    return (
        f"{cover}, texture {sky.texture_stops:.2f} stops (below {BLANK_STOPS:g} blank, from {FAINT_STOPS:g} lively, "
        f"from {DRAMATIC_STOPS:g} dramatic)"
    )
