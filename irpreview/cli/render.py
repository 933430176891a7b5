"""`irpreview render`: from snaps to their infrared pictures."""

from __future__ import annotations

import time
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from irpreview.cli.common import (
    GradeOption,
    JsonOption,
    KitOption,
    OutOption,
    PhotosArgument,
    PlannedHazeOption,
    PlannedPlaceOption,
    PlannedSunOption,
    PlannedTimeOption,
    Refusals,
    ZoneOption,
    as_option,
    emit_json,
    fail_usage,
    say,
)
from irpreview.core.units import share_text, zone_text, zone_word
from irpreview.core.words.saying import in_words
from irpreview.errors import BadValue
from irpreview.records import CLASS_NAMES, CLASS_WORDS, DEFAULT_GRADE

if TYPE_CHECKING:
    from irpreview.records import Kit, Light, Photo, Place, Rendering, SceneMap

FilmOption = Annotated[
    bool, typer.Option("--film-look", help="Let bright parts glow a little, as on film without a backing.")
]
TonesOption = Annotated[
    Path | None,
    typer.Option(
        "--tones", metavar="FILE", help="Write the linear tones of one photo too, as a 16-bit grey PNG (see --json)."
    ),
]
LabelsOption = Annotated[
    Path | None,
    typer.Option("--labels", metavar="FILE", help="Write the class ids 1 to 9 of one photo too, as an 8-bit grey PNG."),
]
_FLOOR_SHARE = 0.005
"""Classes below this share of the picture are not reported to a person."""


@dataclass(frozen=True)
class Rendered:
    """One photo, what was made of it and where that lies."""

    path: Path
    photo: Photo
    scene: SceneMap
    rendering: Rendering
    doubts: tuple[str, ...]
    files: dict[str, str | None]
    tones_full_scale: float | None
    seconds: float


@dataclass(frozen=True)
class Planned:
    """Another light than the snap's own, as typed; nothing typed = the snap's own."""

    sun_height_deg: float | None = None
    time: str | None = None
    place: Place | None = None
    haze: str | None = None
    zone: str | None = None

    def light_for(self, photo: Photo) -> Light | None:
        """The light to plan with, None for the snap's own. Raises BadValue."""
        from irpreview import session
        from irpreview.core.light.light_plan import parse_moment

        if self.sun_height_deg is None and self.time is None:
            return None
        place, when = self.place or photo.place, None
        if self.time is not None:
            if place is None:
                raise BadValue("--planned-time needs a place to tell the sun by, and the photo has none; give --at")
            when = parse_moment(self.time, self.zone or _offset(photo), place)
        return session.planned_light(photo, sun_height_deg=self.sun_height_deg, when=when, place=place, haze=self.haze)


def _offset(photo: Photo) -> str | None:
    """The photo's own offset from UTC, as a zone."""
    offset = None if photo.taken_at is None else photo.taken_at.utcoffset()
    if offset is None:
        return None
    minutes = round(offset.total_seconds() / 60.0)
    return f"{'-' if minutes < 0 else '+'}{abs(minutes) // 60:02d}:{abs(minutes) % 60:02d}"


def register(app: typer.Typer) -> None:
    """Add the command to the application."""

    @app.command("render")
    def render(
        photos: PhotosArgument,
        out: OutOption = Path(),
        kit: KitOption = None,
        grade: GradeOption = DEFAULT_GRADE,
        film_look: FilmOption = False,
        zone: ZoneOption = None,
        planned_sun: PlannedSunOption = None,
        planned_time: PlannedTimeOption = None,
        at: PlannedPlaceOption = None,
        haze: PlannedHazeOption = None,
        tones: TonesOption = None,
        labels: LabelsOption = None,
        as_json: JsonOption = False,
    ) -> None:
        """Show how daylight snaps will look in black-and-white infrared.

        Writes NAME-infrared.jpg and NAME-classes.png for each photo; NAME-what-if.jpg instead in a planned light.
        """
        if len(photos) > 1 and (tones or labels):
            raise fail_usage(f"--tones and --labels go with one photo, and {len(photos)} were given")
        from irpreview.core.light.light_plan import parse_place
        from irpreview.core.light.planned_light import check_asked
        from irpreview.io.kits import load_kit
        from irpreview.io.pictures import make_folder

        place = None if at is None else as_option(parse_place)(at)
        check_asked(planned_sun, planned_time, place, haze)
        planned = Planned(planned_sun, planned_time, place, haze, zone)
        chosen = load_kit(kit) if kit is not None else None
        make_folder(out)
        refused = Refusals()
        for i, (path, stem) in enumerate(zip(photos, free_stems(photos, out), strict=True)):
            if stem != path.stem:
                say(f"{path}: another photo has the same name, so its pictures are called {stem}-...")
            try:
                done = render_one(
                    path,
                    out,
                    stem,
                    kit=chosen,
                    grade=grade,
                    film_look=film_look,
                    zone=zone,
                    planned=planned,
                    tones=tones,
                    labels=labels,
                )
            except Exception as error:  # one bad photo does not stop the others
                refused.add(path, error)
                continue
            if as_json:
                emit_json(facts_of(done))
            else:
                print(("\n" if i else "") + report(done))
        refused.leave()


