"""`irpreview movement`: what wind and shutter do to this picture, from a table or from a clip, in numbers and shown."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from irpreview.cli.common import (
    GradeOption,
    GustOption,
    JsonOption,
    KitOption,
    PhotoArgument,
    ShutterOption,
    TemperatureOption,
    WindOption,
    ZoneOption,
    emit_json,
    fail_usage,
    say,
    shutter_text,
)
from irpreview.core.words import in_words, long_words
from irpreview.core.words.motion_words import print_text, wind_words
from irpreview.records import CLASS_NAMES, CLASS_WORDS, DEFAULT_GRADE, ClipDoubt, ClipDoubtKind, Doubt, ReaderNote

if TYPE_CHECKING:
    from irpreview.core.motion.clip_motion import ClipMotion
    from irpreview.core.motion.rates import Rates
    from irpreview.records import ClassMovement, Conditions, Kit, Movement, Photo, SceneMap

DRAWN_SIDE = 2560
"""Long side of the picture written. [px]"""
MOVING = ("tree", "grass", "water", "cloud", "other")
WATER_KINDS = ("unknown", "pond", "lake", "sea", "stream", "falls")

WindFromOption = Annotated[
    float | None,
    typer.Option("--wind-from", metavar="DEG", help="Where the wind blows from, degrees true: 270 = west."),
]
HeadingOption = Annotated[
    float | None,
    typer.Option("--heading", metavar="DEG", help="Where the camera looks, degrees true; else from the photo."),
]
FocalOption = Annotated[
    float | None,
    typer.Option("--focal", metavar="MM", help="Lens for the picture, 35 mm equivalent; else that of the snap."),
]
DistanceOption = Annotated[
    list[str] | None,
    typer.Option("--distance", metavar="CLASS=M", help="Metres to a class, such as tree=30; may be repeated."),
]
FistOption = Annotated[
    float | None,
    typer.Option("--cloud-fist", metavar="S", help="Seconds a cloud takes to cross a fist at arm's length."),
]
CloudHeightOption = Annotated[float | None, typer.Option("--cloud-height", metavar="M", help="Cloud base, metres.")]
DewPointOption = Annotated[float | None, typer.Option("--dew-point", metavar="C", help="Dew point, degrees Celsius.")]
WaterOption = Annotated[
    str, typer.Option("--water", metavar="KIND", help="What water it is: " + ", ".join(WATER_KINDS) + ".")
]
ClipOption = Annotated[
    list[Path] | None,
    typer.Option(
        "--clip",
        metavar="CLIP",
        help="A 3 to 10 s film of the scene, a folder of stills, or stills one by one; measured instead of guessed.",
    ),
]
ClipFpsOption = Annotated[
    float | None, typer.Option("--clip-fps", metavar="HZ", help="Frames per second where the clip does not tell.")
]
ClipFocalOption = Annotated[
    float | None, typer.Option("--clip-focal", metavar="MM", help="Focal length of the clip, else that of the snap.")
]
CrispOption = Annotated[
    bool, typer.Option("--crisp", help="Hold to two pixels of a large frame instead of to a sharp print.")
]
MaybeOutOption = Annotated[
    Path | None,
    typer.Option("--out", metavar="FOLDER", help="Write the infrared picture as it would look at that shutter."),
]


def register(app: typer.Typer) -> None:
    """Add the command to the application."""

    @app.command("movement")
    def movement(
        photo: PhotoArgument,
        shutter: ShutterOption = None,
        wind: WindOption = None,
        gust: GustOption = None,
        wind_from: WindFromOption = None,
        heading: HeadingOption = None,
        focal: FocalOption = None,
        distance: DistanceOption = None,
        cloud_fist: FistOption = None,
        cloud_height: CloudHeightOption = None,
        temperature: TemperatureOption = None,
        dew_point: DewPointOption = None,
        water: WaterOption = "unknown",
        clip: ClipOption = None,
        clip_fps: ClipFpsOption = None,
        clip_focal: ClipFocalOption = None,
        crisp: CrispOption = False,
        kit: KitOption = None,
        grade: GradeOption = DEFAULT_GRADE,
        zone: ZoneOption = None,
        out: MaybeOutOption = None,
        as_json: JsonOption = False,
    ) -> None:
        """What the wind does to this picture at a shutter time.

        Smear of leaves, grass, water, clouds, people and of the tripod itself, how long each holds and when it flows.
        """
        if shutter is None:
            raise fail_usage("--shutter is missing; give the planned time, such as --shutter 30, 1/30 or 2m30s")
        if water not in WATER_KINDS:
            raise fail_usage(f"--water {water} is not known; one of {', '.join(WATER_KINDS)}")
        from irpreview import session
        from irpreview.core.motion.blur import movement_at
        from irpreview.core.motion.rates import rates_of_motion
        from irpreview.io.kits import load_kit
        from irpreview.io.photos import load_photo
        from irpreview.records import Conditions

        conditions = Conditions(
            wind_m_s=wind,
            gust_m_s=gust,
            wind_from_deg=wind_from,
            temperature_c=temperature,
            dew_point_c=dew_point,
            cloud_height_m=cloud_height,
            cloud_fist_s=cloud_fist,
            distance_m=_distances(distance or []),
            focal_35mm_mm=focal,
            water_kind=water,  # type: ignore[arg-type]
        )
        chosen = load_kit(kit) if kit is not None else session.default_kit()
        snap = load_photo(photo, zone=zone)
        if heading is not None:
            if not 0.0 <= heading <= 360.0:
                raise fail_usage(f"--heading {heading:g} is not a bearing: 0 to 360 degrees true")
            snap = replace(snap, heading_deg=heading % 360.0)
        scene = session.map_scene(snap)
        measured = _measured(clip, clip_fps, clip_focal, snap) if clip else None
        rates = rates_of_motion(scene, chosen, conditions, snap, clip=measured, crisp=crisp)
        moved = movement_at(rates, shutter)
        settings, more = _holding(snap, scene, chosen, conditions, rates, moved)
        files = {"picture": str(_draw(snap, scene, chosen, rates, shutter, out, grade)) if out is not None else None}
        answer = {
            "photo": str(photo),
            **facts_of(moved, rates),
            "settings": settings,
            "clip": _clip_facts(measured),
            "files": files,
            "doubts": [*snap.doubts, *long_words(rates.doubts), *more],
        }
        if as_json:
            emit_json(answer)
        else:
            print(report(photo.name, moved, rates, answer))


def _distances(given: list[str]) -> dict[str, float]:
    distances = {}
    for text in given:
        name, _, metres = text.partition("=")
        name = name.strip().lower().replace(" ", "_")
        if name not in CLASS_NAMES:
            raise fail_usage(f"--distance {text}: {name!r} is no class; one of {', '.join(CLASS_NAMES)}")
        try:
            distances[name] = float(metres)
        except ValueError:
            raise fail_usage(f"--distance {text}: write CLASS=METRES, such as tree=30") from None
    return distances


def _measured(paths: list[Path], fps: float | None, focal: float | None, snap: Photo) -> ClipMotion:
    """The clip measured, its own scene mapped from its first frame."""
    from irpreview import session
    from irpreview.core.imaging.picture_geometry import ASSUMED_FOCAL_35MM_MM, pixels_per_radian
    from irpreview.core.motion.clip_motion import measure_motion
    from irpreview.io.clips import load_clip
    from irpreview.records import Photo

    clip = load_clip(paths if len(paths) > 1 else paths[0], fps=fps)
    scene = session.map_scene(Photo(pixels=clip.first, name=clip.name))
    height, width = clip.frames[0].shape
    lens = focal or clip.shot.focal_35mm_mm or snap.shot.focal_35mm_mm
    px_per_rad = pixels_per_radian(width, height, lens or ASSUMED_FOCAL_35MM_MM)
    measured = measure_motion(clip.frames, clip.fps, scene.label, px_per_rad=px_per_rad, timed=clip.timed)
    doubts: list[Doubt] = [*(ReaderNote(text) for text in clip.doubts), *measured.doubts]
    if focal is None and clip.shot.focal_35mm_mm is None:
        doubts.append(ClipDoubt(ClipDoubtKind.FOCAL_AS_SNAP))
    return replace(measured, doubts=tuple(doubts))


def _class_facts(move: ClassMovement) -> dict[str, Any]:
    return {
        "blur_px": move.blur_px.as_dict(4),
        "share_of_height": move.share_of_height.as_dict(6),
        "print_mm": move.print_mm.as_dict(4),
        "holds_until_s": move.holds_until_s.as_dict(5) if move.holds_until_s is not None else None,
        "flows_from_s": round(move.flows_from_s, 4) if move.flows_from_s is not None else None,
        "parts": {name: part.as_dict(4) for name, part in move.parts.items()},
        "how_known": in_words(move.known).long,
        "core_px": round(move.core_px, 4),
        "halo_px": round(move.halo_px, 4),
    }


def facts_of(moved: Movement, rates: Rates) -> dict[str, Any]:
    """The movement as plain values for JSON."""
    clouds, water = moved.clouds, moved.water
    return {
        "shutter_s": moved.shutter_s,
        "shutter_text": shutter_text(moved.shutter_s),
        "wind": {
            "m_s": rates.wind_m_s.as_dict(2),
            "known": rates.wind_known,
            "gust_m_s": round(rates.gust_m_s, 2),
            "words": wind_words(rates.wind_m_s, rates.wind_known),
        },
        "classes": {name: _class_facts(move) for name, move in moved.classes.items()},
        "tripod": _class_facts(moved.tripod),
        "clouds": None
        if clouds is None
        else {
            "deg_per_s": clouds.deg_per_s.as_dict(5),
            "toward_deg": clouds.toward_deg,
            "image_deg": clouds.image_deg,
            "how_known": in_words(clouds.known).long,
        },
        "water": None if water is None else {"periods": water.periods.as_dict(3), "word": water.word},
        "warnings": list(long_words(moved.notes)),
    }


def _holding(
    snap: Photo, scene: SceneMap, kit: Kit, conditions: Conditions, rates: Rates, moved: Movement
) -> tuple[dict[str, Any] | None, list[str]]:
    """Which ISO and aperture reach the time that holds the plants, and the noise it costs."""
    from irpreview import session
    from irpreview.core.motion.blur import holding_settings
    from irpreview.errors import IrpreviewError

    held = [
        (move.holds_until_s.likely, name)
        for name, move in moved.classes.items()
        if name in ("tree", "grass") and move.holds_until_s is not None
    ]
    if not held:
        return None, []
    time, name = min(held)
    try:
        exposure = session.expose(snap, scene, kit, None, conditions, motion=rates)
    except IrpreviewError as error:
        return None, [f"which settings hold the {CLASS_WORDS[name]} could not be told: {error}"]
    ev, factor = exposure.metered_ev100, exposure.factor_stops
    rows = holding_settings(kit, ev.likely, factor.likely, time, conditions.temperature_c or 20.0)
    return {
        "holds": name,
        "shutter_s": round(time, 5),
        "shutter_text": shutter_text(time),
        "ev100": ev.as_dict(2),
        "metered_by": in_words(exposure.metered_by).long,
        "factor_stops": factor.as_dict(2),
        "choices": [
            {
                "f_number": row.f_number,
                "iso": round(row.iso),
                "shutter_s": round(row.shutter_s, 5),
                "snr": round(row.snr, 1),
                "noise": row.noise,
                "reaches": row.reaches,
            }
            for row in rows
        ],
    }, []


def _clip_facts(measured: ClipMotion | None) -> dict[str, Any] | None:
    if measured is None:
        return None
    return {
        "length_s": round(measured.length_s, 2),
        "fps": round(measured.fps, 3),
        "shake_px": round(measured.shake_px, 3),
        "residual_px": round(measured.residual_px, 3) if math.isfinite(measured.residual_px) else None,
        "classes": {
            name: {
                "amplitude_px": c.amplitude_px.as_dict(3),
                "extent_90_px": round(c.extent_90_px, 3),
                "frequency_hz": c.frequency_hz.as_dict(3),
                "direction_deg": round(c.direction_deg, 1),
                "too_fast": c.aliased,
                "method": c.method,
            }
            for name, c in measured.classes.items()
        },
        "cloud_px_per_s": list(measured.cloud_px_per_s) if measured.cloud_px_per_s is not None else None,
        "water_period_s": measured.water_period_s,
        "doubts": list(long_words(measured.doubts)),
    }


def _draw(snap: Photo, scene: SceneMap, kit: Kit, rates: Rates, shutter_s: float, out: Path, grade: float) -> Path:
    """Write the infrared picture in motion, in the snap's own framing."""
    import cv2
    import numpy as np

    from irpreview import session
    from irpreview.core.imaging.picture_geometry import ASSUMED_FOCAL_35MM_MM
    from irpreview.core.motion.blur import in_snap_framing, movement_at
    from irpreview.core.motion.motion_rendering import picture_in_motion
    from irpreview.core.rendering.finishing import finish
    from irpreview.io.pictures import make_folder, write_jpeg

    make_folder(out)
    tones = session.render(snap, scene=scene, kit=kit, grade=grade).tones
    scale = DRAWN_SIDE / max(tones.shape)
    if scale < 1.0:
        size = (round(tones.shape[1] * scale), round(tones.shape[0] * scale))
        tones = np.asarray(cv2.resize(tones, size, interpolation=cv2.INTER_AREA), np.float32)
    moved = movement_at(in_snap_framing(rates), shutter_s)
    focal = snap.shot.focal_35mm_mm or ASSUMED_FOCAL_35MM_MM
    drawn = picture_in_motion(tones, scene, moved, focal_35mm_mm=focal)
    time = shutter_text(shutter_s).replace("/", "-").replace(" ", "")
    return write_jpeg(
        out / f"{Path(snap.name).stem}-infrared-{time}.jpg", finish(np.sqrt(np.maximum(drawn, 0.0)), grade=grade)
    )


