"""The log on the page in a real browser: a plan, its frame, a comparison, and the list; by label and role."""

import re

import pytest
from playwright.sync_api import expect

from tests.browser.test_page import answered, fits, give, news


def open_log(page):
    page.get_by_role("button", name="Field log", exact=True).click()
    expect(page.get_by_role("button", name="Put it in the log")).to_be_visible()


def look_up(page, words):
    page.get_by_label("Place, or words in the notes").fill(words)
    page.get_by_role("button", name="Look up").click()
    expect(news(page)).to_contain_text("Looked up", timeout=90_000)


def listed(page):
    return page.get_by_role("list", name="Entries of the log").get_by_role("listitem")


def test_a_plan_is_saved_and_its_frame_noted(desk, snap):
    give(desk, snap)
    answered(desk)
    open_log(desk)
    setting = ", ".join(desk.locator("#answer .setting span").all_inner_texts())
    desk.get_by_label("Place, in your words").fill("Tower A")
    desk.get_by_role("button", name="Write this plan down").click()
    expect(news(desk)).to_contain_text("Written down as number", timeout=90_000)
    told = re.search(r"number (\d+)", news(desk).inner_text())
    assert told is not None
    number = told[1]
    look_up(desk, "Tower A")
    expect(listed(desk)).to_have_count(1)
    expect(listed(desk)).to_contain_text(f"Planned: {setting}.")
    expect(listed(desk)).to_contain_text("No frame noted yet.")
    desk.get_by_role("button", name=f"Note what was taken, number {number}").click()
    expect(desk.get_by_label("Exposure", exact=True)).to_be_focused()
    desk.get_by_label("Exposure", exact=True).fill("2 min f/8 ISO 200")
    desk.get_by_label("How it looked").select_option("came out as wanted")
    desk.get_by_role("button", name=f"Change number {number}").click()
    expect(news(desk)).to_have_text(f"Changed: number {number}.", timeout=90_000)
    expect(listed(desk)).to_contain_text("Taken: ISO 200, f/8, 2 min.")
    expect(desk.get_by_label("Exposure", exact=True)).to_have_value("")
    expect(desk.locator("#log-learned")).to_contain_text("frame of the field log")
    desk.reload()
    open_log(desk)
    look_up(desk, "Tower A")
    expect(listed(desk)).to_contain_text("Taken: ISO 200, f/8, 2 min.")
    expect(desk.get_by_role("button", name="Write this plan down")).to_be_visible()  # the snap outlives a reload


def test_a_frame_is_compared_and_its_lesson_switched_off(desk, snap, frame):
    give(desk, snap)
    answered(desk)
    open_log(desk)
    desk.get_by_label(re.compile("The frame, of the same scene")).set_input_files(frame)
    expect(news(desk)).to_contain_text("tower-infrared.png is compared", timeout=90_000)
    picture = desk.get_by_role("img", name=re.compile("orange where the frame came out brighter"))
    expect(picture).to_be_visible()
    assert picture.evaluate("image => image.naturalWidth") > 300
    expect(desk.locator("#log-compared")).to_contain_text(re.compile("trees?: .* darker than predicted", re.IGNORECASE))
    desk.get_by_role("button", name="Let my kit learn from this").click()
    expect(news(desk)).to_contain_text("Kept", timeout=90_000)
    expect(desk.get_by_role("region", name="Your correction, as a table")).to_contain_text("trees")
    switch = desk.get_by_label("Use the correction")
    expect(switch).not_to_be_checked()
    switch.check()
    expect(news(desk)).to_have_text("The correction is used now.", timeout=90_000)
    expect(desk.locator("#status")).to_contain_text("Worked out again", timeout=90_000)
    expect(switch).to_be_checked()
    switch.uncheck()
    expect(news(desk)).to_have_text("The correction is not used now.", timeout=90_000)


def test_an_entry_is_taken_out_and_brought_back_with_the_keyboard(desk):
    open_log(desk)
    desk.get_by_label("Exposure", exact=True).fill("30s f/8 ISO 200")
    desk.get_by_label("Place, in your words").fill("Quarry K")
    desk.get_by_role("button", name="Put it in the log").press("Enter")
    expect(news(desk)).to_contain_text("Put in the log", timeout=90_000)
    look_up(desk, "Quarry K")
    expect(listed(desk)).to_have_count(1)
    listed(desk).get_by_role("button", name=re.compile("Take out")).press("Enter")
    expect(news(desk)).to_contain_text("undo brings it back", timeout=90_000)
    expect(listed(desk)).to_have_count(0)
    desk.get_by_role("button", name="Undo the last change of the log").press("Enter")
    expect(news(desk)).to_contain_text("Taken back", timeout=90_000)
    expect(listed(desk)).to_have_count(1)


def test_a_mistake_in_the_form_is_a_sentence_and_loses_nothing_typed(phone):
    open_log(phone)
    phone.get_by_label("Exposure", exact=True).fill("soon")
    phone.get_by_label("Notes", exact=True).fill("ferns by the wall")
    phone.get_by_role("button", name="Put it in the log").tap()
    expect(news(phone)).to_contain_text("soon", timeout=90_000)
    expect(news(phone)).to_be_in_viewport()
    expect(phone.get_by_label("Notes", exact=True)).to_have_value("ferns by the wall")
    fits(phone, 390)


@pytest.mark.parametrize("name", ["notes.txt", "half.png"])
def test_a_file_that_is_no_frame_is_a_sentence(desk, snap, frame, tmp_path, name):
    give(desk, snap)
    answered(desk)
    open_log(desk)
    (tmp_path / name).write_bytes(frame.read_bytes()[:5000] if name == "half.png" else b"words")
    desk.get_by_label(re.compile("The frame, of the same scene")).set_input_files(tmp_path / name)
    expect(news(desk)).to_contain_text(name, timeout=90_000)
    expect(news(desk)).to_have_class("sorry")
