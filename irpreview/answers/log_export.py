"""The field log as the file that it is exported to: frames, lens table, comparisons."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict
from importlib.metadata import version
from typing import Annotated, Any, Literal

from pydantic import Field

from irpreview.answers.base import Answer
from irpreview.core.field_log.entries import CAME_OUT_LIMIT_STOPS, TEXT_LIMIT, SpotRecord, ToneDifference

SCHEMA = "irpreview-log/2"
"""Version 2 holds the lens table and the comparisons too; version 1 had frames alone and is still read."""
Text = Annotated[str, Field(max_length=TEXT_LIMIT)]
Name = Annotated[str, Field(min_length=1, max_length=TEXT_LIMIT)]
Letters = Annotated[str, Field(max_length=64)]
More = Annotated[float, Field(gt=0)]
FocalMm = Annotated[float, Field(ge=1, le=3000)]
Stops = Annotated[float, Field(ge=-CAME_OUT_LIMIT_STOPS, le=CAME_OUT_LIMIT_STOPS)]
Outcome = Literal["unknown", "good", "thin", "dense", "clipped", "blocked", "failed"]
ClassName = Literal["clear_sky", "cloud", "water", "tree", "grass", "structure", "ground", "other", "snow"]


def _text(form: str) -> Any:
    """Text in a form that JSON schema has a name for."""
    return Field(json_schema_extra={"format": form})


class LogFrame(Answer):
    """One frame; null = not known."""

    kit_name: Name
    kit_key: Letters
    taken_at: Annotated[str, _text("date-time")] | None
    taken_on: Annotated[str, _text("date")] | None
    place_name: Text | None
    snap_path: Text | None
    snap_sha256: Text | None
    planned_iso: More | None
    planned_f_number: More | None
    planned_shutter_s: More | None
    frame_path: Text | None
    frame_sha256: Letters | None
    iso: More | None
    f_number: More | None
    shutter_s: More | None
    focal_mm: FocalMm | None
    lens: Text | None
    metered_ev100: float | None
    came_out_stops: Stops | None
    outcome: Outcome
    subject: ClassName | None
    in_shade: bool
    sun_height_deg: Annotated[float, Field(ge=-90, le=90)] | None
    notes: Text
    uid: Letters
    latitude_deg: Annotated[float, Field(ge=-90, le=90)] | None
    longitude_deg: Annotated[float, Field(ge=-180, le=180)] | None
    altitude_m: Annotated[float, Field(ge=-500, le=9000)] | None


class Strength(Answer):
    """Low, likely, high: 5, 50 and 95 %. [stops]"""

    low: float
    likely: float
    high: float


class LogHotSpot(Answer):
    """A row of the lens table."""

    kit_name: Name
    lens: Name
    focal_mm: FocalMm
    f_number: More
    strength_stops: Strength
    radius_share: Annotated[float, Field(ge=0.01, le=2)]
    frames: Annotated[int, Field(ge=1)]


class LogDifference(Answer):
    """Predicted against taken, for one class of one frame."""

    kit_name: Name
    class_name: ClassName
    difference_stops: Stops
    share: Annotated[float, Field(ge=0, le=1)]
    pair_key: Name


class LogExport(Answer):
    """A field log, as `irpreview log export` writes it; numbers in the units that their names end in."""

    schema_name: Literal["irpreview-log/2"] = Field(default="irpreview-log/2", alias="schema")
    version: Literal[2] = 2
    made_by: str
    locations: bool
    """Whether places, folders and times of day are in it."""
    frames: list[LogFrame]
    hot_spots: list[LogHotSpot]
    differences: list[LogDifference]


def log_export(
    frames: Sequence[Mapping[str, Any]],
    spots: Sequence[SpotRecord],
    differences: Sequence[ToneDifference],
    *,
    locations: bool,
) -> LogExport:
    """The whole file; frames: `io.log_exchange.facts_of`. Raises ValidationError for a value that no entry may have."""
    return LogExport(
        made_by=f"irpreview {version('irpreview')}",
        locations=locations,
        frames=[LogFrame.model_validate(fact) for fact in frames],
        hot_spots=[_spot(one) for one in spots],
        differences=[LogDifference.model_validate(asdict(one)) for one in differences],
    )


def _spot(spot: SpotRecord) -> LogHotSpot:
    facts = asdict(spot)
    del facts["id"]
    return LogHotSpot.model_validate(facts | {"strength_stops": spot.strength_stops.as_dict(6)})
