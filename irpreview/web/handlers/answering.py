"""From what was said to the analysis of the snap looked at, and from the analysis to what the page shows."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

from irpreview.analysis import Analysis
from irpreview.core.exposure.setting import Wishes
from irpreview.errors import BadValue
from irpreview.records import Kit
from irpreview.request import Inputs, Lessons, Request, conditions_of, kit_of, parse_place, parse_when
from irpreview.web import answer, pictures, sections
from irpreview.web.handlers.waiting import WaitingDesk, answered
from irpreview.web.responses import Shown
from irpreview.web.sessions import Session, Snap
from irpreview.web.values import read_entries


class AnsweringDesk(WaitingDesk):
    """What was typed becomes a request, the request an analysis, the analysis the parts of the page."""

    # ---- from entries to the analysis ---------------------------------------------------------------------------

    def _analysis(self, session: Session, snap: Snap, for_strip: bool = False) -> Analysis:
        request = self._request(session, snap, for_strip)
        return Analysis(snap.photo, request, {} if snap.scene is None else {"bare_scene": snap.scene})

    def _request(self, session: Session, snap: Snap, for_strip: bool = False) -> Request:
        """Everything that was said, as one request. Raises BadValue, BadKit."""
        inputs = session.inputs
        if for_strip:
            inputs = replace(own_facts_first(inputs, snap), shutter_s=None)
        inputs = with_clock(inputs, snap)
        return Request(
            kit=kit_of(inputs),
            lessons=self._lessons(session, inputs),
            place=parse_place(inputs.place),
            taken_at=parse_when(inputs.when, inputs.zone),
            heading_deg=inputs.heading_deg,
            conditions=conditions_of(inputs),
            wishes=Wishes(focal_35mm_mm=inputs.focal_35mm_mm, nearest_m=inputs.nearest_m),
            shutter_s=inputs.shutter_s,
            grade=inputs.grade,
            corrections=tuple(one for step in snap.corrections for one in step),
        )

    def _lessons(self, session: Session, inputs: Inputs) -> Lessons | None:
        """What the owner's log taught; a factor that was typed goes before it."""
        if not session.owner:
            return None
        taught = self.taught
        if inputs.factor_stops is None:
            return taught

        def with_own_factor(kit: Kit, sun_height_deg: float | None) -> Kit:
            return replace(taught(kit, sun_height_deg), factor_stops=kit.factor_stops, factor_source=kit.factor_source)

        return with_own_factor

    def analysis_of(self, session: Session) -> Analysis:
        """The snap being looked at, worked out again where its answers were put away. Raises BadValue for none."""
        if session.analysis is None and session.put_away and session.snaps:
            snap, session.put_away = session.snaps[session.current], False
            session.analysis = self._analysis(session, snap)
        if session.analysis is None:
            raise BadValue("there is no snap yet; add one first")
        return session.analysis

    def _analysis_at(self, session: Session, index: int) -> Analysis:
        """Of any snap of the strip: as it is looked at, or as the strip judges it."""
        if index == session.current:
            return self.analysis_of(session)
        return self._analysis(session, session.snaps[index], for_strip=True)

    def _note(self, session: Session) -> None:
        """Put the state of the snap looked at down: in the strip, and on the disk."""
        analysis = self.analysis_of(session)
        before = session.snaps[session.current]
        snap = self._judged(before, analysis)
        if snap.glance.bare() == before.glance.bare():
            snap = replace(snap, glance=before.glance)  # the same answer: the framing found for it stays
        session.snaps[session.current] = replace(snap, scene=analysis.bare_scene)
        self.keeping.save(session)

    @staticmethod
    def _judged(snap: Snap, analysis: Analysis, with_framing: bool = False) -> Snap:
        small = pictures.jpeg_bytes(pictures.shrunk(analysis.rendering.picture, pictures.SIDE_BY_SIDE_PX), 82)
        return replace(snap, glance=answer.glance_of(analysis, with_framing), infrared=small, trouble="")

    # ---- kit, place and day -------------------------------------------------------------------------------------

    def arrived(self, token: str | None, number: object) -> int:
        """Note the number of a state of the entries before waiting with it; gives it as a whole number."""
        known = int(number) if isinstance(number, int | float) and 0 < number < 2**53 else 0
        self.sessions.entry_arrived(token, known)
        return known

    @answered
    def enter(self, token: str | None, values: Mapping[str, Any], number: int = 0) -> Shown:
        """New entries for kit, place and day; everything follows. One that makes no sense is told at its own field and
        blocks no other. Entries older than what has `arrived` change nothing; 0 = not numbered.
        """
        with self.sessions.at(token) as session:
            if 0 < number < session.newest_entry:
                return Shown()
            inputs, refused = read_entries(values, session.inputs)
            cleared = {"checked": sorted(values)}
            if not session.snaps or session.unfinished:
                session.inputs = inputs
                self.keeping.save(session)
                return Shown(refused=refused, values=cleared)
            analysis = self.analysis_of(session)
            if inputs == session.inputs:
                return Shown(refused=refused, values=cleared)
            session.inputs = inputs
            wanted = self._request(session, session.snaps[session.current])
            session.analysis, session.stage = analysis.with_(**fields_of(wanted)), None
            self._note(session)
            shown = self._all(session, "Worked out again with what you entered.")
            return replace(shown, refused=refused, values={**shown.values, **cleared})

    @answered
    def again(self, token: str | None, words: str) -> Shown:
        """Work out the snap looked at once more, because what is known of the kit has changed."""
        with self.sessions.at(token) as session:
            if session.analysis is None and not session.put_away:
                return Shown()
            snap = session.snaps[session.current]
            session.analysis, session.stage = self._analysis(session, snap), None
            self._note(session)
            return self._all(session, words)

    # ---- showing ------------------------------------------------------------------------------------------------

    def _all(self, session: Session, words: str, views: Sequence[str] = ("infrared", "colour")) -> Shown:
        """Everything that follows from the snap looked at."""
        analysis = self.analysis_of(session)
        session.version += 1
        told = answer.answer_of(analysis)
        if session.stage is None:
            session.stage = pictures.stage_of(analysis)
        snap = session.snaps[session.current]
        values = {
            "version": session.version,
            "current": session.current,
            "name": snap.photo.name,
            "wind": answer.wind_stop(analysis.request.conditions.wind_m_s),
            "shutter": answer.shutter_now(analysis),
            "can_undo": bool(snap.corrections),
            "can_redo": bool(snap.undone),
            "words": told.words(),
        }
        return Shown(
            status=words,
            parts={"strip": sections.strip(session), "answer": sections.answered(told)},
            pictures=pictures.views(analysis, views),
            values=values,
        )


def fields_of(request: Request) -> dict[str, Any]:
    """A request as changes for `Analysis.with_`."""
    return {name: getattr(request, name) for name in request.__dataclass_fields__}


def own_facts_first(inputs: Inputs, snap: Snap) -> Inputs:
    """The entries for another snap: what its own file says goes before what was typed for the one before."""
    facts = snap.photo
    if facts.place is not None:
        inputs = replace(inputs, place="")
    if facts.taken_at is not None or facts.taken_at_naive is not None:
        inputs = replace(inputs, when="")
    return inputs if facts.heading_deg is None else replace(inputs, heading_deg=None)


def with_clock(inputs: Inputs, snap: Snap) -> Inputs:
    """A clock without a zone in the snap's file is read with the zone that was entered."""
    naive = snap.photo.taken_at_naive
    if not inputs.when and snap.photo.taken_at is None and naive is not None and inputs.zone:
        return replace(inputs, when=naive.strftime("%Y-%m-%d %H:%M"))
    return inputs
