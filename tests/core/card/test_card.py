"""The card's words and tables, against published scales and hand-worked figures."""

from dataclasses import replace
from datetime import UTC, date, datetime

import numpy as np
import pytest

from irpreview.core.card import blocks as card_blocks
from irpreview.core.card import card as shotcard
from irpreview.core.card import field_tables
from irpreview.core.exposure import red_channel
from irpreview.core.imaging.srgb import to_linear
from irpreview.core.light.light_plan import DayPlan, LightPlan, Quarter, Window
from irpreview.core.units import beaufort_m_s, shutter_text
from irpreview.core.words import card_words
from irpreview.core.words.exposure_words import focus_lines
from irpreview.records import (
    Caution,
    CautionKind,
    ClassMovement,
    ClassMoves,
    ClassTone,
    Composition,
    Conditions,
    ContrastParts,
    Exposure,
    ExposureTest,
    FocusAdvice,
    FrameCost,
    Gale,
    HowKnown,
    Kit,
    KnownBy,
    Layer,
    Light,
    LightBy,
    LightKnown,
    Movement,
    Moving,
    Place,
    Range,
    Rendering,
    SceneMap,
    Separation,
    Setting,
    Shade,
    Sky,
    SnapReading,
    Subject,
    Verdict,
    WindTurn,
)
from irpreview.records.framing import Frame, Framing


def setting(iso, shutter_s, text=None, f_number=8.0):
    return Setting(
        iso=iso,
        f_number=f_number,
        shutter_s=Range(shutter_s / 3, shutter_s, shutter_s * 3),
        shutter_text=text or shutter_text(shutter_s),
    )


FOCUS = FocusAdvice(
    focal_mm=35.0, f_number=8.0, hyperfocal_m=5.3, focus_at_m=5.3, near_m=2.7, far_m=None, blur_circle_mm=0.029,
    airy_um=15.3, band_nm=785.0, shift_mm=Range(0.04, 0.08, 0.16), shift_covered="yes", through_filter=True,
)  # fmt: skip
COST = FrameCost(
    shutter_s=161.0, seconds_per_frame=330.0, dark_frame_s=161.0, battery_minutes=(90.0, 150.0),
    battery_frames=(17, 28), cold=False,
)  # fmt: skip

NOTHING = Range(0.0, 0.0, 0.0)
STILL = ClassMovement(
    NOTHING, NOTHING, NOTHING, holds_until_s=None, flows_from_s=None, parts={},
    known=HowKnown(KnownBy.WIND_GIVEN, Moving.PLANTS),
)  # fmt: skip


def exposure(**changes):
    values = {
        "factor_stops": Range(12.0, 13.5, 15.5),
        "factor_parts": {},
        "metered_ev100": Range(14.0, 14.5, 15.0),
        "metered_by": SnapReading(14.5),
        "settings": (setting(64, 100.0), setting(400, 16.0), setting(6400, 1.0)),
        "recommended": setting(64, 100.0),
        "freezes": setting(6400, 1.0),
        "streaks": setting(64, 100.0),
        "reasons": (),
        "test_exposures": (ExposureTest(6400.0, 8.0, 1.0, 13.5, 64.0, 8.0, 100.0),),
        "focus": FOCUS,
    }
    return Exposure(**{**values, **changes})


TREES = Subject("foliage", "trees", 0, 0.6, 0.6, 0.3, 0.4, None, None, (0.5, 0.5))


def verdict(lead="foliage", **changes):
    values = {
        "layers": (Layer(0, "trees", "tree", 0.3, Range(6, 6.5, 7), 3.0, (0.5, 0.5), 85.0),),
        "separations": (),
        "layer_map": np.full((40, 60), -1, np.int16),
        "sky": Sky(okta=3, texture_stops=0.2, word="textured"),
        "lead": lead,
        "wait_for": "lull" if lead == "wait" else None,
        "strength": 0.6,
        "needed": 0.3,
        "subject": TREES if lead == "foliage" else None,
        "runner_up": None,
        "subjects": (TREES,),
        "turn": WindTurn(Range(2.0, 3.0, 5.0), TREES, None, waits=True),
        "foliage": (),
        "shade": Shade(),
        "composition": Composition(0.5, 0.5, 0.5, None, ()),
        "layered_contrast": 0.5,
        "layered_contrast_parts": ContrastParts(0.5, 0.5, 0.5),
    }
    return Verdict(**{**values, **changes})


