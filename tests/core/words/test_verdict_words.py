"""The sentences: short, concrete, each with evidence and, where it is about a thing, a place in the picture."""

from __future__ import annotations

import re
from functools import cache
from typing import get_args

import pytest

from irpreview.core.units import tone_word
from irpreview.core.verdict.judging import judge_scene
from irpreview.core.verdict.verdict_picture import draw_verdict
from irpreview.core.words.lead_words import LEAD_NAMES, LEAD_WORDS
from irpreview.core.words.verdict_words import headline, reasons, sentences, short_headline
from irpreview.errors import BadValue
from irpreview.records import Conditions, LeadChoice, Sentence, Verdict
from tests.core.drawn_scenes import (
    Canvas,
    drawn,
    layered_view,
    oak_in_a_meadow,
    plain_under_blue_sky,
    tower_on_a_moor,
    wood_under_cloud,
)

SCENES = {
    "layered": (layered_view(), {}),
    "oak": (oak_in_a_meadow(), {}),
    "tower": (tower_on_a_moor(), {}),
    "plain": (plain_under_blue_sky(), {}),
    "wood": (wood_under_cloud(), {"tones": {"tree": 0.62, "cloud": 0.66}}),
    "full": (Canvas(background="tree").label, {}),
    "water": (Canvas(background="cloud").box("water", 0, 0.5, 1, 1).label, {"cloud_texture_stops": 0.5}),
    "shade": (oak_in_a_meadow(), {"tones": {"tree": 0.12, "grass": 0.1}, "colour_gain": {"tree": 0.4, "grass": 0.4}}),
}
WINDS = ((None, None), (0.5, 1 / 60), (4.0, 1.0), (12.0, 30.0))


@cache
def _said(name: str, wind: float | None, shutter: float | None) -> tuple[Verdict, list[Sentence]]:
    label, options = SCENES[name]
    verdict = judge_scene(*drawn(label, **options), Conditions(wind_m_s=wind), shutter_s=shutter)  # type: ignore[arg-type]
    return verdict, [*reasons(verdict), *sentences(verdict)]


@pytest.mark.parametrize("name", SCENES)
@pytest.mark.parametrize(("wind", "shutter"), WINDS)
def test_each_sentence_is_whole_short_and_has_evidence(name: str, wind: float | None, shutter: float | None) -> None:
    _, said = _said(name, wind, shutter)
    assert said
    for sentence in said:
        text = sentence.text
        assert text[0].isupper()
        assert text.endswith(".")
        assert "  " not in text
        assert len(text) <= 230, text
        assert max(len(part.split()) for part in re.split(r"[.;:]", text)) <= 30, text
        assert sentence.evidence.strip()
        assert not re.search(r"\b(nan|None|inf)\b", text + sentence.evidence)
        assert not re.search(r"\b(L\*|okta|texture_stops|candidate|separability|probability|class)\b", text), text
        if sentence.at_xy is not None:
            assert all(0 <= v <= 1 for v in sentence.at_xy)
    assert len({s.text for s in said}) == len(said)


@pytest.mark.parametrize("name", SCENES)
def test_number_of_the_verb_fits_its_subject(name: str) -> None:
    _, said = _said(name, 4.0, 1.0)
    assert said
    for sentence in said:
        assert not re.search(
            r"\b(trees|things)( on the \w+| in the middle)? (stands|merges|goes|turns|comes|stays)\b", sentence.text
        )
        assert not re.search(r"\b(water|sky|cloud|grass) (stand|melt|go|turn|stay)\b", sentence.text), sentence.text


def test_a_sentence_about_a_gap_points_at_its_edge() -> None:
    verdict, said = _said("tower", 1.0, 1 / 60)
    spots = {separation.edge_xy for separation in verdict.separations}
    assert any(s.at_xy in spots for s in said)


def test_what_infrared_closes_is_said_as_such() -> None:
    _, said = _said("wood", 1.0, 1 / 60)
    assert any(s.text.startswith("Trees and cloud separate in colour but merge in infrared") for s in said)


