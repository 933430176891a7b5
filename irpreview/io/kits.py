"""Kits: the built-in ones, and small TOML files of one's own.

    name = "my camera"
    words = "720 nm on the old body"
    [filter]
    cut_on_nm = 720            # or: curve = "my-filter.csv" (two columns: wavelength_nm, transmission 0..1)
    [sensor]
    kind = "unmodified"        # or "full_spectrum", "converted"
    [lens]
    name = "old fifty"         # as in the log's table of hot spots
    [body]
    iso_min = 64
    [calibration]
    factor_stops = { low = 14.6, likely = 15.0, high = 15.4 }

Every section and every key is optional; what is missing keeps the default kit's value.
"""

from __future__ import annotations

import csv
import difflib
import math
import re
import tomllib
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

import tomli_w
from pydantic import ValidationError

from irpreview.core.light.spectra import make_spectrum
from irpreview.errors import BadKit, CannotWrite, IrpreviewError
from irpreview.io.kit_layout import LIMITS, KitFile
from irpreview.io.ordinary_file import Wanted, read_text
from irpreview.records import CLASS_NAMES, Kit, Range, Spectrum

if TYPE_CHECKING:
    from pydantic import BaseModel

_WANTED = Wanted(BadKit, "kit", "give the path of a kit file of text (.toml)", 64_000, "this is no kit file")
MOST_DOTS = 500
"""In one line: the time to read a name of n parts grows as n squared, 10 s for 30,000."""
FILTER_NM = (500.0, 1100.0)

BUILT_IN: Mapping[str, Kit] = MappingProxyType(
    {
        kit.name: kit
        for kit in (
            Kit(),
            Kit(
                name="converted-590",
                words="converted body, 590 nm long-pass in front of the sensor",
                filter_cut_on_nm=590.0,
                sensor="converted",
            ),
            Kit(
                name="converted-665",
                words="converted body, 665 nm long-pass in front of the sensor",
                filter_cut_on_nm=665.0,
                sensor="converted",
            ),
            Kit(
                name="converted-720",
                words="converted body, 720 nm long-pass in front of the sensor",
                filter_cut_on_nm=720.0,
                sensor="converted",
            ),
            Kit(
                name="converted-850",
                words="converted body, 850 nm long-pass in front of the sensor",
                filter_cut_on_nm=850.0,
                sensor="converted",
            ),
            Kit(
                name="reference-pairs",
                words="converted body of the research pairs, long-pass about 750-830 nm",
                filter_cut_on_nm=790.0,
                sensor="converted",
            ),
        )
    }
)
"""Built-in kits by name. `unmodified-720` is the default."""

# file key -> (section, field of Kit); the file speaks in sections, the record is flat
_FIELDS: Mapping[str, Mapping[str, str]] = MappingProxyType(
    {
        "filter": {"cut_on_nm": "filter_cut_on_nm", "curve": "filter_curve", "leak": "filter_leak"},
        "sensor": {
            "kind": "sensor",
            "infrared_cut_edge_nm": "infrared_cut_edge_nm",
            "infrared_cut_slope_nm": "infrared_cut_slope_nm",
            "infrared_cut_floor": "infrared_cut_floor",
            "width_mm": "format_width_mm",
            "height_mm": "format_height_mm",
            "pixels_wide": "pixels_wide",
        },
        "lens": {
            "name": "lens",
            "focal_mm": "focal_mm",
            "f_number_min": "f_number_min",
            "f_number_max": "f_number_max",
            "hot_spot_from_f_number": "hot_spot_from_f_number",
        },
        "body": {
            "iso_min": "iso_min",
            "iso_max": "iso_max",
            "longest_timed_s": "longest_timed_s",
            "has_bulb": "has_bulb",
            "focus": "focus",
        },
        "calibration": {
            "factor_stops": "factor_stops",
            "factor_source": "factor_source",
            "class_correction_stops": "class_correction_stops",
        },
    }
)


_TOML_PLACE = re.compile(r"\(at (line \d+, column \d+)\)$")


def list_kits() -> tuple[Kit, ...]:
    """The built-in kits, the default first."""
    return tuple(BUILT_IN.values())


