"""Each caution comes on its trigger and stays away without it."""

import pytest

from irpreview.core.cautions import cautions_for
from irpreview.core.words import in_words
from irpreview.records import Caution, CautionKind, Conditions, Light

SUN_EYES, TIDE, RUIN = Caution(CautionKind.SUN_EYES), Caution(CautionKind.TIDE), Caution(CautionKind.RUIN)
LOCAL, EDGE_UNKNOWN = Caution(CautionKind.LOCAL_RULES), Caution(CautionKind.EDGE_WIND_UNKNOWN)

BEHIND = Light(sun_height_deg=40.0, sun_bearing_deg=0.0, sun_side="behind_camera")
AHEAD = Light(sun_height_deg=20.0, sun_bearing_deg=180.0, sun_side="ahead")
NIGHT = Light(sun_height_deg=-10.0, sun_side="ahead")
CALM = Conditions(wind_m_s=1.0)


def test_eyes_are_warned_while_the_sun_may_be_ahead() -> None:
    assert SUN_EYES in cautions_for(None, AHEAD, 1.0, CALM)
    assert SUN_EYES in cautions_for(None, Light(), 1.0, CALM)  # side unknown
    assert SUN_EYES not in cautions_for(None, BEHIND, 1.0, CALM)
    assert SUN_EYES not in cautions_for(None, NIGHT, 1.0, CALM)


def test_sensor_and_shutter_are_warned_for_long_frames_into_the_sun_only() -> None:
    def damage(light: Light, shutter_s: float, in_frame: bool | None = None) -> bool:
        said = cautions_for(None, light, shutter_s, CALM, sun_in_frame=in_frame)
        return any(one.kind is CautionKind.SUN_FRAME for one in said)

    assert damage(AHEAD, 120.0)
    assert not damage(AHEAD, 1.0)
    assert damage(AHEAD, 1.0, in_frame=True)
    assert not damage(AHEAD, 120.0, in_frame=False)
    assert not damage(BEHIND, 300.0)


def test_the_place_has_its_own_dangers_and_local_rules_go_first() -> None:
    share = {"water": 0.2, "structure": 0.1, "tree": 0.3}
    said = cautions_for(share, BEHIND, 1.0, Conditions(wind_m_s=12.0, water_kind="sea"))
    assert TIDE in said
    assert RUIN in said
    assert Caution(CautionKind.EDGE, gust_m_s=18.0) in said
    assert Caution(CautionKind.BRANCH, gust_m_s=18.0) in said
    assert said[-1] == LOCAL


def test_a_tide_is_told_of_the_sea_and_of_unknown_water_with_an_if_and_last() -> None:
    share = {"water": 0.3, "structure": 0.1}
    for kind in ("pond", "lake"):
        said = cautions_for(share, BEHIND, 1.0, Conditions(wind_m_s=1.0, water_kind=kind))
        assert "tide" not in " ".join(in_words(one).long for one in said)
    unknown = cautions_for(share, BEHIND, 1.0, CALM)
    assert TIDE not in unknown
    assert [one.kind for one in unknown][-2:] == [CautionKind.TIDE_IF_TIDAL, CautionKind.LOCAL_RULES]
    assert in_words(unknown[-2]).long.startswith("By tidal water")
    falls = cautions_for(share, BEHIND, 1.0, Conditions(wind_m_s=1.0, water_kind="falls"))
    assert Caution(CautionKind.STREAM) in falls


def test_a_calm_field_gets_no_warning() -> None:
    assert cautions_for({"grass": 0.6, "ground": 0.4}, BEHIND, 1.0, CALM) == ()


def test_unknown_wind_is_not_taken_for_calm() -> None:
    assert EDGE_UNKNOWN in cautions_for({"ground": 1.0}, BEHIND, 1.0, Conditions())
    assert EDGE_UNKNOWN not in cautions_for({"ground": 1.0}, BEHIND, 1.0, CALM)


def test_the_gust_counts_where_it_is_given() -> None:
    said = cautions_for({"ground": 1.0}, BEHIND, 1.0, Conditions(wind_m_s=4.0, gust_m_s=14.0))
    assert Caution(CautionKind.EDGE, gust_m_s=14.0) in said


@pytest.mark.parametrize("kind", list(CautionKind))
def test_each_caution_has_words_and_the_short_ones_are_no_longer(kind: CautionKind) -> None:
    told = in_words(Caution(kind, gust_m_s=14.0))
    assert told.long.endswith(".")
    assert len(told.short) <= len(told.long)
    assert len(told.short) <= 75
