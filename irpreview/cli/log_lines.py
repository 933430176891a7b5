"""A frame of the field log on one line, and as JSON."""

from __future__ import annotations

from typing import Any

from irpreview.answers.field_log import log_frame_answer
from irpreview.core.field_log.entries import OUTCOME_WORDS, LogEntry
from irpreview.core.units import shutter_text
from irpreview.io.log_exchange import facts_of


def entry_facts(entry: LogEntry) -> dict[str, Any]:
    """A frame as JSON holds it; on one's own screen places are shown."""
    return log_frame_answer(entry.id, facts_of(entry, locations=True), entry.raw_factor_stops).as_json()


def line_of(entry: LogEntry) -> str:
    """A frame on one line."""

    def exposure(iso: float | None, f_number: float | None, shutter_s: float | None) -> str:
        parts = (
            f"ISO {iso:g}" if iso else "",
            f"f/{f_number:g}" if f_number else "",
            shutter_text(shutter_s) if shutter_s else "",
        )
        return " ".join(p for p in parts if p)

    taken = exposure(entry.iso, entry.f_number, entry.shutter_s)
    if not taken:
        planned = exposure(entry.planned_iso, entry.planned_f_number, entry.planned_shutter_s)
        taken = f"planned {planned}" if planned else ""
    bound = {"exact": "", "at_most": "at most ", "at_least": "at least "}[entry.bound]
    came = "" if entry.came_out_stops is None else f"{entry.came_out_stops:+.1f} stops"
    raw = "" if entry.raw_factor_stops is None else f"says {bound}{entry.raw_factor_stops:.1f} stops"
    parts = [
        f"{entry.id:>5}",
        entry.day.isoformat() if entry.day else "no date   ",
        entry.kit_name,
        taken,
        came or OUTCOME_WORDS[entry.outcome],
        raw,
        entry.place_name or "",
        "open shade" if entry.in_shade else "",
        entry.subject or "",
    ]
    return "  ".join(p for p in parts if p)