def free_stems(photos: Sequence[Path], out: Path) -> list[str]:
    """A name for the pictures of each photo: its own stem, or with a number where two photos would share one.

    Nor may a picture land on one of the photos: `a.jpg` and `a-infrared.jpg` in the folder that is written to.
    """
    inputs = {path.resolve() for path in photos}
    taken: set[str] = set()
    stems = []
    for path in photos:
        stem, number = path.stem, 1
        # case does not tell files apart on every system
        names = (*_names(stem), *_names(stem, planned=True))
        while stem.casefold() in taken or any((out / name).resolve() in inputs for name in names):
            number += 1
            stem = f"{path.stem}-{number}"
            names = (*_names(stem), *_names(stem, planned=True))
        taken.add(stem.casefold())
        stems.append(stem)
    return stems


def _names(stem: str, planned: bool = False) -> tuple[str, str]:
    """Names of the infrared picture and of the classes: a what-if may not pass for the prediction."""
    return f"{stem}-what-if.jpg" if planned else f"{stem}-infrared.jpg", f"{stem}-classes.png"


def render_one(
    path: Path,
    out: Path,
    stem: str,
    *,
    kit: Kit | None = None,
    grade: float = DEFAULT_GRADE,
    film_look: bool = False,
    zone: str | None = None,
    planned: Planned | None = None,
    tones: Path | None = None,
    labels: Path | None = None,
) -> Rendered:
    """Read one photo, predict, and write its pictures into the folder `out`."""
    from irpreview import session
    from irpreview.core.scene.class_picture import class_sheet
    from irpreview.io.photos import load_photo
    from irpreview.io.pictures import write_jpeg, write_labels, write_png, write_tones

    start = time.perf_counter()
    photo = load_photo(path, zone=zone)
    light = planned.light_for(photo) if planned is not None else None
    scene = session.map_scene(photo)
    rendering = session.render(photo, scene, kit, light, grade=grade, film_look=film_look)
    infrared, classes = (out / name for name in _names(stem, rendering.light.planned))
    write_jpeg(infrared, rendering.picture)
    write_png(classes, class_sheet(photo, scene))
    full_scale = write_tones(tones, rendering.tones) if tones is not None else None
    if labels is not None:
        write_labels(labels, scene.label)
    return Rendered(
        path=path,
        photo=photo,
        scene=scene,
        rendering=rendering,
        doubts=tuple(dict.fromkeys((*photo.doubts, *rendering.doubts))),
        files={
            "infrared": str(infrared),
            "classes": str(classes),
            "tones": None if tones is None else str(tones),
            "labels": None if labels is None else str(labels),
        },
        tones_full_scale=full_scale,
        seconds=time.perf_counter() - start,
    )


def facts_of(done: Rendered) -> dict[str, Any]:
    """The answer as JSON holds it; see data/schemas/render.json. Where the photo was taken is not told."""
    photo, rendering = done.photo, done.rendering
    share = done.scene.share()
    return {
        "kind": "rendering",
        "photo": str(done.path),
        "sha256": photo.content_sha256,
        "width": photo.width,
        "height": photo.height,
        "taken_at": None if photo.taken_at is None else photo.taken_at.isoformat(),
        "kit": rendering.kit.name,
        "light": in_words(rendering.light).long,
        "planned": rendering.light.planned,
        "sun_height_deg": round(rendering.light.sun_height_deg, 1),
        "model": done.scene.model_id,
        "shares": {name: round(share[name], 4) for name in CLASS_NAMES},
        "zones": {
            name: rendering.classes[name].zone.as_dict(2) if name in rendering.classes and share[name] > 0 else None
            for name in CLASS_NAMES
        },
        "confidence": round(float(done.scene.confidence.mean()), 3),
        "doubts": list(done.doubts),
        "seconds": round(done.seconds, 3),
        "tones_full_scale": done.tones_full_scale,
        "files": done.files,
    }


def report(done: Rendered, title: str | None = None) -> str:
    """The answer as a short text: what is there, in which zone it will print, and why to doubt it."""
    import textwrap

    share, classes = done.scene.share(), done.rendering.classes
    lines = [f"{title or done.path.name}: {done.photo.width} x {done.photo.height}, {done.rendering.kit.words}"]
    if done.rendering.light.planned:
        lines.append(f"  What-if, no forecast. Light {in_words(done.rendering.light).long}")
    present = sorted((n for n in CLASS_NAMES if share[n] >= _FLOOR_SHARE), key=lambda n: -share[n])
    for name in present:
        tone = f"{zone_text(classes[name].zone):26}  {zone_word(classes[name].zone.likely)}" if name in classes else ""
        lines.append(f"  {CLASS_WORDS[name]:13} {share_text(share[name]):>5}  {tone}".rstrip())
    for doubt in done.doubts:
        lines += textwrap.wrap(f"Doubt: {doubt}.", 96, initial_indent="  ", subsequent_indent="    ")
    lines.append(f"  {done.files['infrared']}")
    lines.append(f"  {done.files['classes']}")
    return "\n".join(lines)
