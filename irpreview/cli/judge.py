"""`irpreview judge`: will the layers hold apart, is there enough in the sky, what should lead the picture."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from irpreview.cli.common import (
    GradeOption,
    JsonOption,
    KitOption,
    PhotosArgument,
    Refusals,
    ShutterOption,
    WindOption,
    ZoneOption,
    emit_json,
    say,
    shutter_text,
)
from irpreview.core.words.verdict_words import headline, reasons, sentences, short_headline
from irpreview.records import DEFAULT_GRADE

if TYPE_CHECKING:
    from irpreview.records import Exposure, Kit, Photo, Rendering, SceneMap, Sentence, Verdict

FolderOption = Annotated[
    Path | None,
    typer.Option(
        "--out",
        metavar="FOLDER",
        help="Write the infrared picture with layers and edges drawn in, and the map of layers; made if missing.",
    ),
]
SortOption = Annotated[
    bool, typer.Option("--sort", help="Several photos: the one with the most layered contrast first.")
]


def register(app: typer.Typer) -> None:
    """Add the command to the application."""

    @app.command("judge")
    def judge(
        photos: PhotosArgument,
        wind: WindOption = None,
        shutter: ShutterOption = None,
        kit: KitOption = None,
        grade: GradeOption = DEFAULT_GRADE,
        zone: ZoneOption = None,
        out: FolderOption = None,
        sort: SortOption = False,
        as_json: JsonOption = False,
    ) -> None:
        """Will the layers hold apart, is there enough in the sky, what should lead the picture."""
        from irpreview.io.kits import load_kit
        from irpreview.io.photos import load_photo

        chosen = load_kit(kit) if kit is not None else load_kit("unmodified-720")
        refused = Refusals()
        answers: list[tuple[float, dict[str, Any], str]] = []
        for path in photos:
            try:
                photo = load_photo(path, zone=zone)
                judged = _judge(photo, chosen, wind, shutter, grade)
                written = _write(judged, path, out) if out is not None else {}
            except Exception as error:
                refused.add(path, error)
                continue
            answer = facts_of(judged, path, written)
            text = report(judged)
            if sort:
                answers.append((judged.verdict.layered_contrast, answer, text))
            else:
                _put(answer, text, as_json, first=path == photos[0])
        for i, (_, answer, text) in enumerate(sorted(answers, key=lambda a: -a[0])):
            _put(answer, text, as_json, first=i == 0)
        refused.leave()


class Judged:
    """One photo and everything that was said of it."""

    def __init__(
        self,
        photo: Photo,
        scene: SceneMap,
        rendering: Rendering,
        exposure: Exposure | None,
        verdict: Verdict,
        wind_m_s: float | None,
        shutter_s: float | None,
        doubts: tuple[str, ...],
    ) -> None:
        self.photo, self.scene, self.rendering = photo, scene, rendering
        self.exposure, self.verdict = exposure, verdict
        self.wind_m_s, self.shutter_s, self.doubts = wind_m_s, shutter_s, doubts


def _judge(photo: Photo, kit: Kit, wind: float | None, shutter_s: float | None, grade: float) -> Judged:
    from irpreview import session
    from irpreview.records import Conditions

    conditions = Conditions(wind_m_s=wind)
    scene = session.map_scene(photo)
    light = session.light_of(photo)
    rendering = session.render(photo, scene, kit, light, grade=grade)
    doubts = [*photo.doubts, *rendering.doubts]
    exposure: Exposure | None = None
    if shutter_s is None:
        exposure, shutter_s, why = session.planned_shutter(photo, scene, kit, light, conditions, rendering)
        if why:
            doubts.append(f"no shutter time was planned ({why}); give one with --shutter")
    if wind is None:
        doubts.append("wind not given: whether the leaves hold cannot be told well; give --wind")
    verdict = session.judge(
        photo, scene, kit, light, conditions, shutter_s, rendering=rendering, exposure=exposure, grade=grade
    )
    return Judged(photo, scene, rendering, exposure, verdict, wind, shutter_s, tuple(dict.fromkeys(doubts)))


def _sentence(sentence: Sentence) -> dict[str, Any]:
    at = sentence.at_xy
    return {
        "text": sentence.text,
        "evidence": sentence.evidence,
        "x": None if at is None else round(at[0], 3),
        "y": None if at is None else round(at[1], 3),
    }


def facts_of(judged: Judged, path: Path, written: dict[str, str]) -> dict[str, Any]:
    """The verdict as JSON holds it; see data/schemas/judge.json."""
    verdict = judged.verdict
    sky, turns = verdict.sky, verdict.turns_at_wind_m_s
    return {
        "kind": "verdict",
        "photo": str(path),
        "kit": judged.rendering.kit.name,
        "model": judged.scene.model_id,
        "grade": verdict.grade,
        "wind_m_s": judged.wind_m_s,
        "shutter_s": judged.shutter_s,
        "shutter_text": None if judged.shutter_s is None else shutter_text(judged.shutter_s),
        "layers": [
            {
                "index": layer.index,
                "name": layer.name,
                "class": layer.class_name,
                "share": round(layer.share, 4),
                "zone": layer.zone.as_dict(2),
                "visible_zone": round(layer.visible_zone, 2),
                "x": round(layer.centre_xy[0], 3),
                "y": round(layer.centre_xy[1], 3),
            }
            for layer in verdict.layers
        ],
        "separations": [
            {
                "a": separation.a,
                "b": separation.b,
                "zones": round(separation.zones, 3),
                "low": round(separation.low, 3),
                "high": round(separation.high, 3),
                "visible_zones": round(separation.visible_zones, 3),
                "says": separation.says,
                "edge_zones": round(separation.edge_zones, 3),
                "edge_share_separating": round(separation.edge_share_separating, 3),
                "print_step": separation.print_step.as_dict(1),
                "separability": round(separation.separability, 2),
                "x": round(separation.edge_xy[0], 3),
                "y": round(separation.edge_xy[1], 3),
            }
            for separation in verdict.separations
        ],
        "sky": {
            "okta": sky.okta,
            "texture_stops": round(sky.texture_stops, 3),
            "word": sky.word,
            "clear_zone": None if sky.clear_zone is None else sky.clear_zone.as_dict(2),
            "clouds_after_shutter": sky.clouds_after_shutter,
        },
        "lead": {
            "choice": verdict.lead,
            "headline": headline(verdict),
            "short": short_headline(verdict),
            "reasons": [_sentence(s) for s in reasons(verdict)],
            "turns_at_wind_m_s": None if turns is None else turns.as_dict(2),
        },
        "composition": asdict(verdict.composition),
        "layered_contrast": verdict.layered_contrast,
        "layered_contrast_parts": asdict(verdict.layered_contrast_parts),
        "sentences": [_sentence(s) for s in sentences(verdict)],
        "gate": {
            "landscape": verdict.gate.landscape,
            "chance": verdict.gate.chance,
            "reasons": list(verdict.gate.reasons),
        },
        "doubts": list(judged.doubts),
        "files": written,
    }


def report(judged: Judged) -> str:
    """The verdict as a short text."""
    import textwrap

    from irpreview.core.words.lead_words import lead_text

    verdict = judged.verdict
    frame = []
    if judged.shutter_s is not None:
        frame.append(shutter_text(judged.shutter_s))
    frame.append(f"wind {judged.wind_m_s:.1f} m/s" if judged.wind_m_s is not None else "wind not given")
    frame.append(f"grade {verdict.grade:g}")
    lines = [f"{judged.photo.name}: {lead_text(verdict)}  ({judged.rendering.kit.name}, {', '.join(frame)})"]
    for sentence in (*reasons(verdict), *sentences(verdict)):
        lines += textwrap.wrap(sentence.text, 96, initial_indent="  ", subsequent_indent="    ")
    parts = ", ".join(f"{name} {value:.2f}" for name, value in asdict(verdict.layered_contrast_parts).items())
    lines.append(f"  For sorting: layered contrast {verdict.layered_contrast:.0f} of 100 ({parts}).")
    for doubt in judged.doubts:
        lines += textwrap.wrap(f"Doubt: {doubt}.".replace("..", "."), 96, initial_indent="  ", subsequent_indent="    ")
    return "\n".join(lines)


def _put(answer: dict[str, Any], text: str, as_json: bool, first: bool) -> None:
    if as_json:
        emit_json(answer)
        return
    if not first:
        print()
    print(text)


def _write(judged: Judged, path: Path, folder: Path) -> dict[str, str]:
    """Write picture and layer map; returns their paths."""
    from irpreview.core.verdict.verdict_picture import draw_verdict
    from irpreview.io.pictures import make_folder, write_jpeg, write_png

    make_folder(folder)
    picture = folder / f"{path.stem}-verdict.jpg"
    layers = folder / f"{path.stem}-layers.png"
    write_jpeg(picture, draw_verdict(judged.verdict, judged.rendering))
    # one grey value per layer, near to far; 255 = no layer
    write_png(layers, judged.verdict.layer_map.astype("uint8"))
    say(f"wrote {picture} and {layers}")
    return {"picture": str(picture), "layer_map": str(layers)}
