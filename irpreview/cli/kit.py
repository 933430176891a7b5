"""`irpreview kit`: list the built-in kits, show one with what it does, make a kit file of one's own."""

from __future__ import annotations

import tomllib
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from irpreview.answers.kit import kit_answer
from irpreview.cli.common import JsonOption, LensOption, emit_json, say, within
from irpreview.errors import BadKit, CannotWrite
from irpreview.io.kits import kit_from, kit_text, list_kits, load_kit, save_kit
from irpreview.io.tables import load_tables

if TYPE_CHECKING:
    from irpreview.answers.base import Span
    from irpreview.answers.kit import KitAnswer
    from irpreview.records import Kit

NameArgument = Annotated[str, typer.Argument(metavar="NAME|FILE", help="A built-in kit or the path of a kit file.")]


def register(app: typer.Typer) -> None:
    """Add the command to the application."""
    group = typer.Typer(
        no_args_is_help=True,
        rich_markup_mode=None,
        help="Filter and camera: list the built-in kits, show one, make a file of your own.",
    )
    app.add_typer(group, name="kit")

    @group.command("list")
    def list_(as_json: JsonOption = False) -> None:
        """The built-in kits, the default first."""
        tables = load_tables()
        for kit in list_kits():
            answer = kit_answer(kit, tables)
            if as_json:
                emit_json(answer.as_json())
            else:
                print(f"{kit.name:<16} {kit.words}; {_stops(answer.factor_stops)}")

    @group.command("show")
    def show(name: NameArgument = "unmodified-720", as_json: JsonOption = False) -> None:
        """A kit as a kit file, and what it does to grey, leaves and sky in clear sun 45 degrees high."""
        kit = load_kit(name)
        answer = kit_answer(kit, load_tables())
        if as_json:
            emit_json(answer.as_json())
            return
        print(kit_text(kit), end="")
        say(_in_words(answer))

    @group.command("make")
    def make(
        path: Annotated[Path, typer.Argument(metavar="FILE", help="The kit file to write, such as mine.toml.")],
        start: Annotated[
            str, typer.Option("--from", metavar="NAME|FILE", help="Kit to start from.")
        ] = "unmodified-720",
        name: Annotated[str | None, typer.Option(help="A name for it; without it the file's.")] = None,
        cut_on: Annotated[
            float | None,
            typer.Option(
                "--cut-on", metavar="NM", **within(500.0, 1100.0, "nm"), help="Filter cut-on, 500 to 1100 nm."
            ),
        ] = None,
        curve: Annotated[
            Path | None,
            typer.Option("--curve", metavar="CSV", help="Own filter curve: wavelength in nm, transmission."),
        ] = None,
        sensor: Annotated[str | None, typer.Option("--sensor", help="unmodified, full_spectrum or converted.")] = None,
        factor: Annotated[
            float | None,
            typer.Option(
                "--factor",
                metavar="STOPS",
                **within(-10.0, 30.0, "stops"),
                help="Your own filter factor of grey, where known.",
            ),
        ] = None,
        lens: LensOption = None,
        overwrite: Annotated[bool, typer.Option("--overwrite", help="Replace the file if it is there.")] = False,
        as_json: JsonOption = False,
    ) -> None:
        """Write a kit file to edit: start from a built-in kit, change what is given."""
        if path.exists() and not overwrite:
            raise CannotWrite(f"kit {path}: is there already; choose another name or add --overwrite")
        kit = made_kit(
            load_kit(start),
            name or path.stem,
            cut_on_nm=cut_on,
            curve=curve,
            sensor=sensor,
            factor_stops=factor,
            lens=lens,
        )
        save_kit(kit, path)
        answer = kit_answer(kit, load_tables(), str(path))
        if as_json:
            emit_json(answer.as_json())
        else:
            print(path)
            say(_in_words(answer))


def made_kit(
    kit: Kit,
    name: str,
    *,
    cut_on_nm: float | None,
    curve: Path | None,
    sensor: str | None,
    factor_stops: float | None,
    lens: str | None = None,
) -> Kit:
    """A kit changed as the options say, checked like a kit file. Raises BadKit."""
    content: dict[str, Any] = tomllib.loads(kit_text(replace(kit, filter_curve=None)))
    content["name"] = name
    folder = Path()
    if cut_on_nm is not None and curve is not None:
        raise BadKit("a cut-on and a curve together contradict each other; give one of --cut-on and --curve")
    if cut_on_nm is not None:
        content["filter"]["cut_on_nm"] = cut_on_nm
    if curve is not None:
        content["filter"].pop("cut_on_nm", None)
        content["filter"]["curve"] = curve.name
        folder = curve.parent
    if sensor is not None:
        content["sensor"]["kind"] = sensor
    if lens is not None:
        if lens != kit.lens:
            content.get("lens", {}).pop("hot_spot_from_f_number", None)  # that was another lens
        content.setdefault("lens", {})["name"] = lens
    if cut_on_nm is not None or curve is not None or sensor is not None:
        content.pop("calibration", None)  # a factor found with other glass is not this kit's
        content["words"] = "own kit"
    if factor_stops is not None:
        about = {"low": factor_stops - 0.5, "likely": factor_stops, "high": factor_stops + 0.5}
        content.setdefault("calibration", {}).update(factor_stops=about, factor_source="typed, taken as +-0.5 stop")
    made = kit_from(content, folder, where="kit")
    keeps_curve = kit.filter_curve is not None and cut_on_nm is None and curve is None
    return replace(made, filter_curve=kit.filter_curve) if keeps_curve else made


def _stops(factor: Span) -> str:
    return f"{factor.likely:.1f} stops ({factor.low:.1f} to {factor.high:.1f})"


def _in_words(answer: KitAnswer) -> str:
    leaves, sky = answer.class_factor_stops["tree"], answer.class_factor_stops["clear_sky"]
    leak = answer.visible_leak_share
    warning = ""
    if leak > 0.1:
        warning = f" Visible light that leaks through is {100 * leak:.0f} % of the infrared: it lightens skies first."
    return (
        f"{answer.name}: grey needs {_stops(answer.factor_stops)} more, by {answer.factor_source}; "
        f"band about {answer.band_centre_nm:.0f} nm; leaves {leaves.likely:+.1f} stops, "
        f"clear sky {sky.likely:+.1f} stops against white.{warning}"
    )