def scene():
    label = np.full((40, 60), 4, np.uint8)
    label[:20] = 1
    label[30:, :20] = 6
    return SceneMap(
        probability=np.full((9, 4, 6), 1 / 9, np.float32),
        label=label,
        confidence=np.ones((40, 60), np.float32),
        mix=np.zeros((1, 2, 2), np.float32),
        model_id="network-of-the-test",
    )


def rendering(light=None, kit=None):
    tones = np.full((40, 60), 0.18, np.float32)
    zone = Range(4.0, 5.0, 6.0)
    return Rendering(
        maps=lambda: (tones, np.ones_like(tones)),
        classes={
            "clear_sky": ClassTone(0.5, zone, zone, Range(-2, -1, 0)),
            "tree": ClassTone(0.4, zone, zone, Range(2, 3, 4)),
        },
        picture=np.full((40, 60), 120, np.uint8),
        kit=kit or Kit(),
        light=light or Light(),
    )


def card(**changes):
    values = {
        "title": "Ford below Anselt",
        "snap": np.full((40, 60, 3), 90, np.uint8),
        "infrared": np.full((40, 60), 160, np.uint8),
        "scene": scene(),
        "rendering": rendering(),
        "verdict": verdict(),
        "exposure": exposure(),
        "movement": None,
        "conditions": Conditions(),
        "in_wind": winds(),
        "pixels_wide": 6000,
        "with_place": True,
    }
    return shotcard.build_card(**{**values, **changes})


def winds(
    leads_to=7.0, plan=None, lead="foliage", blur=lambda wind, shutter: Range(0.0, wind * shutter, 2 * wind * shutter)
):
    """Answers for single winds: one thing leads up to a wind [m/s], structure beyond it."""
    plan = plan or setting(64, 100.0)

    def in_wind(wind_m_s):
        return field_tables.WindCase(
            lead if wind_m_s <= leads_to else "structure",
            plan,
            plan.shutter_s.likely,
            None if blur is None else blur(wind_m_s, plan.shutter_s.likely),
        )

    return in_wind


def test_the_middle_of_each_force_lies_within_it():
    # Limits as printed in the Beaufort table of the weather services (WMO, 10 m mean wind).
    rows = field_tables.wind_table(winds(), pixels_wide=6000)
    assert [row.from_m_s for row in rows] == [0.3, 1.6, 3.4, 5.5, 8.0, 10.8, 13.9]
    assert rows[-1].to_m_s == 17.1
    for force in range(1, 8):
        row = rows[force - 1]
        assert row.from_m_s <= beaufort_m_s(force) <= row.to_m_s


def test_red_channel_steps_follow_the_srgb_curve():
    # IEC 61966-2-1 worked by hand: 0.5 -> 0.2140 linear, 0.87 -> 0.7278, so 1.77 stops.
    rows = dict(red_channel.red_channel_rows())
    assert rows[0.5] == pytest.approx(1.77, abs=0.01)
    assert rows[0.25] > rows[0.5] > rows[0.75] > 0


def test_the_aim_of_the_red_channel_is_zone_seven():
    # Zone VII = two stops over 18 %.
    assert to_linear(red_channel.FINE_RED_SHARE) == pytest.approx(0.18 * 4, rel=0.02)


def test_red_channel_words_depend_on_the_camera():
    assert "alone" in card_words.red_channel(Kit())[0].long
    assert "alone" not in card_words.red_channel(Kit(sensor="converted", filter_cut_on_nm=590.0))[0].long


def test_each_row_says_what_is_said_of_its_wind_alone():
    rows = field_tables.wind_table(winds(leads_to=5.0), pixels_wide=6000)
    assert [row.beaufort for row in rows] == [1, 2, 3, 4, 5, 6, 7]
    assert [row.lead for row in rows] == ["foliage"] * 3 + ["structure"] * 4
    assert {(row.iso, row.shutter_text) for row in rows} == {(64, setting(64, 100.0).shutter_text)}


def test_a_sky_that_leads_is_said_with_sharp_leaves():
    made = card(verdict=verdict("sky"), in_wind=winds(30.0, lead="sky", blur=lambda w, t: Range(0, 0, 0)))
    table = next(block.table for block in card_blocks.card_blocks(made) if block.heading == "Other winds")
    assert table[1][2] == "sky; leaves sharp"


def test_the_blur_limit_follows_the_width_of_the_snap():
    small, large = (
        field_tables.wind_table(winds(blur=lambda wind, shutter: Range(2.0, 3.0, 4.0)), pixels_wide=wide)
        for wide in (1024, 6000)
    )
    assert not small[0].foliage_holds
    assert large[0].foliage_holds


