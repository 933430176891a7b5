"""What the page does when something is pressed, as plain functions without the page's server.

Each takes a session's token and plain values and gives `Shown`: the parts of the page that change. An error that is
the user's becomes a sentence in the status line; nothing else of the page is touched by it.
"""

from __future__ import annotations

import base64
import re
import tempfile
from collections.abc import Callable, Generator, Iterator, Mapping, Sequence
from dataclasses import replace
from functools import partial, wraps
from pathlib import Path
from typing import Any, Concatenate, ParamSpec, TypeVar

from irpreview import __version__
from irpreview.analysis import Analysis
from irpreview.cards import card_of
from irpreview.core.exposure.setting import Wishes
from irpreview.core.field_page import FieldPlace, field_page
from irpreview.core.scene import strokes as brush
from irpreview.core.units import parse_shutter
from irpreview.errors import BadValue, CannotWrite, IrpreviewError, Stopped
from irpreview.field_pages import field_place_of
from irpreview.io.card_files import CARD_KINDS, write_card
from irpreview.io.field_page import field_page_html
from irpreview.io.photo_reader import PhotoReader
from irpreview.io.photos import load_photo
from irpreview.records import CLASS_NAMES, CLASS_WORDS, WORKING_SIDE_PX, Kit, Photo
from irpreview.request import Inputs, Lessons, Request, conditions_of, kit_of, parse_place, parse_when
from irpreview.web import answer, pictures, sections
from irpreview.web.answer import SHUTTERS_S, WINDS_M_S, sentence
from irpreview.web.keeping import Keeping
from irpreview.web.responses import Shown, sorry
from irpreview.web.sessions import MOST_SNAPS, Correction, Session, Sessions, Snap
from irpreview.web.templating import filled
from irpreview.web.uploads import MOST_WAITING, Uploads
from irpreview.web.values import facts_used, read_entries, strokes_from
from irpreview.web.work_queue import Turns

T = TypeVar("T")
P = ParamSpec("P")
PATIENCE_S = 0.4
"""So long one waits for one's turn without a word."""
STOPPED = "Stopped."
WORKING = "Working out the answer."
MOST_UNDONE = 20


def answered(
    handler: Callable[Concatenate[Desk, str | None, P], Shown],
) -> Callable[Concatenate[Desk, str | None, P], Shown]:
    """Turn what goes wrong into a sentence in the status line."""

    @wraps(handler)
    def run(desk: Desk, token: str | None, /, *args: P.args, **named: P.kwargs) -> Shown:
        try:
            return handler(desk, token, *args, **named)
        except Exception as error:
            return sorry(error)

    return run


