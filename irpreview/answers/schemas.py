"""The published schemas, made from the models: `python -m irpreview.answers.schemas` writes them anew."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from irpreview.answers.base import Whole
from irpreview.answers.card import CardAnswer
from irpreview.answers.exposure import ExposureAnswer
from irpreview.answers.framing import FrameAnswer
from irpreview.answers.home import HomeAnswer
from irpreview.answers.movement import MoveAnswer
from irpreview.answers.picture import RenderAnswer
from irpreview.answers.verdict import JudgeAnswer

FOLDER = Path(__file__).parents[1] / "data" / "schemas"
PUBLISHED: dict[str, type[Whole]] = {
    "card": CardAnswer,
    "expose": ExposureAnswer,
    "frame": FrameAnswer,
    "homecoming": HomeAnswer,
    "judge": JudgeAnswer,
    "movement": MoveAnswer,
    "render": RenderAnswer,
}
"""Name of the file -> the model it is made from."""


def schema_of(model: type[Whole]) -> dict[str, Any]:
    """The JSON schema of what a model gives out: every field is there."""
    schema = model.model_json_schema(mode="validation")
    told = {"$schema": "https://json-schema.org/draft/2020-12/schema", **schema}
    for part in (told, *told.get("$defs", {}).values()):
        if "properties" in part:
            part["required"] = sorted(part["properties"])
    return told


def text_of(model: type[Whole]) -> str:
    """The same as the file holds it."""
    return json.dumps(schema_of(model), indent=2, ensure_ascii=False) + "\n"


def main() -> None:
    """Write all schemas."""
    for name, model in PUBLISHED.items():
        (FOLDER / f"{name}.json").write_text(text_of(model), encoding="utf-8")


if __name__ == "__main__":
    main()
