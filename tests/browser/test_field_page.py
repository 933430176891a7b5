"""The field page as it is used outdoors: one file, no network, a phone 390 wide, and a clock that is moved."""

import io
import json
import os
import re
from datetime import UTC, datetime
from pathlib import Path

import jsonschema
import numpy as np
import pytest
from PIL import Image
from playwright.sync_api import expect

from irpreview.analysis import analyse
from irpreview.core.field_page import field_page
from irpreview.core.units import parse_shutter
from irpreview.field_pages import field_place_of
from irpreview.io.field_log import FieldLog
from irpreview.io.field_notes import bring
from irpreview.io.field_page import write_field_page
from irpreview.io.paths import data_file
from irpreview.io.photos import load_photo
from irpreview.records import Conditions
from irpreview.request import Request
from tests.browser.test_page import AXE, box, faults_by_axe, fits, luminance

SCENES = Path(__file__).parents[2] / "demo_scenes"
BEGIN = datetime(2026, 6, 21, 10, 0, tzinfo=UTC)
PHONE = {"viewport": {"width": 390, "height": 844}, "has_touch": True, "is_mobile": True, "offline": True}


@pytest.fixture(scope="session")
def two_places(tmp_path_factory):
    """Two demo scenes, small, in one file; and the same six times over."""
    folder = tmp_path_factory.mktemp("field")
    places = []
    for name in ("moor_tower", "hazel_wood_edge"):
        small = folder / f"{name}.jpg"
        with Image.open(SCENES / name / "photo.jpg") as image:
            image.resize((480, round(480 * image.height / image.width))).save(small, exif=image.getexif())
        request = Request(conditions=Conditions(wind_m_s=4.4))
        places.append(field_place_of(analyse(load_photo(small), request), name.replace("_", " "), False))
    write_field_page(field_page(tuple(places) * 3, with_place=False), folder / "six.html")
    return write_field_page(field_page(tuple(places), with_place=False), folder / "two.html")


@pytest.fixture
def opened(browser, two_places):
    """Opens the file in a context without network; anything asked for, any error and any broken rule fails the test."""
    asked, faults, contexts = [], [], []

    def go(path=two_places, clock=False, scripts=(), **options):
        context = browser.new_context(**{**PHONE, "accept_downloads": True, **options})
        contexts.append(context)
        context.on("request", lambda request: asked.append(request.url))
        page = context.new_page()
        page.set_default_timeout(20_000)
        page.on("pageerror", lambda error: faults.append(str(error)))
        page.on("console", lambda said: faults.append(said.text) if said.type == "error" else None)
        for script in scripts:
            context.add_init_script(script)
        if clock:
            page.clock.install(time=BEGIN)
        page.goto(path.as_uri())
        if clock:
            page.clock.pause_at(datetime(2026, 6, 21, 10, 1, tzinfo=UTC))
        return page

    yield go
    for context in contexts:
        context.close()
    assert [url for url in asked if not url.startswith(("file:", "data:", "blob:"))] == []
    assert faults == []


def ring(page, name):
    return page.locator(f".place:not([hidden]) [data-ring={name}]")


def told(page):
    return page.locator(".place:not([hidden]) section[id^=rings] .told")


def setting(page):
    return page.locator(".place:not([hidden]) .setting")


def ask(page, text):
    page.locator(".place:not([hidden]) .ask input").fill(text)
    page.locator(".place:not([hidden]) .ask button").first.click()


def facts(page):
    return json.loads(page.locator("#facts").text_content())


# ---- what is seen ---------------------------------------------------------------------------------------------------


def test_the_answer_is_on_the_first_screen_and_nothing_scrolls_sideways(opened):
    page = opened()
    fits(page, 390)
    assert box(page.locator("#picture-0"))["width"] == 390
    top = box(page.locator("#dock"))["y"]
    for part in (".lead", ".why", ".setting", ".sure"):
        found = box(page.locator(f"#place-0 {part}"))
        assert found["y"] + found["height"] <= top, part
    best = facts(page)["places"][0]["setting"]
    expect(setting(page)).to_have_text(
        re.compile(rf"ISO {best['iso']:g}\s+f/{best['f_number']:g}\s+{re.escape(best['shutter_text'])}")
    )
    for part in ("#place-0 .setting .time", "#dock-time"):
        assert page.locator(part).evaluate("one => parseFloat(getComputedStyle(one).fontSize)") >= 30


