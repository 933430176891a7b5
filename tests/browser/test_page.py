"""The page as a photographer uses it, driven by label and role in a real browser."""

import io
import json
import os
import re
from pathlib import Path

import jsonschema
import pytest
from PIL import Image
from playwright.sync_api import expect
from pypdf import PdfReader

AXE = Path(__file__).parent / "node_modules" / "axe-core" / "axe.min.js"


def give(page, *paths):
    page.get_by_label("Choose snaps").set_input_files([str(path) for path in paths])


def answered(page):
    """Wait until everything about the snap is there."""
    expect(page.locator("#opening .big")).to_be_visible(timeout=90_000)
    expect(status(page)).not_to_have_text("Working out the rest.", timeout=90_000)


def status(page):
    """The page's one line of news; sliders have their own, as outputs."""
    return page.locator("#status").get_by_role("status")


def news(page):
    """The log's line of news."""
    return page.locator("#log-news").get_by_role("status")


def fits(page, width):
    assert page.evaluate("document.documentElement.scrollWidth") <= width


def entries(page):
    """Open the fold with kit, place and day."""
    page.get_by_text("Kit, place and day").first.click()
    expect(page.get_by_label("Filter and camera")).to_be_visible()


PARTS = (
    "How infrared sees it",
    "What is in it",
    "Will it hold apart",
    "Wind and time",
    "How long to open",
    "When to come back",
    "Take it with you",
)


def save(page, kind):
    with page.expect_download() as waiting:
        page.get_by_role("button", name=f"Save as {kind}").click()
    return Path(waiting.value.path()).read_bytes()


def test_the_whole_way_at_a_desk(desk, whole_snap):
    for part in PARTS:
        expect(desk.get_by_role("heading", name=part, exact=True)).not_to_be_visible()
    give(desk, whole_snap)
    answered(desk)
    for part in PARTS:
        expect(desk.get_by_role("heading", name=part, exact=True)).to_be_visible()
    expect(status(desk)).to_contain_text("This is photo.jpg.")
    expect(desk.locator("#opening .big")).to_have_text(re.compile(r"ISO \d+, f/[\d.]+, "))
    entries(desk)
    expect(desk.get_by_label("Place (latitude, longitude)")).to_have_value(re.compile(r"^-?\d+\.\d+, -?\d+\.\d+$"))
    expect(desk.get_by_role("list", name="Time the frame takes, hour by hour")).to_contain_text("sun")
    expect(desk.get_by_role("img", name=re.compile("as infrared will show it"))).to_be_visible()
    expect(desk.get_by_role("img", name=re.compile("layers numbered"))).to_be_visible()
    fits(desk, 1280)


def test_the_card_is_saved_and_read_back(desk, snap):
    give(desk, snap)
    answered(desk)
    desk.get_by_label("Name on the card").fill("Tower on the moor")
    desk.get_by_role("button", name="Make the card").click()
    expect(status(desk)).to_have_text("The card is ready, without the location.", timeout=90_000)
    setting = desk.locator("#opening .big").inner_text()
    text = " ".join(PdfReader(io.BytesIO(save(desk, "PDF"))).pages[0].extract_text().split())
    assert "Tower on the moor" in text
    assert setting in text
    assert "Order of work" in text
    image = Image.open(io.BytesIO(save(desk, "PNG")))
    assert image.format == "PNG"
    assert image.width == 1080
    from irpreview.io.card_files import card_schema

    made = json.loads(save(desk, "JSON"))
    jsonschema.Draft202012Validator(card_schema()).validate(made)
    assert made["place"] is None
    entries(desk)
    latitude = desk.get_by_label("Place (latitude, longitude)").input_value().split(",")[0]
    assert latitude[:5] not in text + json.dumps(made)


def test_the_location_goes_on_the_card_when_ticked(desk, snap):
    give(desk, snap)
    answered(desk)
    desk.get_by_label("Put the location on the card").check()
    desk.get_by_role("button", name="Make the card").click()
    expect(status(desk)).to_have_text("The card is ready, with the location.", timeout=90_000)
    made = json.loads(save(desk, "JSON"))
    entries(desk)
    shown = float(desk.get_by_label("Place (latitude, longitude)").input_value().split(",")[0])
    assert made["place"]["latitude_deg"] == pytest.approx(shown, abs=1e-4)


