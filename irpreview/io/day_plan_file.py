"""A day plan that was written as JSON, read back for the field page."""

from __future__ import annotations

from pathlib import Path

from pydantic import ValidationError

from irpreview.answers.day_plan import DayPlanAnswer
from irpreview.core.card.field_tables import full_sentence
from irpreview.core.field_page import DayLine, FieldDay
from irpreview.errors import BadValue

LARGEST_PLAN_MB = 1.0
_ASK = "make it with `irpreview day-plan ... --json > day.json`"


def read_field_day(path: Path | str, *, with_place: bool) -> FieldDay:
    """The day in a file of `day-plan --json`. with_place: whether it may hold the location.

    Raises BadValue with one line for a file that is none, or that holds a location that was not asked for.
    """
    path = Path(path)
    try:
        if path.exists() and not (path.is_file() or path.is_dir()):
            raise BadValue(f"{path} is no ordinary file (a device or a pipe); {_ASK}")
        if path.is_file() and path.stat().st_size > LARGEST_PLAN_MB * 1e6:
            raise BadValue(f"{path} is larger than {LARGEST_PLAN_MB:g} MB, a day plan has about 0.02; {_ASK}")
        data = path.read_bytes()
    except (OSError, ValueError) as error:
        said = getattr(error, "strerror", None) or "its name cannot be read"
        raise BadValue(f"the day plan {path} could not be read ({said}); {_ASK}") from None
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
    return FieldDay(plan.says, lines, tuple(map(full_sentence, more)))
