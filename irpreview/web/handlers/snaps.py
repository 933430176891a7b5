"""Snaps come in, are looked at, chosen and removed; the page is opened as it was left."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from functools import partial
from pathlib import Path

from irpreview.core.words.phrases import sentence
from irpreview.errors import BadValue, CannotWrite, IrpreviewError, Stopped
from irpreview.io.photos import load_photo
from irpreview.records import WORKING_SIDE_PX, Photo
from irpreview.web import pictures, sections
from irpreview.web.handlers.answering import AnsweringDesk, fields_of, own_facts_first
from irpreview.web.handlers.waiting import STOPPED, answered, answered_in_steps
from irpreview.web.responses import Shown, sorry
from irpreview.web.sessions import MOST_SNAPS, Session, Snap
from irpreview.web.templating import filled
from irpreview.web.uploads import MOST_WAITING
from irpreview.web.values import entries_of, facts_used

WORKING = "Working out the answer."


class SnapsDesk(AnsweringDesk):
    """Opening the page, and the snaps on its strip."""

    # ---- the page is opened -------------------------------------------------------------------------------------

    @answered_in_steps
    def open(self, token: object, owner: bool) -> Iterator[Shown]:
        """The page as it was left, by the token that the browser kept; a fresh one for an unknown token."""
        known = token if isinstance(token, str) and 20 <= len(token) <= 80 else None
        if known is None or known not in self.sessions:
            again = known if owner and known is not None and self.keeping.of(known).exists() else None
            known = self.sessions.open(owner, again)
            if again is not None:
                with self.sessions.at(known) as session:
                    self.keeping.load(session)
        with self.sessions.at(known) as session:
            kept = str(self.keeping.folder) if session.owner else ""
            first = {"token": known, "owner": session.owner, "kept": kept, "entries": entries_of(session.inputs)}
            current = session.current if session.snaps else None
            shown = Shown(values=first, parts={"strip": sections.strip(session)})
        yield shown
        if current is not None:
            yield from self.pick(known, current, keep_time=True)
            yield from self._glance_at_rest(known)

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
            return Shown(status=words, parts={"strip": sections.strip(session)}, values={"empty": True})

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
                session.inputs = replace(own_facts_first(session.inputs, snap), shutter_s=None)
            session.current, session.stage, session.put_away = index, None, False
            session.analysis, session.unfinished = self._analysis(session, snap), True
            session.version += 1
            for other, one in enumerate(session.snaps):
                if other != index and one.scene is not None:
                    session.snaps[other] = replace(one, scene=None)
            return Shown(
                status=WORKING,
                pictures=pictures.views(session.analysis, ("infrared", "colour")),
                parts={"strip": sections.strip(session), "answer": filled("waiting.html")},
                values={"name": snap.photo.name, "version": session.version, "current": index},
            )

    def _finish(self, token: str | None, index: int) -> Shown:
        """The rest of the answers, unless another snap has been chosen meanwhile."""
        with self.sessions.at(token) as session:
            if session.current != index or session.analysis is None:
                return Shown(parts={"strip": sections.strip(session)})
            session.unfinished = False
            if session.analysis.request != (wanted := self._request(session, session.snaps[index])):
                session.analysis = session.analysis.with_(**fields_of(wanted))  # something was entered meanwhile
            self._note(session)
            facts = facts_used(session.analysis, session.inputs)
            shown = self._all(session, "")
            return replace(shown, values={**shown.values, "entries": {**entries_of(session.inputs), **facts}})

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
            return Shown(
                parts={"strip": sections.strip(session)}, status=words, values={} if words else {"rested": True}
            )

    def _glance_at_rest(self, token: str | None) -> Iterator[Shown]:
        since = self.sessions.stops(token)
        with self.sessions.at(token) as session:
            waiting = [i for i, one in enumerate(session.snaps) if not one.infrared and not one.trouble]
        for index in waiting:
            yield (yield from self.in_turn(partial(self._glance_at, token, index), token, since))

    @answered_in_steps
    def pick(self, token: str | None, index: int, keep_time: bool = False) -> Iterator[Shown]:
        """Look closer at another snap: its picture first, then the answer."""
        yield (yield from self.in_turn(partial(self._look_at, token, index, keep_time), token))
        yield (yield from self.in_turn(partial(self._finish, token, index)))

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
            return Shown(status=f"{name} is removed.", parts={"strip": sections.strip(session)})
