"""What a photographer reads off outdoors: wind and sky as tables, the red channel, the order of work, settings.

Pure: records in, words and small tables out. The card and the page show the same ones.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from types import MappingProxyType

from irpreview.core.exposure.setting import HOLD_PX
from irpreview.core.motion.wind import BEAUFORT
from irpreview.core.units import beaufort_m_s, shutter_text
from irpreview.core.words.exposure_words import time_range_words
from irpreview.records import Exposure, LeadChoice, Range, Setting, SkyState, SubjectKind, WaitFor

SKY_BRIGHTNESS_EV100 = MappingProxyType(
    {"clear": (15.0, 15.0), "thin_cloud": (13.0, 14.0), "broken": (12.0, 15.0), "overcast": (11.0, 12.0)}
)
"""Usual exposure values at ISO 100 in daylight [EV]. Common practice, no source; low sun and haze take more."""


@dataclass(frozen=True, slots=True)
class WindRow:
    """What to do in one force of wind."""

    beaufort: int
    from_m_s: float
    to_m_s: float
    signs: str
    lead: LeadChoice
    kind: SubjectKind | None
    """What leads; None = nothing, or only the choice is known."""
    wait_for: WaitFor | None
    shutter_text: str
    iso: float | None
    f_number: float | None
    blur_px: Range | None
    """Of the foliage at that shutter, pixels of the snap; None = no foliage or not known."""
    foliage_holds: bool = False
    """Whether leaves and grass stay sharp at that setting."""


@dataclass(frozen=True, slots=True)
class Correction:
    """How much more or less light a change of the sky asks for."""

    when: str
    times_low: float
    times_high: float
    shutter_text: str


# ---- words for numbers -------------------------------------------------------------------------------------------


def _two_figures(value: float) -> float:
    scale = 10.0 ** (math.floor(math.log10(value)) - 1)
    return float(round(value / scale) * scale)


# ---- tables ------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class WindCase:
    """What is said of one wind when it is asked for alone."""

    lead: LeadChoice
    setting: Setting | None
    shutter_s: float
    """That the picture is judged for. [s]"""
    blur_px: Range | None
    """Of the foliage at that time, pixels of the snap; None = no foliage or not known."""
    kind: SubjectKind | None = None
    wait_for: WaitFor | None = None


def wind_table(in_wind: Callable[[float], WindCase], *, pixels_wide: int) -> tuple[WindRow, ...]:
    """What leads and which setting, for Beaufort 1 to 7.

    in_wind: the answer for one wind [m/s]. pixels_wide: width of the snap; foliage holds as long as its likely blur
    stays within `HOLD_PX`, scaled to the snap.
    """
    limit_px = HOLD_PX * pixels_wide / 6000.0
    rows = []
    for force in range(1, 8):
        case = in_wind(beaufort_m_s(force))
        setting = case.setting
        rows.append(
            WindRow(
                beaufort=force,
                from_m_s=BEAUFORT[force].low_m_s,
                to_m_s=BEAUFORT[force].high_m_s,
                signs=BEAUFORT[force].land,
                lead=case.lead,
                kind=case.kind,
                wait_for=case.wait_for,
                shutter_text=shutter_text(case.shutter_s),
                iso=setting.iso if setting is not None else None,
                f_number=setting.f_number if setting is not None else None,
                blur_px=case.blur_px,
                foliage_holds=case.blur_px is not None and case.blur_px.likely <= limit_px,
            )
        )
    return tuple(rows)


def sky_corrections(sky_state: SkyState, setting: Setting | None) -> tuple[Correction, ...]:
    """Longer or shorter times when the sky is not as planned; an unknown sky is taken as clear.

    Thin cloud and overcast dim infrared and visible light by about the same (the overcast spectrum differs by -0.05 to
    +0.4 stop only), so the usual exposure values serve for both.
    """
    planned = SKY_BRIGHTNESS_EV100["clear" if sky_state == "unknown" else sky_state]
    middle = sum(planned) / 2
    found = []
    words = {
        "clear": "Sun out, clear sky",
        "thin_cloud": "Thin cloud, soft shadows",
        "overcast": "Full overcast, no shadows",
    }
    for state, when in words.items():
        if state == ("clear" if sky_state == "unknown" else sky_state):
            continue
        dark, bright = SKY_BRIGHTNESS_EV100[state]
        low, high = 2.0 ** (middle - bright), 2.0 ** (middle - dark)
        text = "unknown"
        if setting is not None:
            likely = setting.shutter_s.likely
            text = time_range_words(Range(likely * low, likely * math.sqrt(low * high), likely * high))
        found.append(Correction(when, low, high, text))
    return tuple(found)


def minutes_per_frame(exposure: Exposure) -> float | None:
    """Minutes from one press of the release to the next, for the recommended setting; None = not worked out."""
    if exposure.frame_cost is not None:
        return exposure.frame_cost.minutes_per_frame
    return exposure.recommended.minutes_per_frame if exposure.recommended is not None else None


def setting_choices(exposure: Exposure) -> tuple[Setting, ...]:
    """The recommended setting with its neighbours at the same and at the widest aperture, ISO two stops apart.

    A kit has hundreds of settings; on paper and in a table of wind these few are enough. Sorted by ISO.
    """
    best = exposure.recommended
    if best is None:
        return ()
    widest = min(setting.f_number for setting in exposure.settings) if exposure.settings else best.f_number
    kept = {(best.iso, best.f_number): best}
    for extra in (exposure.freezes, exposure.streaks):
        if extra is not None:
            kept[(extra.iso, extra.f_number)] = extra
    for setting in exposure.settings:
        steps = math.log2(setting.iso / best.iso) / 2.0
        if setting.f_number in (best.f_number, widest) and abs(steps - round(steps)) < 0.1:
            kept[(setting.iso, setting.f_number)] = setting
    return tuple(kept[key] for key in sorted(kept))