def test_everything_that_is_pressed_is_large_enough_for_cold_hands(opened):
    page = opened()
    page.locator("#place-0 [data-right='1']").click()
    page.locator("#place-0 .framing").first.click()
    small = """() => [...document.querySelectorAll('button, a, input, textarea, label')].filter((one) => {
      if (!one.checkVisibility() || (one.tagName === 'INPUT' && one.closest('label'))) return false;
      const {width, height} = one.getBoundingClientRect();
      return height < 47.9 || width < 47.9;
    }).map((one) => `${one.outerHTML.slice(0, 80)} ${one.getBoundingClientRect().height}`)"""
    assert page.evaluate(small) == []
    page.locator("#start").click()
    assert page.evaluate(small) == []
    page.locator("#stop").click()
    assert page.evaluate(small) == []


@pytest.mark.parametrize("look", ["Day", "Evening", "Night"])
def test_every_look_passes_axe_and_has_contrast(opened, look):
    if not AXE.is_file() and os.environ.get("IRPREVIEW_BROWSER_TESTS") != "required":
        pytest.skip("axe-core is not installed (npm ci --prefix tests/browser)")
    page = opened()
    page.get_by_role("button", name=look, exact=True).click()
    page.evaluate(AXE.read_text())

    def check():
        assert faults_by_axe(page) == []

    check()
    page.locator("#place-0 [data-right='1']").click()
    page.locator("#place-0 .framing").first.click()
    check()
    for part in ("#place-0 .lead", "#place-0 .setting", "#place-0 .sure", "#place-0 .then", "#place-0 .warning"):
        ink = page.locator(part).first.evaluate("one => getComputedStyle(one).color")
        paper = page.evaluate("getComputedStyle(document.documentElement).backgroundColor")
        light, dark = sorted((luminance(ink), luminance(paper)), reverse=True)
        assert (light + 0.05) / (dark + 0.05) >= 7.0, part
    page.locator("#start").click()
    check()
    page.locator("#stop").click()
    check()
    page.reload()
    expect(page.locator("html")).to_have_attribute("data-look", look.lower())


def test_at_night_the_page_sends_no_blue_and_no_green_light_to_speak_of(opened):
    page = opened()
    page.get_by_role("button", name="Night", exact=True).click()
    page.mouse.move(0, 0)
    seen = np.asarray(Image.open(io.BytesIO(page.screenshot())).convert("RGB"), float)
    red, green, blue = (np.mean((seen[..., i] / 255) ** 2.2) for i in range(3))
    assert red > 0.005
    assert green < 0.25 * red
    assert blue < 0.2 * red


def test_without_scripts_everything_that_is_known_can_be_read(opened):
    page = opened(java_script_enabled=False)
    fits(page, 390)
    for part in (
        "#place-0 .setting",
        "#place-1 .setting",
        "#place-0 .ladder .plain",
        "#place-0 table",
        "#place-0 .work",
    ):
        expect(page.locator(part).first).to_be_visible()
    assert page.locator("button:visible").count() == 0


# ---- exposure -------------------------------------------------------------------------------------------------------


def test_a_ring_turned_keeps_the_light(opened):
    page = opened()
    before = parse_shutter(ring(page, "time").locator("output").inner_text())
    for _ in range(3):  # three thirds of a stop
        ring(page, "iso").locator("button").last.click()
    after = parse_shutter(ring(page, "time").locator("output").inner_text())
    assert after == pytest.approx(before / 2, rel=0.13)
    for _ in range(3):
        ring(page, "factor").locator("button").last.click()
    assert parse_shutter(ring(page, "time").locator("output").inner_text()) == pytest.approx(before, rel=0.13)
    expect(setting(page)).to_contain_text(ring(page, "iso").locator("output").inner_text())
    kept = setting(page).inner_text()
    page.reload()
    expect(setting(page)).to_have_text(re.compile(r"\s*".join(map(re.escape, kept.split()))))
    assert parse_shutter(ring(page, "time").locator("output").inner_text()) == pytest.approx(before, rel=0.13)
    page.get_by_role("button", name="As planned").first.click()
    planned = facts(page)["places"][0]["setting"]
    assert ring(page, "iso").locator("output").inner_text() == f"{planned['iso']:g}"


