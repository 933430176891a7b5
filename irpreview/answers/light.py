"""The light of a day, or of days, as JSON holds it."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from irpreview.answers.base import Answer, Whole
from irpreview.core.light.light_plan import LightPlan, Quarter, Window
from irpreview.core.words import in_words, long_words
from irpreview.records import SunSide
from irpreview.records.light import Hardness

Share = Annotated[float, Field(ge=0.0, le=1.0)]


class LightPlaceAnswer(Answer):
    """A place in degrees, as it was asked for."""

    latitude_deg: Annotated[float, Field(ge=-90.0, le=90.0)]
    longitude_deg: Annotated[float, Field(ge=-180.0, le=180.0)]


class QuarterAnswer(Answer):
    """One quarter hour, at its start."""

    time: str
    sun_height_deg: Annotated[float, Field(ge=-90.0, le=90.0)]
    sun_bearing_deg: Annotated[float, Field(ge=0.0, le=360.0)]
    sun_side: SunSide
    hard_light: Share
    hardness: Hardness
    sunlit_to_shade: Annotated[float, Field(ge=1.0)]
    shade_stops: float
    longer_stops: float | None
    sun_in_frame: bool | None
    score: Share


class WindowAnswer(Answer):
    """Neighbouring quarters that are good."""

    start: str
    end: str
    minutes: int
    score: float
    says: str


class LightDayAnswer(Answer):
    """One day."""

    date: str
    good_hours: float
    says: str
    windows: list[WindowAnswer]


class LightAnswer(Whole):
    """`irpreview light --json`. `quarters` are those of the first day."""

    kind: Literal["light"] = "light"
    place: LightPlaceAnswer
    date: str
    zone: str
    heading_deg: float | None
    kit: str
    says: str
    quarters: Annotated[list[QuarterAnswer], Field(min_length=1)]
    best: list[WindowAnswer]
    days: list[LightDayAnswer]
    best_days: list[str]
    plot: str | None
    cautions: list[str]
    doubts: list[str]


def _window(window: Window) -> WindowAnswer:
    return WindowAnswer(
        start=window.start.isoformat(),
        end=window.end.isoformat(),
        minutes=round(window.minutes),
        score=window.score,
        says=in_words(window).long,
    )


def _quarter(quarter: Quarter) -> QuarterAnswer:
    return QuarterAnswer(
        time=quarter.time.isoformat(),
        sun_height_deg=quarter.sun_height_deg,
        sun_bearing_deg=quarter.sun_bearing_deg,
        sun_side=quarter.sun_side,
        hard_light=quarter.hard_light,
        hardness=quarter.hardness,
        sunlit_to_shade=quarter.sunlit_to_shade,
        shade_stops=quarter.shade_stops,
        longer_stops=quarter.longer_stops,
        sun_in_frame=quarter.sun_in_frame,
        score=quarter.score,
    )


def light_answer(plan: LightPlan, kit: str, plot: str | None) -> LightAnswer:
    """The plan; kit: its name; plot: the file it was drawn to."""
    first = plan.days[0]
    ranked = sorted(plan.days, key=lambda d: (-d.score, d.day))
    return LightAnswer(
        place=LightPlaceAnswer(latitude_deg=plan.place.latitude_deg, longitude_deg=plan.place.longitude_deg),
        date=first.day.isoformat(),
        zone=plan.zone_words,
        heading_deg=plan.heading_deg,
        kit=kit,
        says=in_words(first).long,
        quarters=[_quarter(q) for q in first.quarters],
        best=[_window(w) for w in plan.best],
        days=[
            LightDayAnswer(
                date=d.day.isoformat(),
                good_hours=d.score,
                says=in_words(d).long,
                windows=[_window(w) for w in d.windows],
            )
            for d in plan.days
        ],
        best_days=[d.day.isoformat() for d in ranked if d.score > 0][:7],
        plot=plot,
        cautions=list(long_words(plan.cautions)),
        doubts=list(long_words(plan.doubts)),
    )
