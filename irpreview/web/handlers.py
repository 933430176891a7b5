"""What the page does when something is pressed, as plain functions without the page's framework.

Each takes a sitting's token and plain values and gives `Shown`: the parts of the page that change. An error that is
the user's becomes a sentence in the status line; nothing else of the page is touched by it.
"""

from __future__ import annotations

from collections.abc import Callable, Generator, Iterator, Mapping, Sequence
from dataclasses import replace
from functools import partial, wraps
from pathlib import Path
from typing import Any, Concatenate, ParamSpec, TypeVar

from irpreview import study as working
from irpreview.core.scene import strokes as brush
from irpreview.errors import BadValue, IrpreviewError
from irpreview.inputs import Inputs, conditions_of, kit_of, light_now, parse_place, parse_when
from irpreview.io.card_files import CARD_KINDS, write_card
from irpreview.records import CLASS_WORDS, Kit, SceneMap
from irpreview.study import SHUTTERS_S, WINDS_M_S, Look, Study
from irpreview.take_along import card_of, window_words
from irpreview.web import parts, pictures
from irpreview.web.responses import Shown, sorry
from irpreview.web.sessions import MOST_SNAPS, Session, Sessions, Snap
from irpreview.web.uploads import MOST_WAITING, Uploads
from irpreview.web.values import facts_used, inputs_from, same_entries, strokes_from
from irpreview.web.work_queue import Turns

