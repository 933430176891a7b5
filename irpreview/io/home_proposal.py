"""What was found of frames brought home, kept in a file until it is taken into the log, and from there into it."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from pydantic import ValidationError

from irpreview.answers.home import HomeAnswer, RealFrameAnswer, home_answer
from irpreview.core.field_log.entries import HomeFrame, LogEntry, ToneDifference, check_difference, check_entry
from irpreview.core.field_log.homecoming import Homecoming
from irpreview.errors import BadLog, BadValue, IrpreviewError
from irpreview.io.field_log import FieldLog
from irpreview.io.log_exchange import LARGEST_FILE_BYTES, entry_of_facts, facts_of
from irpreview.io.ordinary_file import Wanted, read_text
from irpreview.io.pictures import write_file

_WANTED = Wanted(BadLog, "the proposal", "name what `irpreview log match` wrote", LARGEST_FILE_BYTES)


def write_proposal(path: Path, home: Homecoming, sheet: Path) -> HomeAnswer:
    """Write what was found, whole or not at all; returns it as it stands there. Raises CannotWrite.

    It holds where the frames were taken, as the log does: it stays on this computer.
    """
    entries = {one.number: facts_of(one.home.entry, locations=True) for one in home.frames if one.home is not None}
    answer = home_answer(home, entries, str(sheet), str(path))
    write_file(path, (json.dumps(answer.as_json(), ensure_ascii=False, indent=1, allow_nan=False) + "\n").encode())
    return answer


def read_proposal(path: Path) -> HomeAnswer:
    """A proposal as `write_proposal` wrote it; of a folder, the one that lies in it. Raises BadLog."""
    if path.is_dir():
        path = _only_one(path)
    text = read_text(path, _WANTED)
    try:
        return HomeAnswer.model_validate_json(text)
    except (RecursionError, ValidationError):  # whose words would quote the file
        raise BadLog(f"{path.name} is no proposal of `irpreview log match`; match the frames anew") from None


def _only_one(folder: Path) -> Path:
    found = sorted(folder.glob(f"home-{'[0-9a-f]' * 8}.json"), key=lambda p: p.stat().st_mtime, reverse=True)
    if not found:
        raise BadLog(f"there is no proposal in {folder}; `irpreview log match` writes it beside its sheet")
    if len(found) > 1:
        names = ", ".join(p.name for p in found[:5])
        raise BadLog(f"there are {len(found)} proposals in {folder}; name one of them, the newest first: {names}")
    return found[0]


def take_proposal(
    log: FieldLog, proposal: HomeAnswer, *, only: Sequence[int] = (), leave: Sequence[int] = ()
) -> tuple[tuple[LogEntry, ...], int]:
    """Take what a proposal holds into the log, all or none; returns (new entries, frames that were there already).

    only, leave: numbers on the sheet. Raises BadValue for a number that is not on it or has no snap, BadLog.
    """
    of_number = {frame.number: frame for frame in proposal.frames}
    for number in (*only, *leave):
        if number not in of_number:
            raise BadValue(f"there is no frame {number} on the sheet of batch {proposal.batch}: 1 to {len(of_number)}")
    for number in only:
        if of_number[number].entry is None:
            raise BadValue(
                f"frame {number} ({of_number[number].name}) belongs to none of the snaps; "
                "`irpreview log add --frame --snap` puts it in by hand"
            )
    chosen = [
        frame
        for frame in proposal.frames
        if frame.entry is not None and (not only or frame.number in only) and frame.number not in leave
    ]
    words = f"brought home as batch {proposal.batch}"
    taken = log.take_home(proposal.batch, [_home_frame(frame) for frame in chosen], words)
    return taken, len(chosen) - len(taken)


def _home_frame(frame: RealFrameAnswer) -> HomeFrame:
    try:
        entry = check_entry(replace(entry_of_facts(frame.entry or {}), uid=""))
        differences = tuple(check_difference(ToneDifference(**d.model_dump())) for d in frame.differences)
    except (IrpreviewError, ValueError, TypeError) as error:
        raise BadLog(
            f"frame {frame.number} of the proposal makes no sense ({' '.join(str(error).split())[:120]}); "
            "match the frames anew"
        ) from None
    if not entry.frame_sha256:
        raise BadLog(f"frame {frame.number} of the proposal lacks the content of its file; match the frames anew")
    return HomeFrame(entry, frame.plan, differences)
