"""The stops of the sliders, and templates that escape what they are given."""

from irpreview.web import answer
from irpreview.web.answer import SHUTTERS_S, WINDS_M_S
from irpreview.web.templating import filled


def test_every_wind_of_the_slider_is_its_own_beaufort_force():
    # WMO-No. 306, code table 1100: limits of the forces 0 to 7 [m/s]
    limits = [(0, 0.2), (0.3, 1.5), (1.6, 3.3), (3.4, 5.4), (5.5, 7.9), (8.0, 10.7), (10.8, 13.8), (13.9, 17.1)]
    for wind, (low, high) in zip(WINDS_M_S[1:], limits, strict=True):
        assert wind is not None
        assert low <= wind <= high
    assert [answer.wind_stop(wind) for wind in WINDS_M_S] == list(range(len(WINDS_M_S)))


def test_the_wind_is_told_by_force_or_by_speed():
    assert answer.wind_words(5) == "Beaufort 4, moderate breeze: small branches move"
    assert answer.wind_words(5, in_metres=True).startswith("6.7 m/s, moderate breeze: ")
    assert answer.wind_words(0, in_metres=True) == answer.wind_words(0)
    assert [answer.wind_step(index) for index in (0, 1, 5)] == [("?", "?"), ("0", "0"), ("4", "7")]


def test_slider_stops_cover_a_sixtieth_to_an_hour():
    assert SHUTTERS_S[0] < 1 / 60 < SHUTTERS_S[-1] == 3600
    assert answer.shutter_stop(31.0) == SHUTTERS_S.index(30.0)


def test_everything_in_a_template_is_escaped():
    odd = [{"index": 0, "name": "<b>", "thumb": '"><script>', "lead": "<i>", "separates": "&", "trouble": ""}]
    html = filled("strip.html", snaps=odd, current=0)
    assert "<b>" not in html
    assert "<script>" not in html
    assert "<i>" not in html
