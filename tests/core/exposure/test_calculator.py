"""The arithmetic outdoors: what it says the settings say, and the field page's script says the same in every case."""

import json
import math
import random
import shutil
import subprocess
from dataclasses import asdict
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import irpreview
from irpreview.core.exposure.asked_time import setting_for_time
from irpreview.core.exposure.calculator import (
    Calculator,
    Noise,
    after_test,
    calculator_for,
    settings_for,
    time_range_s,
    time_s,
)
from irpreview.core.exposure.setting import F_NUMBERS
from irpreview.core.light.sensor_noise import ISOS
from irpreview.core.units import parse_shutter, shutter_text
from irpreview.errors import BadValue
from irpreview.records import ExposureTest, Kit
from tests.core.exposure.test_asked_time import EVS, plan

SCRIPT = Path(irpreview.__file__).parent / "data" / "field_page" / "calculator.js"
CASES = 1500


def test_sunny_sixteen_worked_by_hand():
    # ISO 2720's relation at EV 15, f/16, ISO 100: 1/128 s; a filter of 15 stops makes 2^8 s of it (worked by hand)
    calculator = Calculator(15.0, 15.0, 0.0, 1.0, 1.0, ISOS, F_NUMBERS, 9.0, Noise(6350, 0.1, 3, 1.5, 800), 30.0, True)
    assert time_s(calculator, 100, 16) == pytest.approx(256.0)
    assert shutter_text(time_s(calculator, 100, 16)) == "4 min 15 s"


@settings(max_examples=60, deadline=None)
@given(EVS, st.floats(-15.0, 40.0))
def test_it_says_what_the_settings_say(ev, temperature_c):
    exposure, kit = plan(ev), Kit()
    calculator = calculator_for(exposure, kit, temperature_c)
    for one in exposure.settings[::7]:
        found = time_range_s(calculator, one.iso, one.f_number)
        assert (found.low, found.likely, found.high) == pytest.approx(
            (one.shutter_s.low, one.shutter_s.likely, one.shutter_s.high), rel=1e-9
        )


@settings(max_examples=250, deadline=None)
@given(EVS, st.floats(-8.0, 12.5))
def test_a_time_asked_outdoors_gets_the_answer_of_the_desk(ev, stops):
    exposure, kit, asked_s = plan(ev), Kit(), 2.0**stops
    assert exposure.recommended is not None
    desk = setting_for_time(exposure.settings, asked_s, kit, exposure.recommended.f_number)
    outdoors = settings_for(calculator_for(exposure, kit, None), asked_s)
    assert outdoors.off_stops == pytest.approx(desk.off_stops, abs=1e-9)
    assert (outdoors.choice is None) == (desk.setting is None)
    assert (outdoors.grey is None) == (desk.grey_filter is None)
    if desk.setting is not None:
        assert outdoors.choice is not None
        assert (outdoors.choice.iso, outdoors.choice.f_number) == (desk.setting.iso, desk.setting.f_number)
    if desk.grey_filter is not None:
        grey = desk.grey_filter
        assert outdoors.grey is not None
        assert (outdoors.grey.grey_stops, outdoors.grey.iso) == (grey.stops, grey.iso)
        assert outdoors.grey.f_number == grey.f_number


@given(EVS, st.integers(0, 4))
@settings(max_examples=40, deadline=None)
def test_a_right_test_frame_gives_the_long_exposure_and_never_less_sureness(ev, rung):
    exposure = plan(ev)
    before = calculator_for(exposure, Kit(), None)
    if rung >= len(exposure.test_exposures):
        return
    test = exposure.test_exposures[rung]
    after = after_test(before, test)
    assert time_s(after, test.iso, test.f_number) == pytest.approx(test.shutter_s)
    assert time_s(after, test.long_iso, test.long_f_number) == pytest.approx(test.long_shutter_s)
    assert after.below_stops <= before.below_stops
    assert after.above_stops <= before.above_stops
    assert after.below_stops + after.above_stops < before.below_stops + before.above_stops


