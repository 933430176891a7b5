"""What all answers share: the schema's name, ranges, what is put in front of each answer."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, SerializerFunctionWrapHandler, ValidationError, model_serializer

from irpreview.core.light.coarse_sun import coarse_light
from irpreview.core.units import shutter_text
from irpreview.core.words import in_words
from irpreview.records import Range

if TYPE_CHECKING:
    from irpreview.analysis import Analysis

SCHEMA = "irpreview/1"


def finite(value: Any) -> Any:
    """The value as JSON can hold it: not-a-number and infinite as null."""
    if isinstance(value, dict):
        return {key: finite(part) for key, part in value.items()}
    if isinstance(value, (list, tuple)):
        return [finite(part) for part in value]
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value


def first_fault(error: ValidationError) -> str:
    """Which field of a model is wrong, and how; nothing of the value, which may be anybody's text."""
    first = error.errors(include_url=False, include_context=False, include_input=False)[0]
    where = ".".join(str(part) for part in first["loc"])
    said = " ".join(str(first["msg"]).split())[:120]
    return f"{where}: {said}" if where else said


def only_if_given() -> Any:
    """For a field that goes out only where it was given, be it as null."""
    return Field(default=None, json_schema_extra={"only_if_given": True})


class Answer(BaseModel):
    """A part of an answer. Nothing but what its fields name goes in; not-a-number goes out as null."""

    model_config = ConfigDict(extra="forbid", frozen=True, populate_by_name=True)

    @model_serializer(mode="wrap")
    def _finite(self, handler: SerializerFunctionWrapHandler) -> dict[str, Any]:
        told: dict[str, Any] = finite(handler(self))
        for name, field in type(self).model_fields.items():
            if field.json_schema_extra == {"only_if_given": True} and name not in self.model_fields_set:
                del told[name]
        return told

    def as_json(self) -> dict[str, Any]:
        """Plain values."""
        told: dict[str, Any] = self.model_dump(mode="json", by_alias=True)
        return told


class Span(Answer):
    """Low, likely, high: 5, 50 and 95 %; null = without end."""

    low: float | None
    likely: float | None
    high: float | None


def span(value: Range, digits: int) -> Span:
    """A range, rounded."""
    low, likely, high = (round(v, digits) if math.isfinite(v) else None for v in (value.low, value.likely, value.high))
    return Span(low=low, likely=likely, high=high)


def maybe_span(value: Range | None, digits: int) -> Span | None:
    """The same of what may not be known."""
    return None if value is None else span(value, digits)


class Asked(Answer):
    """For which request an answer holds; the same in every answer to one request."""

    kit: str
    log_used: bool
    """Whether what the field log taught changed the kit."""
    model: str
    light: str
    planned: bool
    sun_height_deg: float
    """In steps of 5 degrees where it comes from place and time, which it would lead back to."""
    grade: float
    wind_m_s: float | None
    shutter_s: float
    """The time that movement and verdict are told for; exact."""
    shutter_text: str


def asked_of(analysis: Analysis) -> Asked:
    """What stands in front of each answer."""
    light = coarse_light(analysis.light, analysis.photo.heading_deg)
    return Asked(
        kit=analysis.kit.name,
        log_used=analysis.lessons_used,
        model=analysis.scene.model_id,
        light=in_words(light).long,
        planned=light.planned,
        sun_height_deg=round(light.sun_height_deg, 1),
        grade=analysis.request.grade,
        wind_m_s=analysis.request.conditions.wind_m_s,
        shutter_s=analysis.shutter_s,
        shutter_text=shutter_text(analysis.shutter_s),
    )


class Whole(Answer):
    """One answer on one line."""

    schema_name: Literal["irpreview/1"] = Field(default="irpreview/1", alias="schema")
