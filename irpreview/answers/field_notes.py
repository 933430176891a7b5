"""What a field page hands back: the frames that were tapped and what was written, as the log takes it in."""

from __future__ import annotations

from datetime import date, datetime
from typing import Annotated, Literal

from pydantic import Field, model_validator

from irpreview.answers.base import Answer, Whole
from irpreview.core.field_log.entries import CAME_OUT_LIMIT_STOPS, TEXT_LIMIT, LogEntry
from irpreview.records import Place

MOST_NOTES = 250
Letters = Annotated[str, Field(pattern=r"^[0-9a-f]{32}$")]
Short = Annotated[str, Field(max_length=200)]
IsoValue = Annotated[float, Field(ge=1, le=1e7)]
FNumber = Annotated[float, Field(ge=0.5, le=128)]
ShutterS = Annotated[float, Field(ge=1 / 32000, le=86400)]


class FieldNote(Answer):
    """One frame that was tapped as right or timed, or the words written on a place (`plan`)."""

    uid: Letters
    """Tells this note from all others, so that none is taken in twice."""
    kind: Literal["test", "frame", "plan"]
    title: Short
    snap_name: Short
    snap_sha256: Annotated[str, Field(pattern=r"^([0-9a-f]{64})?$")]
    kit_name: Annotated[str, Field(min_length=1, max_length=200)]
    kit_key: Annotated[str, Field(pattern=r"^([0-9a-f]{12})?$")]
    planned_iso: IsoValue | None
    planned_f_number: FNumber | None
    planned_shutter_s: ShutterS | None
    metered_ev100: Annotated[float, Field(ge=-12, le=24)] | None
    latitude_deg: Annotated[float, Field(ge=-90, le=90)] | None
    longitude_deg: Annotated[float, Field(ge=-180, le=180)] | None
    iso: IsoValue | None
    f_number: FNumber | None
    shutter_s: ShutterS | None
    came_out_stops: Annotated[float, Field(ge=-CAME_OUT_LIMIT_STOPS, le=CAME_OUT_LIMIT_STOPS)] | None
    """How much brighter (+) than the meter's middle grey."""
    outcome: Literal["unknown", "good", "thin", "dense"]
    taken_on: date | None
    taken_at: datetime | None
    """With its offset; only where the file holds the place."""
    notes: Annotated[str, Field(max_length=TEXT_LIMIT)]

    @model_validator(mode="after")
    def _fits(self) -> FieldNote:
        if (self.latitude_deg is None) != (self.longitude_deg is None):
            raise ValueError("latitude_deg and longitude_deg go together")
        if self.kind != "plan" and None in (self.iso, self.f_number, self.shutter_s):
            raise ValueError("a frame needs iso, f_number and shutter_s")
        if self.taken_at is not None and self.taken_at.tzinfo is None:
            raise ValueError("taken_at needs its offset from UTC")
        return self


class FieldNotes(Whole):
    """The file that a field page hands back and `irpreview log bring` reads."""

    kind: Literal["field_notes"] = "field_notes"
    page: Annotated[str, Field(pattern=r"^[0-9a-f]{16}$")]
    version: Short
    frames: Annotated[list[FieldNote], Field(max_length=MOST_NOTES)]

    @model_validator(mode="after")
    def _each_once(self) -> FieldNotes:
        if len({one.uid for one in self.frames}) < len(self.frames):
            raise ValueError("two notes have the same uid")
        return self


def entry_of_note(note: FieldNote) -> LogEntry:
    """The note as a line of the log."""
    place = None
    if note.latitude_deg is not None and note.longitude_deg is not None:
        place = Place(note.latitude_deg, note.longitude_deg)
    kind = {"test": "test frame, tapped as right outdoors", "frame": "timed outdoors", "plan": ""}[note.kind]
    return LogEntry(
        kit_name=note.kit_name,
        kit_key=note.kit_key,
        taken_at=note.taken_at,
        taken_on=note.taken_on,
        place=place,
        snap_path=note.snap_name or None,
        snap_sha256=note.snap_sha256 or None,
        planned_iso=note.planned_iso,
        planned_f_number=note.planned_f_number,
        planned_shutter_s=note.planned_shutter_s,
        iso=note.iso,
        f_number=note.f_number,
        shutter_s=note.shutter_s,
        metered_ev100=note.metered_ev100,
        came_out_stops=note.came_out_stops,
        outcome=note.outcome,
        notes="; ".join(part for part in (note.title, kind, note.notes) if part)[:TEXT_LIMIT],
        uid=note.uid,
    )
