"""Times, wind, shares and zones: read from a person, and said to one."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from irpreview.core.units import (
    beaufort_m_s,
    how_many,
    parse_shutter,
    parse_wind,
    share_text,
    shutter_text,
    zone_text,
    zone_word,
)
from irpreview.errors import BadValue
from irpreview.records import Range


@pytest.mark.parametrize(
    ("seconds", "text"),
    [
        # exact powers of two and the nominal names that cameras engrave for them (common practice)
        (2**-13, "1/8000"),
        (2**-9, "1/500"),
        (2**-6, "1/60"),
        (2**-5, "1/30"),
        (2**-3, "1/8"),
        (2**-2, "1/4"),
        (0.5, "0.5 s"),
        (1, "1 s"),
        (4, "4 s"),
        (8, "8 s"),
        (16, "15 s"),
        (32, "30 s"),
        (30, "30 s"),
        # thirds between
        (1 / 50, "1/50"),
        (1 / 40, "1/40"),
        (1 / 3, "0.3 s"),
        (1.3, "1.3 s"),
        (25, "25 s"),
        # by the watch
        (45, "45 s"),
        (59.7, "1 min"),
        (64, "1 min 5 s"),
        (149.7, "2 min 30 s"),
        (299, "5 min"),
        (512, "8 min 30 s"),
        (599, "10 min"),
        (700, "11 min 30 s"),
        (3599, "1 h"),
        (4000, "1 h 7 min"),
        (2**-14, "1/16000"),
    ],
)
def test_shutter_text(seconds, text):
    assert shutter_text(seconds) == text


@given(st.floats(math.log2(1 / 8000), math.log2(12 * 3600)))
def test_nominal_times_stay_near_the_exact_ones(stops):
    """The name read back lies within a sixth of a stop, or 0.13 where the trade rounds (15 for 16, 1/60 for 1/64)."""
    seconds = 2.0**stops
    assert abs(math.log2(parse_shutter(shutter_text(seconds)) / seconds)) < 1 / 6 + 0.13


@given(st.floats(-13, 15), st.floats(-13, 15))
def test_longer_times_never_read_shorter(a, b):
    first, second = sorted((2.0**a, 2.0**b))
    assert parse_shutter(shutter_text(first)) <= parse_shutter(shutter_text(second))


@pytest.mark.parametrize(
    ("text", "seconds"),
    [
        ("30", 30),
        ("0.5", 0.5),
        ("0,5", 0.5),
        (".5", 0.5),
        ("1/30", 1 / 30),
        (" 1 / 30 s", 1 / 30),
        ("30s", 30),
        ("2m30s", 150),
        ("2min 30s", 150),
        ("2 min 30 s", 150),
        ("2m", 120),
        ("1.5m", 90),
        ("1h", 3600),
        ("1h5m", 3900),
        ("2M30S", 150),
    ],
)
def test_parse_shutter(text, seconds):
    assert parse_shutter(text) == pytest.approx(seconds)


@pytest.mark.parametrize(
    "text", ["", "fast", "-3", "1/0", "0", "1/100000", "2d", "25h", "30s2m", "nan", "inf", "1e3", "1/2/3", "m"]
)
def test_parse_shutter_refuses(text):
    with pytest.raises(BadValue) as caught:
        parse_shutter(text)
    assert "\n" not in str(caught.value)
    assert repr(text) in str(caught.value)


@pytest.mark.parametrize("bad", [0, -1, math.nan, math.inf])
def test_shutter_text_refuses(bad):
    with pytest.raises(BadValue):
        shutter_text(bad)


@pytest.mark.parametrize(
    ("text", "metres_per_second"),
    [
        ("4", 4.0),
        ("4m/s", 4.0),
        ("4 m/s", 4.0),
        ("0", 0.0),
        ("3,5", 3.5),
        ("12kn", 6.1733),  # 1 kn = 1852 m / 3600 s exactly, SI Brochure 9th ed.
        ("20km/h", 5.5556),
        ("10mph", 4.4704),  # 1 mile = 1609.344 m exactly
        ("5bft", 9.3467),
        ("5 Bft", 9.3467),
        ("force 5", 9.3467),
        ("0bft", 0.0),
    ],
)
def test_parse_wind(text, metres_per_second):
    assert parse_wind(text) == pytest.approx(metres_per_second, abs=1e-3)


# Mean wind 10 m above open ground of each Beaufort force: WMO code table 1100, in m/s.
WMO_1100 = [
    (0.0, 0.2), (0.3, 1.5), (1.6, 3.3), (3.4, 5.4), (5.5, 7.9), (8.0, 10.7), (10.8, 13.8),
    (13.9, 17.1), (17.2, 20.7), (20.8, 24.4), (24.5, 28.4), (28.5, 32.6), (32.7, math.inf),
]  # fmt: skip


@pytest.mark.parametrize("force", range(13))
def test_beaufort_lies_in_its_published_band(force):
    low, high = WMO_1100[force]
    assert low <= beaufort_m_s(force) <= high


@pytest.mark.parametrize("text", ["", "strong", "-2", "13bft", "61", "200kn", "5 furlongs", "4..2", "nan", "bft"])
def test_parse_wind_refuses(text):
    with pytest.raises(BadValue) as caught:
        parse_wind(text)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize("read", [parse_shutter, parse_wind])
@given(text=st.text(max_size=12))
def test_any_text_gives_a_number_or_a_refusal(read, text):
    try:
        value = read(text)
    except BadValue:
        return
    assert math.isfinite(value)
    assert value >= 0


def test_shares_and_zones_in_words():
    assert [share_text(v) for v in (0.0, 0.004, 0.01, 0.336, 1.0)] == ["0 %", "under 1 %", "1 %", "34 %", "100 %"]
    assert zone_text(Range(6.21, 6.9, 7.68)) == "zone VII (6.2 to 7.7)"
    assert zone_text(Range(-3, -2, -1)).startswith("zone 0 ")
    assert zone_text(Range(10, 11, 12)).startswith("zone X ")
    # Adams, The Negative (1981): V middle grey; 0 and X without any texture
    assert [zone_word(z) for z in (0, 5.2, 10.4)] == ["black", "middle grey", "white"]


def test_how_many_there_are_of_a_thing():
    assert [how_many(n, "view") for n in (0, 1, 2)] == ["0 views", "1 view", "2 views"]
    assert [how_many(n, "entry", "entries") for n in (1, 12)] == ["1 entry", "12 entries"]