def test_two_windows_of_one_file_go_on_from_each_other(opened, two_places):
    first = opened()
    second = first.context.new_page()
    second.goto(two_places.as_uri())
    ask(first, "4 min")
    expect(setting(second)).to_contain_text("4 min")
    ring(second, "time").locator("button").last.click()
    expect(setting(first)).to_contain_text("8 min")
    second.locator("#place-0 .right").last.click()
    expect(first.locator("#place-0 .right").last).to_have_attribute("aria-pressed", "true")
    first.locator("#start").click()
    expect(second.locator("#digits")).to_be_visible()
    second.locator("#stop").click()
    second.locator("#forget").click()
    expect(first.locator("#bulb")).to_be_hidden()


def test_a_time_asked_for_gives_iso_and_aperture_or_what_stands_in_the_way(opened):
    page = opened()
    ask(page, "4 min")
    expect(told(page)).to_contain_text(re.compile(r"^4 min: ISO \d+, f/[\d.]+\. Bulb\."))
    assert ring(page, "time").locator("output").inner_text() == "4 min"
    expect(page.locator("#dock-time")).to_have_text("4 min")
    ring(page, "time").locator("button").last.click()
    assert ring(page, "time").locator("output").inner_text() == "8 min"
    page.reload()
    expect(ring(page, "time").locator("output")).to_have_text("8 min")
    ask(page, "2h")
    expect(told(page)).to_contain_text(re.compile(r"out of reach: [\d.]+ stops too bright\. Longest is ISO"))
    expect(told(page)).to_contain_text(re.compile(r"A further grey filter of \d+ stops gives it at ISO \d+, f/"))
    ask(page, "1/4000")
    expect(told(page)).to_contain_text(re.compile(r"out of reach: [\d.]+ stops too dark\. Shortest is"))
    ask(page, "soon")
    expect(told(page)).to_contain_text("Write a time as")


def test_the_test_frame_that_looked_right_sets_factor_and_long_exposure_and_narrows(opened):
    page = opened()
    place = facts(page)["places"][0]
    ladder = page.locator("#place-0 .ladder li")
    assert ladder.count() == len(place["tests"])
    page.locator("#place-0 [data-took='0']").click()
    expect(page.locator("#place-0 [data-took='0']")).to_have_attribute("aria-pressed", "true")
    rung = place["tests"][-1]

    def doubt():
        told = re.search(r"Could be (.+) to (.+?)\.", page.locator("#place-0 .sure").inner_text())
        assert told is not None
        low, high = told.groups()
        return parse_shutter(high) / parse_shutter(low)

    wide = doubt()
    page.locator("#place-0 .right").last.click()
    expect(page.locator("#place-0 section[id^=tests] .told")).to_contain_text(
        f"Factor {rung['factor_stops']:.1f} stops"
    )
    assert ring(page, "factor").locator("output").inner_text() == f"{rung['factor_stops']:.1f}"
    expect(setting(page)).to_contain_text(rung["long_shutter_text"])
    assert doubt() <= 2.2 < wide
    page.reload()
    expect(setting(page)).to_contain_text(rung["long_shutter_text"])
    page.locator("#place-0 .right").last.click()  # taken back
    expect(setting(page)).to_contain_text(place["setting"]["shutter_text"])
    assert doubt() == pytest.approx(wide)


def test_a_framing_is_shown_in_the_picture(opened):
    page = opened()
    one = facts(page)["places"][0]["framings"][0]
    page.locator("#place-0 .framing").first.click()
    rectangle = "['#place-0 .frame', '#picture-0'].map((one) => document.querySelector(one).getBoundingClientRect())"
    frame, picture = page.evaluate(f"{rectangle}.map(({{x, y, width, height}}) => ({{x, y, width, height}}))")
    assert frame["width"] == pytest.approx(one["width"] * picture["width"], abs=2)
    assert frame["x"] - picture["x"] == pytest.approx(one["left"] * picture["width"], abs=2)
    assert frame["y"] - picture["y"] == pytest.approx(one["top"] * picture["height"], abs=2)
    page.locator("#place-0 .framing").first.click()
    expect(page.locator("#place-0 .frame")).to_be_hidden()


