"""Wind: scale, profile, gusts, and what is refused."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from irpreview.core.motion import wind
from irpreview.errors import BadValue
from irpreview.records import Conditions


@given(st.floats(0.0, wind.STRONGEST_M_S), st.floats(0.0, wind.STRONGEST_M_S))
def test_force_rises_with_wind(a: float, b: float) -> None:
    assert wind.beaufort_of(min(a, b)) <= wind.beaufort_of(max(a, b))


def test_forces_are_whole_and_named() -> None:
    assert [b.force for b in wind.BEAUFORT] == list(range(13))
    assert all(b.land and b.water for b in wind.BEAUFORT)
    for b in wind.BEAUFORT:
        assert wind.beaufort_of(b.low_m_s) == b.force == wind.beaufort_of(b.high_m_s)


@pytest.mark.parametrize("value", [-0.1, 61.0, math.nan, math.inf])
def test_nonsense_wind_is_refused_with_its_range(value: float) -> None:
    with pytest.raises(BadValue, match="0 to 60 m/s"):
        wind.beaufort_of(value)


def test_unknown_wind_is_a_range_and_never_zero() -> None:
    unknown = wind.wind_range(Conditions())
    assert 0.0 < unknown.low < unknown.likely < unknown.high
    given_wind = wind.wind_range(Conditions(wind_m_s=0.0))
    assert given_wind.low == given_wind.high == 0.0


def test_a_gust_is_never_below_the_mean() -> None:
    assert wind.gust_of(Conditions(gust_m_s=3.0), 5.0) == 5.0
    assert wind.gust_of(Conditions(gust_m_s=9.0), 5.0) == 9.0
    assert wind.gust_of(Conditions(), 5.0) > 5.0
