"""The field page's button in a real browser: the file is offered, opens without network, tells no place unasked."""

import json
import re
from pathlib import Path

import pytest
from playwright.sync_api import expect

from irpreview.core.exposure.metering import parse_exposure
from irpreview.io.photos import load_photo
from tests.browser.test_page import PATIENCE_MS, answered, give, setting, status

PICTURES = re.compile(r"data:image[^\"]*")


def made(page, ready):
    """Press the button, wait for the line of news, save the file."""
    page.get_by_role("button", name="Field page").click()
    expect(status(page)).to_have_text(ready, timeout=PATIENCE_MS)
    with page.expect_download() as waiting:
        page.get_by_role("link", name="Save field page").click()
    assert waiting.value.suggested_filename == "field.html"
    return Path(waiting.value.path()).read_text()


def facts_of(text):
    found = re.search(r'<script[^>]*id="facts"[^>]*>(.*?)</script>', text, re.DOTALL)
    assert found is not None
    return json.loads(found[1])


@pytest.mark.parametrize("size", ["desk", "phone"])
def test_the_field_page_is_offered_and_opens_without_network(request, browser, snap, tmp_path, size):
    page = request.getfixturevalue(size)
    give(page, snap)
    answered(page)
    recommended = setting(page).locator("span").all_inner_texts()
    text = made(page, "The field page is ready, without location; send it to the phone and open it there.")
    place = load_photo(snap).place
    assert place is not None
    fact = facts_of(text)["places"][0]
    assert fact["latitude_deg"] is fact["longitude_deg"] is fact["place"] is None
    told = PICTURES.sub("", text)
    for secret in (f"{abs(place.latitude_deg):.2f}", f"{abs(place.longitude_deg):.2f}"):
        assert secret not in told

    file = tmp_path / "field.html"
    file.write_text(text)
    asked, faults = [], []
    context = browser.new_context(viewport={"width": 390, "height": 844}, has_touch=True, offline=True)
    context.on("request", lambda one: asked.append(one.url))
    outdoors = context.new_page()
    outdoors.on("pageerror", lambda error: faults.append(str(error)))
    outdoors.goto(file.as_uri())
    # without the location the light is that of any place: a third of a stop more or less
    told_setting = outdoors.locator("#place-0 .setting span").all_inner_texts()
    there, here = (parse_exposure(" ".join(one)).ev100 for one in (told_setting, recommended))
    assert there is not None
    assert here is not None
    assert abs(there - here) <= 1 / 3 + 0.02
    assert outdoors.evaluate("document.querySelector('#picture-0').naturalWidth") > 300
    context.close()
    assert [url for url in asked if not url.startswith(("file:", "data:", "blob:"))] == []
    assert faults == []


def test_the_location_goes_along_when_it_is_asked_for(desk, snap):
    give(desk, snap)
    answered(desk)
    desk.get_by_label("with location").check()
    text = made(desk, "The field page is ready, with location; send it to the phone and open it there.")
    fact = facts_of(text)["places"][0]
    place = load_photo(snap).place
    assert place is not None
    assert fact["latitude_deg"] == pytest.approx(place.latitude_deg, abs=0.01)
    assert fact["hours"]