def random_case(chance: random.Random) -> dict[str, Any]:
    low, widest = chance.choice((25.0, 50.0, 64.0, 100.0, 200.0)), chance.choice((1.4, 2.0, 2.8, 4.0, 5.6))
    isos = tuple(one for one in ISOS if low <= one <= chance.choice((1600.0, 6400.0, 25600.0)))
    f_numbers = tuple(one for one in F_NUMBERS if widest <= one <= chance.choice((11.0, 16.0, 22.0)))
    calculator = Calculator(
        ev100=chance.uniform(-2, 17),
        factor_stops=chance.uniform(0, 20),
        placement_stops=chance.uniform(-2.5, 1),
        below_stops=chance.uniform(0, 3),
        above_stops=chance.uniform(0, 3),
        isos=isos,
        f_numbers=f_numbers,
        liked_f_number=chance.choice(f_numbers),
        noise=Noise(chance.uniform(500, 9000), chance.uniform(0.001, 5), 3.0, 1.5, 800.0),
        longest_timed_s=30.0,
        has_bulb=True,
    )
    test_s = parse_shutter(shutter_text(2.0 ** chance.uniform(-12, 4)))
    test = ExposureTest(6400.0, 2.8, test_s, chance.uniform(8, 18), isos[0], 9.0, 100.0)
    return {
        "calculator": calculator,
        "iso": chance.choice(isos),
        "f_number": chance.choice(f_numbers),
        "asked_s": 2.0 ** chance.uniform(-14, 13),
        "test": test,
    }


@pytest.mark.skipif(shutil.which("node") is None, reason="no node here")
def test_the_script_says_the_same_in_fifteen_hundred_random_cases(tmp_path):
    chance = random.Random(720)
    cases = [random_case(chance) for _ in range(CASES)]
    plain = [{**case, "calculator": asdict(case["calculator"]), "test": asdict(case["test"])} for case in cases]
    (tmp_path / "cases.json").write_text(json.dumps(plain))
    ask = """
    const cases = JSON.parse(require('fs').readFileSync(process.argv[2]));
    console.log(JSON.stringify(cases.map((one) => {
      const range = time_range_s(one.calculator, one.iso, one.f_number);
      return {range, text: shutter_text(range.likely), read: read_time(shutter_text(range.likely)),
        asked: settings_for(one.calculator, one.asked_s),
        after: time_range_s(after_test(one.calculator, one.test), one.iso, one.f_number)};
    })));
    """
    (tmp_path / "ask.js").write_text(SCRIPT.read_text() + ask)
    command = ["node", str(tmp_path / "ask.js"), str(tmp_path / "cases.json")]
    told = json.loads(subprocess.run(command, capture_output=True, text=True, check=True).stdout)
    assert len(told) == CASES
    reached = {"choice": 0, "too long": 0, "too short": 0, "grey": 0}
    for case, said in zip(cases, told, strict=True):
        calculator, iso, f_number = case["calculator"], case["iso"], case["f_number"]
        for ours, theirs in (
            (time_range_s(calculator, iso, f_number), said["range"]),
            (time_range_s(after_test(calculator, case["test"]), iso, f_number), said["after"]),
        ):
            for part in ("low", "likely", "high"):
                assert abs(math.log2(getattr(ours, part) / theirs[part])) < 1e-9
        likely = time_s(calculator, iso, f_number)
        assert said["text"] == shutter_text(likely)
        try:
            assert said["read"] == pytest.approx(parse_shutter(said["text"]))
        except BadValue:  # beyond a day, or shorter than 1/32000 s
            assert said["read"] is None
        answer, theirs = settings_for(calculator, case["asked_s"]), said["asked"]
        assert theirs["off_stops"] == pytest.approx(answer.off_stops, abs=1e-9)
        for name in ("choice", "shortest", "longest", "grey"):
            one, other = getattr(answer, name), theirs[name]
            assert (one is None) == (other is None), name
            if one is not None:
                if name in ("choice", "grey"):  # of the ends two settings may be alike to the last bit
                    assert (one.iso, one.f_number, one.grey_stops) == (
                        other["iso"],
                        other["f_number"],
                        other["grey_stops"],
                    )
                assert abs(math.log2(one.shutter_s / other["shutter_s"])) < 1e-9
        reached["choice"] += answer.choice is not None
        reached["grey"] += answer.grey is not None
        reached["too long"] += answer.off_stops > 0
        reached["too short"] += answer.off_stops < 0
    assert min(reached.values()) > 100, reached
