"""`irpreview card`: the card to carry, made without a browser."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from irpreview.analysis import analyse
from irpreview.answers.card import card_answer
from irpreview.cards import card_of
from irpreview.cli.asking import Asked, asks
from irpreview.cli.common import JsonOption, OutOption, PhotoArgument, emit_json, say
from irpreview.core.words import short_words
from irpreview.io.card_files import write_card
from irpreview.io.photos import load_photo
from irpreview.records import WORKING_SIDE_PX


def register(app: typer.Typer) -> None:
    """Add the command to the application."""

    @app.command()
    @asks
    def card(
        photo: PhotoArgument,
        out: OutOption,
        asked: Asked,
        title: Annotated[str, typer.Option(help="Name on the card; else the photo's name.")] = "",
        with_place: Annotated[
            bool, typer.Option("--with-place", help="Put the location on the card; without it none is on it.")
        ] = False,
        as_json: JsonOption = False,
    ) -> None:
        """Make the card for one photo: PDF on A5, PNG for the phone, JSON. Writes into --out, made if missing."""
        asked.check()

        snap = load_photo(photo, zone=asked.zone, max_side=WORKING_SIDE_PX)
        analysis = analyse(snap, asked.request(snap))
        made = card_of(analysis, title or Path(snap.name).stem, with_place)
        for doubt in short_words((*asked.lessons[1], *analysis.doubts)):
            say(f"doubt: {doubt}")
        for path in write_card(made, out):
            say(f"written: {path}")
        if as_json:
            emit_json(card_answer(made).as_json())
