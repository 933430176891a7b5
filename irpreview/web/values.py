"""Plain values as the page sends them, read into what the library takes. Whatever makes no sense is a BadValue."""

from __future__ import annotations

import contextlib
import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

from irpreview.analysis import Analysis
from irpreview.core.scene import strokes as brush
from irpreview.core.words.phrases import sentence
from irpreview.errors import BadValue, IrpreviewError
from irpreview.io.kits import list_kits
from irpreview.request import Inputs, conditions_of, kit_of, parse_place, parse_when

_NUMBERS = (
    "factor_stops",
    "focal_35mm_mm",
    "widest_f_number",
    "lowest_iso",
    "highest_iso",
    "heading_deg",
    "temperature_c",
    "wind_from_deg",
    "cloud_fist_s",
    "trees_m",
    "nearest_m",
)
_WORDS: Mapping[str, tuple[str, ...]] = {
    "sky_state": ("unknown", "clear", "thin_cloud", "broken", "overcast"),
    "haze": ("unknown", "clear", "normal", "hazy"),
    "water_kind": ("unknown", "pond", "lake", "sea", "stream", "falls"),
}
_TEXTS = ("kit", "place", "when", "zone")


def inputs_from(values: Mapping[str, Any], before: Inputs) -> Inputs:
    """Entries as the page sends them; what is missing stays. Raises BadValue for what cannot be an entry."""
    changes: dict[str, Any] = {}
    for name in _NUMBERS:
        if name in values:
            changes[name] = number_of(values[name], name)
    for name, allowed in _WORDS.items():
        if name in values:
            word = values[name] or "unknown"
            if word not in allowed:
                raise BadValue(f"{name.replace('_', ' ')} {word!s:.20} is not known; choose from the list")
            changes[name] = word
    for name in _TEXTS:
        if name in values:
            changes[name] = " ".join(str(values[name] or "").split())[:80]
    if "grade" in values and values["grade"] is not None:
        changes["grade"] = min(max(number_of(values["grade"], "paper grade") or 0.0, 0.0), 5.0)
    if changes.get("kit") == "":
        changes.pop("kit")
    if "kit" in changes and changes["kit"] not in {kit.name for kit in known_kits()}:
        raise BadValue(f"kit {changes['kit']:.30} is not known; choose one from the list")
    return replace(before, **changes)


def known_kits() -> Sequence[Any]:
    """The built-in kits; files are never opened by a name that came over the network."""
    return list_kits()


def number_of(value: Any, name: str) -> float | None:
    """A number as typed, with point or comma; empty or "unknown" = None. Raises BadValue."""
    if isinstance(value, str):
        text = value.strip().replace(",", ".")
        if text.lower() in ("", "unknown", "?", "-"):
            return None
        with contextlib.suppress(ValueError):
            value = float(text)
    if value is None:
        return None
    if isinstance(value, bool) or not isinstance(value, (int, float)) or not math.isfinite(value):
        raise BadValue(f"{name.replace('_', ' ')} {value!s:.20} is no number; leave it empty if it is not known")
    return float(value)


def read_entries(values: Mapping[str, Any], before: Inputs) -> tuple[Inputs, dict[str, str]]:
    """Entries one by one, and a sentence for each that makes no sense; such a one stays and blocks no other."""
    inputs, refused = before, {}
    for name, value in values.items():
        try:
            new = inputs_from({name: value}, inputs)
            if new.heading_deg is not None and not 0.0 <= new.heading_deg <= 360.0:
                raise BadValue(f"a bearing of {new.heading_deg:g} degrees must lie between 0 and 360")
            kit_of(new)
            conditions_of(new)
            parse_place(new.place)
            parse_when(new.when, new.zone)
        except IrpreviewError as error:
            refused[name] = sentence(str(error))
        else:
            inputs = new
    return inputs, refused


def entries_of(inputs: Inputs) -> dict[str, str]:
    """The entries as the fields hold them."""
    shown = {}
    for name in inputs.__dataclass_fields__:
        value = getattr(inputs, name)
        if name not in ("wind_m_s", "shutter_s") and (value is None or isinstance(value, (str, float))):
            shown[name] = "" if value is None else f"{value:g}" if isinstance(value, float) else str(value)
    return shown


def facts_used(analysis: Analysis, inputs: Inputs) -> dict[str, str]:
    """What the fields for place, time and bearing show: what is used."""
    place, when, heading = analysis.photo.place, analysis.photo.taken_at, analysis.photo.heading_deg
    return {
        "place": f"{place.latitude_deg:.5f}, {place.longitude_deg:.5f}" if place is not None else inputs.place,
        "when": when.strftime("%Y-%m-%d %H:%M%z") if when is not None else inputs.when,
        "heading_deg": f"{heading:.0f}" if heading is not None else "",
    }


def strokes_from(given: Sequence[Mapping[str, Any]]) -> list[brush.Stroke]:
    """Brush strokes as the page sends them. Raises BadValue for anything else."""
    moves = []
    try:
        for one in list(given)[: brush.MOST_STROKES + 1]:
            points = tuple((float(x), float(y)) for x, y in list(one["points"])[: brush.MOST_POINTS + 1])
            moves.append(brush.Stroke(str(one["class_name"]), points, float(one["width"])))
    except (KeyError, TypeError, ValueError) as error:
        raise BadValue("these strokes cannot be read; draw them again") from error
    return moves
