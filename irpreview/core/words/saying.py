"""One way from meaning to words: `say(record)` gives a long and a short sentence for anything the core returns.

Records come first and words last: nothing reads a sentence back. Each chapter's words register here for its records.
"""

from __future__ import annotations

from collections.abc import Iterable
from functools import singledispatch

from irpreview.records import Words


def both(text: str) -> Words:
    """What is short enough already."""
    return Words(text, text)


@singledispatch
def in_words(thing: object) -> Words:
    """The words for one record. Raises TypeError for a kind that has none."""
    raise TypeError(f"there are no words for {type(thing).__name__}")


def long_words(things: Iterable[object]) -> tuple[str, ...]:
    """Each in full, nothing twice."""
    return tuple(dict.fromkeys(in_words(thing).long for thing in things))


def short_words(things: Iterable[object]) -> tuple[str, ...]:
    """Each in few words, nothing twice."""
    return tuple(dict.fromkeys(in_words(thing).short for thing in things))
