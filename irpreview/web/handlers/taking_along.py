"""What is taken along into the field: the card and the field page."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from functools import partial
from pathlib import Path

from irpreview import __version__
from irpreview.cards import card_of
from irpreview.core.field_page import FieldPlace, field_page
from irpreview.core.words.phrases import sentence
from irpreview.errors import BadValue, IrpreviewError
from irpreview.field_pages import field_place_of
from irpreview.io.card_files import CARD_KINDS, write_card
from irpreview.io.field_page import field_page_html
from irpreview.web import pictures
from irpreview.web.handlers.answering import AnsweringDesk
from irpreview.web.handlers.waiting import answered, answered_in_steps
from irpreview.web.responses import Shown


class TakingAlongDesk(AnsweringDesk):
    """Files that are made for the way."""

    @answered
    def make_card(self, token: str | None, title: str, with_place: bool) -> Shown:
        """The card as PDF, PNG and JSON, ready to be saved from the browser."""
        with self.sessions.at(token) as session:
            analysis = self.analysis_of(session)
            name = " ".join(str(title).split())[:80] or Path(analysis.photo.name).stem
            card = card_of(analysis, name, bool(with_place))
            with tempfile.TemporaryDirectory(prefix="card-", dir=self.folder) as where:
                files = [
                    {
                        "kind": path.suffix[1:].upper(),
                        "name": path.name,
                        "address": pictures.download_address(path.read_bytes()),
                    }
                    for path in write_card(card, Path(where), CARD_KINDS)
                ]
            has = "with" if card.place is not None else "without"
            return Shown(status=f"The card is ready, {has} the location.", values={"cards": files})

    @answered_in_steps
    def make_field_page(self, token: str | None, with_place: bool) -> Iterator[Shown]:
        """The field page of all snaps as one HTML file; between two snaps others have their turn, or it is stopped."""
        since = self.sessions.stops(token)
        with self.sessions.at(token) as session:
            count = len(session.snaps)
        if not count:
            raise BadValue("there is no snap yet; add one first")
        places: list[FieldPlace] = []
        faults: list[str] = []
        for index in range(count):
            if count > 1:
                yield Shown(status=f"The field page: place {index + 1} of {count}.")
            work = partial(self._field_place, token, index, with_place, faults)
            place = yield from self.in_turn(work, token, since)
            places += [] if place is None else [place]
        page = field_page(tuple(places), with_place=with_place, version=__version__)
        address = pictures.download_address(field_page_html(page).encode())
        has = f"{'with' if with_place else 'without'} location{'s' if count > 1 else ''}"
        yield Shown(
            status=f"The field page is ready, {has}; send it to the phone and open it there.",
            faults=tuple(faults),
            values={"cards": [{"kind": "field page", "name": "field.html", "address": address}]},
        )

    def _field_place(self, token: str | None, index: int, with_place: bool, faults: list[str]) -> FieldPlace | None:
        """One snap's part of the field page; None with a line in `faults` where it has no setting to take along."""
        with self.sessions.at(token) as session:
            if index >= len(session.snaps):
                return None
            snap = session.snaps[index]
            try:
                return field_place_of(self._analysis_at(session, index), Path(snap.photo.name).stem, with_place)
            except IrpreviewError as error:
                faults.append(sentence(f"{snap.photo.name}: {error}"))
                return None
