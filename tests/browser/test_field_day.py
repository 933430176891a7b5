"""The day plan on the field page, on a phone 390 wide without network: opened, followed to a place, at night."""

from pathlib import Path

import pytest
from PIL import Image
from playwright.sync_api import expect

from irpreview.cli import main

SCENES = Path(__file__).parents[2] / "demo_scenes"


@pytest.fixture(scope="module")
def page_file(tmp_path_factory):
    folder = tmp_path_factory.mktemp("day")
    made = []
    for name in ("moor_tower", "low_flats"):
        made.append(folder / f"{name}.jpg")
        with Image.open(SCENES / name / "photo.jpg") as image:
            image.resize((320, 240)).save(made[-1], exif=image.getexif())
    out = folder / "field.html"
    day = ("--date", "2026-06-20", "--start", "47.31,-16.41", "--zone", "Etc/GMT+1")
    with pytest.raises(SystemExit) as left:
        main(["field-page", *map(str, made), *day, "--wind", "3bft", "--out", str(out)])
    assert left.value.code == 0
    return out


def test_a_stay_leads_to_its_place(browser, page_file):
    faults, asked = [], []
    context = browser.new_context(viewport={"width": 390, "height": 844}, has_touch=True, is_mobile=True, offline=True)
    page = context.new_page()
    page.on("pageerror", lambda error: faults.append(str(error)))
    page.on("console", lambda said: faults.append(said.text) if said.type == "error" else None)
    page.on("request", lambda request: asked.append(request.url))
    page.goto(page_file.as_uri())
    plan = page.locator(".day")
    expect(plan.locator("ol")).to_be_hidden()
    plan.locator("summary").tap()
    expect(plan.locator("ol > li")).to_have_count(2)
    assert page.evaluate("document.documentElement.scrollWidth") == 390
    buttons = plan.locator("[data-go]")
    for index in range(2):
        box = buttons.nth(index).bounding_box()
        assert min(box["width"], box["height"]) >= 44  # WCAG 2.2, 2.5.5
    wanted = int(buttons.nth(1).get_attribute("data-go"))
    buttons.nth(1).tap()
    expect(page.locator(f"#place-{wanted}")).to_be_visible()
    expect(page.locator(f"#place-{1 - wanted}")).to_be_hidden()
    expect(plan.locator("ol")).to_be_hidden()
    page.locator("[data-look=night]").first.tap()
    plan.locator("summary").tap()
    ink = plan.locator(".stay b").first.evaluate("(one) => getComputedStyle(one).color")
    assert ink == "rgb(255, 111, 96)"
    assert faults == []
    assert all(url.startswith(("file:", "data:")) for url in asked)
    context.close()
