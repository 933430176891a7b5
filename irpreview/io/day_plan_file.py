"""A day plan that was written as JSON, read back for the field page."""

from __future__ import annotations

from pathlib import Path

from pydantic import ValidationError

from irpreview.answers.day_plan import DayPlanAnswer
from irpreview.core.field_page import DayLine, FieldDay
from irpreview.core.words.phrases import sentence
from irpreview.errors import BadValue
from irpreview.io.ordinary_file import Wanted, read_bytes

_ASK = "make it with `irpreview day-plan ... --json > day.json`"
_WANTED = Wanted(BadValue, "the day plan", _ASK, 1_000_000, f"a day plan has about 0.02 MB; {_ASK}")


def read_field_day(path: Path | str, *, with_place: bool) -> FieldDay:
    """The day in a file of `day-plan --json`. with_place: whether it may hold the location.

    Raises BadValue with one line for a file that is none, or that holds a location that was not asked for.
    """
    path = Path(path)
    data = read_bytes(path, _WANTED)
    try:
        plan = DayPlanAnswer.model_validate_json(data)
    except (ValidationError, RecursionError):
        raise BadValue(f"{path.name} holds no whole day plan; {_ASK}") from None
    holds_place = plan.sun_says is not None or any(stay.place is not None for stay in plan.stays)
    if holds_place and not with_place:
        raise BadValue(
            f"{path.name} holds the location; put it in with --with-place, or make the plan anew without --with-place"
        )
    more = [one.says for one in plan.left_out] + [one.says for one in plan.doubts] + [one.says for one in plan.cautions]
    lines = tuple(DayLine(stay.span, stay.name, stay.details) for stay in plan.stays)
    return FieldDay(plan.says, lines, tuple(map(sentence, more)))