def load_kit(name_or_path: str | Path) -> Kit:
    """A built-in kit by its name, or a kit file by its path.

    Raises BadKit, in one line, for an unknown name, a file that cannot be read, a mistyped key, or a value that makes
    no sense.
    """
    name = str(name_or_path)
    if isinstance(name_or_path, str) and name in BUILT_IN:
        return BUILT_IN[name]
    path = Path(name_or_path)
    try:
        there = path.exists()
    except (OSError, ValueError):  # a name too long for any file
        there, name = False, name[:80]
    if not there:
        near = difflib.get_close_matches(name, BUILT_IN, n=1)
        hint = f"did you mean {near[0]}? " if near else ""
        raise BadKit(f"no kit {name!r}: {hint}built-in kits are {', '.join(BUILT_IN)}; or give the path of a kit file")
    text = read_text(path, _WANTED)
    try:
        if any(line.count(".") > MOST_DOTS for line in text.splitlines()):
            raise BadKit(f"kit {path}: a line has more than {MOST_DOTS} dots; this is no kit file")
        content = tomllib.loads(text)
    except RecursionError:
        raise BadKit(f"kit {path}: brackets within brackets without end; this is no kit file") from None
    except tomllib.TOMLDecodeError as error:
        place = _TOML_PLACE.search(str(error))  # the rest may quote a file that is none of ours to tell of
        where = f" at {place[1]}" if place else ""
        raise BadKit(f"kit {path}: is not valid TOML{where}; see 'irpreview kit show' for the layout") from None
    return kit_from(content, path.parent, where=f"kit {path}", default_name=path.stem)


def kit_from(content: Mapping[str, Any], folder: Path, *, where: str = "kit", default_name: str = "own kit") -> Kit:
    """A kit from the content of a kit file. `folder`: where a filter curve is looked for. Raises BadKit."""
    try:
        checked = _model().model_validate(dict(content))
    except ValidationError as error:
        raise BadKit(f"{where}: {_first_fault(error)}") from error
    values: dict[str, Any] = {"name": default_name, "words": "own kit"}
    given = checked.model_dump(exclude_unset=True, exclude_none=True)
    for section, content_of in given.items():
        if section in _FIELDS:
            values.update({_FIELDS[section][key]: value for key, value in content_of.items()})
        else:
            values[section] = content_of
    base = BUILT_IN["unmodified-720"]
    values.setdefault("infrared_cut_floor", base.infrared_cut_floor)
    if "filter_curve" in values:
        beside = (folder / values["filter_curve"]).resolve()
        if not beside.is_relative_to(folder.resolve()):  # a stranger's kit may not point at any file here
            raise BadKit(f"{where}: the filter curve must lie beside the kit file; copy it there")
        values["filter_curve"] = read_filter_curve(folder / values["filter_curve"], where=where)
        values.setdefault("filter_cut_on_nm", _half_point_nm(values["filter_curve"]))
    if "focal_mm" in values:
        values["focal_mm"] = tuple(values["focal_mm"])
    if "class_correction_stops" in values:
        values["class_correction_stops"] = MappingProxyType(dict(values["class_correction_stops"]))
    if "factor_stops" in values:
        f = values["factor_stops"]
        if not f["low"] <= f["likely"] <= f["high"]:
            raise BadKit(
                f"{where}: calibration.factor_stops {f['low']:g} / {f['likely']:g} / {f['high']:g} stops: "
                "must rise from low to high; put them in order"
            )
        values["factor_stops"] = Range(f["low"], f["likely"], f["high"])
        values.setdefault("factor_source", "kit file")
    for small, large, unit in (("iso_min", "iso_max", "ISO"), ("f_number_min", "f_number_max", "f-number")):
        low, high = values.get(small, getattr(base, small)), values.get(large, getattr(base, large))
        if low > high:
            raise BadKit(f"{where}: {small} {low:g} is above {large} {high:g} ({unit}); swap or correct them")
    return Kit(**values)


def with_lens(kit: Kit, name: str) -> Kit:
    """The kit with this lens on it: what its file said of another one's hot spot no longer counts. Raises BadKit."""
    name = name.strip()
    if not 1 <= len(name) <= 80:
        raise BadKit(f"a lens needs a name of 1 to 80 letters, this one has {len(name)}; give it in your own words")
    same = kit.lens is None or same_lens(kit.lens, name)
    return replace(kit, lens=name, hot_spot_from_f_number=kit.hot_spot_from_f_number if same else None)