def test_the_whole_way_on_a_phone(phone, snap):
    fits(phone, 390)
    give(phone, snap)
    answered(phone)
    fits(phone, 390)
    phone.get_by_role("button", name="Infrared only").tap()
    expect(phone.get_by_role("slider", name="Seam between photograph and infrared")).to_have_value("0")
    phone.get_by_text("Kit, place and day").first.tap()
    expect(phone.get_by_label("Filter and camera")).to_be_visible()
    fits(phone, 390)
    phone.get_by_role("button", name="Make the card").tap()
    expect(status(phone)).to_contain_text("The card is ready", timeout=90_000)


def test_several_snaps_each_with_figure_and_sentence(desk, snap, temple):
    give(desk, snap, temple)
    answered(desk)
    listed = desk.get_by_role("list", name="Your snaps").get_by_role("button")
    expect(listed).to_have_count(2, timeout=90_000)
    expect(listed.nth(1)).to_contain_text(re.compile(r"edges hold|one tone"), timeout=90_000)
    expect(listed.nth(0)).to_have_attribute("aria-pressed", "true")
    before = desk.locator("#opening .big").inner_text()
    listed.nth(1).click()
    expect(status(desk)).to_contain_text("This is temple.jpg.", timeout=90_000)
    expect(listed.nth(1)).to_have_attribute("aria-pressed", "true")
    entries(desk)
    expect(desk.get_by_label("Place (latitude, longitude)")).to_have_value("")
    expect(desk.locator("#hours")).to_contain_text("needs the place and the time")
    assert before


def test_unknown_place_is_a_fine_answer_and_a_typed_one_is_used(desk, temple):
    give(desk, temple)
    answered(desk)
    desk.get_by_text("Kit, place and day").first.click()
    desk.get_by_label("Place (latitude, longitude)").fill("51.2, 7.4")
    desk.get_by_label("Time zone (name or +02:00)").fill("+02:00")
    desk.get_by_label("Day and time").fill("2026-06-21 14:30")
    desk.get_by_label("Day and time").press("Enter")
    desk.get_by_label("Day and time").press("Tab")
    expect(desk.locator("#hours")).to_contain_text("12:00", timeout=90_000)
    desk.get_by_label("Place (latitude, longitude)").fill("somewhere")
    desk.get_by_label("Place (latitude, longitude)").press("Enter")
    desk.get_by_label("Place (latitude, longitude)").press("Tab")
    expect(status(desk)).to_contain_text("was not understood", timeout=90_000)
    expect(desk.locator("#hours")).to_contain_text("12:00")


def test_a_brush_stroke_corrects_the_map_and_can_be_undone(desk, snap):
    give(desk, snap)
    answered(desk)
    share = desk.get_by_text(re.compile(r"^\s*W?\s*water \d+ %")).first
    expect(share).to_contain_text("water 0 %")
    desk.get_by_role("radio", name=re.compile("water")).check()
    canvas = desk.locator("#seen canvas")
    canvas.scroll_into_view_if_needed()
    box = canvas.bounding_box()
    desk.mouse.move(box["x"] + box["width"] * 0.3, box["y"] + box["height"] * 0.85)
    desk.mouse.down()
    desk.mouse.move(box["x"] + box["width"] * 0.6, box["y"] + box["height"] * 0.88, steps=6)
    desk.mouse.up()
    desk.get_by_role("button", name="Use my strokes").click()
    expect(status(desk)).to_contain_text("Corrected", timeout=90_000)
    expect(share).not_to_contain_text("water 0 %")
    desk.get_by_role("button", name="Undo the last correction").click()
    expect(status(desk)).to_have_text("Undone.", timeout=90_000)
    expect(share).to_contain_text("water 0 %")


def test_a_stroke_taken_exactly_paints_no_more_than_the_brush(desk, snap):
    give(desk, snap)
    answered(desk)
    desk.get_by_label("Grow my strokes to the edges").uncheck()
    desk.get_by_role("radio", name=re.compile("snow")).check()
    canvas = desk.locator("#seen canvas")
    canvas.scroll_into_view_if_needed()
    box = canvas.bounding_box()
    desk.mouse.move(box["x"] + box["width"] * 0.2, box["y"] + box["height"] * 0.9)
    desk.mouse.down()
    desk.mouse.move(box["x"] + box["width"] * 0.8, box["y"] + box["height"] * 0.9, steps=4)
    desk.mouse.up()
    desk.get_by_role("button", name="Use my strokes").click()
    # 60 % of the width, 3 % of the width high, on a picture of 4:3: 2.4 % of it.
    expect(status(desk)).to_have_text(re.compile(r"Corrected [23]% of the picture"), timeout=90_000)