def test_a_scene_without_foliage_has_no_blur_of_leaves():
    rows = field_tables.wind_table(winds(blur=None), pixels_wide=6000)
    assert {row.blur_px for row in rows} == {None}
    assert not any(row.foliage_holds for row in rows)


def test_sky_corrections_from_the_usual_exposure_values():
    # EV 15 in sun, 13 to 14 behind thin cloud, 11 to 12 under overcast (common practice): 2-4 and 8-16 times.
    thin, overcast = field_tables.sky_corrections("clear", setting(64, 60.0))
    assert (thin.times_low, thin.times_high) == (2.0, 4.0)
    assert (overcast.times_low, overcast.times_high) == (8.0, 16.0)
    assert thin.shutter_text == "2 min to 4 min"


def test_a_plan_for_overcast_is_shortened_when_the_sun_comes_out():
    sun = field_tables.sky_corrections("overcast", setting(64, 600.0))[0]
    assert "Sun out" in sun.when
    assert sun.times_high < 0.2


def test_minutes_per_frame_come_from_the_cost_of_a_frame():
    assert field_tables.minutes_per_frame(exposure(frame_cost=COST)) == 5.5
    assert field_tables.minutes_per_frame(exposure()) is None
    assert "Allow 5 min 30 s a frame." in _block(card(exposure=exposure(frame_cost=COST)), "Other settings").lines


def _row(label, **changes):
    return dict(card_blocks.card_front(card(**changes)).rows).get(label)


def light_plan(*spans):
    """A plan of one day with good light from (hour, minute) to (hour, minute)."""
    day = date(2026, 5, 3)

    def at(hour, minute=0):
        return datetime(2026, 5, 3, hour, minute, tzinfo=UTC)

    quarters = tuple(
        Quarter(at(hour), 54.0 if hour == 12 else 10.0 if 6 <= hour <= 20 else -5.0, 180.0, "side", 0.9, "hard", 16.0,
                4.0, 0.0, False, 0.9)
        for hour in range(24)
    )  # fmt: skip
    windows = tuple(Window(at(*start), at(*end), 0.9, side, 9.0, 54.0, 16.0) for start, end, side in spans)
    return LightPlan(Place(51.0, 7.0), "UTC", None, (DayPlan(day, quarters, windows, 6.0),), windows, (), ())


def _block(made, heading):
    return next(block for block in card_blocks.card_blocks(made) if block.heading.startswith(heading))


def test_of_hundreds_of_settings_a_few_go_on_paper():
    many = tuple(
        setting(iso, 100.0 * 64 / iso * (f_number / 8) ** 2, f_number=f_number)
        for iso in (64, 80, 100, 128, 256, 512, 1024, 4096, 16384)
        for f_number in (2.8, 4.0, 5.6, 8.0, 11.0)
    )
    kept = field_tables.setting_choices(exposure(settings=many, recommended=many[3], freezes=None, streaks=None))
    assert {one.f_number for one in kept} == {2.8, 8.0}
    assert sorted({one.iso for one in kept}) == [64, 256, 1024, 4096, 16384]


def test_no_place_on_the_card_unless_asked_for():
    place = Place(51.23456, 7.65432)
    known = Light(sun_height_deg=40.0, known=LightKnown(LightBy.PLACE_AND_TIME, "normal"))
    made = card(place=place, rendering=rendering(known), with_place=False)
    text = str(shotcard.card_dict(made)) + str(card_blocks.card_blocks(made))
    assert "51.2" not in text
    assert "7.65" not in text


def test_the_place_is_there_when_ticked():
    made = card(place=Place(51.23456, -7.65432), with_place=True)
    assert shotcard.card_dict(made)["place"]["latitude_deg"] == 51.23456
    assert any("51.2346 N, 7.6543 W" in line for block in card_blocks.card_blocks(made) for line in block.lines)


def test_every_part_is_on_the_card():
    made = card(day_plan=light_plan(((10, 0), (15, 0), "side")), version="9.9")
    headings = [block.heading for block in card_blocks.card_blocks(made)]
    assert headings[0] == "Take care"
    for wanted in ("Test exposures", "Reading the red channel", "Other winds", "Order of work", "Other settings",
                   "Other skies", "Separation", "Zones", "Light", "Focus", "White balance", "Assumptions", "Made with",
                   "Notes"):  # fmt: skip
        assert wanted in headings
    front = card_blocks.card_front(made)
    assert [label for label, _ in front.rows] == ["Focus", "Light"]
    assert (front.lead, front.setting) == ("The trees lead", "ISO 64, f/8, 1 min 40 s")


