"""The exposure as JSON holds it."""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING, Any, Literal

from irpreview.answers.base import Answer, Span, Whole, span
from irpreview.core.exposure.asked_time import AskedTime
from irpreview.core.exposure.white_balance import ReadingPatch
from irpreview.core.units import shutter_text
from irpreview.core.words import in_words, long_words
from irpreview.core.words.exposure_words import cost_lines, focus_lines
from irpreview.records import (
    Doubt,
    Exposure,
    ExposureTest,
    FocusAdvice,
    FrameCost,
    Kit,
    Setting,
)

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
        limits=[in_words(limit).long for limit in setting.limits],
        snr=setting.snr,
        minutes_per_frame=setting.minutes_per_frame,
    )


class GreyFilterAnswer(Answer):
    """A further grey filter, and the setting that takes the asked time through it."""

    stops: int
    iso: float
    f_number: float
    shutter_s: float


class AskedTimeAnswer(Answer):
    """A time that was asked for: the setting that takes it, or how far it is out of reach."""

    shutter_s: float
    shutter_text: str
    setting: SettingAnswer | None
    off_stops: float
    """Above 0 too long, below 0 too short for the kit in this light."""
    shortest: SettingAnswer
    longest: SettingAnswer
    grey_filter: GreyFilterAnswer | None
    says: str


def asked_time_answer(asked: AskedTime | None) -> AskedTimeAnswer | None:
    """The answer to a time that was asked for, as plain values."""
    if asked is None:
        return None
    shortest, longest, grey = setting_answer(asked.shortest), setting_answer(asked.longest), asked.grey_filter
    assert shortest is not None
    assert longest is not None
    return AskedTimeAnswer(
        shutter_s=asked.shutter_s,
        shutter_text=shutter_text(asked.shutter_s),
        setting=setting_answer(asked.setting),
        off_stops=round(asked.off_stops, 3),
        shortest=shortest,
        longest=longest,
        grey_filter=None if grey is None else GreyFilterAnswer(**asdict(grey)),
        says=in_words(asked).long,
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
    asked_time: AskedTimeAnswer | None
    """None = no time was asked for."""
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
    more_doubts: Sequence[Doubt] = (),
    asked_time: AskedTime | None = None,
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
        metered_by=in_words(exposure.metered_by).long,
        readings_ev100={name: span(value, 4) for name, value in exposure.readings_ev100.items()},
        placement_stops=round(exposure.placement.stops, 3),
        placed=in_words(exposure.placement).long,
        settings=[one for one in map(setting_answer, exposure.settings) if one is not None],
        recommended=setting_answer(exposure.recommended),
        asked_time=asked_time_answer(asked_time),
        freezes=setting_answer(exposure.freezes),
        nearest_freeze=setting_answer(exposure.nearest_freeze),
        streaks=setting_answer(exposure.streaks),
        nearest_streak=setting_answer(exposure.nearest_streak),
        reasons=list(long_words(exposure.reasons)),
        frame_cost=frame_cost_facts(exposure.frame_cost),
        test_frames=[test_exposure_facts(one) for one in exposure.test_exposures],
        focus=focus_facts(exposure.focus),
        white_balance=None
        if patch is None
        else PatchAnswer(x=patch.x, y=patch.y, width=patch.width, height=patch.height, says=in_words(patch).long),
        cautions=list(long_words(exposure.cautions)),
        doubts=list(long_words((*more_doubts, *exposure.doubts))),
    )


def frame_cost_facts(cost: FrameCost | None) -> dict[str, Any]:
    """What a frame costs, as plain values."""
    if cost is None:
        return {}
    short = cost.short_frames
    return {
        "seconds_per_frame": round(cost.seconds_per_frame, 1),
        "minutes_per_frame": round(cost.minutes_per_frame, 2),
        "dark_frame_s": round(cost.dark_frame_s, 1),
        "light_minutes": cost.light_minutes,
        "frames_in_light": cost.frames_in_light,
        "short_frames": None
        if short is None
        else {
            "frames": short.frames,
            "iso": short.iso,
            "shutter_s": round(short.shutter_s, 2),
            "shutter_text": shutter_text(short.shutter_s),
            "snr": round(short.snr, 1),
            "snr_one_long": round(short.snr_one_long, 1),
            "says": in_words(short).long,
        },
        "battery_frames": list(cost.battery_frames),
        "says": [one.long for one in cost_lines(cost)],
    }


def test_exposure_facts(one: ExposureTest) -> dict[str, Any]:
    """A test exposure, as plain values."""
    return {
        "iso": one.iso,
        "f_number": one.f_number,
        "shutter_s": one.shutter_s,
        "shutter_text": shutter_text(one.shutter_s),
        "if_right_factor_stops": round(one.factor_stops, 2),
        "stands_for": {
            "iso": one.long_iso,
            "f_number": one.long_f_number,
            "shutter_s": round(one.long_shutter_s, 4),
            "shutter_text": shutter_text(one.long_shutter_s),
        },
        "says": in_words(one).long,
    }


def focus_facts(focus: FocusAdvice | None) -> dict[str, Any]:
    """Where to focus, as plain values."""
    if focus is None:
        return {}
    return {
        "focal_mm": round(focus.focal_mm, 1),
        "f_number": focus.f_number,
        "hyperfocal_m": round(focus.hyperfocal_m, 2),
        "focus_at_m": round(focus.focus_at_m, 2),
        "near_m": round(focus.near_m, 2),
        "far_m": None if focus.far_m is None else round(focus.far_m, 2),
        "blur_circle_mm": round(focus.blur_circle_mm, 4),
        "airy_um": round(focus.airy_um, 1),
        "band_nm": round(focus.band_nm),
        "infrared_shift_mm": focus.shift_mm.as_dict(4),
        "shift_share_of_focal": round(focus.shift_mm.likely / focus.focal_mm, 5),
        "shift_covered": focus.shift_covered,
        "needs_f_number": None if focus.needs_f_number is None else round(focus.needs_f_number, 1),
        "says": [one.long for one in focus_lines(focus)],
    }
