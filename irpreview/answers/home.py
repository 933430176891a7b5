"""Frames brought home as JSON holds them: what was found, what is proposed for the log."""

from __future__ import annotations

from typing import Any, Literal

from irpreview.answers.base import Answer, Span, Whole, maybe_span, span
from irpreview.core.field_log.homecoming import Homecoming, RealFrame
from irpreview.core.field_log.matching import Clocks
from irpreview.core.words.home_words import (
    clock_words,
    exposure_words,
    headline,
    lesson_words,
    outcome_words,
    where_words,
)


class ClocksAnswer(Answer):
    """The camera's clock against the phone's."""

    ahead_s: float
    spread_s: float
    frames: int
    corrected_s: float
    """What is taken off the frames' times."""


class PartAnswer(Answer):
    """How much brighter one class came out than predicted."""

    name: str
    share: float
    stops: Span
    predicted_zone: float
    taken_zone: float


class DifferenceAnswer(Answer):
    """What the log keeps of the comparison of one class."""

    kit_name: str
    class_name: str
    difference_stops: float
    share: float
    pair_key: str


class RealFrameAnswer(Answer):
    """One frame beside its prediction."""

    number: int
    name: str
    found: Literal["picture", "picture_and_time", "either", "none"]
    snap: str | None
    nearest: str | None
    rivals: list[str]
    bite: float
    after_s: float | None
    came_out_stops: float | None
    expected_stops: Span | None
    off_stops: float | None
    within_range: bool | None
    mean_error_zones: float | None
    classes: dict[str, PartAnswer]
    taken_in: bool
    known: bool
    plan: int | None
    """Number of the log's entry that it is written beside."""
    entry: dict[str, Any] | None
    """What the log would hold, as in the schema of a log's frames."""
    differences: list[DifferenceAnswer]
    says: list[str]


class LearnedAnswer(Answer):
    """The factor of a neutral grey in a high sun. [stops]"""

    factor_stops: Span
    frames: int


class HomeAnswer(Whole):
    """A batch of frames brought home; nothing of it is in the log until it is taken in."""

    kind: Literal["homecoming"] = "homecoming"
    batch: str
    kit: str
    snaps: int
    clocks: ClocksAnswer | None
    frames: list[RealFrameAnswer]
    before: LearnedAnswer
    after: LearnedAnswer
    unusable: dict[str, str]
    says: list[str]
    sheet: str | None
    proposal: str | None


def home_answer(
    home: Homecoming, entries: dict[int, dict[str, Any]], sheet: str | None = None, proposal: str | None = None
) -> HomeAnswer:
    """A homecoming as plain values. entries: number on the sheet -> what the log would hold."""
    return HomeAnswer(
        batch=home.batch,
        kit=home.kit_name,
        snaps=home.snaps,
        clocks=_clocks(home.clocks),
        frames=[_frame(one, entries.get(one.number)) for one in home.frames],
        before=LearnedAnswer(factor_stops=span(home.before.factor_stops, 3), frames=home.before.frames),
        after=LearnedAnswer(factor_stops=span(home.after.factor_stops, 3), frames=home.after.frames),
        unusable=dict(home.unusable),
        says=[headline(home), *lesson_words(home), clock_words(home.clocks)],
        sheet=sheet,
        proposal=proposal,
    )


def _clocks(clocks: Clocks | None) -> ClocksAnswer | None:
    if clocks is None:
        return None
    return ClocksAnswer(
        ahead_s=clocks.ahead.total_seconds(),
        spread_s=clocks.spread.total_seconds(),
        frames=clocks.pairs,
        corrected_s=clocks.correction.total_seconds(),
    )


def _frame(one: RealFrame, entry: dict[str, Any] | None) -> RealFrameAnswer:
    home = one.home
    return RealFrameAnswer(
        number=one.number,
        name=one.name,
        found=one.found.value,
        snap=one.snap,
        nearest=one.nearest,
        rivals=list(one.rivals),
        bite=round(one.bite, 4),
        after_s=None if one.after is None else one.after.total_seconds(),
        came_out_stops=_rounded(one.came_out_stops),
        expected_stops=maybe_span(one.expected_stops, 2),
        off_stops=_rounded(one.off_stops),
        within_range=one.within_range,
        mean_error_zones=_rounded(one.mean_error_zones),
        classes={
            name: PartAnswer(
                name=part.name,
                share=round(part.share, 4),
                stops=span(part.zones, 2),
                predicted_zone=round(part.predicted_zone, 2),
                taken_zone=round(part.taken_zone, 2),
            )
            for name, part in one.classes.items()
        },
        taken_in=one.taken_in,
        known=one.known,
        plan=None if home is None else home.plan,
        entry=entry,
        differences=[
            DifferenceAnswer(
                kit_name=d.kit_name,
                class_name=d.class_name,
                difference_stops=d.difference_stops,
                share=d.share,
                pair_key=d.pair_key,
            )
            for d in (() if home is None else home.differences)
        ],
        says=[text for text in (where_words(one), exposure_words(one), *outcome_words(one)) if text],
    )


def _rounded(value: float | None) -> float | None:
    return None if value is None else round(value, 2)
