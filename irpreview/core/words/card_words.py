"""Long sentences in few words, for a card that is read in wind and sunlight.

What the card's facts (and its JSON) say in full is said here once and briefly. A sentence that is not recognised stays
as it is: it comes out long, never lost. The tests hold each rule against the sentences that the core really says.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Sequence

Rule = tuple[re.Pattern[str], str]

_NUMBER_RANGE = re.compile(r"\((\d[\d.]*) to (\d[\d.]*)\)")


def _rules(*pairs: tuple[str, str]) -> tuple[Rule, ...]:
    return tuple((re.compile(pattern), short) for pattern, short in pairs)


FOCUS = _rules(
    (r"^Infrared focus lies about [\d.]+ % of the focal length off \(([\d.]+ mm)\): ", r"Infrared shift \1: "),
    (
        r"^Focus on the sensor through the fitted filter, magnified and wide open: no correction is needed\.$",
        "Magnified through the fitted filter, wide open: no correction.",
    ),
    (
        r"^If the filter is fitted after focusing: hold the focus \(manual, ring taped\), shift it or stop down, and "
        r"check magnified once the filter is on\.$",
        "Filter fitted after focusing: tape the ring, shift or stop down, check magnified.",
    ),
    (
        r"^This camera focuses beside the sensor: focus in visible light, switch to manual, then turn the ring to the "
        r"infrared mark or by the shift above before the filter goes on\.$",
        "This camera focuses beside the sensor: focus in visible light, go to manual, turn the ring to the infrared "
        "mark or by this shift, then fit the filter.",
    ),
)
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
MOVEMENT = _rules(
    (r" on a 30 x 40 cm print", ""),  # said by the heading
    (r"; they hold (?=until|at any)", "; sharp "),
    (r": they drift [\d.]+ deg/s \([\d.]+ to [\d.]+\), ", ": "),
    (r"% of the picture's height in ", "% of the height in "),
    (r": ([\d.]+) wave periods (\([\d.]+ to [\d.]+\)) of ", r": \1 \2 waves of "),
    (r" Beyond (.+) a longer time smears them hardly more\.$", r" Hardly more beyond \1."),
    (r" a gust is likely: plan on (.+) rather than the mean of .+\.$", r" a gust is likely: plan on \1."),
)
ASSUMPTIONS = _rules(
    (r"^Light: sun from place and time, (-?\d+) degrees high; ", r"Sun \1° high, by place and time; "),
    (
        r"^Brightness: snap: EV [\d.-]+ at ISO 100 from its exposure data; "
        r"what it metered is .* (EV [\d.-]+) for grey\.$",
        r"Brightness: \1 at ISO 100, by the snap's exposure data.",
    ),
    (
        r"^Brightness: snap: (EV [\d.-]+) at ISO 100 from its exposure data; "
        r"what it metered is about as bright as grey\.$",
        r"Brightness: \1 at ISO 100, by the snap's exposure data.",
    ),
    (
        r"^Whether this lens shows a hot spot at (f/[\d.]+) is not known: .*$",
        r"Hot spot at \1 unknown: look at the middle of a test frame.",
    ),
    (
        r"^The snap's exposure data and the sun's height on a clear day disagree by ([\d.]+ stops) \(.*\); the snap's "
        r"exposure data is used: ",
        r"Snap (used) and sun's height disagree by \1: ",
    ),
)
AT_THE_TOP = re.compile(r"^The time is sure only to ")
"""Said by the setting's own range."""
NO_MOVEMENT = re.compile(r"^Movement is not in this: wind was not given")
"""Said with the wind."""
NO_USE_OUTDOORS = re.compile(r"^\d+ of \d+ combinations are left out")
_LAYERS = re.compile(r"^From near to far: .*, and (.+)$")
"""The pictures show what lies before what."""
_REPEATED = tuple(
    re.compile(words)
    for words in (
        r" in (?:\d+\.\d m/s|an unknown wind, \d+ to \d+ m/s)",
        r" at (?:1/\d+|(?:[\d.]+ (?:h|min|s) ?)+)(?<! )(?=[ ;:.,]|$)",
    )
)


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


def said_once(sentences: Iterable[str]) -> tuple[str, ...]:
    """Sentences of which only the first names the wind and the time that hold for all."""
    seen: set[str] = set()
    kept = []
    for sentence in sentences:
        for pattern in _REPEATED:
            sentence = pattern.sub(_first_of(seen), sentence)
        kept.append(sentence)
    return tuple(kept)


def _first_of(seen: set[str]) -> Callable[[re.Match[str]], str]:
    def first(match: re.Match[str]) -> str:
        words = match.group()
        if words in seen:
            return ""
        seen.add(words)
        return words

    return first
