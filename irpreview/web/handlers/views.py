"""Wind and shutter, the views of a snap, and the sections behind its answer."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace
from functools import partial
from typing import Any

from irpreview.analysis import Analysis
from irpreview.core.units import parse_shutter
from irpreview.errors import BadValue
from irpreview.web import answer, pictures, sections
from irpreview.web.answer import SHUTTERS_S, WINDS_M_S
from irpreview.web.handlers.answering import AnsweringDesk
from irpreview.web.handlers.waiting import answered, answered_in_steps
from irpreview.web.responses import Shown
from irpreview.web.sessions import Session


class ViewsDesk(AnsweringDesk):
    """The sliders, the pictures and what is behind them."""

    # ---- wind and shutter ---------------------------------------------------------------------------------------

    @answered
    def move(self, token: str | None, wind: int, shutter: object, number: int = 0) -> Shown:
        """A slider moves: the picture with its movement, nothing else. shutter: see `_shutter_of`.

        number: counts the moves of one page; one that had to wait while a later one came is left out.
        """
        with self.sessions.at(token, number) as session:
            if 0 < number < session.newest_move:
                return Shown()
            moved = self._moved(session, wind, shutter)
            return Shown(
                pictures={"movement": self._motion(session, moved)}, values={"shutter": answer.shutter_now(moved)}
            )

    @answered
    def settle(self, token: str | None, wind: int, shutter: object, number: int = 0) -> Shown:
        """A slider rests: setting and verdict follow."""
        with self.sessions.at(token, number) as session:
            if 0 < number < session.newest_move:
                return Shown()
            before = self.analysis_of(session)
            session.analysis = self._moved(session, wind, shutter)
            request = session.analysis.request
            session.inputs = replace(session.inputs, wind_m_s=request.conditions.wind_m_s, shutter_s=request.shutter_s)
            if before.rendering is not session.analysis.rendering:
                session.stage = None
            self._note(session)
            return self._all(session, "", views=("infrared",) if session.stage is None else ())

    def _moved(self, session: Session, wind: int, shutter: object) -> Analysis:
        analysis = self.analysis_of(session)
        if not (isinstance(wind, int) and 0 <= wind < len(WINDS_M_S)):
            raise BadValue(f"wind step {wind!s:.10} is outside 0 to {len(WINDS_M_S) - 1}; move the slider")
        changes: dict[str, Any] = {}
        shutter_s = self._shutter_of(shutter)
        if shutter_s != analysis.request.shutter_s:
            changes["shutter_s"] = shutter_s
        day = analysis.request.conditions
        if answer.wind_stop(day.wind_m_s) != wind:
            changes["conditions"] = replace(day, wind_m_s=WINDS_M_S[wind], gust_m_s=None)
        return analysis.with_(**changes) if changes else analysis

    @staticmethod
    def _shutter_of(shutter: object) -> float | None:
        """A step of the slider, -1 for the recommended time, or a time as typed. Raises BadValue."""
        if isinstance(shutter, str):
            return parse_shutter(shutter)
        if isinstance(shutter, bool) or not isinstance(shutter, int) or not -1 <= shutter < len(SHUTTERS_S):
            raise BadValue(f"shutter step {shutter!s:.10} is outside 0 to {len(SHUTTERS_S) - 1}; move the slider")
        return None if shutter < 0 else SHUTTERS_S[shutter]

    def _motion(self, session: Session, analysis: Analysis) -> str:
        if session.stage is None:
            session.stage = pictures.stage_of(self.analysis_of(session))
        return pictures.data_address(pictures.motion_picture(analysis, session.stage), 84)

    # ---- views and what is behind -------------------------------------------------------------------------------

    @answered
    def view(self, token: str | None, name: str) -> Shown:
        """One view of the snap looked at."""
        with self.sessions.at(token) as session:
            analysis = self.analysis_of(session)
            if name == "movement":
                return Shown(
                    pictures={name: self._motion(session, analysis)},
                    values={"version": session.version, "shutter": answer.shutter_now(analysis)},
                )
            if re.fullmatch(r"framing\d", name):
                return self._framing(session, analysis, int(name[-1]))
            if name not in pictures.VIEWS:
                raise BadValue(f"there is no view {name!s:.20}; choose one below the picture")
            parts = {"legend": sections.legend(analysis)} if name.startswith("separation") else {}
            if name.startswith("map"):
                parts = {"areas": sections.areas(analysis)}
            return Shown(pictures=pictures.views(analysis, (name,)), parts=parts, values={"version": session.version})

    @staticmethod
    def _framing(session: Session, analysis: Analysis, number: int) -> Shown:
        """The infrared picture inside one of the framings; with the first comes the list of all."""
        found = analysis.framings.best
        picture = analysis.framing_picture(found[number]) if number < len(found) else analysis.rendering.picture
        return Shown(
            pictures={f"framing{number}": pictures.data_address(picture)},
            parts={"framings": sections.framings(analysis)} if number == 0 else {},
            values={"version": session.version},
        )

    @answered
    def first_framing(self, token: str | None, version: int) -> Shown:
        """The best framing for its row in an answer, by that answer's number; nothing where another has come since.

        It is looked for with no lock held, so that no slider waits for it.
        """
        with self.sessions.at(token) as session:
            if session.version != version or session.unfinished or session.analysis is None:
                return Shown()
            asked = session.analysis
            found = asked.with_()
        row = sections.first_framing(found)
        with self.sessions.at(token) as session:
            if session.version != version or session.analysis is not asked:
                return Shown()
            session.analysis = found  # which knows its framings now
            return Shown(parts={"first-framing": row}, values={"framing_of": version})

    @answered_in_steps
    def beside(self, token: str | None) -> Iterator[Shown]:
        """All snaps side by side at once, then again with each best framing that was not looked for yet."""
        yield self.section(token, "beside")
        with self.sessions.at(token) as session:
            unframed = [i for i in sections.best_first(session) if not session.snaps[i].glance.framing_sought]
        for index in unframed:
            yield (yield from self.in_turn(partial(self._frame, token, index), token))

    def _frame(self, token: str | None, index: int) -> Shown:
        """Side by side, with the best framing of one more snap."""
        with self.sessions.at(token) as session:
            if index >= len(session.snaps) or not session.snaps[index].infrared:
                return Shown()
            analysis = self._analysis_at(session, index)
            session.snaps[index] = replace(session.snaps[index], glance=answer.glance_of(analysis, with_framing=True))
        return self.section(token, "beside")

    @answered
    def section(self, token: str | None, name: str) -> Shown:
        """What is behind the answer: one section."""
        with self.sessions.at(token) as session:
            if name == "beside":
                text = sections.beside(session)
            elif name in sections.SECTIONS:
                text = sections.SECTIONS[name](self.analysis_of(session))
            else:
                raise BadValue(f"there is no section {name!s:.20}")
            return Shown(parts={"section-body": text}, values={"section": name})
