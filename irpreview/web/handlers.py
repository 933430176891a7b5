"""What the page does when something is pressed, as plain functions without the page's framework.

Each takes a sitting's token and plain values and gives `Shown`: the parts of the page that change. An error that is
the user's becomes a sentence in the status line; nothing else of the page is touched by it.
"""

from __future__ import annotations

import contextlib
import math
import sys
import traceback
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, fields, replace
from functools import wraps
from pathlib import Path
from typing import Any, Concatenate, ParamSpec

from irpreview.core import strokes as brush
from irpreview.errors import BadValue, IrpreviewError
from irpreview.io.card_files import CARD_KINDS, write_card
from irpreview.records import CLASS_WORDS
from irpreview.web import parts, pictures
from irpreview.web import study as working
from irpreview.web.sittings import MOST_SNAPS, Sitting, Sittings, Snap
from irpreview.web.study import SHUTTERS_S, WINDS_M_S, Inputs, Study
from irpreview.web.uploads import MOST_WAITING, Uploads

P = ParamSpec("P")
SESSION_OVER = "This page sat unused for too long and was cleared. Give the snap again, please."


@dataclass(frozen=True, slots=True)
class Shown:
    """Parts of the page to show anew; None = leave as it is."""

    status: str | None = None
    snaps: str | None = None
    twin: str | None = None
    seen: str | None = None
    hold: str | None = None
    dials: str | None = None
    moving: str | None = None
    opening: str | None = None
    hours: str | None = None
    place: str | None = None
    when: str | None = None
    heading_deg: str | None = None
    title: str | None = None
    cards: tuple[Path, ...] | None = None


PARTS = tuple(field.name for field in fields(Shown))


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


def sorry(error: Exception) -> Shown:
    """The status line for an error."""
    return Shown(status=parts.status(apology(error), sorry=True))


def apology(error: Exception) -> str:
    """One sentence for an error; the details of an unforeseen one go to the terminal."""
    if isinstance(error, KeyError):
        return SESSION_OVER
    if isinstance(error, IrpreviewError):
        return parts.sentence(str(error))
    if isinstance(error, MemoryError):
        return "This needs more memory than there is; use a smaller photo or close other programs."
    traceback.print_exception(error, file=sys.stderr)
    return "Something went wrong that should not have. What you see is still right; details are in the terminal."


