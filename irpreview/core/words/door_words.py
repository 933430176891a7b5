"""What a way of asking adds to an answer, and what the field log's lessons leave open, in words."""

from __future__ import annotations

from irpreview.core.words.saying import both, in_words
from irpreview.records import DoorDoubt, DoorDoubtKind, LessonDoubt, LessonDoubtKind, Words


@in_words.register
def _(doubt: DoorDoubt) -> Words:
    match doubt.kind:
        case DoorDoubtKind.WIND_ASSUMED:
            return both("wind not given: a gentle breeze is assumed; give --wind")
        case DoorDoubtKind.WIND_NOT_GIVEN:
            return both("wind not given, so the blur of foliage is uncertain; give --wind")
        case DoorDoubtKind.NO_HOLDING_SETTING:
            return both(f"no setting for sharp {doubt.text}")
        case _:
            return both(f"judged in its own light, not in the planned one: {doubt.text}")


@in_words.register
def _(doubt: LessonDoubt) -> Words:
    match doubt.kind:
        case LessonDoubtKind.SUN_HEIGHT_UNKNOWN:
            return both(
                "how high the sun will stand is not known (--place and --when, or the snap's own time and place): what "
                "the field log says of a low sun is left out"
            )
        case LessonDoubtKind.FACTOR_STEPPED:
            return both(f"the field log shows a step of {doubt.value:+.1f} stops: only frames since then count")
        case LessonDoubtKind.LENS_NOT_SAID:
            return both(
                f"which lens is in use was not said (--lens, or its name in the kit): apertures from f/{doubt.value:g} "
                "on are avoided because one of yours shows a hot spot there"
            )
        case _:
            return both(f"the field log was not used: {doubt.text}")