def test_what_infrared_turns_round_is_said_as_such() -> None:
    _, said = _said("oak", 1.0, 1 / 60)
    turned = r"Infrared reverses trees and sky: (white|light) trees, (dark|black) sky\."
    assert any(re.fullmatch(turned, s.text) for s in said)


def test_the_wind_that_turns_the_lead_is_said_by_its_names_with_the_range_behind() -> None:
    _, said = _said("oak", 0.5, 1.0)
    turn = next(s for s in said if "They swap near Beaufort" in s.text)
    assert re.search(r"[\d.]+ m/s \([\d.]+ to [\d.]+\)", turn.evidence)


@pytest.mark.parametrize("name", SCENES)
@pytest.mark.parametrize(("wind", "shutter"), WINDS)
def test_the_headline_names_the_picture_in_twenty_words(name: str, wind: float | None, shutter: float | None) -> None:
    verdict, _ = _said(name, wind, shutter)
    assert len(short_headline(verdict).split()) <= 20
    for text in (headline(verdict), short_headline(verdict)):
        assert not re.search(r"other things|clear_sky|structure|\d of \d", text), text
        assert text.endswith(".")


def test_what_takes_over_from_the_leaves_is_named_as_it_is() -> None:
    hill = Canvas().box("grass", 0, 0.75, 1, 1).box("ground", 0.6, 0.3, 0.85, 0.76)
    hill.round("tree", 0.25, 0.45, 0.17, 0.25).box("tree", 0.23, 0.6, 0.27, 0.76)
    verdict = judge_scene(*drawn(hill.label), Conditions(wind_m_s=0.5), shutter_s=1.0)
    assert verdict.lead == "foliage"
    assert any(": high ground. They swap" in s.text for s in reasons(verdict))


def test_every_lead_has_its_words_and_its_cell() -> None:
    assert set(LEAD_WORDS) == set(LEAD_NAMES) == set(get_args(LeadChoice))
    for choice, words in LEAD_WORDS.items():
        assert LEAD_NAMES[choice].split()[0] in words
        assert words[0].islower()
        assert not words.endswith(".")


def test_the_wind_that_is_assumed_has_its_own_name() -> None:
    """4 m/s is Beaufort 3, a gentle breeze, 3.4 to 5.4 m/s (WMO-No. 306, code table 1100); 2 is the light breeze."""
    label, options = SCENES["oak"]
    verdict = judge_scene(*drawn(label, **options), Conditions(), shutter_s=1.0)  # type: ignore[arg-type]
    assert any(s.text.startswith("In a gentle breeze leaves") for s in reasons(verdict))
    assert any(d.kind == "assumed_wind" for d in verdict.doubts)
    assert any(s.text == "Wind not given: a gentle breeze is assumed." for s in sentences(verdict))


def test_tone_words_rise_with_lightness() -> None:
    assert [tone_word(v) for v in (5, 25, 45, 70, 95)] == ["black", "dark", "mid-grey", "light", "white"]


@pytest.mark.parametrize("name", ["layered", "wood", "full"])
def test_the_drawing_keeps_the_picture_and_adds_lines_and_a_strip(name: str) -> None:
    label, options = SCENES[name]
    photo, scene, rendering = drawn(label, **options)  # type: ignore[arg-type]
    verdict = judge_scene(photo, scene, rendering)
    picture = draw_verdict(verdict, rendering)
    assert picture.dtype.name == "uint8"
    assert picture.shape[1] == 1100
    assert picture.shape[0] > 825  # the strip lies below the picture
    top = picture[:825]
    coloured = (top.max(axis=2).astype(int) - top.min(axis=2)) > 40
    if verdict.separations:
        assert 0.0005 < coloured.mean() < 0.1
    else:
        assert coloured.mean() < 0.0005


def test_a_verdict_of_another_photo_is_not_drawn() -> None:
    verdict = judge_scene(*drawn(oak_in_a_meadow()))
    _, _, other = drawn(Canvas(200, 300).label)
    with pytest.raises(BadValue, match="judge this rendering again"):
        draw_verdict(verdict, other)