def test_an_area_is_corrected_without_drawing(desk, snap):
    give(desk, snap)
    answered(desk)
    desk.get_by_text("Correct without drawing").click()
    desk.get_by_label("Area to correct").select_option(index=0)
    desk.get_by_label("What it is").select_option("snow")
    desk.get_by_role("button", name="Correct this area").click()
    expect(status(desk)).to_contain_text("now snow", timeout=90_000)
    expect(desk.get_by_text(re.compile(r"snow [1-9]\d* %")).first).to_be_visible()


def test_the_sliders_move_the_picture_and_the_last_move_wins(desk, snap):
    give(desk, snap)
    answered(desk)
    time = desk.get_by_role("slider", name="Time that the shutter stays open")
    wind = desk.get_by_role("slider", name="Wind", exact=True)
    wind.focus()
    for key in ("End", "Home", "ArrowRight", "End"):
        wind.press(key)
    expect(desk.locator("#moving")).to_contain_text("17.5 m/s of wind", timeout=90_000)
    expect(desk.get_by_label("I do not know the wind")).not_to_be_checked()
    before = desk.locator("#moving img").get_attribute("src")
    time.focus()
    time.press("Home")
    expect(desk.locator("#moving")).to_contain_text("1/250", timeout=90_000)
    expect(desk.locator("#moving img")).not_to_have_attribute("src", before)
    expect(time).to_have_attribute("aria-valuetext", "1/250")
    desk.get_by_label("I do not know the wind").check()
    expect(desk.locator("#moving")).to_contain_text("the wind is not known", timeout=90_000)


def test_files_that_are_no_photos_are_sentences(desk, snap, tmp_path):
    (tmp_path / "notes.jpg").write_text("not a picture")
    (tmp_path / "half.jpg").write_bytes(Path(snap).read_bytes()[:30000])
    give(desk, tmp_path / "notes.jpg")
    expect(status(desk)).to_contain_text("notes.jpg", timeout=90_000)
    assert "Traceback" not in desk.content()
    give(desk, tmp_path / "half.jpg", snap)
    answered(desk)
    expect(status(desk)).to_contain_text("half.jpg", timeout=90_000)
    expect(desk.get_by_role("list", name="Your snaps").get_by_role("button")).to_have_count(1)


def test_nothing_that_is_given_while_the_page_works_is_lost(desk, snap, temple, tmp_path):
    (tmp_path / "notes.jpg").write_text("not a picture")
    give(desk, snap)
    give(desk, tmp_path / "notes.jpg")  # at once, while the first is on its way or worked on
    give(desk, temple)
    listed = desk.get_by_role("list", name="Your snaps").get_by_role("button")
    expect(listed).to_have_count(2, timeout=90_000)
    expect(status(desk)).to_contain_text("This is temple.jpg.", timeout=90_000)
    give(desk, snap)  # the same file again is another snap
    expect(listed).to_have_count(3, timeout=90_000)


def test_a_heic_snap_is_shown(desk, tmp_path, sample_photographs):
    import pillow_heif

    path = tmp_path / "flower.heic"
    pillow_heif.from_pillow(Image.fromarray(sample_photographs["flower.jpg"][:200, :300])).save(path)
    give(desk, path)
    answered(desk)
    thumb = desk.get_by_role("list", name="Your snaps").locator("img")
    assert thumb.evaluate("image => image.naturalWidth") > 0


def test_two_people_do_not_see_each_others_work(browser, watched, base_url, desk, temple, snap):
    from tests.browser.conftest import ready

    other = ready(watched(browser.new_context(viewport={"width": 1280, "height": 900})), base_url)
    give(desk, snap)
    give(other, temple)
    answered(desk)
    answered(other)
    expect(status(desk)).to_contain_text("This is photo.jpg.")
    expect(status(other)).to_contain_text("This is temple.jpg.", timeout=90_000)
    expect(desk.get_by_role("list", name="Your snaps").get_by_role("button")).to_have_count(1)
    expect(other.get_by_role("list", name="Your snaps")).not_to_contain_text("photo.jpg")
    other.context.close()


