"""The notes that a field page hands back, read and put in the log: each once, all or none."""

from __future__ import annotations

from pathlib import Path

from pydantic import ValidationError

from irpreview.answers.base import first_fault
from irpreview.answers.field_notes import FieldNotes, entry_of_note
from irpreview.core.field_log.entries import LogEntry, check_entry
from irpreview.core.units import how_many
from irpreview.errors import BadLog, IrpreviewError
from irpreview.io.field_log import FieldLog
from irpreview.io.ordinary_file import Wanted, read_bytes

_ASK = "hand the notes back from the field page again"
_WANTED = Wanted(BadLog, "the file of notes", "name the file that the field page handed back", 1_000_000, _ASK)


def read_field_notes(path: Path | str) -> FieldNotes:
    """The notes in a file. Raises BadLog with one line for a file that is none, is damaged or too large."""
    path = Path(path)
    data = read_bytes(path, _WANTED)
    try:
        return FieldNotes.model_validate_json(data)
    except (ValidationError, RecursionError) as error:
        fault = first_fault(error) if isinstance(error, ValidationError) else "it is nested too deep"
        raise BadLog(f"{path.name} holds no whole field notes ({fault}); {_ASK}") from None


def bring(log: FieldLog, path: Path | str) -> tuple[tuple[LogEntry, ...], int]:
    """Put the notes of a file in the log as one change; returns (those that were new, how many were there already).

    Raises BadLog. What the log holds of a note already stays as it is there.
    """
    notes = read_field_notes(path)
    new: list[LogEntry] = []
    for number, note in enumerate(notes.frames, 1):
        if log.has_uid(note.uid):
            continue
        try:
            new.append(check_entry(entry_of_note(note)))
        except IrpreviewError as error:
            raise BadLog(f"{Path(path).name}, note {number}: {error}; nothing was taken in") from None
    if new:
        count = how_many(len(new), "note")
        log.take_in(new, words=f"brought {count} from {Path(path).name}")
    return tuple(new), len(notes.frames) - len(new)
