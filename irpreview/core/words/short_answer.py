"""The sixty words: what a photographer needs at a glance, the same on page and card."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from irpreview.core.units import shutter_text
from irpreview.core.verdict.plausibility import ASSUMED_WIND_M_S
from irpreview.core.words.exposure_words import setting_words, time_range_words
from irpreview.core.words.lead_words import lead_text, why_line
from irpreview.core.words.phrases import BLURS, cap, wind_name
from irpreview.core.words.saying import in_words
from irpreview.core.words.verdict_words import what_merges
from irpreview.records import Caution, CautionKind, FocusAdvice, Gale, Setting, Verdict


@dataclass(frozen=True, slots=True)
class ShortAnswer:
    """The sixty words. Empty = nothing to say."""

    lead: str
    why: str
    merges: str
    """The pair that merges, `Tower with sky`; what is uncertain where none does; empty where `why` names it."""
    wind: str
    setting: str
    setting_range: str
    focus: str
    warning: str

    def words(self) -> int:
        """How many words all of it has."""
        return sum(len(getattr(self, name).split()) for name in self.__dataclass_fields__)


def short_answer(
    verdict: Verdict,
    setting: Setting | None,
    focus: FocusAdvice | None,
    cautions: Sequence[Caution],
    notes: Sequence[object] = (),
) -> ShortAnswer:
    """Lead and why, what merges, wind, setting with its range, focus, one warning.

    notes: of the movement, for a gale.
    """
    return ShortAnswer(
        lead=cap(lead_text(verdict)),
        why=why_line(verdict),
        merges=what_merges(verdict),
        wind=wind_line(verdict),
        setting="" if setting is None else setting_words(setting),
        setting_range="" if setting is None else time_range_words(setting.shutter_s),
        focus=focus_line(focus),
        warning=one_warning(cautions, notes),
    )


def wind_line(verdict: Verdict) -> str:
    """What the wind does to the foliage that matters most, at the setting's exposure; empty where nothing leads."""
    if not verdict.foliage or verdict.lead in ("wait", "none") or not verdict.gate.landscape:
        return ""
    plant = verdict.foliage[0]
    wind = (
        f"{cap(wind_name(ASSUMED_WIND_M_S))} assumed" if verdict.wind_m_s is None else cap(wind_name(verdict.wind_m_s))
    )
    what = "leaves" if plant.class_name == "tree" else "grass"
    if plant.word == "sharp":
        return f"{wind}: {what} sharp."
    if plant.word == "slightly_soft":
        until, time = plant.sharp_until_s, verdict.shutter_s
        sharp = until is not None and time is not None and 1 / 1000 < until < time
        return f"{wind}: {what} slightly soft{f', sharp at {shutter_text(until)}' if sharp and until else ''}."
    verb = "blur" if plant.class_name == "tree" else "blurs"
    return f"{wind}: {what} {verb} into {BLURS[plant.word]}."


def focus_line(focus: FocusAdvice | None) -> str:
    """Where to focus and from where it is sharp then, to infinity where no end is said."""
    if focus is None:
        return ""
    far = "" if focus.far_m is None else f" to {metres(focus.far_m)}"
    return f"{metres(focus.focus_at_m)} (sharp from {metres(focus.near_m)}{far})"


def metres(value: float) -> str:
    """A distance to focus at."""
    return f"{value:.1f} m" if value < 10 else f"{value:.0f} m"


def one_warning(cautions: Sequence[Caution], notes: Sequence[object] = ()) -> str:
    """The one warning that stands with the setting: a gale, else the first caution but local rules."""
    gales = [one for one in notes if isinstance(one, Gale)]
    said = [one for one in cautions if one.kind is not CautionKind.LOCAL_RULES]
    first: list[object] = [*gales, *said]
    return in_words(first[0]).short if first else ""
