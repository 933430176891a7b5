"""Wind and shutter, views, sections, side by side."""

import re
from dataclasses import replace

import numpy as np
import pytest
from PIL import Image

from irpreview.analysis import analyse
from irpreview.core.words.phrases import held
from irpreview.io.photos import load_photo
from irpreview.web import answer, sections
from irpreview.web.answer import SHUTTERS_S, WINDS_M_S
from irpreview.web.responses import Shown
from tests.shells.page_desk import CHECKOUT, analysis, changed, give, words


def test_wind_and_shutter_change_the_movement_only_until_they_settle(desk, token, small):
    give(desk, token, small)
    moved = desk.move(token, 6, SHUTTERS_S.index(4.0))
    assert changed(moved) == {"pictures", "values"}
    assert set(moved.pictures) == {"movement"}
    settled = desk.settle(token, 6, SHUTTERS_S.index(4.0))
    assert settled.parts["answer"]
    assert analysis(desk, token).request.conditions.wind_m_s == WINDS_M_S[6]


def test_an_unknown_wind_is_unknown_and_never_zero(desk, token, small):
    give(desk, token, small)
    assert analysis(desk, token).request.conditions.wind_m_s is None
    desk.settle(token, 1, -1)
    assert analysis(desk, token).request.conditions.wind_m_s == 0.0
    desk.settle(token, 0, -1)
    assert analysis(desk, token).request.conditions.wind_m_s is None
    assert answer.wind_words(0) == "Unknown: gentle breeze assumed"


@pytest.mark.parametrize("step", [SHUTTERS_S.index(2.0), SHUTTERS_S.index(30.0), SHUTTERS_S.index(120.0)])
def test_the_shutter_rewrites_iso_and_aperture_so_that_the_exposure_holds(desk, token, small, step):
    give(desk, token, small)
    best = analysis(desk, token).exposure.recommended
    desk.settle(token, 0, step)
    chosen = analysis(desk, token).setting
    # N^2 / (t S) is the exposure that a setting gives (ISO 2720)
    given = [one.f_number**2 / (one.shutter_s.likely * one.iso) for one in (best, chosen)]
    assert given[1] == pytest.approx(given[0], rel=0.01)
    assert abs(np.log2(chosen.shutter_s.likely / SHUTTERS_S[step])) < 0.3


def test_a_time_out_of_reach_is_said_with_what_is_possible(desk, token, small):
    give(desk, token, small)
    shown = desk.settle(token, 0, SHUTTERS_S.index(1 / 250))
    said = words(shown.parts["answer"])
    assert "1/250 is out of reach" in said
    assert "Shortest is ISO" in said
    assert analysis(desk, token).setting is None


def test_a_time_is_asked_for_as_one_writes_it(desk, token, small):
    give(desk, token, small)
    shown = desk.settle(token, 0, "1 min")
    assert analysis(desk, token).shutter_s == 60.0
    assert shown.values["shutter"]["text"] == "1 min"
    assert "soon" in desk.settle(token, 0, "soon").status


def test_back_to_the_recommended_time(desk, token, small):
    give(desk, token, small)
    desk.settle(token, 4, 0)
    shown = desk.settle(token, 4, -1)
    assert shown.values["shutter"]["recommended"]
    best = analysis(desk, token).exposure.recommended
    assert analysis(desk, token).shutter_s == pytest.approx(best.shutter_s.likely)


def test_a_move_that_waited_is_left_out_when_a_later_one_has_come(desk, token, small):
    give(desk, token, small)
    assert desk.move(token, 3, 3, 2).pictures
    assert desk.move(token, 5, 3, 1) == Shown()
    assert desk.settle(token, 5, 3, 1) == Shown()
    assert desk.move(token, 5, 3, 3).pictures


def test_every_section_and_view_answers(desk, token, small):
    give(desk, token, small)
    for name in ("tests", "separations", "light", "tables", "beside"):
        assert len(words(desk.section(token, name).parts["section-body"])) > 40
    for name in ("infrared", "colour", "separation", "separation_narrow", "map", "map_narrow", "movement"):
        assert desk.view(token, name).pictures[name].startswith("data:image/jpeg;base64,")