def same_lens(one: str, other: str) -> bool:
    """Whether two names mean one lens: capitals and spaces do not count."""
    return "".join(one.split()).casefold() == "".join(other.split()).casefold()


def _half_point_nm(curve: Spectrum) -> float:
    """Where a transmission curve first passes half of its largest value. [nm]"""
    above = curve.value >= curve.value.max() / 2.0
    return float(curve.wavelength_nm[int(above.argmax())])


def read_filter_curve(path: Path, *, where: str = "kit") -> Spectrum:
    """A measured filter transmission: CSV with wavelength [nm] and transmission 0..1 (percent if one is above 1.5).

    A heading line and lines that start with # are allowed. Raises BadKit.
    """
    curve_file = Wanted(BadKit, f"{where}: filter curve", "give the path of a CSV file", 2_000_000, "give fewer points")
    text = read_text(path, curve_file)
    rows: list[tuple[float, float]] = []
    dialect = ";" if text.count(";") > text.count(",") else ","
    for number, cells in enumerate(csv.reader(text.splitlines(), delimiter=dialect), start=1):
        if not cells or cells[0].lstrip().startswith("#"):
            continue
        try:
            point = (float(cells[0]), float(cells[1]))
        except (ValueError, IndexError):
            if not rows and number <= 3:  # a heading
                continue
            raise BadKit(
                f"{where}: filter curve {path.name} line {number}: there is no pair of numbers; "
                "give wavelength in nm and transmission 0 to 1"
            ) from None
        rows.append(point)
    if len(rows) < 3:
        raise BadKit(f"{where}: filter curve {path.name} has {len(rows)} points; give at least 3")
    rows.sort()
    wavelength, value = [r[0] for r in rows], [r[1] for r in rows]
    if all(math.isfinite(v) for v in value) and 1.5 < max(value) <= 100.0:
        value = [v / 100.0 for v in value]
    try:
        curve = make_spectrum(wavelength, value, "filter transmission", "1", f"own curve {path.name}")
    except IrpreviewError as error:
        raise BadKit(f"{where}: filter curve {path.name}: {error}") from error
    if min(value) < 0.0 or max(value) > 1.0:
        raise BadKit(
            f"{where}: filter curve {path.name} has transmission {min(value):g} to {max(value):g}; must be 0 to 1"
        )
    if max(value) < 0.01:
        raise BadKit(f"{where}: filter curve {path.name} never passes 1 % of light; check the column")
    if wavelength[-1] < 780.0 or wavelength[0] > 1000.0:
        raise BadKit(
            f"{where}: filter curve {path.name} covers {wavelength[0]:g} to {wavelength[-1]:g} nm; it must reach into "
            "the infrared, 780 nm or more"
        )
    half = _half_point_nm(curve)
    if not FILTER_NM[0] <= half <= FILTER_NM[1]:
        raise BadKit(
            f"{where}: filter curve {path.name} cuts on at {half:g} nm; must be {FILTER_NM[0]:g} to {FILTER_NM[1]:g} nm"
        )
    return curve


# --- writing --------------------------------------------------------------------------------------------------------


def save_kit(kit: Kit, path: str | Path) -> Path:
    """Write a kit file that `load_kit` reads back as the same kit; an own filter curve goes into a CSV beside it.

    Raises CannotWrite.
    """
    path = Path(path)
    curve_name = f"{path.stem}-filter.csv"
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        if kit.filter_curve is not None:
            lines = ["wavelength_nm,transmission"]
            pairs = zip(kit.filter_curve.wavelength_nm, kit.filter_curve.value, strict=True)
            lines += [f"{float(w)!r},{float(v)!r}" for w, v in pairs]
            (path.parent / curve_name).write_text("\n".join(lines) + "\n", encoding="utf-8")
        path.write_text(kit_text(kit, curve_name), encoding="utf-8")
    except OSError as error:
        raise CannotWrite(
            f"kit {path}: cannot be written ({error.strerror}); choose a folder that you may write to"
        ) from error
    return path


def kit_text(kit: Kit, curve_name: str = "filter.csv") -> str:
    """The text of a kit file."""
    text: dict[str, Any] = {"name": kit.name, "words": kit.words}
    for section, fields in _FIELDS.items():
        body = {}
        for key, attribute in fields.items():
            value = getattr(kit, attribute)
            if value is None or (attribute == "factor_source" and kit.factor_stops is None):
                continue
            if attribute == "filter_curve":
                value = curve_name
            if attribute == "class_correction_stops" and not value:
                continue
            body[key] = _plain(value)
        if body:
            text[section] = body
    return tomli_w.dumps(text)


