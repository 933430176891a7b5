"""What a handler gives back: the parts of the page that change, or a sentence about what went wrong."""

from __future__ import annotations

import sys
import traceback
from dataclasses import dataclass, field
from typing import Any

from irpreview.core.words.phrases import sentence
from irpreview.errors import IrpreviewError

SESSION_OVER = "This page sat unused for too long and was cleared. Add the snap again, please."


@dataclass(frozen=True, slots=True)
class Shown:
    """What of the page changes; None or empty = leave as it is."""

    status: str | None = None
    sorry: bool = False
    """Whether the status tells of something that did not work."""
    faults: tuple[str, ...] = ()
    """One line for each file that could not be read."""
    parts: dict[str, str] = field(default_factory=dict)
    """HTML by the id of the element that it fills."""
    pictures: dict[str, str] = field(default_factory=dict)
    """Views of the snap: name to `data:` address."""
    values: dict[str, Any] = field(default_factory=dict)
    """What the page's script has to know: positions of sliders, entries, outlines."""
    refused: dict[str, str] = field(default_factory=dict)
    """Entries that make no sense: name to sentence."""

    def as_dict(self) -> dict[str, Any]:
        """For the browser: only what changes."""
        return {name: value for name in self.__dataclass_fields__ if (value := getattr(self, name))}


def sorry(error: Exception) -> Shown:
    """The status line for an error."""
    return Shown(status=apology(error), sorry=True)


def apology(error: Exception) -> str:
    """One sentence for an error; the details of an unforeseen one go to the terminal."""
    if isinstance(error, KeyError):
        return SESSION_OVER
    if isinstance(error, IrpreviewError):
        return sentence(str(error))
    if isinstance(error, MemoryError):
        return "This needs more memory than there is; use a smaller photo or close other programs."
    traceback.print_exception(error, file=sys.stderr)
    return "Something went wrong that should not have. What you see is still right; details are in the terminal."
