"""What the page says of the field log: entries, what was learned, a comparison, as plain facts for its templates."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from typing import Any

from irpreview.core.field_log.comparison import Comparison, Correction, CorrectionCheck
from irpreview.core.field_log.entries import OUTCOME_WORDS, LogEntry
from irpreview.core.field_log.learning import Learned
from irpreview.core.units import shutter_text
from irpreview.core.words.field_log_words import check_words, comparison_words, learned_words
from irpreview.core.words.phrases import sentence
from irpreview.records import CLASS_WORDS, Kit, Range
from irpreview.web.answer import Table

MOST_SHOWN = 30


def compared(result: Comparison, name: str) -> dict[str, Any]:
    """Where a frame differs from the prediction."""
    rows = tuple(
        (
            part.name,
            f"{part.predicted_zone:.1f}",
            f"{part.taken_zone:.1f}",
            f"{part.zones.likely:+.1f} ({part.zones.low:+.1f} to {part.zones.high:+.1f})",
        )
        for part in (*result.classes.values(), *result.layers)
    )
    table = Table("Every part", ("What", "Zone predicted", "Zone taken", "Difference, zones"), rows)
    return {"file": name, "said": [sentence(text) for text in comparison_words(result)], "table": table}


def learned(
    kit: Kit, found: Learned, own: Mapping[str, Correction], check: CorrectionCheck | None, uses: tuple[bool, bool]
) -> dict[str, Any]:
    """The factor and the correction of one kit, from how many frames, and the switches."""
    lines = [sentence(text) for text in learned_words("this kit", found)]
    if not found.frames:
        lines.insert(0, f"Filter factor: {_stops(found.factor_stops)}, from the physics alone.")
    rows = tuple(
        (
            CLASS_WORDS[name],
            f"{_signed(one.stops.likely)} ({_signed(one.stops.low)} to {_signed(one.stops.high)})",
            str(one.pairs),
        )
        for name, one in own.items()
    )
    table = Table("Your correction", ("What", "Brighter than predicted, stops", "Frames"), rows)
    told = (
        sentence(check_words(check))
        if check is not None
        else "Fewer than three pairs: whether it helps is not known yet."
    )
    return {"kit": kit.words, "lines": lines, "table": table, "told": told, "uses": uses}


def _signed(stops: float) -> str:
    return f"{round(stops, 1) + 0.0:+.1f}"


def _stops(value: Range) -> str:
    return f"{value.likely:.1f} stops ({value.low:.1f} to {value.high:.1f})"


def entries(found: Sequence[LogEntry], total: int, asked: bool) -> dict[str, Any]:
    """The entries that answer, newest first, each with what can be done to it."""
    shown = found[:MOST_SHOWN]
    count = f"{len(found)} of {total} entries answer." if asked else f"{total} in the log."
    if not total:
        count = "The log is empty."
    elif not found:
        count = f"None of the {total} entries answers that."
    elif (len(found) if asked else total) > len(shown):
        count += f" The newest {len(shown)} are shown."
    rows = []
    for one in shown:
        head, lines = entry_lines(one)
        fill = "Note what was taken" if one.frame_ev100 is None else "Change"
        rows.append({"id": one.id, "head": head, "lines": lines, "fill": fill, "values": json.dumps(form_values(one))})
    return {"count": count, "rows": rows}


def exposure_words(iso: float | None, f_number: float | None, shutter_s: float | None) -> str:
    """`ISO 200, f/8, 30 s`; what is not known is left out."""
    parts = [
        f"ISO {iso:g}" if iso is not None else "",
        f"f/{f_number:g}" if f_number is not None else "",
        shutter_text(shutter_s) if shutter_s is not None else "",
    ]
    return ", ".join(part for part in parts if part)


def entry_lines(entry: LogEntry) -> tuple[str, list[str]]:
    """Head and lines of one entry, in words."""
    day = f"{entry.day:%-d %B %Y}" if entry.day is not None else "day not known"
    head = f"{entry.id}. {day}" + (f", {entry.place_name}" if entry.place_name else "")
    planned = exposure_words(entry.planned_iso, entry.planned_f_number, entry.planned_shutter_s)
    taken = exposure_words(entry.iso, entry.f_number, entry.shutter_s)
    lines = [f"Planned: {planned}." if planned else "", f"Taken: {taken}." if taken else "No frame noted yet."]
    looked = [OUTCOME_WORDS[entry.outcome]] if entry.outcome != "unknown" else []
    if entry.came_out_stops is not None:
        way = "brighter" if entry.came_out_stops >= 0 else "darker"
        looked.append(f"{abs(entry.came_out_stops):.1f} stops {way} than middle grey")
    if looked:
        lines.append(sentence(", ".join(looked)))
    if entry.raw_factor_stops is not None:
        of = f" of {CLASS_WORDS[entry.subject]}" if entry.subject else ""
        shade = " in open shade" if entry.in_shade else ""
        bound = {"exact": "", "at_most": "at most ", "at_least": "at least "}[entry.bound]
        lines.append(f"By itself it says a factor{of}{shade} of {bound}{entry.raw_factor_stops:.1f} stops.")
    lines.append(entry.notes)
    return head, [line for line in lines if line]


def form_values(entry: LogEntry) -> dict[str, Any]:
    """An entry as the form's fields hold it."""
    taken = exposure_words(entry.iso, entry.f_number, None).replace(",", "")
    if entry.shutter_s is not None:
        taken = f"{taken} {shutter_text(entry.shutter_s)}".strip()
    return {
        "taken": taken,
        "outcome": entry.outcome,
        "came_out_stops": "" if entry.came_out_stops is None else f"{entry.came_out_stops:g}",
        "subject": entry.subject or "",
        "place_name": entry.place_name or "",
        "taken_on": entry.day.isoformat() if entry.day is not None else "",
        "notes": entry.notes,
        "in_shade": entry.in_shade,
    }