def test_many_places_are_a_turn_away(opened, two_places):
    page = opened(two_places.with_name("six.html"))
    expect(page.locator("#strip")).to_be_hidden()
    page.get_by_role("button", name="The place before").click()
    expect(page.locator("#all-places")).to_have_text("6 of 6 places")
    page.locator("#all-places").click()
    page.locator("#strip button").nth(2).click()
    expect(page.locator("#place-2")).to_be_visible()
    expect(page.locator("#strip")).to_be_hidden()
    page.reload()
    expect(page.locator("#place-2")).to_be_visible()


# ---- the timer ------------------------------------------------------------------------------------------------------

HOUR_MS = 3_600_000


def test_the_timer_is_true_to_a_tenth_of_a_second_after_an_hour_asleep(opened):
    page = opened(clock=True)
    page.locator("#start").click()
    page.locator("#direction").click()
    expect(page.locator("#digits")).to_have_text("0:00")
    # the lid is closed for an hour less a twentieth of a second: whatever was due fires once at most
    page.clock.fast_forward(HOUR_MS - 50)
    expect(page.locator("#digits")).to_have_text("59:59")
    page.clock.run_for(100)
    expect(page.locator("#digits")).to_have_text("1:00:00")
    page.locator("#direction").click()
    length_s = parse_shutter(facts(page)["places"][0]["setting"]["shutter_text"])
    over = int(3600 - length_s)
    expect(page.locator("#digits")).to_have_text(f"+{over // 60}:{over % 60:02d}")


def test_a_page_that_was_thrown_out_of_memory_goes_on(opened):
    page = opened(clock=True)
    page.locator("#start").click()
    page.locator("#direction").click()
    page.clock.fast_forward(61_950)
    page.reload()
    expect(page.locator("#digits")).to_have_text("1:01")
    page.clock.run_for(100)
    expect(page.locator("#digits")).to_have_text("1:02")
    page.get_by_role("button", name="Tap for sound").click()  # a page loaded anew has to be touched before it may sound
    expect(page.get_by_role("button", name="Sound on")).to_be_visible()
    page.locator("#stop").click()
    page.clock.fast_forward(HOUR_MS)
    expect(page.locator("#digits")).to_have_text("1:02")


def test_every_second_is_shown_and_the_end_is_felt_and_heard(opened):
    shaken = """Object.defineProperty(Navigator.prototype, 'vibrate', {
      value: (pattern) => { (window.shaken ??= []).push(pattern); return true; }});"""
    page = opened(clock=True, scripts=[shaken])
    ask(page, "40s")
    length_s = int(parse_shutter(ring(page, "time").locator("output").inner_text()))
    page.locator("#start").click()
    assert page.evaluate("bell.planned.length") == 6  # three short ones before, three at the end
    for left in range(length_s - 1, 0, -1):
        page.clock.run_for(1000)
        assert page.locator("#digits").inner_text() == f"0:{left:02d}"
    assert page.evaluate("window.shaken") is None
    page.clock.run_for(1000)
    expect(page.locator("#bulb-of")).to_contain_text("Close now")
    assert len(page.evaluate("window.shaken")) == 1
    page.clock.run_for(2000)
    assert page.locator("#digits").inner_text() == "+0:02"
    assert len(page.evaluate("window.shaken")) == 1


def test_the_dock_shows_the_timer_while_the_page_is_read(opened):
    page = opened(clock=True)
    page.locator("#start").click()
    page.locator("#lower").click()
    expect(page.locator("#dock-setting")).to_contain_text("open")
    page.clock.run_for(2000)
    length_s = int(parse_shutter(facts(page)["places"][0]["setting"]["shutter_text"]))
    left = length_s - 2
    expect(page.locator("#dock-time")).to_have_text(f"{left // 60}:{left % 60:02d}")
    page.locator("#start").click()
    expect(page.locator("#bulb")).to_be_visible()


