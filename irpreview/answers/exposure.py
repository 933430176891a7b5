"""The exposure as JSON holds it."""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING, Any, Literal

from irpreview.answers.base import Answer, Span, Whole, finite, span
from irpreview.core.exposure.white_balance import ReadingPatch
from irpreview.records import Exposure, Kit, Setting

if TYPE_CHECKING:
    from collections.abc import Sequence


class SettingAnswer(Answer):
    """One setting; times exact in seconds."""

    iso: float
    f_number: float
    shutter_s: float
    shutter_range_s: Span
    shutter_text: str
    limits: list[str]
    snr: float | None
    minutes_per_frame: float | None


def setting_answer(setting: Setting | None) -> SettingAnswer | None:
    """A setting as plain values."""
    if setting is None:
        return None
    return SettingAnswer(
        iso=setting.iso,
        f_number=setting.f_number,
        shutter_s=round(setting.shutter_s.likely, 6),
        shutter_range_s=span(setting.shutter_s, 6),
        shutter_text=setting.shutter_text,
        limits=list(setting.limits),
        snr=setting.snr,
        minutes_per_frame=setting.minutes_per_frame,
    )


class PatchAnswer(Answer):
    """Where to take the white balance, in pixels of the photo."""

    x: int
    y: int
    width: int
    height: int
    says: str


class FactorAnswer(Span):
    """The filter factor of neutral grey, its parts and where it comes from. [stops]"""

    parts: dict[str, Span]
    source: str


class ExposureAnswer(Whole):
    """`irpreview expose --json`."""

    kind: Literal["exposure"] = "exposure"
    photo: str | None
    kit: str
    log_used: bool
    factor_stops: FactorAnswer
    metered_ev100: float
    metered_ev100_range: Span
    metered_by: str
    readings_ev100: dict[str, Span]
    placement_stops: float
    placed: str
    settings: list[SettingAnswer]
    recommended: SettingAnswer | None
    freezes: SettingAnswer | None
    nearest_freeze: SettingAnswer | None
    streaks: SettingAnswer | None
    nearest_streak: SettingAnswer | None
    reasons: list[str]
    frame_cost: dict[str, Any]
    test_frames: list[dict[str, Any]]
    focus: dict[str, Any]
    white_balance: PatchAnswer | None
    cautions: list[str]
    doubts: list[str]


def exposure_answer(
    exposure: Exposure,
    kit: Kit,
    log_used: bool,
    photo: str | None,
    patch: ReadingPatch | None,
    more_doubts: Sequence[str] = (),
) -> ExposureAnswer:
    """The exposure as plain values."""
    factor = span(exposure.factor_stops, 4)
    return ExposureAnswer(
        photo=photo,
        kit=kit.name,
        log_used=log_used,
        factor_stops=FactorAnswer(
            **dict(factor),
            parts={name: span(part, 4) for name, part in exposure.factor_parts.items()},
            source=kit.factor_source if kit.factor_stops is not None else "kit class",
        ),
        metered_ev100=round(exposure.metered_ev100.likely, 3),
        metered_ev100_range=span(exposure.metered_ev100, 4),
        metered_by=exposure.metered_by,
        readings_ev100={name: span(value, 4) for name, value in exposure.readings_ev100.items()},
        placement_stops=round(exposure.placement_stops, 3),
        placed=exposure.placed,
        settings=[one for one in map(setting_answer, exposure.settings) if one is not None],
        recommended=setting_answer(exposure.recommended),
        freezes=setting_answer(exposure.freezes),
        nearest_freeze=setting_answer(exposure.nearest_freeze),
        streaks=setting_answer(exposure.streaks),
        nearest_streak=setting_answer(exposure.nearest_streak),
        reasons=list(exposure.reasons),
        frame_cost=plain(exposure.frame_cost),
        test_frames=[plain(frame) for frame in exposure.test_frames],
        focus=plain(exposure.focus),
        white_balance=None if patch is None else PatchAnswer(**asdict(patch)),
        cautions=list(exposure.cautions),
        doubts=list(dict.fromkeys((*more_doubts, *exposure.doubts))),
    )


def plain(value: Any) -> Any:
    """Ranges, tuples and numpy numbers of a block as JSON can hold them."""
    if hasattr(value, "as_dict"):
        return plain(value.as_dict())
    if hasattr(value, "items"):
        return {str(key): plain(part) for key, part in value.items()}
    if isinstance(value, (list, tuple)):
        return [plain(part) for part in value]
    return finite(value.tolist() if hasattr(value, "tolist") else value)
