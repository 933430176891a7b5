"""Long sentences in few words, for a card that is read in wind and sunlight.

What the card's facts (and its JSON) say in full is said here once and briefly. A sentence that is not recognised stays
as it is: it comes out long, never lost. The tests hold each rule against the sentences that the core really says.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence

Rule = tuple[re.Pattern[str], str]

_NUMBER_RANGE = re.compile(r"\((\d[\d.]*) to (\d[\d.]*)\)")


def _rules(*pairs: tuple[str, str]) -> tuple[Rule, ...]:
    return tuple((re.compile(pattern), short) for pattern, short in pairs)


LIGHT = _rules(
    # A window is only called good when its light is hard: that share stays on the page and in the JSON.
    (r", \d+% of the light straight from it\.$", "."),
    (r"^Good light ", ""),
    (r"^Best of the two weeks from then: ", "Best in two weeks: "),
    (r", (\d+) to (\d+) degrees high\.$", r", \1-\2° high."),
    (r", highest (\d+) degrees\.$", r", highest \1°."),
)
RED = _rules(
    (r"^Judge the histogram's red channel (alone|first): ", r"Judge it \1: "),
    # The table below says what to do at the right edge.
    (r" of its width, off the right edge\.$", " of its width."),
    (r"; do not chase it\.$", "."),
)
WIND_NOW = _rules(
    (r"^Wind when this was made: ", "Made for "),
    (r"^Wind not known when this was made", "Made for an unknown wind"),
)
WHITE_BALANCE = _rules(
    (
        r"^Take the custom white balance on the (.*), filter on, the patch filling the frame\.$",
        r"Custom, filter on, the frame filled with \1.",
    ),
)
SOURCES = _rules(
    (r"^Exposure: (.*)\. Wind: (.*)\. Screen curve: (.*)\.$", r"\1; \2; \3;"),
    (r"^Sunlight: (.*)\.$", r"\1;"),
    (r"^Cloudy skies, zones, focus marks: ", "skies, zones, focus marks: "),
)
ORDER = _rules(
    # The heading says that these are done without the filter.
    (r"^(Frame|Focus|Meter) without the filter", r"\1"),
    (r"tripod low and weighted, ", "low weighted tripod, "),
    (r"; cloth round the mount against stray light\.$", "; cloth round the mount."),
    (r"^Check magnified( in live view)?: near edge, far edge, ", r"Check magnified: near, far, "),
)
_LAYERS = re.compile(r"^From near to far: .*, and (.+)$")
"""The pictures show what lies before what."""


def shorter(sentences: Iterable[str], rules: Sequence[Rule]) -> tuple[str, ...]:
    """Each sentence by every rule that fits it; figures `(1.2 to 3)` as `(1.2-3)`."""
    return tuple(_shorter(one, rules) for one in sentences)


def _shorter(sentence: str, rules: Sequence[Rule]) -> str:
    for pattern, short in rules:
        sentence = pattern.sub(short, sentence)
    return hyphened(sentence)


def hyphened(text: str) -> str:
    """Ranges in brackets with a hyphen."""
    return _NUMBER_RANGE.sub(r"(\1-\2)", text)


def without_layers(sentence: str) -> str:
    """The list of layers down to what holds of their edges."""
    found = _LAYERS.match(sentence)
    return found[1][:1].upper() + found[1][1:] if found else sentence
