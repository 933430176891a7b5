"""Filter, sensor, format and lens limits."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from types import MappingProxyType
from typing import Literal

from irpreview.records.common import Doubt, Range, Spectrum


@dataclass(frozen=True, slots=True)
class Kit:
    """Filter, sensor, format and lens limits. Built-in names: see contracts in DEVELOPERS.md."""

    name: str = "unmodified-720"
    words: str = "720 nm long-pass on an unmodified camera"
    filter_cut_on_nm: float = 720.0
    filter_curve: Spectrum | None = None
    """Own measured transmission; overrides the cut-on."""
    filter_leak: float = 1e-6
    """Share of visible light that the filter lets through."""
    sensor: Literal["unmodified", "full_spectrum", "converted"] = "unmodified"
    infrared_cut_edge_nm: float = 650.0
    infrared_cut_slope_nm: float = 8.0
    infrared_cut_floor: float = 4e-5
    format_width_mm: float = 36.0
    format_height_mm: float = 24.0
    pixels_wide: int = 6000
    focal_mm: tuple[float, ...] = (24.0, 35.0, 50.0, 85.0)
    f_number_min: float = 2.8
    f_number_max: float = 16.0
    iso_min: float = 64.0
    iso_max: float = 25600.0
    longest_timed_s: float = 30.0
    has_bulb: bool = True
    focus: Literal["on_sensor", "separate"] = "on_sensor"
    hot_spot_from_f_number: float | None = None
    lens: str | None = None
    """The lens in use, in the owner's words: which rows of the log's hot-spot table count. None = not said."""
    factor_stops: Range | None = None
    """Calibrated factor of neutral grey in sun; None = the default of the kit's class."""
    factor_source: str = "kit class"
    class_correction_stops: Mapping[str, float] = field(default_factory=lambda: MappingProxyType({}), hash=False)

    @property
    def pixel_pitch_um(self) -> float:
        """Distance between pixels [um]."""
        return 1000.0 * self.format_width_mm / self.pixels_wide


class LessonDoubtKind(StrEnum):
    """What one should know of the field log's lessons. Beside each what `value` and `text` hold."""

    SUN_HEIGHT_UNKNOWN = "sun_height_unknown"
    """What was learned of a low sun is left out."""
    FACTOR_STEPPED = "factor_stepped"
    """value = step of the factor, since which frames count [stops]."""
    LENS_NOT_SAID = "lens_not_said"
    """value = f-number from which apertures are avoided."""
    LOG_NOT_USED = "log_not_used"
    """text = why it could not be read."""


@dataclass(frozen=True, slots=True)
class LessonDoubt(Doubt):
    """Why to doubt what the field log taught, or what it left out."""

    kind: LessonDoubtKind
    value: float = 0.0
    text: str = ""


@dataclass(frozen=True, slots=True)
class Taught:
    """A kit as the field log taught it, and what the photographer should know of that."""

    kit: Kit
    doubts: tuple[LessonDoubt, ...] = ()
