"""Drawings for people: the hours of a day as a band of light."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from irpreview.core.light.light_plan import DayPlan, LightPlan, Quarter
from irpreview.errors import CannotWrite

NIGHT, DUSK = "#1d2430", "#4a5568"
GOOD = "#e8a33d"
MOST_ROWS = 14
SIDE_LETTERS = {"behind_camera": "behind", "side": "side", "ahead": "against", "unknown": ""}


def draw_light_plan(plan: LightPlan, path: Path) -> None:
    """One band per day, dark where light is weak and pale where it is strong; good hours underlined and named in words.

    The kind of file follows the name (PNG, PDF, SVG). Raises CannotWrite.
    """
    from matplotlib.figure import Figure

    days = plan.days if len(plan.days) <= MOST_ROWS else _best_days(plan)
    tall = 1.4 + (1.1 if len(days) == 1 else 0.72) * len(days)
    figure = Figure(figsize=(10.0, tall), layout="constrained", facecolor="white")
    axes = figure.add_subplot()
    for row, day in enumerate(days):
        _draw_day(axes, day, -float(row), detail=len(days) <= 3)
    axes.set_xlim(0.0, 24.0)
    axes.set_ylim(-len(days) + 0.6, 0.6)
    axes.set_xticks(range(0, 25, 3), [f"{h:02d}:00" for h in range(0, 25, 3)])
    axes.set_yticks([-float(i) + 0.18 for i in range(len(days))], [f"{d.day:%a %d %b}" for d in days])
    axes.tick_params(length=0, labelsize=10)
    for side in axes.spines.values():
        side.set_visible(False)
    view = "" if plan.heading_deg is None else f", looking {plan.heading_deg:.0f}° true"
    axes.set_title(
        f"Light in the infrared at {plan.place.latitude_deg:g}, {plan.place.longitude_deg:g}{view}",
        loc="left",
        fontsize=12,
    )
    axes.set_xlabel(
        f"time of day, {plan.zone_words}. Band: dark = night, pale = strong sunlight. Orange = good for this view. "
        "Clear sky assumed.",
        fontsize=9,
        loc="left",
    )
    try:
        figure.savefig(path, dpi=130)
    except (OSError, ValueError) as error:
        raise CannotWrite(
            f"the drawing could not be written to {path} ({error}); give a folder that exists and a name ending in "
            ".png, .pdf or .svg"
        ) from error


def _best_days(plan: LightPlan) -> tuple[DayPlan, ...]:
    best = sorted(plan.days, key=lambda d: (-d.score, d.day))[:MOST_ROWS]
    return tuple(sorted(best, key=lambda d: d.day))


def _hour(quarter: Quarter) -> float:
    return quarter.time.hour + quarter.time.minute / 60.0


def _draw_day(axes: Any, day: DayPlan, base: float, detail: bool) -> None:
    for q in day.quarters:
        axes.barh(base + 0.18, 0.252, left=_hour(q), height=0.36, color=_tint(q), linewidth=0)
    for window in day.windows:
        left = window.start.hour + window.start.minute / 60.0
        wide = window.minutes / 60.0
        axes.barh(base - 0.05, wide, left=left, height=0.06, color=GOOD, linewidth=0)
    if detail:
        for text, left, right in _runs(day):
            if right - left >= 1.0 and text:
                axes.text((left + right) / 2, base - 0.16, text, ha="center", va="top", fontsize=9, color="#222222")
        for q in day.quarters:
            if q.time.minute == 0 and q.time.hour % 3 == 0 and q.sun_height_deg > 0:
                axes.text(
                    _hour(q) + 0.06,
                    base + 0.39,
                    f"{q.sun_height_deg:.0f}° high",
                    fontsize=8,
                    va="bottom",
                    color="#444444",
                )


def _tint(quarter: Quarter) -> str:
    """Night blue, dusk grey, then paler the more infrared light reaches level ground."""
    if quarter.sun_height_deg < -6.0:
        return NIGHT
    if quarter.longer_stops is None:
        return DUSK
    share = min(max(1.0 - quarter.longer_stops / 4.0, 0.0), 1.0)
    low, high = (0x7A, 0x80, 0x86), (0xFB, 0xF3, 0xDC)
    mixed = [round(a + (b - a) * share) for a, b in zip(low, high, strict=True)]
    return "#{:02x}{:02x}{:02x}".format(*mixed)


def _runs(day: DayPlan) -> list[tuple[str, float, float]]:
    """Stretches of one sun side with the sun up: (words, from hour, to hour)."""
    out: list[tuple[str, float, float]] = []
    for q in day.quarters:
        text = "" if q.sun_height_deg <= 0 else SIDE_LETTERS[q.sun_side]
        if text and q.sun_in_frame:
            text = "sun in frame"
        at = _hour(q)
        if out and out[-1][0] == text and at >= out[-1][1]:
            out[-1] = (text, out[-1][1], at + 0.25)
        else:
            out.append((text, at, at + 0.25))
    return out