# ---- notes ----------------------------------------------------------------------------------------------------------


def hand_back(page, folder):
    with page.expect_download() as waiting:
        page.get_by_role("button", name="Hand back the notes").click()
    path = folder / waiting.value.suggested_filename
    waiting.value.save_as(path)
    return path


def test_what_was_tapped_and_written_comes_home_into_the_log(opened, tmp_path):
    page = opened(clock=True)
    place = facts(page)["places"][0]
    page.locator("#place-0 [data-right='1']").click()
    page.locator("#start").click()
    page.clock.fast_forward(42_300)
    page.locator("#stop").click()
    page.locator("[data-off='-1']").click()
    page.locator("#place-0 .text").fill("Wind dropped after the second frame.")
    page.locator("#strip button").nth(1).click()
    page.locator("#place-1 .text").fill("Come back in May <b>early</b>.")
    page.reload()
    expect(page.locator("#place-1 .text")).to_have_value("Come back in May <b>early</b>.")
    path = hand_back(page, tmp_path)
    schema = json.loads(data_file("schemas/field_notes.json").read_text())
    handed = json.loads(path.read_text())
    jsonschema.Draft202012Validator(schema).validate(handed)
    assert handed["frames"]
    assert all(one["latitude_deg"] is None and one["taken_at"] is None for one in handed["frames"])
    with FieldLog(tmp_path / "log.sqlite") as log:
        new, known = bring(log, path)
        assert (len(new), known) == (4, 0)
        assert bring(log, path)[1] == 4
        test, frame, first, second = sorted(log.search(), key=lambda one: one.id)
    rung = place["tests"][1]
    assert (test.iso, test.f_number, test.shutter_s) == (rung["iso"], rung["f_number"], rung["shutter_s"])
    assert test.raw_factor_stops == pytest.approx(rung["factor_stops"], abs=0.01)
    assert test.outcome == "good"
    assert frame.shutter_s == pytest.approx(42.3, abs=0.11)
    assert (frame.outcome, frame.snap_sha256) == ("thin", place["snap_sha256"])
    assert frame.came_out_stops == pytest.approx(place["calculator"]["placement_stops"] - 1.0)
    assert frame.planned_shutter_s == pytest.approx(place["setting"]["shutter_s"])
    assert frame.day == BEGIN.date()
    assert "Wind dropped" in first.notes
    assert "<b>early</b>" in second.notes


def test_nothing_noted_is_said_and_a_note_can_be_removed(opened):
    page = opened()
    page.get_by_role("button", name="Hand back the notes").click()
    expect(page.locator("#handed")).to_have_text("Nothing is noted yet.")
    page.locator("#place-0 [data-right='0']").click()
    page.locator("#place-0 .frames button").click()
    expect(page.locator("#place-0 .frames li")).to_have_count(0)
    expect(page.locator("#place-0 [data-right='0']")).to_have_attribute("aria-pressed", "false")


def test_damaged_memory_is_begun_anew_and_none_at_all_is_said(opened):
    page = opened()
    key = f"irpreview-field-{facts(page)['page']}"
    assert page.evaluate("Object.keys(localStorage)") == []  # nothing is written before anything is noted
    ring(page, "iso").locator("button").last.click()
    assert page.evaluate("Object.keys(localStorage)") == [key]
    for broken in ("{", "null", '{"places": 3}', '{"places": [1, 2], "place": 99, "timer": 5, "frames": "x"}'):
        page.evaluate("([key, text]) => localStorage.setItem(key, text)", [key, broken])
        page.reload()
        expect(setting(page)).to_be_visible()
        page.locator("#start").click()
        page.locator("#stop").click()
        page.locator("#forget").click()
    denied = (
        "Object.defineProperty(window, 'localStorage', {get() { throw new DOMException('no', 'SecurityError'); }});"
    )
    page = opened(scripts=[denied])
    expect(page.locator("#handed")).to_contain_text("keeps nothing")
    page.locator("#place-0 [data-right='1']").click()
    expect(page.locator("#place-0 .frames li")).to_have_count(1)