class Desk:
    """The page's handlers over one set of sessions. `folder` is for files on their way; `keeping` for what stays."""

    def __init__(
        self,
        folder: Path,
        sessions: Sessions | None = None,
        keeping: Keeping | None = None,
        reader: PhotoReader | None = None,
    ) -> None:
        self.folder = folder
        self.sessions = sessions if sessions is not None else Sessions()  # an empty one counts as false
        self.keeping = keeping if keeping is not None else Keeping()
        self.reader = reader
        """Reads the snaps that are given, and can be ended; None = they are read here, and cannot."""
        self.uploads = Uploads(folder)
        self.turns = Turns()
        self.taught: Callable[[Kit, float | None], Kit] = lambda kit, _sun_height_deg: kit
        """What the owner's log adds to a kit; guests go without."""

    # ---- one thing at a time ------------------------------------------------------------------------------------

    def in_turn(
        self, work: Callable[[], T], token: str | None = None, since: int | None = None
    ) -> Generator[Shown, None, T]:
        """Do heavy work when its turn comes; who has to wait is told. No lock is held while something is shown.

        token: whose "Stop" keeps it from being begun; None = nobody's. since: how many stops do not count, because
        they came before it was asked for; None = those until now. Raises Stopped.
        """
        heard = self.sessions.stops(token) if since is None else since

        def stopped() -> bool:
            return token is not None and self.sessions.stops(token) > heard

        ticket = self.turns.join()
        try:
            if not self.turns.wait(ticket, PATIENCE_S, stopped) and not stopped():
                others = self.turns.ahead(ticket)
                tasks = "another task comes" if others <= 1 else f"{others} other tasks come"
                yield Shown(status=f"One moment: {tasks} first on this computer; yours follows by itself.")
                self.turns.wait(ticket, given_up=stopped)
            if stopped():
                raise Stopped("stopped, as asked")
            return work()
        finally:
            self.turns.leave(ticket)

    def told(self, work: Callable[[], Shown], token: str | None = None) -> Iterator[Shown]:
        """A heavy handler, in its turn."""
        try:
            yield (yield from self.in_turn(work, token))
        except Stopped:
            yield Shown(status=STOPPED)

    def stop(self, token: str | None) -> Shown:
        """Give up what this page has asked for and not got: the snap being read, and all that waits its turn."""
        self.sessions.stop(token)
        if self.reader is not None:
            self.reader.stop(token)
        return Shown()  # what was given up says so itself

    def at_once(self, token: str | None, work: Callable[[], Shown]) -> Iterator[Shown]:
        """A quick handler: it waits for nobody else, only for what the same page is being worked on."""
        if not self.sessions.free(token, PATIENCE_S):
            yield Shown(status="Still at work on what came before; the picture follows.")
        yield work()

    # ---- the page is opened -------------------------------------------------------------------------------------

    def open(self, token: object, owner: bool) -> Iterator[Shown]:
        """The page as it was left, by the token that the browser kept; a fresh one for an unknown token."""
        try:
            known = token if isinstance(token, str) and 20 <= len(token) <= 80 else None
            if known is None or known not in self.sessions:
                again = known if owner and known is not None and self.keeping.of(known).exists() else None
                known = self.sessions.open(owner, again)
                if again is not None:
                    with self.sessions.at(known) as session:
                        self.keeping.load(session)
            with self.sessions.at(known) as session:
                kept = str(self.keeping.folder) if session.owner else ""
                first = {"token": known, "owner": session.owner, "kept": kept, "entries": _entries(session.inputs)}
                current = session.current if session.snaps else None
                shown = Shown(values=first, parts={"strip": self._strip(session)})
            yield shown
            if current is not None:
                yield from self.pick(known, current, keep_time=True)
                yield from self._glance_at_rest(known)
        except Exception as error:
            yield sorry(error)

    @answered
    def empty(self, token: str | None) -> Shown:
        """Forget everything: this page's snaps and all that is kept on this computer."""
        with self.sessions.at(token) as session:
            if session.owner:
                self.keeping.empty()
            session.snaps, session.current, session.analysis, session.stage = [], 0, None, None
            session.unfinished = session.put_away = False
            session.version += 1
            words = "All snaps, corrections and entries are deleted." if session.owner else "All snaps are deleted."
            return Shown(status=words, parts={"strip": self._strip(session)}, values={"empty": True})

    # ---- snaps --------------------------------------------------------------------------------------------------

    def give(self, token: str | None, numbers: object) -> Iterator[Shown]:
        """`add` for files that came in by `uploads`, named by their numbers."""
        listed = numbers if isinstance(numbers, list) else []
        found = [path for path in map(self.uploads.take, listed[:MOST_WAITING]) if path is not None]
        if not found:
            yield sorry(BadValue("the file that was given is not here any more; add it again"))
        else:
            yield from self.add(token, found)

    def add(self, token: str | None, files: Sequence[str | Path]) -> Iterator[Shown]:
        """Read snaps, look at the first new one, then find lead and picture of the others.

        Yields as soon as something can be shown; between two snaps others have their turn, and "Stop" is heard.
        A snap whose picture is there gets its answer as well. Uploaded files inside the page's folder are deleted
        once read.
        """
        faults: list[str] = []
        first: int | None = None
        since = self.sessions.stops(token)
        try:
            for path in files:
                index = yield from self.in_turn(partial(self._read, token, Path(path), faults), token, since)
                if index is None:
                    continue
                if first is None:
                    first = index
                    yield (yield from self.in_turn(partial(self._look_at, token, index)))
                    yield (yield from self.in_turn(partial(self._finish, token, index)))
                else:
                    yield (yield from self.in_turn(partial(self._glance_at, token, index), token, since))
            if first is None:
                yield Shown(status="No photo could be read." if faults else "No photo was given.", sorry=True)
            if faults:
                yield Shown(faults=tuple(faults))
        except Stopped:
            yield Shown(status=self._stopped(files), faults=tuple(faults))
        except Exception as error:
            yield sorry(error)
        finally:
            for path in files:
                self.uploads.discard(Path(path))

    @staticmethod
    def _stopped(files: Sequence[str | Path]) -> str:
        """What a stop left undone: uploaded files that were not read are still there."""
        left = sum(Path(path).exists() for path in files)
        return STOPPED if not left else f"{STOPPED} {left} {'snap was' if left == 1 else 'snaps were'} not read."

    def _read(self, token: str | None, path: Path, faults: list[str]) -> int | None:
        """Read one snap; its number in the list, or None with a line in `faults`."""
        with self.sessions.at(token) as session:
            if len(session.snaps) >= MOST_SNAPS:
                full = f"The page holds {MOST_SNAPS} snaps; the rest was left out."
                faults += [] if full in faults else [full]
                return None
            try:
                photo = self._photo(path, session.inputs.zone or None, token)
                kept = self._kept_file(session, path)
            except Stopped:
                raise
            except IrpreviewError as error:
                faults.append(sentence(str(error)))
                self.uploads.discard(path)
                return None
            self.uploads.discard(path)
            thumb = pictures.jpeg_bytes(pictures.shrunk(photo.pixels, pictures.THUMB_SIDE_PX), 80)
            session.snaps.append(Snap(photo, thumb, file=kept))
            return len(session.snaps) - 1

    def _photo(self, path: Path, zone: str | None, token: str | None) -> Photo:
        if self.reader is None:
            return load_photo(path, zone=zone, max_side=WORKING_SIDE_PX)
        return self.reader.read(path, zone=zone, max_side=WORKING_SIDE_PX, wanted_by=token)

    def _kept_file(self, session: Session, path: Path) -> Path | None:
        if not session.owner:
            return None
        try:
            return self.keeping.take_in(session.token, path)
        except (OSError, CannotWrite):  # a full disk is no reason to stop
            return None

    def _look_at(self, token: str | None, index: int, keep_time: bool = False) -> Shown:
        """The infrared picture of one snap, which is then the one looked at."""
        with self.sessions.at(token) as session:
            if not (isinstance(index, int) and 0 <= index < len(session.snaps)):
                raise BadValue(f"there is no snap number {index!s:.10}; choose one from the strip")
            snap = session.snaps[index]
            if not keep_time:
                session.inputs = replace(_own_facts_first(session.inputs, snap), shutter_s=None)
            session.current, session.stage, session.put_away = index, None, False
            session.analysis, session.unfinished = self._analysis(session, snap), True
            session.version += 1
            for other, one in enumerate(session.snaps):
                if other != index and one.scene is not None:
                    session.snaps[other] = replace(one, scene=None)
            return Shown(
                status=WORKING,
                pictures=self._views(session.analysis, ("infrared", "colour")),
                parts={"strip": self._strip(session), "answer": filled("waiting.html")},
                values={"name": snap.photo.name, "version": session.version, "current": index},
            )

    def _finish(self, token: str | None, index: int) -> Shown:
        """The rest of the answers, unless another snap has been chosen meanwhile."""
        with self.sessions.at(token) as session:
            if session.current != index or session.analysis is None:
                return Shown(parts={"strip": self._strip(session)})
            session.unfinished = False
            if session.analysis.request != (wanted := self._request(session, session.snaps[index])):
                session.analysis = session.analysis.with_(**_fields(wanted))  # something was entered meanwhile
            self._note(session)
            facts = facts_used(session.analysis, session.inputs)
            shown = self._all(session, "")
            return replace(shown, values={**shown.values, "entries": {**_entries(session.inputs), **facts}})

    def _glance_at(self, token: str | None, index: int) -> Shown:
        """Lead and small picture of a snap that is not the one looked at."""
        with self.sessions.at(token) as session:
            if not 0 <= index < len(session.snaps):
                return Shown()
            snap = session.snaps[index]
            try:
                analysis = self._analysis(session, snap, for_strip=True)
                session.snaps[index] = self._judged(snap, analysis, with_framing=True)
            except IrpreviewError as error:
                session.snaps[index] = replace(snap, trouble=sentence(str(error)))
            self.keeping.save(session)
            left = sum(not one.infrared and not one.trouble for one in session.snaps)
            words = f"{left} more snaps to look at." if left > 1 else "One more snap to look at." if left else ""
            return Shown(parts={"strip": self._strip(session)}, status=words)

    def _glance_at_rest(self, token: str | None) -> Iterator[Shown]:
        since = self.sessions.stops(token)
        with self.sessions.at(token) as session:
            waiting = [i for i, one in enumerate(session.snaps) if not one.infrared and not one.trouble]
        for index in waiting:
            try:
                yield (yield from self.in_turn(partial(self._glance_at, token, index), token, since))
            except Stopped:
                yield Shown(status=STOPPED)
                return

    def pick(self, token: str | None, index: int, keep_time: bool = False) -> Iterator[Shown]:
        """Look closer at another snap: its picture first, then the answer."""
        try:
            yield (yield from self.in_turn(partial(self._look_at, token, index, keep_time), token))
            yield (yield from self.in_turn(partial(self._finish, token, index)))
        except Stopped:
            yield Shown(status=STOPPED)
        except Exception as error:
            yield sorry(error)

    @answered
    def drop(self, token: str | None, index: int) -> Shown:
        """Take a snap off the strip that is not the one looked at, or the last one."""
        with self.sessions.at(token) as session:
            if not (isinstance(index, int) and 0 <= index < len(session.snaps)):
                raise BadValue(f"there is no snap number {index!s:.10}; choose one from the strip")
            if index == session.current:
                raise BadValue("this snap is being looked at; choose another one first, then remove this")
            name = session.snaps.pop(index).photo.name
            session.current -= index < session.current
            self.keeping.save(session)
            return Shown(status=f"{name} is removed.", parts={"strip": self._strip(session)})

    # ---- from entries to the analysis ---------------------------------------------------------------------------

    def _analysis(self, session: Session, snap: Snap, for_strip: bool = False) -> Analysis:
        request = self._request(session, snap, for_strip)
        return Analysis(snap.photo, request, {} if snap.scene is None else {"bare_scene": snap.scene})

    def _request(self, session: Session, snap: Snap, for_strip: bool = False) -> Request:
        """Everything that was said, as one request. Raises BadValue, BadKit."""
        inputs = session.inputs
        if for_strip:
            inputs = replace(_own_facts_first(inputs, snap), shutter_s=None)
        inputs = _with_clock(inputs, snap)
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
            session.analysis, session.stage = analysis.with_(**_fields(wanted)), None
            self._note(session)
            shown = self._all(session, "Worked out again with what you entered.")
            return replace(shown, refused=refused, values={**shown.values, **cleared})

    # ---- corrections --------------------------------------------------------------------------------------------

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
            if name == "map":
                parts = {"areas": sections.areas(analysis)}
            return Shown(pictures=self._views(analysis, (name,)), parts=parts, values={"version": session.version})

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

    @staticmethod
    def _views(analysis: Analysis, names: Sequence[str]) -> dict[str, str]:
        return {name: pictures.data_address(pictures.VIEWS[name](analysis)) for name in names}

    def beside(self, token: str | None) -> Iterator[Shown]:
        """All snaps side by side at once, then again with each best framing that was not looked for yet."""
        try:
            yield self.section(token, "beside")
            with self.sessions.at(token) as session:
                unframed = [i for i in sections.best_first(session) if not session.snaps[i].glance.framing_sought]
            for index in unframed:
                yield (yield from self.in_turn(partial(self._frame, token, index), token))
        except Stopped:
            yield Shown(status=STOPPED)
        except Exception as error:
            yield sorry(error)

    def _frame(self, token: str | None, index: int) -> Shown:
        """Side by side, with the best framing of one more snap."""
        with self.sessions.at(token) as session:
            if index >= len(session.snaps) or not session.snaps[index].infrared:
                return Shown()
            snap, looked_at = session.snaps[index], index == session.current
            analysis = self.analysis_of(session) if looked_at else self._analysis(session, snap, for_strip=True)
            session.snaps[index] = replace(snap, glance=answer.glance_of(analysis, with_framing=True))
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

    # ---- take it with you ---------------------------------------------------------------------------------------

    @answered
    def make_card(self, token: str | None, title: str, with_place: bool) -> Shown:
        """The card as PDF, PNG and JSON, ready to be saved from the browser."""
        with self.sessions.at(token) as session:
            analysis = self.analysis_of(session)
            name = " ".join(str(title).split())[:80] or Path(analysis.photo.name).stem
            card = card_of(analysis, name, bool(with_place))
            with tempfile.TemporaryDirectory(prefix="card-", dir=self.folder) as where:
                files = [
                    {"kind": path.suffix[1:].upper(), "name": path.name, "address": pictures.file_address(path)}
                    for path in write_card(card, Path(where), CARD_KINDS)
                ]
            has = "with" if card.place is not None else "without"
            return Shown(status=f"The card is ready, {has} the location.", values={"cards": files})

    def make_field_page(self, token: str | None, with_place: bool) -> Iterator[Shown]:
        """The field page of all snaps as one HTML file; between two snaps others have their turn, or it is stopped."""
        since = self.sessions.stops(token)
        try:
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
            text = field_page_html(page).encode()
            address = "data:application/octet-stream;base64," + base64.b64encode(text).decode("ascii")
            has = f"{'with' if with_place else 'without'} location{'s' if count > 1 else ''}"
            yield Shown(
                status=f"The field page is ready, {has}; send it to the phone and open it there.",
                faults=tuple(faults),
                values={"cards": [{"kind": "field page", "name": "field.html", "address": address}]},
            )
        except Stopped:
            yield Shown(status=STOPPED)
        except Exception as error:
            yield sorry(error)

    def _field_place(self, token: str | None, index: int, with_place: bool, faults: list[str]) -> FieldPlace | None:
        """One snap's part of the field page; None with a line in `faults` where it has no setting to take along."""
        with self.sessions.at(token) as session:
            if index >= len(session.snaps):
                return None
            snap, looked_at = session.snaps[index], index == session.current
            try:
                analysis = self.analysis_of(session) if looked_at else self._analysis(session, snap, for_strip=True)
                return field_place_of(analysis, Path(snap.photo.name).stem, with_place)
            except IrpreviewError as error:
                faults.append(sentence(f"{snap.photo.name}: {error}"))
                return None

    # ---- showing ------------------------------------------------------------------------------------------------

    @staticmethod
    def _strip(session: Session) -> str:
        order = sorted(range(len(session.snaps)), key=lambda i: (-session.snaps[i].glance.worth, i))
        entries = [
            {
                "index": index,
                "name": snap.photo.name,
                "thumb": pictures.jpeg_address(snap.infrared or snap.thumb),
                "lead": snap.glance.lead,
                "separates": snap.glance.separates,
                "trouble": snap.trouble,
            }
            for index, snap in ((i, session.snaps[i]) for i in order)
        ]
        return filled("strip.html", snaps=entries, current=session.current)

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
            parts={"strip": self._strip(session), "answer": filled("answer.html", answer=told)},
            pictures=self._views(analysis, views),
            values=values,
        )