KEPT = "JSON.stringify(Object.entries(localStorage).sort())"


def test_kit_and_place_outlive_a_reload(desk):
    def type_and_wait_until_kept(label, text):
        before = desk.evaluate(KEPT)
        desk.get_by_label(label).fill(text)
        desk.get_by_label(label).press("Enter")
        desk.get_by_label(label).press("Tab")
        desk.wait_for_function(f"before => {KEPT} !== before", arg=before, timeout=30_000)

    entries(desk)
    type_and_wait_until_kept("Focal length (mm on 36 x 24)", "50")
    type_and_wait_until_kept("Place (latitude, longitude)", "51.2, 7.4")
    desk.reload()
    desk.get_by_text("Kit, place and day").first.click()
    expect(desk.get_by_label("Focal length (mm on 36 x 24)")).to_have_value("50", timeout=30_000)
    expect(desk.get_by_label("Place (latitude, longitude)")).to_have_value("51.2, 7.4")


def test_with_the_keyboard_alone(desk, snap):
    give(desk, snap)  # a browser's own file window is beyond the page
    answered(desk)
    seam = desk.get_by_role("slider", name="Seam between photograph and infrared")
    seam.focus()
    for _ in range(5):
        desk.keyboard.press("ArrowLeft")
    expect(seam).to_have_value("45")
    expect(seam).to_have_attribute("aria-valuetext", re.compile("45 percent"))
    reached = set()
    desk.evaluate("document.activeElement.blur()")
    for _ in range(60):
        desk.keyboard.press("Tab")
        reached.add(
            desk.evaluate(
                "(document.activeElement.getAttribute('aria-label') || document.activeElement.innerText ||"
                " document.activeElement.id || document.activeElement.name || '').trim().slice(0, 40)"
            )
        )
    for wanted in ("Infrared only", "Use my strokes", "Undo the last correction", "dial-wind", "Make the card"):
        assert wanted in reached
    desk.get_by_role("button", name="Make the card").focus()
    desk.keyboard.press("Enter")
    expect(status(desk)).to_contain_text("The card is ready", timeout=90_000)


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_contrast_and_labels_pass_axe(browser, watched, base_url, snap, scheme):
    if not AXE.is_file() and os.environ.get("IRPREVIEW_BROWSER_TESTS") != "required":
        pytest.skip("axe-core is not installed (npm ci --prefix tests/browser)")
    from tests.browser.conftest import ready

    width = 1280 if scheme == "light" else 390
    context = watched(browser.new_context(viewport={"width": width, "height": 900}, color_scheme=scheme))
    page = ready(context, base_url)
    text = AXE.read_text()

    def check():
        page.evaluate(text)
        found = page.evaluate("axe.run({runOnly: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa']})")["violations"]
        assert [(one["id"], [node["html"][:120] for node in one["nodes"]]) for one in found] == []

    check()
    give(page, snap)
    answered(page)
    page.get_by_text("Kit, place and day").first.click()
    page.get_by_role("button", name="What you brought home").click()
    page.get_by_role("button", name="Write this plan down").click()
    expect(news(page)).to_contain_text("Written down", timeout=90_000)
    for closed in page.locator("summary").all():
        closed.click()
    page.wait_for_timeout(800)
    check()
    ink, paper = page.evaluate(
        "[getComputedStyle(document.body).color, getComputedStyle(document.body).backgroundColor]"
    )
    light_of = [sum(map(int, re.findall(r"\d+", colour)[:3])) for colour in (ink, paper)]
    assert (light_of[0] < light_of[1]) is (scheme == "light")
    context.close()


def test_without_any_network_the_page_works(browser, watched, base_url, snap):
    # `watched` refuses every address but the page's own; here the way through is asserted too.
    from tests.browser.conftest import ready

    context = watched(browser.new_context(viewport={"width": 1280, "height": 900}))
    asked = []
    context.on("request", lambda request: asked.append(request.url))
    page = ready(context, base_url)
    give(page, snap)
    answered(page)
    assert asked
    assert all(url.startswith((base_url, "data:", "blob:")) for url in asked)
    context.close()
