"""A measured filter factor as JSON holds it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal

from irpreview.answers.base import Answer, Span, Whole, span
from irpreview.core.words import long_words
from irpreview.core.words.calibration_words import calibration_words

if TYPE_CHECKING:
    from irpreview.core.exposure.calibration import Calibration

Channel = Literal["red", "green", "blue"]


class SurfaceAnswer(Answer):
    """What one kind of surface says of the factor of grey."""

    patches: float
    factor_stops: float
    spread_stops: float


class CalibrationAnswer(Whole):
    """`irpreview calibrate --json`."""

    kind: Literal["calibration"] = "calibration"
    kit: str
    source: str
    factor_stops: Span
    channel_stops: dict[Channel, float]
    clips_first: Channel | None
    clips_in_stops: float | None
    surfaces: dict[str, SurfaceAnswer]
    likeness: float | None
    usable_share: float | None
    kit_file: str | None
    says: list[str]
    doubts: list[str]


def calibration_answer(found: Calibration, kit: str, source: str, kit_file: str | None) -> CalibrationAnswer:
    """The calibration; kit: its name; kit_file: where the kit with this factor was written."""
    return CalibrationAnswer.model_validate(
        {
            "kit": kit,
            "source": source,
            "factor_stops": span(found.factor_stops, 3),
            "channel_stops": dict(found.channel_stops),
            "clips_first": found.clips_first,
            "clips_in_stops": found.clips_in_stops,
            "surfaces": {name: dict(group) for name, group in found.surfaces.items()},
            "likeness": found.likeness,
            "usable_share": found.usable_share,
            "kit_file": kit_file,
            "says": list(calibration_words(found)),
            "doubts": list(long_words(found.doubts)),
        }
    )