def test_the_front_says_what_is_set_and_when():
    made = {
        "exposure": exposure(focus=replace(FOCUS, focal_mm=24.0, focus_at_m=2.41, near_m=1.2)),
        "day_plan": light_plan(
            ((7, 0), (12, 0), "side"), ((12, 0), (15, 15), "behind_camera"), ((17, 0), (19, 0), "side")
        ),
    }
    front = card_blocks.card_front(card(**made))
    assert front.setting_range == "30 s to 5 min"
    assert _row("Focus", **made) == "2.4 m (sharp from 1.2 m)"
    # the sun goes to the other side, the light stays good: one span
    assert _row("Light", **made) == "Side or front light 07:00 to 15:15, 17:00 to 19:00"
    assert _block(card(**made), "Light").lines == (
        "3 May 2026: sun up about 06:00 to 20:15.",
        "07:00 to 12:00 sun at the side.",
        "12:00 to 15:15 sun behind you.",
        "17:00 to 19:00 sun at the side.",
    )
    assert _row("Light") is None


def test_the_hours_stay_off_a_card_without_its_place():
    made = card(day_plan=light_plan(((7, 0), (12, 0), "side")), with_place=False)
    assert "07:00" not in str(card_blocks.card_front(made).rows) + str(card_blocks.card_blocks(made))
    assert "07:00" not in str(shotcard.card_dict(made))


def test_the_front_has_at_most_sixty_words():
    made = card(
        day_plan=light_plan(((7, 0), (12, 0), "side"), ((17, 0), (19, 0), "side")),
        exposure=exposure(cautions=(Caution(CautionKind.EDGE, gust_m_s=14.0), Caution(CautionKind.LOCAL_RULES))),
        framing=Framing(
            Frame(50.0, 50.0, "3:2", "standing", 0.25, 0.25, 0.5, 0.5, 22.0, 10.0), ("foliage",), verdict(),
            Movement(30.0, {}, STILL, None, None, ()), None, 0.5,
        ),
    )  # fmt: skip
    front = card_blocks.card_front(made)
    assert front.words() <= card_blocks.MOST_FRONT_WORDS
    assert dict(front.rows)["Framing"] == "50 mm portrait, 22° right, 10° up"
    assert dict(front.rows)["Caution"] == "Gusts to 14 m/s: keep back from steep drops."
    assert front.framed is not None
    assert front.framed.shape == (20, 30)


def test_where_words_are_short_the_later_hours_go_before_what_merges(monkeypatch):
    sky = Layer(1, "sky", "clear_sky", 0.5, Range(2, 2.5, 3), 6.0, (0.5, 0.2), 80.0)
    pair = Separation(0, 1, 0.1, -0.6, 0.8, 1.0, "merges", 0.1, 0.1, Range(0, 1, 2), 0.1)
    made = card(
        verdict=verdict(layers=(verdict().layers[0], sky), separations=(pair,)),
        day_plan=light_plan(((7, 0), (12, 0), "side"), ((17, 0), (19, 0), "side")),
    )
    whole = card_blocks.card_front(made)
    assert dict(whole.rows)["Merges"] == "Trees with sky"
    assert dict(whole.rows)["Light"] == "Side light 07:00 to 12:00, 17:00 to 19:00"
    monkeypatch.setattr(card_blocks, "MOST_FRONT_WORDS", whole.words() - 1)
    shorter = dict(card_blocks.card_front(made).rows)
    assert (shorter["Merges"], shorter["Light"]) == ("Trees with sky", "Side light 07:00 to 12:00")
    monkeypatch.setattr(card_blocks, "MOST_FRONT_WORDS", whole.words() - 4)
    assert "Merges" not in dict(card_blocks.card_front(made).rows)


def test_the_sun_is_warned_of_once():
    eyes = card(exposure=exposure(cautions=(Caution(CautionKind.SUN_EYES),)))
    care = _block(eyes, "Take care").lines
    assert sum("Never look at the sun" in line for line in care) == 1
    assert "Never leave the camera pointing at the sun." in care
    assert sum("Never look at the sun" in line for line in _block(card(), "Take care").lines) == 1


