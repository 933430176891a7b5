"""What every chapter uses: a range with its doubt, a spectrum, arrays that cannot be written to, zones and tones."""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum
from typing import NamedTuple, TypeVar

import numpy as np
from numpy.typing import NDArray

from irpreview.errors import BadValue

FloatArray = NDArray[np.float32]
ByteArray = NDArray[np.uint8]
T = TypeVar("T", bound=np.generic)


def frozen_array(array: NDArray[T]) -> NDArray[T]:
    """The same array, marked read-only."""
    array.setflags(write=False)
    return array


@dataclass(frozen=True, slots=True)
class Range:
    """A value with its doubt: 5 / 50 / 95 %."""

    low: float
    likely: float
    high: float

    def __post_init__(self) -> None:
        if not (self.low <= self.likely <= self.high):
            raise BadValue(
                f"a range must rise: low {self.low:g}, likely {self.likely:g}, high {self.high:g}; give them in order"
            )

    def __add__(self, stops: float) -> Range:
        return Range(self.low + stops, self.likely + stops, self.high + stops)

    @property
    def width(self) -> float:
        """High end less low end."""
        return self.high - self.low

    def as_dict(self, digits: int = 3) -> dict[str, float]:
        """The three values, rounded, as JSON holds them."""
        return {"low": round(self.low, digits), "likely": round(self.likely, digits), "high": round(self.high, digits)}


@dataclass(frozen=True, slots=True, eq=False)
class Spectrum:
    """One quantity on an explicit, rising wavelength grid."""

    wavelength_nm: NDArray[np.float64]
    value: NDArray[np.float64]
    quantity: str
    unit: str
    source_id: str
    spread: NDArray[np.float64] | None = None

    def _content(self) -> tuple[object, ...]:
        arrays = (self.wavelength_nm, self.value, self.spread)
        return (*(None if one is None else one.tobytes() for one in arrays), self.quantity, self.unit, self.source_id)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Spectrum) and self._content() == other._content()

    def __hash__(self) -> int:
        return hash(self._content())


def zone_of(tone: float) -> float:
    """Zone of a linear tone (white surface = 1): 5 + log2(tone / 0.18). [zones]"""
    return 5.0 + math.log2(max(tone, 2.0**-20) / 0.18)


def tone_of(zone: float) -> float:
    """Linear tone of a zone, the inverse of `zone_of`."""
    return float(0.18 * 2.0 ** (zone - 5.0))


class Doubt:
    """Something that makes an answer less sure. Each kind is a record with its own numbers; words come last."""

    __slots__ = ()


class DoorDoubtKind(StrEnum):
    """What a door has to add to the answer that it hands on. Beside each what `text` holds."""

    WIND_ASSUMED = "wind_assumed"
    """Of a framing: a gentle breeze."""
    WIND_NOT_GIVEN = "wind_not_given"
    """Of a verdict."""
    NO_HOLDING_SETTING = "no_holding_setting"
    """text = what should be sharp, and why there is none."""
    OWN_LIGHT = "own_light"
    """text = why the planned light cannot be laid over the snap."""


@dataclass(frozen=True, slots=True)
class DoorDoubt(Doubt):
    """What was not said, or could not be followed, by the way that was asked."""

    kind: DoorDoubtKind
    text: str = ""


class Words(NamedTuple):
    """The same in full and in few words."""

    long: str
    short: str
