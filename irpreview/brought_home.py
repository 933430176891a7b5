"""What is done with a frame brought home: plan written down, frame noted beside it, both compared.

What the log, the registration and the comparison do lies below; here they are put together for the page and the
command line alike.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

from irpreview import session
from irpreview.core.field_log.entries import LogEntry, ToneDifference, kit_key
from irpreview.errors import BadValue
from irpreview.records import Kit, Light, Photo, SceneMap

if TYPE_CHECKING:
    from irpreview.core.field_log.comparison import Comparison
    from irpreview.io.field_log import FieldLog
    from irpreview.study import Study

FRAME_FACTS = ("iso", "f_number", "shutter_s", "focal_mm", "taken_at", "taken_on", "came_out_stops", "outcome")
"""What the file of a frame may say of it."""


def facts_of_study(study: Study) -> dict[str, Any]:
    """What a log entry takes from the snap: where, when, metered light, height of the sun, the snap's name."""
    from irpreview.core.exposure.metering import from_snap

    photo = study.photo
    facts: dict[str, Any] = {"snap_path": photo.name, "snap_sha256": photo.content_sha256, "place": photo.place}
    if photo.taken_at is not None:
        facts["taken_at"] = photo.taken_at
    elif photo.taken_at_naive is not None:
        facts["taken_on"] = photo.taken_at_naive.date()
    metering = from_snap(photo)
    if metering is not None:
        facts["metered_ev100"] = round(metering.ev100.likely, 3)
    if study.light.sun_bearing_deg is not None:
        facts["sun_height_deg"] = round(study.light.sun_height_deg, 1)
    return facts


def plan_of(study: Study, place_name: str = "", notes: str = "") -> LogEntry:
    """The recommended setting as a log entry without a frame yet. Raises BadValue where there is no setting."""
    best = study.exposure.recommended if study.exposure is not None else None
    if best is None:
        raise BadValue(
            "there is no setting to write down: " + (study.sorry[-1] if study.sorry else "no light is known")
        )
    return LogEntry(
        kit_name=study.kit.name,
        kit_key=kit_key(study.kit),
        planned_iso=best.iso,
        planned_f_number=best.f_number,
        planned_shutter_s=best.shutter_s.likely,
        place_name=place_name or None,
        notes=notes,
        **facts_of_study(study),
    )


def note_frame(
    log: FieldLog,
    kit: Kit,
    typed: Mapping[str, Any],
    *,
    frame: Path | None = None,
    number: int | None = None,
    study: Study | None = None,
    zone: str | None = None,
) -> LogEntry:
    """Put a frame in the log, or write it beside the plan of that number; returns the entry as it is now.

    typed: fields of LogEntry, which go before what the frame's file says, which goes before what the snap of `study`
    says. Raises BadPhoto, BadValue, BadLog.
    """
    from irpreview.io.log_entry_files import entry_from_files

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
    facts = facts_of_study(study) if study is not None else {}
    if {"taken_at", "taken_on"} & from_file.keys():
        facts = {name: value for name, value in facts.items() if name not in ("taken_at", "taken_on")}
    entry = LogEntry(kit_name=kit.name, kit_key=kit_key(kit), **{**facts, **from_file, **typed})
    return log.entry(log.add(entry))


def compare_frame(
    photo: Photo, frame: Path, kit: Kit, scene: SceneMap | None = None, light: Light | None = None
) -> tuple[Comparison, tuple[ToneDifference, ...]]:
    """The prediction for a snap checked against the infrared frame, and what the log may keep of it.

    Raises BadPhoto, and BadPair where the frame cannot be laid on the snap.
    """
    from irpreview.core.field_log.comparison import compare, differences_of
    from irpreview.core.imaging.registration import register
    from irpreview.core.verdict.layers import at_photo_size, linear_luminance
    from irpreview.io.log_entry_files import linear_frame

    taken, name = linear_frame(frame)
    placed = register(linear_luminance(photo.pixels), taken)
    # what was learned before must not hide what this frame teaches
    plain = replace(kit, class_correction_stops=MappingProxyType({}))
    scene = scene or session.map_scene(photo)
    rendering = session.render(photo, scene, plain, light)
    verdict = session.judge(photo, scene, plain, rendering=rendering)
    layer_map = at_photo_size(verdict.layer_map, photo.height, photo.width)
    result = compare(rendering.tones, scene.label, taken, placed, verdict.layers, layer_map)
    return result, differences_of(result, kit.name, f"{photo.content_sha256[:16]}:{name}")
