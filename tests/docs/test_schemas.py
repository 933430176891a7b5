"""The published schemas are those of the models: `python -m irpreview.answers.schemas` writes them anew."""

import json

import jsonschema
import pytest

from irpreview.answers.schemas import FOLDER, PUBLISHED, text_of


@pytest.mark.parametrize("name", PUBLISHED)
def test_a_committed_schema_is_what_its_model_says(name: str) -> None:
    text = (FOLDER / f"{name}.json").read_text(encoding="utf-8")
    assert text == text_of(PUBLISHED[name])
    schema = json.loads(text)
    jsonschema.Draft202012Validator.check_schema(schema)
    assert schema["additionalProperties"] is False
    assert "only_if_given" not in text


def test_no_schema_is_without_a_model() -> None:
    assert {path.stem for path in FOLDER.glob("*.json")} == set(PUBLISHED)