def report(name: str, moved: Movement, rates: Rates, answer: dict[str, Any]) -> str:
    """The movement in words for a person."""
    lines = [f"{name} at {shutter_text(moved.shutter_s)}; {wind_words(rates.wind_m_s, rates.wind_known)}"]
    for key, move in moved.classes.items():
        word = "people and boats" if key == "other" else CLASS_WORDS[key]
        lines.append(f"  {word:18s}{_line(move)}")
    lines.append(f"  {'tripod':18s}{_line(moved.tripod)}")
    lines += [f"  {text}" for text in long_words(moved.notes)]
    settings = answer["settings"]
    if settings is not None:
        word = CLASS_WORDS[settings["holds"]]
        lines.append(f"  To hold the {word} ({settings['shutter_text']}):")
        for row in settings["choices"]:
            reach = "" if row["reaches"] else f", only {shutter_text(row['shutter_s'])}"
            lines.append(
                f"    f/{row['f_number']:g} at ISO {row['iso']}{reach}: noise {row['noise']} ({row['snr']:.0f} to 1)"
            )
    if answer["files"]["picture"]:
        lines.append(f"  written: {answer['files']['picture']}")
    for doubt in answer["doubts"]:
        say(f"irpreview: {doubt}")
    return "\n".join(lines)


def _line(move: ClassMovement) -> str:
    from irpreview.core.motion.sway import LONGEST_S

    if move.holds_until_s is None:
        return "still"
    text = print_text(move.print_mm)
    held = move.holds_until_s.likely
    text += "; holds at any time" if held >= LONGEST_S else f"; holds until {shutter_text(held)}"
    if move.flows_from_s is not None:
        text += f", flows from {shutter_text(move.flows_from_s)}"
    return text
