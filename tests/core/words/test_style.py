"""The rules of `docs/style.md` that can be checked (length, banned words, no labels, units): on every string of the
words and on what is really said of drawn scenes."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from datetime import date
from itertools import product
from pathlib import Path

import pytest

import irpreview
from irpreview.core.motion.wind import BEAUFORT
from irpreview.core.units import beaufort_m_s
from irpreview.core.words import in_words
from irpreview.core.words.phrases import FORCES, in_a, wind_text
from irpreview.core.words.verdict_words import headline, short_headline, why_line
from irpreview.records import (
    CLASS_WORDS,
    Caution,
    CautionKind,
    ClipDoubt,
    ClipDoubtKind,
    Doubt,
    FilterLeaks,
    LightDiffers,
    LightPlanDoubt,
    LightPlanDoubtKind,
    PhotoDoubt,
    PhotoDoubtKind,
    SnapLightUnknown,
    SunBelowHorizon,
    WhatIf,
)
from tests.core.words.test_verdict_words import SCENES, WINDS, _said

PACKAGE = Path(irpreview.__file__).parent
"""Installed, it lies elsewhere than the tests."""
DOCUMENTS = [
    Path(__file__).parents[3] / "README.md",
    *(PACKAGE / "docs" / f"{name}.md" for name in ("guide", "glossary")),
]
BANNED = re.compile(
    r"\b(smear\w*|melt\w*|build on|cannot be told|too close to call|holds? apart|how long to open|taken for granted|"
    r"test frames?|quick frames?|vegetation|plants?|perhaps|respectively|in order to|it is recommended|"
    r"journal|diary|cautious|structures?|other things|parts? from)\b",
    re.IGNORECASE,
)
LABELS = re.compile(r"\b(clear_sky|class(es)?|texture_stops|okta|separability|probability|L\*)(?![\w/])")
UNITS = re.compile(
    r"\d(s|min|h|m|mm|cm|px|stops?|%|m/s)\b"  # no space before the unit
    r"|\d\s?[-\u2013]\s?\d+ (s|min|m|mm|px|stops?)\b"  # a dash for a range
    r"|\bdeg(s|rees C)?\b(?!/s)"
)
MOST_SHORT_WORDS, MOST_LONG_WORDS = 16, 30
KEYS = {"structure", "other", "tree", "plain_tone", "water_plants"}
"""Names of fields and choices, which are no sentence."""


def strings_of(path: Path) -> Iterator[tuple[int, str]]:
    """What a module says: its string constants without docstrings, keys and names of kinds."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    silent = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant):
            silent.add(id(node.value))  # docstrings, also those of constants
        if isinstance(node, ast.Dict):
            silent |= {id(key) for key in node.keys}
        if isinstance(node, (ast.Compare, ast.MatchValue, ast.Subscript)):
            silent |= {id(part) for part in ast.walk(node)}
        if isinstance(node, ast.Assign) and getattr(node.targets[0], "id", "").startswith("_PLURAL"):
            silent |= {id(part) for part in ast.walk(node)}
    for node in ast.walk(tree):
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in silent:
            yield node.lineno, node.value


@pytest.mark.parametrize("path", sorted((PACKAGE / "core" / "words").glob("*.py")), ids=lambda path: path.stem)
def test_no_string_of_the_words_holds_a_banned_word(path: Path) -> None:
    said = [(line, text) for line, text in strings_of(path) if text not in KEYS]
    assert [(line, text) for line, text in said if BANNED.search(text) or UNITS.search(text)] == []


def test_the_scan_finds_what_it_looks_for(tmp_path: Path) -> None:
    bad = tmp_path / "bad.py"
    bad.write_text('"""Smear in a docstring is none."""\nx = f"leaves smear at {3}"\ny = "30s"\nz = "8-9 s"\n')
    found = [text for _, text in strings_of(bad) if BANNED.search(text) or UNITS.search(text)]
    assert sorted(found) == ["30s", "8-9 s", "leaves smear at "]


