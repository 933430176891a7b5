"""The sixty words: what merges in a row of its own or in the line under the lead, never in both; focus and light."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime

import pytest

from irpreview.core.light.light_plan import DayPlan, Window
from irpreview.core.words.lead_words import edges_told, why_line
from irpreview.core.words.light_words import best_light
from irpreview.core.words.verdict_words import neighbours_words, what_merges
from irpreview.records import Gate, Separation, SeparationWord, SunSide, Verdict
from tests.core.words.test_verdict_words import SCENES, WINDS, _said


def saying(verdict: Verdict, word: SeparationWord) -> list[Separation]:
    return [one for one in verdict.separations if one.says == word]


def all_say(verdict: Verdict, word: SeparationWord) -> Verdict:
    """The verdict with one word for all pairs, and a lead that names none of them."""
    rows = tuple(replace(one, says=word) for one in verdict.separations)
    return replace(verdict, separations=rows, subject=None, wait_for=None)


@pytest.mark.parametrize("name", SCENES)
@pytest.mark.parametrize(("wind", "shutter"), WINDS)
def test_what_merges_is_read_once_beside_the_picture(name: str, wind: float | None, shutter: float | None) -> None:
    verdict, _ = _said(name, wind, shutter)
    row, why, told = what_merges(verdict), why_line(verdict), edges_told(verdict)
    merging = saying(verdict, "merges")
    if not verdict.separations:
        assert row == ""
    elif any(one.says == "merges" for one in told):
        assert row == ""
        assert "erge" in why
    elif merging:
        assert " with " in row
        assert not row.startswith(("Nothing", "Uncertain"))
    elif saying(verdict, "uncertain"):
        assert row.startswith("Could be ") or row == "Nothing for certain"
    else:
        assert row == "Nothing"
    assert len(row.split()) <= 8


def test_each_kind_of_row() -> None:
    verdict, _ = _said("layered", 4.0, 1.0)
    assert what_merges(all_say(verdict, "separates")) == "Nothing"
    assert what_merges(all_say(verdict, "uncertain")).startswith("Could be ")
    row = what_merges(all_say(verdict, "merges"))
    assert " with " in row
    assert row[0].isupper()
    assert what_merges(replace(verdict, separations=())) == ""
    assert what_merges(replace(verdict, gate=Gate(False, 0.1, ("indoors",)))) == ""


def test_the_only_uncertain_pair_that_the_lead_names_is_not_named_again() -> None:
    verdict, _ = _said("tower", 4.0, 1.0)
    subject = verdict.subject
    assert subject is not None
    assert subject.best is not None
    doubtful = replace(subject.best, says="uncertain")
    only = replace(verdict, separations=(doubtful,), subject=replace(subject, best=doubtful, weakest=None))
    assert "uncertain" in why_line(only)
    assert what_merges(only) == "Nothing for certain"


def test_a_lead_that_merges_says_so() -> None:
    verdict, _ = _said("tower", 4.0, 1.0)
    subject = verdict.subject
    assert subject is not None
    assert subject.best is not None
    lost = replace(subject.best, says="merges", edge_share_separating=0.5)
    alike = tuple(replace(layer, lightness=25.0) for layer in verdict.layers)
    told = replace(verdict, layers=alike, separations=(lost,), subject=replace(subject, best=lost, weakest=None))
    assert why_line(told) == "Merges with the dark sky; only the rim shows."
    assert what_merges(told) == ""


def test_neighbours_are_counted() -> None:
    said = [neighbours_words(*one) for one in ((0, 0), (1, 1), (0, 1), (2, 2), (6, 10), (1, 4), (0, 3))]
    assert said == [
        "one tone",
        "the two neighbours separate",
        "the two neighbours do not separate",
        "both pairs of neighbours separate",
        "6 of 10 neighbours separate",
        "1 of 4 neighbours separates",
        "none of 3 neighbours separates",
    ]


def window(first: int, last: int, side: SunSide, score: float, ratio: float = 10.0) -> Window:
    at = [datetime(2026, 6, 21, hour, tzinfo=UTC) for hour in (first, last)]
    return Window(at[0], at[1], score, side, 20.0, 40.0, ratio)


@pytest.mark.parametrize(
    ("windows", "said"),
    [
        ((window(7, 12, "side", 0.9), window(16, 19, "side", 0.88)), "Side light 07:00 to 12:00, 16:00 to 19:00"),
        # within a step of each other and joined: both sides are named
        ((window(7, 12, "side", 0.8), window(12, 15, "behind_camera", 0.78)), "Side or front light 07:00 to 15:00"),
        # the better side alone
        ((window(7, 12, "side", 0.9), window(12, 15, "behind_camera", 0.7)), "Side light 07:00 to 12:00"),
        ((window(7, 12, "unknown", 0.8),), "Hard light 07:00 to 12:00"),
        ((window(7, 12, "unknown", 0.8, 3.0),), "Soft light 07:00 to 12:00"),
        ((), ""),
    ],
)
def test_the_best_hours_say_what_they_are_best_for(windows: tuple[Window, ...], said: str) -> None:
    """Side, front, back light: words of the trade, common practice, no source; hard and soft as in the light plan."""
    assert best_light(DayPlan(date(2026, 6, 21), (), windows, 0.0)) == said
