"""The layout of a kit file, checked by pydantic: sections, keys, limits."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field

LIMITS: dict[str, tuple[float, float, str]] = {
    "cut_on_nm": (500.0, 1100.0, " nm"),
    "leak": (0.0, 0.1, " (share of visible light)"),
    "infrared_cut_edge_nm": (600.0, 800.0, " nm"),
    "infrared_cut_slope_nm": (1.0, 60.0, " nm"),
    "infrared_cut_floor": (1e-7, 0.95, " (share of infrared light)"),
    "width_mm": (3.0, 130.0, " mm"),
    "height_mm": (2.0, 130.0, " mm"),
    "pixels_wide": (320, 30000, " pixels"),
    "focal_mm": (2.0, 2000.0, " mm"),
    "f_number_min": (0.7, 64.0, " (f-number)"),
    "f_number_max": (0.7, 64.0, " (f-number)"),
    "hot_spot_from_f_number": (0.7, 64.0, " (f-number)"),
    "iso_min": (1.0, 10000000.0, " (ISO)"),
    "iso_max": (1.0, 10000000.0, " (ISO)"),
    "longest_timed_s": (0.1, 3600.0, " s"),
    "low": (-10.0, 30.0, " stops"),
    "likely": (-10.0, 30.0, " stops"),
    "high": (-10.0, 30.0, " stops"),
    "class_correction_stops": (-5.0, 5.0, " stops"),
}
"""Lowest and highest value per key, with its unit."""


def _number(key: str) -> Any:
    low, high, _ = LIMITS[key]
    return Field(default=None, ge=low, le=high, allow_inf_nan=False, strict=False)


class _Section(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=False)


class FilterSection(_Section):
    """`[filter]` of a kit file."""

    cut_on_nm: float | None = _number("cut_on_nm")
    curve: Annotated[str, Field(min_length=1, max_length=500)] | None = None
    leak: float | None = _number("leak")


class SensorSection(_Section):
    """`[sensor]` of a kit file."""

    kind: Literal["unmodified", "full_spectrum", "converted"] | None = None
    infrared_cut_edge_nm: float | None = _number("infrared_cut_edge_nm")
    infrared_cut_slope_nm: float | None = _number("infrared_cut_slope_nm")
    infrared_cut_floor: float | None = _number("infrared_cut_floor")
    width_mm: float | None = _number("width_mm")
    height_mm: float | None = _number("height_mm")
    pixels_wide: int | None = _number("pixels_wide")


class LensSection(_Section):
    """`[lens]` of a kit file."""

    name: Annotated[str, Field(min_length=1, max_length=80)] | None = None
    focal_mm: (
        Annotated[list[Annotated[float, Field(ge=2.0, le=2000.0, allow_inf_nan=False)]], Field(min_length=1)] | None
    ) = None
    f_number_min: float | None = _number("f_number_min")
    f_number_max: float | None = _number("f_number_max")
    hot_spot_from_f_number: float | None = _number("hot_spot_from_f_number")


class BodySection(_Section):
    """`[body]` of a kit file."""

    iso_min: float | None = _number("iso_min")
    iso_max: float | None = _number("iso_max")
    longest_timed_s: float | None = _number("longest_timed_s")
    has_bulb: bool | None = None
    focus: Literal["on_sensor", "separate"] | None = None


class StopsRange(_Section):
    """A range in stops, low to high."""

    low: float = Field(ge=-10.0, le=30.0)
    likely: float = Field(ge=-10.0, le=30.0)
    high: float = Field(ge=-10.0, le=30.0)


_Correction = Annotated[float | None, Field(ge=-5.0, le=5.0, allow_inf_nan=False)]


class ClassCorrections(_Section):
    """Corrections of single classes [stops]."""

    clear_sky: _Correction = None
    cloud: _Correction = None
    water: _Correction = None
    tree: _Correction = None
    grass: _Correction = None
    structure: _Correction = None
    ground: _Correction = None
    other: _Correction = None
    snow: _Correction = None


class CalibrationSection(_Section):
    """`[calibration]` of a kit file."""

    factor_stops: StopsRange | None = None
    factor_source: Annotated[str, Field(min_length=1, max_length=500)] | None = None
    class_correction_stops: ClassCorrections | None = None


class KitFile(_Section):
    """A kit file as a whole."""

    name: Annotated[str, Field(min_length=1, max_length=80)] | None = None
    words: Annotated[str, Field(max_length=200)] | None = None
    filter: FilterSection | None = None
    sensor: SensorSection | None = None
    lens: LensSection | None = None
    body: BodySection | None = None
    calibration: CalibrationSection | None = None