def _entries(inputs: Inputs) -> dict[str, str]:
    """The entries as the fields hold them."""
    shown = {}
    for name in inputs.__dataclass_fields__:
        value = getattr(inputs, name)
        if name not in ("wind_m_s", "shutter_s") and (value is None or isinstance(value, (str, float))):
            shown[name] = "" if value is None else f"{value:g}" if isinstance(value, float) else str(value)
    return shown


def _fields(request: Request) -> dict[str, Any]:
    """A request as changes for `Analysis.with_`."""
    return {name: getattr(request, name) for name in request.__dataclass_fields__}


def _own_facts_first(inputs: Inputs, snap: Snap) -> Inputs:
    """The entries for another snap: what its own file says goes before what was typed for the one before."""
    facts = snap.photo
    if facts.place is not None:
        inputs = replace(inputs, place="")
    if facts.taken_at is not None or facts.taken_at_naive is not None:
        inputs = replace(inputs, when="")
    return inputs if facts.heading_deg is None else replace(inputs, heading_deg=None)


def _with_clock(inputs: Inputs, snap: Snap) -> Inputs:
    """A clock without a zone in the snap's file is read with the zone that was entered."""
    naive = snap.photo.taken_at_naive
    if not inputs.when and snap.photo.taken_at is None and naive is not None and inputs.zone:
        return replace(inputs, when=naive.strftime("%Y-%m-%d %H:%M"))
    return inputs