T = TypeVar("T")
P = ParamSpec("P")
PATIENCE_S = 0.4
"""So long one waits for one's turn without a word."""
WORKING = "Working out the rest."


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
    """The page's handlers over one set of sittings. `folder` is the only place where files are written."""

    def __init__(self, folder: Path, sittings: Sessions | None = None) -> None:
        self.folder = folder
        self.sittings = sittings if sittings is not None else Sessions()  # an empty one counts as false
        self.uploads = Uploads(folder)
        self.turns = Turns()
        self.taught: Callable[[Kit, float | None], Kit] = lambda kit, _sun_height_deg: kit
        """What the owner's log adds to a kit; guests go without."""

    # ---- one thing at a time ------------------------------------------------------------------------------------

    def in_turn(self, work: Callable[[], T]) -> Generator[Shown, None, T]:
        """Do heavy work when its turn comes; who has to wait is told. No lock is held while something is shown."""
        ticket = self.turns.join()
        try:
            if not self.turns.wait(ticket, PATIENCE_S):
                others = self.turns.ahead(ticket)
                tasks = "another task comes" if others <= 1 else f"{others} other tasks come"
                yield Shown(
                    status=parts.status(f"One moment: {tasks} first on this computer; yours follows by itself.")
                )
                self.turns.wait(ticket)
            return work()
        finally:
            self.turns.leave(ticket)

    def told(self, work: Callable[[], Shown]) -> Iterator[Shown]:
        """A heavy handler, in its turn."""
        shown = yield from self.in_turn(work)
        yield shown

    def at_once(self, token: str | None, work: Callable[[], Shown]) -> Iterator[Shown]:
        """A quick handler: it waits for nobody else, only for what the same page is being worked on."""
        if not self.sittings.free(token, PATIENCE_S):
            yield Shown(status=parts.status("Still at work on what came before; the picture follows."))
        yield work()

    # ---- snaps ------------------------------------------------------------------------------------------------

    def give(self, token: str | None, numbers: object) -> Iterator[Shown]:
        """`add` for files that came in by `uploads`, named by their numbers."""
        listed = numbers if isinstance(numbers, list) else []
        found = [path for path in map(self.uploads.take, listed[:MOST_WAITING]) if path is not None]
        if not found:
            yield sorry(BadValue("the file that was given is not here any more; give it again"))
        else:
            yield from self.add(token, found)

    def add(self, token: str | None, files: Sequence[str | Path]) -> Iterator[Shown]:
        """Read snaps, look at the first new one, then find figure and sentence for the others.

        Yields as soon as something can be shown; between two snaps others have their turn. Uploaded files inside the
        page's folder are deleted once read.
        """
        refused: list[str] = []
        first: int | None = None
        try:
            for count, path in enumerate(files, start=1):
                index = yield from self.in_turn(partial(self._read, token, Path(path), refused))
                if index is None:
                    continue
                if first is None:
                    first = index
                    seen, shown = yield from self.in_turn(partial(self._look_at, token, index))
                    yield shown
                    yield (yield from self.in_turn(partial(self._finish, token, index, seen, refused)))
                else:
                    words = f"{count} of {len(files)} snaps looked at."
                    yield (yield from self.in_turn(partial(self._glance_at, token, index, words, bool(refused))))
            if first is None:
                yield Shown(status=parts.status(" ".join(refused) or "No photo was given.", sorry=True))
            elif len(files) > 1:
                yield (yield from self.in_turn(partial(self._say_ready, token, refused)))
        except Exception as error:
            yield sorry(error)
        finally:
            for path in files:
                self.uploads.discard(Path(path))

    def _read(self, token: str | None, path: Path, refused: list[str]) -> int | None:
        """Read one snap; its number in the list, or None with a sentence in `refused`."""
        with self.sittings.at(token) as sitting:
            if len(sitting.snaps) >= MOST_SNAPS:
                full = f"The page holds {MOST_SNAPS} snaps; the rest was left out."
                refused += [] if full in refused else [full]
                return None
            try:
                photo = working.read_snap(path, sitting.inputs.zone)
            except IrpreviewError as error:
                refused.append(parts.sentence(str(error)))
                return None
            finally:
                self.uploads.discard(path)
            thumb = pictures.data_address(pictures.shrunk(photo.pixels, pictures.THUMB_SIDE_PX), 80)
            sitting.snaps.append(Snap(photo, thumb, "", "Waiting to be looked at."))
            return len(sitting.snaps) - 1

    def _look_at(self, token: str | None, index: int) -> tuple[Look, Shown]:
        """Scene and infrared picture of one snap, which is then the one looked at."""
        with self.sittings.at(token) as sitting:
            if not (isinstance(index, int) and 0 <= index < len(sitting.snaps)):
                raise BadValue(f"there is no snap number {index!s:.10}; choose one from the list")
            snap = sitting.snaps[index]
            seen = self._seen(sitting, snap, self._inputs_for(sitting, snap), snap.scene)
            sitting.current, sitting.study, sitting.unfinished, sitting.put_away = index, None, True, False
            for other, one in enumerate(sitting.snaps):
                if other != index and one.scene is not None:
                    sitting.snaps[other] = replace(one, scene=None)
            return seen, Shown(
                status=parts.status(WORKING),
                snaps=self._snaps(sitting),
                seen=self._map(seen),
                twin=self._twin(seen),
            )

    def _finish(self, token: str | None, index: int, seen: Look, refused: Sequence[str]) -> Shown:
        """The rest of the answers, unless another snap has been chosen meanwhile."""
        with self.sittings.at(token) as sitting:
            snap = sitting.snaps[index]
            if sitting.current != index:
                sitting.snaps[index] = self._judged(snap, working.finish(seen))
                return Shown(snaps=self._snaps(sitting))
            sitting.unfinished = False
            if self._inputs_for(sitting, snap) != seen.inputs:  # something was entered meanwhile
                seen = self._seen(sitting, snap, self._inputs_for(sitting, snap), seen.bare_scene)
            whole = working.finish(seen)
            snap = self._judged(snap, whole)
            sitting.snaps[index] = replace(snap, scene=whole.look.bare_scene)
            sitting.inputs = replace(seen.inputs, shutter_s=None)
            sitting.study = whole
            facts = facts_used(whole)
            return replace(
                self._all(sitting),
                status=self._ready(sitting, refused),
                place=facts["place"],
                when=facts["when"],
                heading_deg=facts["heading_deg"],
                title=facts["title"],
            )

    def _glance_at(self, token: str | None, index: int, words: str, bad: bool) -> Shown:
        """Figure and sentence of a snap that is not the one looked at."""
        with self.sittings.at(token) as sitting:
            snap = sitting.snaps[index]
            try:
                seen = self._seen(sitting, snap, self._inputs_for(sitting, snap), None)
                sitting.snaps[index] = self._judged(snap, working.finish(seen))
            except IrpreviewError as error:
                sitting.snaps[index] = replace(snap, sentence=parts.sentence(str(error)))
            return Shown(snaps=self._snaps(sitting), status=parts.status(words, bad))

    def _say_ready(self, token: str | None, refused: Sequence[str]) -> Shown:
        with self.sittings.at(token) as sitting:
            return Shown(status=self._ready(sitting, refused))

    def pick(self, token: str | None, index: int) -> Iterator[Shown]:
        """Look closer at another snap: its pictures first, then the rest."""
        try:
            seen, shown = yield from self.in_turn(partial(self._look_at, token, index))
            yield shown
            yield (yield from self.in_turn(partial(self._finish, token, index, seen, ())))
        except Exception as error:
            yield sorry(error)

    def _seen(self, sitting: Session, snap: Snap, inputs: Inputs, scene: SceneMap | None) -> Look:
        """The first half of a study, with the kit as the owner's log taught it; an own typed factor goes before."""
        kit = kit_of(inputs)
        if sitting.owner:
            light, _ = light_now(snap.photo, inputs)
            taught = self.taught(kit, light.sun_height_deg if light.sun_bearing_deg is not None else None)
            if inputs.factor_stops is not None:
                taught = replace(taught, factor_stops=kit.factor_stops, factor_source=kit.factor_source)
            kit = taught
        return working.look(snap.photo, inputs, snap.repaints, scene, kit)

    @staticmethod
    def _inputs_for(sitting: Session, snap: Snap) -> Inputs:
        """The entries for a snap: a snap's own place, time and bearing go before those of another snap."""
        inputs = sitting.inputs
        facts = snap.photo
        if facts.place is not None:
            inputs = replace(inputs, place="")
        if facts.taken_at is not None or facts.taken_at_naive is not None:
            inputs = replace(inputs, when="")
        if facts.taken_at is None and facts.taken_at_naive is not None:
            inputs = replace(inputs, when=facts.taken_at_naive.strftime("%Y-%m-%d %H:%M"))
        if facts.heading_deg is not None:
            inputs = replace(inputs, heading_deg=None)
        return replace(inputs, shutter_s=None)

    @staticmethod
    def _judged(snap: Snap, study: Study) -> Snap:
        return replace(snap, figure=parts.figure_words(study.verdict), sentence=parts.one_sentence(study.verdict))

    # ---- kit, place and day -------------------------------------------------------------------------------------

    def arrived(self, token: str | None, number: object) -> int:
        """Note the number of a state of the entries before waiting with it; gives it as a whole number."""
        known = int(number) if isinstance(number, int | float) and 0 < number < 2**53 else 0
        self.sittings.entry_arrived(token, known)
        return known

    @answered
    def enter(self, token: str | None, values: Mapping[str, Any], number: int = 0) -> Shown:
        """New entries for kit, place and day; everything follows. Unchanged entries change nothing, nor do those that
        are older than what has `arrived`; 0 = not numbered."""
        with self.sittings.at(token) as sitting:
            if 0 < number < sitting.newest_entry:
                return Shown()
            inputs = inputs_from(values, sitting.inputs)
            if sitting.put_away:
                self.study_of(sitting)
            if sitting.study is None and (sitting.unfinished or not sitting.snaps):
                kit_of(inputs)
                conditions_of(inputs)
                parse_place(inputs.place)
                parse_when(inputs.when, inputs.zone)
                sitting.inputs = inputs
                return Shown()
            if sitting.study is not None and same_entries(inputs, sitting.inputs, sitting.study):
                return Shown()
            snap = sitting.snaps[sitting.current]
            inputs = replace(inputs, wind_m_s=sitting.inputs.wind_m_s, shutter_s=None)
            scene = sitting.study.look.bare_scene if sitting.study is not None else snap.scene
            study = working.finish(self._seen(sitting, snap, inputs, scene))
            sitting.inputs, sitting.study = inputs, study
            sitting.snaps[sitting.current] = self._judged(snap, study)
            words = "Worked out again with what you entered."
            return replace(self._all(sitting), status=parts.status(" ".join([words, *study.sorry]), bool(study.sorry)))

    # ---- corrections --------------------------------------------------------------------------------------------

    @answered
    def paint(self, token: str | None, given: Sequence[Mapping[str, Any]], grow: bool) -> Shown:
        """Use brush strokes, grown to the edges or exactly as painted."""
        with self.sittings.at(token) as sitting:
            study = self.study_of(sitting)
            moves = strokes_from(given)
            if not moves:
                raise BadValue("there are no strokes yet; choose what it is and draw over it")
            masks = brush.grow(study.photo, study.scene, moves) if grow else brush.paint(study.scene, moves)
            share = sum(float(mask.mean()) for mask, _ in masks)
            return self._repaint(sitting, tuple(masks), f"Corrected {share:.0%} of the picture.")

    @answered
    def correct_area(self, token: str | None, area: int, class_name: str) -> Shown:
        """Set the class of one area from the list."""
        with self.sittings.at(token) as sitting:
            study = self.study_of(sitting)
            listed = brush.regions(study.scene)
            if not (isinstance(area, int) and 0 <= area < len(listed)):
                raise BadValue(f"there is no area number {area!s:.10}; choose one from the list")
            if class_name not in CLASS_WORDS:
                raise BadValue(f"there is no class {class_name!s:.20}; choose one from the list")
            one = listed[area]
            words = f"{CLASS_WORDS[one.class_name].capitalize()}, {one.words}: now {CLASS_WORDS[class_name]}."
            return self._repaint(sitting, ((one.mask, class_name),), words)

    @answered
    def undo(self, token: str | None) -> Shown:
        """Take back the last correction."""
        with self.sittings.at(token) as sitting:
            self.study_of(sitting)
            snap = sitting.snaps[sitting.current]
            if not snap.repaints:
                return Shown(status=parts.status("There is no correction to undo."))
            sitting.snaps[sitting.current] = replace(snap, repaints=snap.repaints[:-1])
            return self._again(sitting, "Undone.")

    def _repaint(self, sitting: Session, masks: tuple[Any, ...], words: str) -> Shown:
        snap = sitting.snaps[sitting.current]
        sitting.snaps[sitting.current] = replace(snap, repaints=(*snap.repaints[-19:], masks))
        return self._again(sitting, words)

    def _again(self, sitting: Session, words: str) -> Shown:
        study = self.study_of(sitting)
        snap = sitting.snaps[sitting.current]
        fresh = working.finish(self._seen(sitting, snap, study.inputs, study.look.bare_scene))
        sitting.study = fresh
        sitting.snaps[sitting.current] = self._judged(snap, fresh)
        return replace(self._all(sitting), status=parts.status(words))

    @answered
    def again(self, token: str | None, words: str) -> Shown:
        """Work out the snap looked at once more, because what is known of the kit has changed."""
        with self.sittings.at(token) as sitting:
            if sitting.study is None and not sitting.put_away:
                return Shown()
            return self._again(sitting, words)

    # ---- wind and time ------------------------------------------------------------------------------------------

    @answered
    def move(self, token: str | None, wind: int, time: int, number: int = 0) -> Shown:
        """A slider moves: the picture with its movement, nothing else. -1 = wind not known, recommended time.

        number: counts the moves of one page; one that had to wait while a later one came is left out.
        """
        with self.sittings.at(token, number) as sitting:
            if 0 < number < sitting.newest_move:
                return Shown()
            study = self._moved(sitting, wind, time)
            return Shown(moving=parts.moving(study, self._motion(study)))

    @answered
    def settle(self, token: str | None, wind: int, time: int, number: int = 0) -> Shown:
        """A slider rests: verdict and exposure follow."""
        with self.sittings.at(token, number) as sitting:
            if 0 < number < sitting.newest_move:
                return Shown()
            study = working.settled(self._moved(sitting, wind, time))
            sitting.study = study
            snap = sitting.snaps[sitting.current]
            sitting.snaps[sitting.current] = self._judged(snap, study)
            return Shown(
                snaps=self._snaps(sitting),
                hold=self._hold(study),
                moving=parts.moving(study, self._motion(study)),
                opening=parts.opening(study),
            )

    def _moved(self, sitting: Session, wind: int, time: int) -> Study:
        study = self.study_of(sitting)
        if not (isinstance(wind, int) and -1 <= wind < len(WINDS_M_S)):
            raise BadValue(f"wind stop {wind!s:.10} is outside 0 to {len(WINDS_M_S) - 1}; move the slider")
        if not (isinstance(time, int) and -1 <= time < len(SHUTTERS_S)):
            raise BadValue(f"time stop {time!s:.10} is outside 0 to {len(SHUTTERS_S) - 1}; move the slider")
        best = study.exposure.recommended if study.exposure is not None else None
        if time >= 0:
            shutter_s: float | None = SHUTTERS_S[time]
        else:
            shutter_s = best.shutter_s.likely if best is not None else None
        study = working.moved(study, WINDS_M_S[wind] if wind >= 0 else None, shutter_s)
        sitting.study = study
        sitting.inputs = replace(sitting.inputs, wind_m_s=study.inputs.wind_m_s)
        return study

    # ---- take it with you ---------------------------------------------------------------------------------------

    @answered
    def make_card(self, token: str | None, title: str, with_place: bool) -> Shown:
        """The card as PDF, PNG and JSON in a fresh folder inside the page's own."""
        import tempfile

        with self.sittings.at(token) as sitting:
            study = self.study_of(sitting)
            name = " ".join(str(title).split())[:80] or Path(study.photo.name).stem
            card = card_of(study, name, bool(with_place), tuple(window_words(study)))
            where = Path(tempfile.mkdtemp(prefix="card-", dir=self.folder))
            written = write_card(card, where, CARD_KINDS)
            has = "with" if card.place is not None else "without"
            return Shown(status=parts.status(f"The card is ready, {has} the location."), cards=written)

    # ---- showing ------------------------------------------------------------------------------------------------

    def study_of(self, sitting: Session) -> Study:
        """The snap being looked at with all answers, worked out again where they were put away to save memory.

        Raises BadValue where there is none.
        """
        if sitting.study is None and sitting.unfinished:
            raise BadValue("this snap is still being worked on; do that again in a moment")
        if sitting.study is None and sitting.put_away:
            snap, sitting.put_away = sitting.snaps[sitting.current], False
            sitting.study = working.finish(self._seen(sitting, snap, sitting.inputs, snap.scene))
        if sitting.study is None:
            raise BadValue("there is no snap yet; choose one first")
        return sitting.study

    def _ready(self, sitting: Session, refused: Sequence[str]) -> str:
        study = self.study_of(sitting)
        words = [f"This is {study.photo.name}.", *study.sorry, *refused]
        return parts.status(" ".join(words), sorry=bool(refused))

    @staticmethod
    def _snaps(sitting: Session) -> str:
        entries = [parts.SnapEntry(one.photo.name, one.thumb, one.figure, one.sentence) for one in sitting.snaps]
        return parts.snaps(entries, sitting.current)

    def _all(self, sitting: Session) -> Shown:
        study = self.study_of(sitting)
        return Shown(
            snaps=self._snaps(sitting),
            seen=self._map(study.look),
            twin=self._twin(study.look),
            hold=self._hold(study),
            dials=parts.dials(study),
            moving=parts.moving(study, self._motion(study)),
            opening=parts.opening(study),
            hours=parts.hours(study),
        )

    @staticmethod
    def _map(seen: Look) -> str:
        overlay, colours = pictures.class_overlay(seen.photo, seen.scene)
        return parts.seen(seen, pictures.data_address(overlay), colours, brush.regions(seen.scene))

    @staticmethod
    def _twin(seen: Look) -> str:
        photo, infrared = (pictures.data_address(one) for one in (seen.photo.pixels, seen.rendering.picture))
        return parts.twin(photo, infrared, seen)

    @staticmethod
    def _hold(study: Study) -> str:
        from irpreview.core.verdict.verdict_picture import draw_verdict

        drawn = draw_verdict(study.verdict, study.rendering)
        tall, wide = study.rendering.picture.shape
        # The strip of words below the picture is too small for a phone; the page writes them itself.
        drawn = drawn[: round(drawn.shape[1] * tall / wide)]
        return parts.hold(study.verdict, pictures.data_address(drawn))

    @staticmethod
    def _motion(study: Study) -> str:
        return pictures.data_address(working.motion_picture(study), 82)