def test_winds_that_ask_for_the_same_are_one_row_and_all_seven_forces_are_there():
    def blur(wind, shutter):
        return Range(0.0, wind * shutter, 2 * wind * shutter)

    table = _block(card(in_wind=winds(blur=blur)), "Other winds").table
    assert table[0][0] == "Bft"
    forces = [row[0] for row in table[1:]]
    told = [force for one in forces for force in range(int(one.split()[0]), int(one.split()[-1]) + 1)]
    assert told == [1, 2, 3, 4, 5, 6, 7]
    assert len({row[2:] for row in table[1:]}) == len(table) - 1
    cells = card_blocks.wind_cells(card(in_wind=winds(blur=blur)).facts.wind_table, None)
    assert cells[-1][1].endswith(" to 17.1")  # upper limit of Beaufort 7, WMO


def test_another_aperture_than_planned_is_named_in_the_table_of_winds():
    quick = setting(6400, 0.1, f_number=2.8)
    plan = exposure(settings=(setting(64, 100.0), quick), freezes=quick)
    made = card(exposure=plan, in_wind=winds(plan=quick))
    assert _block(made, "Other winds").table[1][3] == "1/10, ISO 6400, f/2.8"


def test_the_ladder_is_a_table_and_mixed_frames_stay_sentences():
    first, second = (
        ExposureTest(6400.0, 2.8, 0.125, 12.5, 64.0, 8.0, 50.0),
        ExposureTest(6400.0, 2.8, 0.25, 13.5, 64.0, 8.0, 100.0),
    )
    assert _block(card(exposure=exposure(test_exposures=(first, second))), "Test exposures").table == (
        ("ISO 6400, f/2.8", "1/8", "1/4"),
        ("ISO 64, f/8", "50 s", "1 min 40 s"),
        ("filter factor", "12.5", "13.5"),
    )
    mixed = exposure(test_exposures=(first, replace(second, iso=3200.0)))
    assert _block(card(exposure=mixed), "Test exposures").lines == (
        "ISO 6400, f/2.8, 1/8: if it looks right, take 50 s at ISO 64, f/8.",
        "ISO 3200, f/2.8, 1/4: if it looks right, take 1 min 40 s at ISO 64, f/8.",
    )


def test_a_gale_is_said_with_the_cautions():
    move = ClassMovement(
        blur_px=Range(1, 2, 3), share_of_height=Range(0, 0.1, 0.2), print_mm=Range(1, 2, 3), holds_until_s=None,
        flows_from_s=None, parts={}, known=HowKnown(KnownBy.WIND_GIVEN, Moving.PLANTS, Range(4.0, 4.0, 4.0)),
    )  # fmt: skip
    leaves = ClassMoves("tree", Moving.PLANTS, 30.0, move)
    made = card(movement=Movement(30.0, {"tree": move}, move, None, None, (leaves, Gale(21.0))))
    assert _block(made, "Take care").lines[0].startswith("Gale: gusts to 21 m/s.")
    assert dict(card_blocks.card_front(made).rows)["Caution"].startswith("Gale: gusts to 21 m/s.")
    assert _block(made, "Movement").lines == ("Leaves blur into soft shapes at 30 s.",)


def test_cautions_stay_whole_and_local_rules_are_said_once():
    made = card(exposure=exposure(cautions=(Caution(CautionKind.LOCAL_RULES),)))
    said = _block(made, "Take care").lines
    assert said[0].startswith("Never look at the sun")
    assert sum("ocal rules" in one for one in said) == 1
    assert sum("ocal rules" in one for one in _block(card(), "Take care").lines) == 1
    assert len(said) == len(shotcard.card_dict(made)["cautions"])


def test_the_order_of_work_puts_focus_before_the_filter():
    steps = [step.long for step in card_words.order_of_work(Kit(), exposure())]
    where = {
        word: next(i for i, step in enumerate(steps) if step.startswith(word))
        for word in ("Frame", "Focus", "Autofocus off", "Fit", "Check")
    }
    assert where["Frame"] < where["Focus"] < where["Autofocus off"] < where["Fit"] < where["Check"]
    assert focus_lines(exposure().focus)[1].short == "Infrared focus shift: depth of field covers it."


def test_a_title_with_control_characters_is_one_printable_line():
    made = card(title="a\nb\x00<script>\u202e")
    assert made.title.isprintable()
    assert "\n" not in made.title


def test_without_a_setting_the_card_says_so():
    nothing = field_tables.WindCase("structure", None, 30.0, None)
    plan = exposure(settings=(), recommended=None, freezes=None, streaks=None)
    made = card(exposure=plan, in_wind=lambda wind: nothing)
    assert "No setting" in card_blocks.card_front(made).setting
    assert shotcard.card_dict(made)["exposure"]["recommended"] is None
    assert shotcard.card_dict(made)["wind_table"][0]["iso"] is None
