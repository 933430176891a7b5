"""Labels corrected by hand: strokes of the brush, areas of the list, undo and redo."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

from irpreview.analysis import Analysis
from irpreview.core.scene import strokes as brush
from irpreview.errors import BadValue
from irpreview.records import CLASS_NAMES, CLASS_WORDS
from irpreview.web import pictures
from irpreview.web.handlers.answering import AnsweringDesk
from irpreview.web.handlers.waiting import answered
from irpreview.web.responses import Shown
from irpreview.web.sessions import Correction, Session
from irpreview.web.values import strokes_from

MOST_UNDONE = 20


class CorrectionsDesk(AnsweringDesk):
    """What the photographer says the labels should be."""

    @answered
    def outline(self, token: str | None, given: Sequence[Mapping[str, Any]], reach: int, grow: bool = True) -> Shown:
        """What strokes would change, as outlines, before it is taken. reach: steps that the area shrinks or grows."""
        with self.sessions.at(token) as session:
            masks = self._masks(self.analysis_of(session), given, reach, grow)
            lines = [
                {"class_name": name, "lines": pictures.outlines(mask), "share": float(mask.mean())}
                for mask, name in masks
            ]
            share = sum(float(mask.mean()) for mask, _ in masks)
            names = " and ".join(CLASS_WORDS[name] for _, name in masks)
            words = f"{share:.1%} of the picture would be {names}. Enter takes it, [ and ] shrink and grow it."
            return Shown(status=words, values={"outlines": lines})

    @answered
    def take(self, token: str | None, given: Sequence[Mapping[str, Any]], reach: int, grow: bool = True) -> Shown:
        """Take what the outline showed."""
        with self.sessions.at(token) as session:
            masks = self._masks(self.analysis_of(session), given, reach, grow)
            share = sum(float(mask.mean()) for mask, _ in masks)
            return self._correct(session, tuple(masks), f"Corrected: {share:.1%} of the picture.")

    @staticmethod
    def _masks(
        analysis: Analysis, given: Sequence[Mapping[str, Any]], reach: int, grow: bool
    ) -> list[tuple[brush.Mask, str]]:
        moves = strokes_from(given)
        if not moves:
            raise BadValue("there are no strokes yet; choose what it is and draw over it")
        if not isinstance(reach, int) or not -brush.MOST_REACH <= reach <= brush.MOST_REACH:
            raise BadValue(f"a step of {reach!s:.10} is outside -{brush.MOST_REACH} to {brush.MOST_REACH}")
        if not grow:
            return brush.paint(analysis.scene, moves)
        return brush.grow(analysis.photo, analysis.scene, moves, reach)

    @answered
    def correct_area(self, token: str | None, area: int, class_name: str) -> Shown:
        """Set the class of one area from the list."""
        with self.sessions.at(token) as session:
            listed = brush.regions(self.analysis_of(session).scene)
            if not (isinstance(area, int) and 0 <= area < len(listed)):
                raise BadValue(f"there is no area number {area!s:.10}; choose one from the list")
            if class_name not in CLASS_NAMES:
                raise BadValue(f"there is no class {class_name!s:.20}; choose one from the list")
            one = listed[area]
            words = f"{CLASS_WORDS[one.class_name].capitalize()}, {one.words}: now {CLASS_WORDS[class_name]}."
            return self._correct(session, ((one.mask, class_name),), words)

    @answered
    def undo(self, token: str | None) -> Shown:
        """Take back the last correction."""
        with self.sessions.at(token) as session:
            self.analysis_of(session)
            snap = session.snaps[session.current]
            if not snap.corrections:
                return Shown(status="There is no correction to undo.")
            back = (snap.corrections[-1], *snap.undone)[:MOST_UNDONE]
            session.snaps[session.current] = replace(snap, corrections=snap.corrections[:-1], undone=back)
            return self._corrected(session, "Undone.")

    @answered
    def redo(self, token: str | None) -> Shown:
        """Make the last correction that was taken back again."""
        with self.sessions.at(token) as session:
            self.analysis_of(session)
            snap = session.snaps[session.current]
            if not snap.undone:
                return Shown(status="There is no correction to redo.")
            done = (*snap.corrections, snap.undone[0])
            session.snaps[session.current] = replace(snap, corrections=done, undone=snap.undone[1:])
            return self._corrected(session, "Done again.")

    def _correct(self, session: Session, masks: Correction, words: str) -> Shown:
        snap = session.snaps[session.current]
        done = (*snap.corrections[-(MOST_UNDONE - 1) :], masks)
        session.snaps[session.current] = replace(snap, corrections=done, undone=())
        return self._corrected(session, words)

    def _corrected(self, session: Session, words: str) -> Shown:
        snap = session.snaps[session.current]
        marks = tuple(one for step in snap.corrections for one in step)
        session.analysis, session.stage = self.analysis_of(session).with_(corrections=marks), None
        self._note(session)
        return self._all(session, words, views=("infrared", "map"))
