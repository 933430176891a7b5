"""What is done with a frame brought home: plan written down, frame noted beside it, both compared.

What the log, the registration and the comparison do lies below; here they are put together for the page and the
command line alike.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from types import MappingProxyType
from typing import Any

from irpreview.analysis import Analysis
from irpreview.core.exposure.metering import from_snap
from irpreview.core.field_log.comparison import Comparison, compare, differences_of
from irpreview.core.field_log.entries import LogEntry, ToneDifference, kit_key
from irpreview.core.imaging.registration import register
from irpreview.core.imaging.srgb import luminance
from irpreview.core.verdict.layers import at_photo_size
from irpreview.errors import BadValue
from irpreview.io.field_log import FieldLog
from irpreview.io.log_entry_files import entry_from_files, linear_frame
from irpreview.records import Kit, Setting

FRAME_FACTS = (
    *("iso", "f_number", "shutter_s", "focal_mm", "taken_at", "taken_on"),
    *("came_out_stops", "outcome", "frame_sha256"),
)
"""What the file of a frame may say of it."""


def facts_of_snap(analysis: Analysis) -> dict[str, Any]:
    """What a log entry takes from the snap: where, when, metered light, height of the sun, the snap's name."""
    photo, light = analysis.photo, analysis.light
    facts: dict[str, Any] = {"snap_path": photo.name, "snap_sha256": photo.content_sha256, "place": photo.place}
    if photo.taken_at is not None:
        facts["taken_at"] = photo.taken_at
    elif photo.taken_at_naive is not None:
        facts["taken_on"] = photo.taken_at_naive.date()
    metering = from_snap(photo)
    if metering is not None:
        facts["metered_ev100"] = round(metering.ev100.likely, 3)
    if light.sun_bearing_deg is not None:
        facts["sun_height_deg"] = round(light.sun_height_deg, 1)
    return facts


def plan_of(analysis: Analysis, place_name: str = "", notes: str = "", setting: Setting | None = None) -> LogEntry:
    """A setting, else the recommended one, as a log entry without a frame yet. Raises BadValue where there is none."""
    why = analysis.why_no_exposure
    best = setting or (analysis.exposure.recommended if why is None else None)
    if best is None:
        raise BadValue("there is no setting to write down: " + (str(why) if why is not None else "no light is known"))
    return LogEntry(
        kit_name=analysis.kit.name,
        kit_key=kit_key(analysis.kit),
        planned_iso=best.iso,
        planned_f_number=best.f_number,
        planned_shutter_s=best.shutter_s.likely,
        place_name=place_name or None,
        notes=notes,
        **facts_of_snap(analysis),
    )


def note_frame(
    log: FieldLog,
    kit: Kit,
    typed: Mapping[str, Any],
    *,
    frame: Path | None = None,
    number: int | None = None,
    analysis: Analysis | None = None,
    zone: str | None = None,
) -> LogEntry:
    """Put a frame in the log, or write it beside the plan of that number; returns the entry as it is now.

    typed: fields of LogEntry, which go before what the frame's file says, which goes before what the snap of `analysis`
    says. Raises BadPhoto, BadValue, BadLog.
    """
    read = entry_from_files(kit.name, kit_key(kit), frame, None, typed, zone)
    from_file = {name: getattr(read, name) for name in FRAME_FACTS if getattr(read, name) not in (None, "unknown")}
    if frame is not None:
        from_file["frame_path"] = frame.name  # the page's copy goes away; the name is what can be found again
    if number is not None:
        if {"taken_at", "taken_on"} & typed.keys():
            from_file = {"taken_at": None, "taken_on": None, **from_file}
        return log.edit(number, **{**from_file, **typed})
    if frame is None and read.frame_ev100 is None and not {"iso", "f_number", "shutter_s"} & typed.keys():
        raise BadValue('say what was taken, such as "30s f/8 ISO 200", or give the file of the frame')
    facts = facts_of_snap(analysis) if analysis is not None else {}
    if {"taken_at", "taken_on"} & from_file.keys():
        facts = {name: value for name, value in facts.items() if name not in ("taken_at", "taken_on")}
    entry = LogEntry(kit_name=kit.name, kit_key=kit_key(kit), **{**facts, **from_file, **typed})
    return log.entry(log.add(entry))


def compare_frame(analysis: Analysis, frame: Path) -> tuple[Comparison, tuple[ToneDifference, ...]]:
    """The prediction for a snap checked against the infrared frame, and what the log may keep of it.

    Raises BadPhoto, and BadPair where the frame cannot be laid on the snap.
    """
    taken, name = linear_frame(frame)
    plain = without_lessons(analysis)
    photo, rendering, verdict = plain.photo, plain.rendering, plain.verdict
    placed = register(luminance(photo.pixels), taken)
    layer_map = at_photo_size(verdict.layer_map, photo.height, photo.width)
    result = compare(rendering.tones, plain.scene.label, taken, placed, verdict.layers, layer_map)
    return result, differences_of(result, plain.kit.name, f"{photo.content_sha256[:16]}:{name}")


def without_lessons(analysis: Analysis) -> Analysis:
    """The analysis without what was learned before, which must not hide what a frame teaches."""
    kit = replace(analysis.kit, class_correction_stops=MappingProxyType({}))
    return analysis.with_(kit=kit, lessons=None)
