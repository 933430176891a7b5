"""`irpreview demo`: the main job on a scene that comes with irpreview, so that a first try needs no photo."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from irpreview.cli.asking import nothing_said
from irpreview.cli.common import JsonOption, emit_json, say
from irpreview.cli.render import render_one, report
from irpreview.errors import BadModel, BadValue
from irpreview.io import paths
from irpreview.io.pictures import make_folder, write_file

FIRST_SCENE = "moor_tower"

SceneOption = Annotated[
    str | None,
    typer.Option("--scene", metavar="NAME", help="Which scene; left out = the moor tower. A wrong name lists them."),
]
DemoOutOption = Annotated[Path, typer.Option("--out", metavar="FOLDER", help="Where the pictures go; made if missing.")]


def register(app: typer.Typer) -> None:
    """Add the command to the application."""

    @app.command("demo")
    def demo(
        out: DemoOutOption = Path("irpreview-demo"),
        scene: SceneOption = None,
        as_json: JsonOption = False,
    ) -> None:
        """Do the main job on a scene that comes along, and say where the pictures are. The snap is put beside them."""
        photo = demo_photo(scene)
        make_folder(out)
        analysis, answer = render_one(photo, out, photo.parent.name, nothing_said())
        if as_json:
            emit_json(answer.as_json())
        else:
            print(report(analysis, answer, title=photo.parent.name.replace("_", " ")))
        write_file(out / "snap.jpg", photo.read_bytes())
        say(f"The pictures are in {out.resolve()}; snap.jpg there is the photo they were made from")


def demo_folder() -> Path:
    """Where the demo scenes lie: in the package, or beside it in a checkout. Raises BadModel if nowhere."""
    for folder in (paths.PACKAGE / "data" / "demo", paths.PACKAGE.parent / "demo_scenes"):
        if any(folder.glob("*/photo.jpg")):
            return folder
    raise BadModel("the demo scenes are missing from this installation; install irpreview again")


def demo_photo(name: str | None) -> Path:
    """The snap of a demo scene. Raises BadModel if there are none, BadValue for an unknown name."""
    found = {path.parent.name: path for path in sorted(demo_folder().glob("*/photo.jpg"))}
    if name is None:
        return found.get(FIRST_SCENE) or next(iter(found.values()))
    if name not in found:
        raise BadValue(f"there is no demo scene {name!r}; there are {', '.join(found)}")
    return found[name]
