"""Wind and shutter, views, sections, side by side."""

import re

import numpy as np
import pytest

from irpreview.web import answer
from irpreview.web.answer import SHUTTERS_S, WINDS_M_S
from irpreview.web.responses import Shown
from tests.shells.page_desk import analysis, changed, give, words


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
    for name in ("infrared", "colour", "separation", "map", "movement"):
        assert desk.view(token, name).pictures[name].startswith("data:image/jpeg;base64,")


def test_side_by_side_finds_the_framing_of_every_snap_once(desk, token, small, flower):
    def framed(shown):
        return len(re.findall(r"\d+ mm, \d:\d", words(shown.parts["section-body"])))

    give(desk, token, small, flower)
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
