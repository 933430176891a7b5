"""The page in Debian's Firefox: the first screen, sliders, a correction, a reload."""

import base64
import os
import shutil

import pytest

from tests.browser.firefox import BINARY, Firefox

ARROW_RIGHT, END = "\ue014", "\ue010"
"""As WebDriver writes keys (https://www.w3.org/TR/webdriver2/#keyboard-actions)."""

pytestmark = pytest.mark.skipif(
    BINARY is None and os.environ.get("IRPREVIEW_BROWSER_TESTS") != "required",
    reason="no Firefox here (apt-get install firefox-esr)",
)


@pytest.fixture(scope="module")
def browser_of_its_own(tmp_path_factory):
    """One Firefox for all: it takes longest to begin."""
    with Firefox(tmp_path_factory.mktemp("firefox"), 1440, 900) as one:
        yield one


@pytest.fixture
def firefox(browser_of_its_own, base_url):
    """A page of somebody new: a tab, and a store of cookies and memory, that nobody had before."""
    with browser_of_its_own.somebody_new():
        browser_of_its_own.open(base_url + "/")
        browser_of_its_own.until("document.body.dataset.opened")
        yield browser_of_its_own


def answered(firefox, snap):
    firefox.give(".rail input[type=file]", snap)
    firefox.until("document.querySelector('#answer .setting')")


def text(firefox, selector):
    return firefox.run(f"document.querySelector('{selector}').innerText")


def focus(firefox, selector):
    firefox.run(f"document.querySelector('{selector}').focus()")


def test_the_first_screen_in_firefox(firefox, whole_snap):
    answered(firefox, whole_snap)
    box = firefox.run("document.querySelector('#under').getBoundingClientRect()")
    assert box["width"] >= 800
    for part in ("#under", "#answer .lead", "#answer .setting", "#answer .focus", "#answer .hours", "#answer .warning"):
        found = firefox.run(f"document.querySelector('{part}').getBoundingClientRect()")
        assert 0 <= found["top"] < found["bottom"] <= 900, part
    assert firefox.run("document.documentElement.scrollWidth") <= 1440
    assert firefox.run("document.documentElement.scrollHeight") <= 900


def test_sliders_views_and_a_reload_in_firefox(firefox, snap):
    answered(firefox, snap)
    before = text(firefox, "#answer .setting")
    focus(firefox, "#wind")
    firefox.keys(END)
    firefox.until("document.querySelector('#under').dataset.view === 'movement'")
    focus(firefox, "#shutter")
    firefox.keys(ARROW_RIGHT, ARROW_RIGHT)
    firefox.until(f"document.querySelector('#answer .setting')?.innerText !== {before!r}")
    firefox.until("document.querySelector('#wind-says').innerText.includes('Beaufort 7')")
    focus(firefox, "#views button")
    firefox.keys("4")
    firefox.until("document.querySelector('#under').dataset.view === 'separation'")
    after = text(firefox, "#answer .setting")
    firefox.reload()
    firefox.until("document.querySelector('#answer .setting')")
    assert text(firefox, "#answer .setting") == after


def test_a_stroke_in_firefox(firefox, snap):
    answered(firefox, snap)
    firefox.run("document.querySelector('[data-view=map]').click()")
    firefox.until("document.querySelector('#under').dataset.view === 'map'")
    firefox.run("document.querySelector('input[value=snow]').click()")
    box = firefox.run("document.querySelector('#paint').getBoundingClientRect()")
    firefox.drag(*((box["x"] + x * box["width"], box["y"] + 0.86 * box["height"]) for x in (0.3, 0.45, 0.6)))
    firefox.until("document.querySelector('#status').innerText.includes('would be snow')")
    firefox.keys("\ue007")
    firefox.until("document.querySelector('#status').innerText.includes('Corrected')")
    assert firefox.run("document.querySelector('input[value=snow]').checked")
    assert firefox.run("document.querySelector('#under').dataset.view") == "map"


def test_a_batch_is_stopped_in_firefox(firefox, whole_snap, tmp_path):
    many = [shutil.copy(whole_snap, tmp_path / f"snap{number:02}.jpg") for number in range(12)]
    seen = "getComputedStyle(document.querySelector('#stop')).visibility === 'visible'"
    assert not firefox.run(seen)
    firefox.give(".rail input[type=file]", *many)
    firefox.until(seen)
    firefox.run("document.querySelector('#stop').click()")
    firefox.until("document.querySelector('#status').innerText.includes('Stopped.')")
    firefox.until("!document.body.classList.contains('busy')")
    assert not firefox.run(seen)
    assert firefox.run("document.querySelectorAll('#strip .snap').length") < len(many)


def test_the_field_page_in_firefox(firefox, snap, tmp_path):
    answered(firefox, snap)
    recommended = text(firefox, "#answer .setting").split()
    firefox.run("document.querySelector('#make-field-page').click()")
    firefox.until("document.querySelector('#cards a[download=\"field.html\"]')")
    assert "without location" in text(firefox, "#status")
    address = "[...document.querySelectorAll('#cards a[download=\"field.html\"]')].at(-1).href"
    made = [firefox.run(address)]
    firefox.run("document.querySelector('#with-place').click()")
    firefox.run("document.querySelector('#make-field-page').click()")
    firefox.until("document.querySelector('#status').innerText.includes('with location')")
    made.append(firefox.run(address))
    files = [tmp_path / "without.html", tmp_path / "with.html"]
    for file, data in zip(files, made, strict=True):
        file.write_bytes(base64.b64decode(data.split(",", 1)[1]))
    latitude = "JSON.parse(document.querySelector('#facts').textContent).places[0].latitude_deg"
    firefox.open(files[0].as_uri())
    assert firefox.run(latitude) is None
    firefox.open(files[1].as_uri())
    assert firefox.run(latitude) is not None
    assert text(firefox, "#place-0 .setting").split() == recommended
    assert firefox.run("document.querySelector('#picture-0').naturalWidth") > 300