class Desk:
    """The page's handlers over one set of sittings. `folder` is the only place where files are written."""

    def __init__(self, folder: Path, sittings: Sittings | None = None) -> None:
        self.folder = folder
        self.sittings = sittings or Sittings()
        self.uploads = Uploads(folder)

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

        Yields as soon as something can be shown. Uploaded files inside the page's folder are deleted once read.
        """
        try:
            with self.sittings.at(token) as sitting:
                yield from self._add(sitting, files)
        except GeneratorExit:
            raise
        except Exception as error:
            yield sorry(error)

    def _add(self, sitting: Sitting, files: Sequence[str | Path]) -> Iterator[Shown]:
        refused: list[str] = []
        new: list[int] = []
        for path in files:
            if len(sitting.snaps) >= MOST_SNAPS:
                refused.append(f"The page holds {MOST_SNAPS} snaps; the rest was left out.")
                break
            try:
                photo = working.read_snap(path, sitting.inputs.zone)
            except IrpreviewError as error:
                refused.append(parts.sentence(str(error)))
            else:
                thumb = pictures.data_address(pictures.shrunk(photo.pixels, pictures.THUMB_SIDE_PX), 80)
                sitting.snaps.append(Snap(photo, thumb, "", "Waiting to be looked at."))
                new.append(len(sitting.snaps) - 1)
            finally:
                self.uploads.discard(Path(path))
        if not new:
            yield Shown(status=parts.status(" ".join(refused) or "No photo was given.", sorry=True))
            return
        yield from self._look_at(sitting, new[0], refused)
        for count, index in enumerate(new[1:], start=2):
            snap = sitting.snaps[index]
            try:
                study = working.begin(snap.photo, self._inputs_for(sitting, snap), snap.repaints)
                sitting.snaps[index] = self._judged(snap, study)
            except IrpreviewError as error:
                sitting.snaps[index] = replace(snap, sentence=parts.sentence(str(error)))
            yield Shown(
                snaps=self._snaps(sitting),
                status=parts.status(f"{count} of {len(new)} snaps looked at.", bool(refused)),
            )
        yield Shown(status=self._ready(sitting, refused))

    @answered
    def pick(self, token: str | None, index: int) -> Shown:
        """Look closer at another snap."""
        with self.sittings.at(token) as sitting:
            if not (isinstance(index, int) and 0 <= index < len(sitting.snaps)):
                raise BadValue(f"there is no snap number {index!s:.10}; choose one from the list")
            *_, last = self._look_at(sitting, index, [])
            return last

    def _look_at(self, sitting: Sitting, index: int, refused: Sequence[str]) -> Iterator[Shown]:
        """All answers for one snap: pictures first, then the rest."""
        snap = sitting.snaps[index]
        inputs = self._inputs_for(sitting, snap)
        seen = working.look(snap.photo, inputs, snap.repaints, snap.scene)
        sitting.current = index
        for other, one in enumerate(sitting.snaps):
            if other != index and one.scene is not None:
                sitting.snaps[other] = replace(one, scene=None)
        # The infrared picture can be shown before movement, exposure and verdict are worked out.
        yield Shown(
            status=parts.status("Working out the rest."),
            snaps=self._snaps(sitting),
            twin=parts.twin(
                pictures.data_address(seen.photo.pixels), pictures.data_address(seen.rendering.picture), seen
            ),
        )
        study = working.finish(seen)
        sitting.snaps[index] = replace(self._judged(snap, study), scene=study.look.bare_scene)
        sitting.inputs = replace(inputs, shutter_s=None)
        sitting.study = study
        yield replace(self._all(sitting), status=self._ready(sitting, refused), **self._facts(study))

    @staticmethod
    def _inputs_for(sitting: Sitting, snap: Snap) -> Inputs:
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
    def _facts(study: Study) -> dict[str, Any]:
        """What the fields for place, time and bearing show: what is used."""
        place, when, heading = study.photo.place, study.photo.taken_at, study.photo.heading_deg
        return {
            "place": f"{place.latitude_deg:.5f}, {place.longitude_deg:.5f}"
            if place is not None
            else study.inputs.place,
            "when": when.strftime("%Y-%m-%d %H:%M%z") if when is not None else study.inputs.when,
            "heading_deg": f"{heading:.0f}" if heading is not None else "",
            "title": Path(study.photo.name).stem[:60],
        }

    @staticmethod
    def _judged(snap: Snap, study: Study) -> Snap:
        return replace(snap, figure=parts.figure_words(study.verdict), sentence=parts.one_sentence(study.verdict))

    # ---- kit, place and day -------------------------------------------------------------------------------------

    @answered
    def enter(self, token: str | None, values: Mapping[str, Any]) -> Shown:
        """New entries for kit, place and day; everything follows. Unchanged entries change nothing."""
        with self.sittings.at(token) as sitting:
            inputs = inputs_from(values, sitting.inputs)
            if sitting.study is None:
                working.kit_of(inputs)
                working.conditions_of(inputs)
                working.parse_place(inputs.place)
                working.parse_when(inputs.when, inputs.zone)
                sitting.inputs = inputs
                return Shown()
            if same_entries(inputs, sitting.inputs, sitting.study):
                return Shown()
            snap = sitting.snaps[sitting.current]
            inputs = replace(inputs, wind_m_s=sitting.inputs.wind_m_s, shutter_s=None)
            study = working.finish(working.look(snap.photo, inputs, snap.repaints, sitting.study.look.bare_scene))
            sitting.inputs, sitting.study = inputs, study
            sitting.snaps[sitting.current] = self._judged(snap, study)
            words = "Worked out again with what you entered."
            return replace(self._all(sitting), status=parts.status(" ".join([words, *study.sorry]), bool(study.sorry)))

    # ---- corrections --------------------------------------------------------------------------------------------

    @answered
    def paint(self, token: str | None, given: Sequence[Mapping[str, Any]], grow: bool) -> Shown:
        """Use brush strokes, grown to the edges or exactly as painted."""
        with self.sittings.at(token) as sitting:
            study = self._study(sitting)
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
            study = self._study(sitting)
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
            self._study(sitting)
            snap = sitting.snaps[sitting.current]
            if not snap.repaints:
                return Shown(status=parts.status("There is no correction to undo."))
            sitting.snaps[sitting.current] = replace(snap, repaints=snap.repaints[:-1])
            return self._again(sitting, "Undone.")

    def _repaint(self, sitting: Sitting, masks: tuple[Any, ...], words: str) -> Shown:
        snap = sitting.snaps[sitting.current]
        sitting.snaps[sitting.current] = replace(snap, repaints=(*snap.repaints[-19:], masks))
        return self._again(sitting, words)

    def _again(self, sitting: Sitting, words: str) -> Shown:
        study = self._study(sitting)
        snap = sitting.snaps[sitting.current]
        fresh = working.finish(working.look(snap.photo, study.inputs, snap.repaints, study.look.bare_scene))
        sitting.study = fresh
        sitting.snaps[sitting.current] = self._judged(snap, fresh)
        return replace(self._all(sitting), status=parts.status(words))

    # ---- wind and time ------------------------------------------------------------------------------------------

    @answered
    def move(self, token: str | None, wind: int, time: int) -> Shown:
        """A slider moves: the picture with its movement, nothing else. -1 = wind not known, recommended time."""
        with self.sittings.at(token) as sitting:
            study = self._moved(sitting, wind, time)
            return Shown(moving=parts.moving(study, self._motion(study)))

    @answered
    def settle(self, token: str | None, wind: int, time: int) -> Shown:
        """A slider rests: verdict and exposure follow."""
        with self.sittings.at(token) as sitting:
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

    def _moved(self, sitting: Sitting, wind: int, time: int) -> Study:
        study = self._study(sitting)
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
            study = self._study(sitting)
            name = " ".join(str(title).split())[:80] or Path(study.photo.name).stem
            card = working.card_of(study, name, bool(with_place), tuple(working.window_words(study)))
            where = Path(tempfile.mkdtemp(prefix="card-", dir=self.folder))
            written = write_card(card, where, CARD_KINDS)
            has = "with" if card.place is not None else "without"
            return Shown(status=parts.status(f"The card is ready, {has} the location."), cards=written)

    # ---- showing ------------------------------------------------------------------------------------------------

    @staticmethod
    def _study(sitting: Sitting) -> Study:
        if sitting.study is None:
            raise BadValue("there is no snap yet; choose one first")
        return sitting.study

    def _ready(self, sitting: Sitting, refused: Sequence[str]) -> str:
        study = self._study(sitting)
        words = [f"This is {study.photo.name}.", *study.sorry, *refused]
        return parts.status(" ".join(words), sorry=bool(refused))

    @staticmethod
    def _snaps(sitting: Sitting) -> str:
        entries = [parts.SnapEntry(one.photo.name, one.thumb, one.figure, one.sentence) for one in sitting.snaps]
        return parts.snaps(entries, sitting.current)

    def _all(self, sitting: Sitting) -> Shown:
        study = self._study(sitting)
        overlay, colours = pictures.class_overlay(study.photo, study.scene)
        return Shown(
            snaps=self._snaps(sitting),
            twin=parts.twin(
                pictures.data_address(study.photo.pixels), pictures.data_address(study.rendering.picture), study
            ),
            seen=parts.seen(study, pictures.data_address(overlay), colours, brush.regions(study.scene)),
            hold=self._hold(study),
            dials=parts.dials(study),
            moving=parts.moving(study, self._motion(study)),
            opening=parts.opening(study),
            hours=parts.hours(study),
        )

    @staticmethod
    def _hold(study: Study) -> str:
        from irpreview.core.verdict_picture import draw_verdict

        return parts.hold(study.verdict, pictures.data_address(draw_verdict(study.verdict, study.rendering)))

    @staticmethod
    def _motion(study: Study) -> str:
        return pictures.data_address(working.motion_picture(study), 82)


# ---- plain values from the page -------------------------------------------------------------------------------------

_NUMBERS = (
    "factor_stops",
    "focal_35mm_mm",
    "widest_f_number",
    "lowest_iso",
    "highest_iso",
    "heading_deg",
    "temperature_c",
    "wind_from_deg",
    "cloud_fist_s",
    "trees_m",
    "nearest_m",
)
_WORDS: Mapping[str, tuple[str, ...]] = {
    "sky_state": ("unknown", "clear", "thin_cloud", "broken", "overcast"),
    "haze": ("unknown", "clear", "normal", "hazy"),
    "water_kind": ("unknown", "pond", "lake", "sea", "stream", "falls"),
}
_TEXTS = ("kit", "place", "when", "zone")


def inputs_from(values: Mapping[str, Any], before: Inputs) -> Inputs:
    """Entries as the page sends them; what is missing stays. Raises BadValue for what cannot be an entry."""
    changes: dict[str, Any] = {}
    for name in _NUMBERS:
        if name in values:
            changes[name] = _number(values[name], name)
    for name, allowed in _WORDS.items():
        if name in values:
            word = values[name] or "unknown"
            if word not in allowed:
                raise BadValue(f"{name.replace('_', ' ')} {word!s:.20} is not known; choose from the list")
            changes[name] = word
    for name in _TEXTS:
        if name in values:
            changes[name] = " ".join(str(values[name] or "").split())[:80]
    if "grade" in values and values["grade"] is not None:
        changes["grade"] = min(max(_number(values["grade"], "paper grade") or 0.0, 0.0), 5.0)
    if changes.get("kit") == "":
        changes.pop("kit")
    if "kit" in changes and changes["kit"] not in {kit.name for kit in known_kits()}:
        raise BadValue(f"kit {changes['kit']:.30} is not known; choose one from the list")
    return replace(before, **changes)


def known_kits() -> Sequence[Any]:
    """The built-in kits; files are never opened by a name that came over the network."""
    from irpreview.io.kits import list_kits

    return list_kits()


def _number(value: Any, name: str) -> float | None:
    if isinstance(value, str):
        text = value.strip().replace(",", ".")
        if text.lower() in ("", "unknown", "?", "-"):
            return None
        with contextlib.suppress(ValueError):
            value = float(text)
    if value is None:
        return None
    if isinstance(value, bool) or not isinstance(value, (int, float)) or not math.isfinite(value):
        raise BadValue(f"{name.replace('_', ' ')} {value!s:.20} is no number; leave it empty if it is not known")
    return float(value)


def same_entries(new: Inputs, old: Inputs, study: Study) -> bool:
    """Whether entries change nothing, counting fields that show what the snap itself said as unchanged."""
    facts = Desk._facts(study)

    def settled(inputs: Inputs) -> Inputs:
        heading = inputs.heading_deg
        return replace(
            inputs,
            place="" if inputs.place == facts["place"] else inputs.place,
            when="" if inputs.when == facts["when"] else inputs.when,
            heading_deg=None if heading is not None and f"{heading:.0f}" == facts["heading_deg"] else heading,
            wind_m_s=None,
            shutter_s=None,
        )

    return settled(new) == settled(old)


def strokes_from(given: Sequence[Mapping[str, Any]]) -> list[brush.Stroke]:
    """Brush strokes as the page sends them. Raises BadValue for anything else."""
    moves = []
    try:
        for one in list(given)[: brush.MOST_STROKES + 1]:
            points = tuple((float(x), float(y)) for x, y in list(one["points"])[: brush.MOST_POINTS + 1])
            moves.append(brush.Stroke(str(one["class_name"]), points, float(one["width"])))
    except (KeyError, TypeError, ValueError) as error:
        raise BadValue("these strokes cannot be read; draw them again") from error
    return moves
