"""`irpreview card`: the card to carry, made without a browser."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from irpreview.cli.common import (
    GradeOption,
    JsonOption,
    KitOption,
    OutOption,
    PhotoArgument,
    ShutterOption,
    WindOption,
    ZoneOption,
    emit_json,
    say,
)
from irpreview.records import DEFAULT_GRADE


def register(app: typer.Typer) -> None:
    """Add the command to the application."""

    @app.command()
    def card(
        photo: PhotoArgument,
        out: OutOption,
        kit: KitOption = None,
        wind: WindOption = None,
        shutter: ShutterOption = None,
        zone: ZoneOption = None,
        place: Annotated[
            str, typer.Option(help="Latitude and longitude, such as 51.2345,7.4321; else the photo's own.")
        ] = "",
        when: Annotated[str, typer.Option(help="Day and time, such as '2026-06-21 14:30'; else the photo's own.")] = "",
        grade: GradeOption = DEFAULT_GRADE,
        title: Annotated[str, typer.Option(help="Name on the card; else the photo's name.")] = "",
        with_place: Annotated[
            bool, typer.Option("--with-place", help="Put the location on the card; without it none is on it.")
        ] = False,
        as_json: JsonOption = False,
    ) -> None:
        """Make the card for one photo: PDF on A5, PNG for the phone, JSON. Writes into --out, made if missing."""
        from irpreview.core.card.card import card_dict
        from irpreview.errors import BadLog
        from irpreview.inputs import Inputs
        from irpreview.io.card_files import write_card
        from irpreview.io.kits import load_kit
        from irpreview.io.log_exchange import learned_kit
        from irpreview.study import begin, read_snap
        from irpreview.take_along import card_of, window_words

        if wind is not None and not 0 <= wind <= 60:
            raise typer.BadParameter("wind must lie between 0 and 60 m/s")
        chosen = load_kit(kit or "unmodified-720")
        try:
            chosen = learned_kit(chosen)
        except BadLog as error:
            say(f"the field log was not used: {error}")
        snap = read_snap(photo, zone or "")
        inputs = Inputs(place=place, when=when, zone=zone or "", grade=grade, wind_m_s=wind, shutter_s=shutter)
        study = begin(snap, inputs, kit=chosen)
        made = card_of(study, title or Path(snap.name).stem, with_place, tuple(window_words(study)))
        for sentence in study.sorry:
            say(sentence)
        for path in write_card(made, out):
            say(f"written: {path}")
        if as_json:
            emit_json(card_dict(made))
