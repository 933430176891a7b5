"""The published schemas, made from the models: `python -m irpreview.answers.schemas` writes them anew."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from irpreview.answers.base import Answer
from irpreview.answers.calibration import CalibrationAnswer
from irpreview.answers.card import CardAnswer
from irpreview.answers.day_plan import DayPlanAnswer
from irpreview.answers.exposure import ExposureAnswer
from irpreview.answers.field_log import ComparisonAnswer, HotSpotAnswer, LearnedAnswer, LogFrameAnswer
from irpreview.answers.field_notes import FieldNotes
from irpreview.answers.field_page import FieldPageAnswer
from irpreview.answers.framing import FrameAnswer
from irpreview.answers.home import HomeAnswer
from irpreview.answers.kit import KitAnswer
from irpreview.answers.light import LightAnswer
from irpreview.answers.log_export import LogExport
from irpreview.answers.movement import MoveAnswer
from irpreview.answers.picture import RenderAnswer
from irpreview.answers.scouting import ScoutAnswer, ScoutingAnswer
from irpreview.answers.verdict import JudgeAnswer

FOLDER = Path(__file__).parents[1] / "data" / "schemas"
PUBLISHED: dict[str, type[Answer]] = {
    "calibrate": CalibrationAnswer,
    "card": CardAnswer,
    "day-plan": DayPlanAnswer,
    "expose": ExposureAnswer,
    "field_notes": FieldNotes,
    "field_page": FieldPageAnswer,
    "frame": FrameAnswer,
    "homecoming": HomeAnswer,
    "judge": JudgeAnswer,
    "kit": KitAnswer,
    "light": LightAnswer,
    "log": LogExport,
    "log-comparison": ComparisonAnswer,
    "log-frame": LogFrameAnswer,
    "log-hot-spot": HotSpotAnswer,
    "log-learned": LearnedAnswer,
    "movement": MoveAnswer,
    "render": RenderAnswer,
    "scout": ScoutAnswer,
    "scouting": ScoutingAnswer,
}
"""Name of the file -> the model it is made from."""


def schema_of(model: type[Answer]) -> dict[str, Any]:
    """The JSON schema of what a model gives out: every field is there, but for those that go out only if given."""
    schema = model.model_json_schema(mode="validation")
    told = {"$schema": "https://json-schema.org/draft/2020-12/schema", **schema}
    for part in (told, *told.get("$defs", {}).values()):
        if "properties" in part:
            there = [name for name, given in part["properties"].items() if not given.pop("only_if_given", False)]
            part["required"] = sorted(there)
    return told


def text_of(model: type[Answer]) -> str:
    """The same as the file holds it."""
    return json.dumps(schema_of(model), indent=2, ensure_ascii=False) + "\n"


def main() -> None:
    """Write all schemas."""
    for name, model in PUBLISHED.items():
        (FOLDER / f"{name}.json").write_text(text_of(model), encoding="utf-8")


if __name__ == "__main__":
    main()