@pytest.mark.parametrize("path", DOCUMENTS, ids=lambda path: path.stem)
def test_the_documents_keep_to_the_same_words(path: Path) -> None:
    words = re.compile(BANNED.pattern.replace("structures?|", "").replace("plants?|", ""), re.IGNORECASE)
    lines = path.read_text(encoding="utf-8").splitlines()
    assert [line for line in lines if words.search(re.sub(r"`[^`]*`", "", line))] == []


def parts(text: str) -> list[str]:
    """What lies between two stops."""
    return re.split(r"[.;:?] |[.;:?]$", text)


@pytest.mark.parametrize(("name", "wind"), tuple(product(SCENES, WINDS)))
def test_what_is_said_of_drawn_scenes_is_short_and_names_no_label(
    name: str, wind: tuple[float | None, float | None]
) -> None:
    verdict, said = _said(name, *wind)
    texts = [*(one.text for one in said), headline(verdict), short_headline(verdict), why_line(verdict)]
    for text in texts:
        assert max(len(part.split()) for part in parts(text)) <= MOST_SHORT_WORDS, text
        assert not BANNED.search(text), text
        assert not LABELS.search(text), text
        assert not UNITS.search(text), text


def test_cautions_and_doubts_of_clips_keep_their_length() -> None:
    told = [in_words(Caution(kind, gust_m_s=14.0)) for kind in CautionKind]
    told += [in_words(ClipDoubt(kind, 3.0, 5.0, "tree")) for kind in ClipDoubtKind]
    for words in told:
        assert max(len(part.split()) for part in parts(words.long)) <= MOST_LONG_WORDS, words.long
        assert len(words.short) <= len(words.long)


DOUBTS: tuple[Doubt, ...] = (
    *(PhotoDoubt(kind, 0.4, 0.3, 9.0, "2024-05-03 12:00") for kind in PhotoDoubtKind),
    *(LightPlanDoubt(kind, "Europe/Oslo", (date(2026, 5, 3),)) for kind in LightPlanDoubtKind),
    WhatIf(12.0),
    SnapLightUnknown(),
    LightDiffers(30.0, ("side", "ahead"), None, "more"),
    FilterLeaks("converted-590", 0.2),
    SunBelowHorizon(),
)


@pytest.mark.parametrize("doubt", DOUBTS, ids=lambda doubt: getattr(doubt, "kind", type(doubt).__name__))
def test_each_doubt_of_a_snap_and_its_light_is_whole_short_and_in_the_same_words(doubt: Doubt) -> None:
    words = in_words(doubt)
    for text in words:
        assert text[0].isupper() or text[0].isdigit(), text
        assert text.endswith("."), text
        assert not BANNED.search(text), text
        assert not UNITS.search(text), text
    assert max(len(part.split()) for part in parts(words.long)) <= MOST_LONG_WORDS, words.long
    assert max(len(part.split()) for part in parts(words.short)) <= MOST_SHORT_WORDS, words.short
    assert len(words.short) <= len(words.long)


def test_no_label_of_the_network_is_a_word_for_people() -> None:
    said = set(CLASS_WORDS.values())
    assert not said & {"structure", "structures", "other", "tree", "clear_sky"}


def test_winds_have_the_names_of_the_beaufort_scale() -> None:
    """WMO-No. 306 (Manual on Codes), code table 1100: the names of forces 0 to 12."""
    assert (
        *("calm", "light air", "light breeze", "gentle breeze", "moderate breeze", "fresh breeze", "strong breeze"),
        *("near gale", "gale", "strong gale", "storm", "violent storm", "hurricane"),
    ) == FORCES
    assert len(FORCES) == len(BEAUFORT)
    assert wind_text(beaufort_m_s(2)) == "light breeze (Beaufort 2)"
    assert wind_text(4.0) == "gentle breeze (Beaufort 3)"
    assert in_a(0.1) == "in calm air"
    assert in_a(4.0) == "in a gentle breeze"