def _plain(value: object) -> Any:
    """A value of a kit in TOML's own kinds."""
    if isinstance(value, Range):
        return {"low": value.low, "likely": value.likely, "high": value.high}
    if isinstance(value, Mapping):
        return {key: _plain(part) for key, part in value.items()}
    if isinstance(value, tuple | list):
        return [_plain(part) for part in value]
    return value


# --- checking -------------------------------------------------------------------------------------------------------


def _model() -> type[BaseModel]:
    return KitFile


def _first_fault(error: ValidationError) -> str:
    """The first thing wrong with a kit file, in one line: key, value, what is allowed, what to do."""
    faults = error.errors(include_url=False)
    fault = next((f for f in faults if f["type"] == "extra_forbidden"), faults[0])  # a typo also makes a key missing
    where = ".".join(str(part) for part in fault["loc"])
    more = len(faults) - 1
    rest = f" (and {more} more)" if more else ""
    context = fault.get("ctx", {})
    if fault["type"] == "extra_forbidden":
        advice, known = _near_key(fault["loc"])
        return f"{repr(where) if known else 'it holds what'} is no kit key; {advice}{rest}"
    shown = _number_text(fault["input"])
    if fault["type"] in ("greater_than", "greater_than_equal", "less_than", "less_than_equal"):
        low, high, unit = _limits(fault["loc"])
        return f"{where}{shown}: must be {low:g} to {high:g}{unit}; correct it{rest}"
    if fault["type"] == "literal_error":
        return f"{where}{shown}: must be {context.get('expected', 'one of the known words')}; correct it{rest}"
    if fault["type"] == "missing":
        return f"{where} is missing; add it{rest}"
    wanted = {
        "float_parsing": "a number",
        "float_type": "a number",
        "int_type": "a whole number",
        "int_parsing": "a whole number",
        "int_from_float": "a whole number",
        "bool_type": "true or false",
        "bool_parsing": "true or false",
        "string_type": "text in quotes",
        "finite_number": "a finite number",
        "model_type": "a section of keys, such as [filter]",
        "model_attributes_type": "a section of keys, such as [filter]",
        "dict_type": "a table of class = stops",
        "list_type": "a list of numbers in [ ]",
        "tuple_type": "a list of numbers in [ ]",
        "too_short": "a list with at least one number",
        "string_too_short": "text that is not empty",
        "string_too_long": "a shorter text",
    }.get(fault["type"], str(fault["msg"]).lower().removeprefix("value error, "))
    return f"{where}{shown}: must be {wanted}; correct it{rest}"


def _number_text(value: object) -> str:
    """ " = 7" for a number; nothing of a text, which may be anybody's."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        return ""
    text = repr(value) if isinstance(value, float) or abs(value) < 10**15 else "a very large number"
    return f" = {text}"


def _near_key(location: tuple[int | str, ...]) -> tuple[str, bool]:
    """What to do about a key that is none, and whether it looks like a mistyped one, so that it may be quoted."""
    typed = str(location[-1])
    if len(location) == 1:
        known: list[str] = ["name", "words", *_FIELDS]
    elif location[-2] == "class_correction_stops":
        known = list(CLASS_NAMES)
    elif location[-2] == "factor_stops":
        known = ["low", "likely", "high"]
    else:
        known = list(_FIELDS.get(str(location[0]), {}))
    near = difflib.get_close_matches(typed, known, n=1, cutoff=0.5)
    if near:
        return f"did you mean {near[0]!r}?", True
    for section, fields in _FIELDS.items():
        if typed in fields:
            return f"{typed!r} belongs into section [{section}]", True
    elsewhere = [f"{s}.{k}" for s, fields in _FIELDS.items() for k in difflib.get_close_matches(typed, fields, n=1)]
    if elsewhere:
        return f"did you mean {elsewhere[0]!r}?", True
    return f"known are {', '.join(known)}", False


def _limits(location: tuple[int | str, ...]) -> tuple[float, float, str]:
    key = next(str(part) for part in reversed(location) if isinstance(part, str) and part in LIMITS)
    return LIMITS[key]