def test_side_by_side_finds_the_framing_of_every_snap_once(desk, token, small, tmp_path, sample_photographs):
    temple = tmp_path / "temple.jpg"
    Image.fromarray(sample_photographs["china.jpg"]).resize((300, 200)).save(temple)

    def framed(shown):
        return len(re.findall(r"\d+ mm, \d:\d", words(shown.parts["section-body"])))

    give(desk, token, small, temple)
    first, *later = desk.beside(token)
    assert first.values["section"] == "beside"
    assert framed(first) == 1  # the snap given first was answered before a framing was looked for
    assert [framed(one) for one in later] == [2]
    # known now, also after another snap was looked at: nothing is looked for again
    list(desk.pick(token, 1))
    list(desk.pick(token, 0))
    assert len(list(desk.beside(token))) == 1
    # in another wind it may be another one
    desk.settle(token, 8, -1)
    assert [framed(one) for one in desk.beside(token)] == [1, 2]


# ---- the first framing ----------------------------------------------------------------------------------------------


def version(desk, token):
    with desk.sessions.at(token) as session:
        return session.version


def test_the_first_framing_comes_for_the_answer_it_was_asked_for(desk, token, small):
    (*_, shown) = give(desk, token, small)
    assert 'id="first-framing"></dd>' in shown.parts["answer"]
    before = analysis(desk, token)
    row = desk.first_framing(token, version(desk, token))
    assert row.values == {"framing_of": version(desk, token)}
    best = analysis(desk, token).framings.best[0].frame
    assert words(row.parts["first-framing"]).startswith(f"{best.lens_mm:g} mm ")
    # what was found is kept, and everything known before with it
    assert analysis(desk, token) is not before
    assert analysis(desk, token).verdict is before.verdict
    old = version(desk, token)
    desk.settle(token, 6, -1)
    assert desk.first_framing(token, old) == Shown()
    assert desk.first_framing(token, -99) == Shown()


def test_a_picture_that_is_no_landscape_has_no_row_for_framings(desk, token, small):
    give(desk, token, small)
    told = answer.answer_of(analysis(desk, token))
    assert told.framing_room >= 3
    assert replace(told, framed=False).framing_room == 0
    crowded = replace(told, setting_note=" ".join(["word"] * 20))
    assert "first-framing" not in sections.answered(crowded)
    assert crowded.framing_room < 3


SCENES = sorted(path.parent.name for path in (CHECKOUT / "demo_scenes").glob("*/photo.jpg"))


@pytest.mark.parametrize("scene", SCENES)
def test_the_answer_and_its_first_framing_have_at_most_seventy_words(scene):
    made = analyse(load_photo(CHECKOUT / "demo_scenes" / scene / "photo.jpg", max_side=1024))
    told = answer.answer_of(made)
    shown = f"{sections.answered(told)} {sections.first_framing(made)}"
    assert "first-framing" in shown
    seen = words(shown).split()
    assert len(seen) == told.words() + 1 + len(words(sections.first_framing(made)).split())
    assert len(seen) <= answer.MOST_WORDS
    assert re.search(r"Merges|erges? with|[Uu]ncertain|Nothing", " ".join(seen))


def test_the_focus_of_a_framing_is_that_of_its_lens(desk, token, small):
    give(desk, token, small)
    made = analysis(desk, token)
    lines, _ = answer.framing_lines(made)
    assert lines
    own = answer.answer_of(made).focus
    for line, one in zip(lines, made.framings.best, strict=True):
        assert line.focus.startswith(f"{one.frame.lens_mm:g} mm: ")
        assert own not in line.focus
    html = desk.view(token, "framing0").parts["framings"]
    assert all(f'data-focus="{held(line.focus)}"' in html for line in lines)


def test_the_focus_follows_the_aperture_of_the_time_asked_for(desk, token, small):
    give(desk, token, small)
    before = answer.answer_of(analysis(desk, token)).focus
    desk.settle(token, 0, SHUTTERS_S.index(480.0))
    made = analysis(desk, token)
    assert made.setting.f_number != made.exposure.focus.f_number
    assert made.focus.f_number == made.setting.f_number
    assert answer.answer_of(made).focus != before
