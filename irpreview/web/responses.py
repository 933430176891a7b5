"""What a handler gives back: the parts of the page that change, or a sentence about what went wrong."""

from __future__ import annotations

import sys
import traceback
from dataclasses import dataclass, fields
from pathlib import Path

from irpreview.errors import IrpreviewError
from irpreview.web import parts

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
    log_news: str | None = None
    log_compared: str | None = None
    log_learned: str | None = None
    log_entries: str | None = None


PARTS = tuple(field.name for field in fields(Shown))


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
