"""One running page for all browser tests, Debian's Chromium, and the proof that nothing outside is asked for."""

import os
import shutil
import warnings
from pathlib import Path

import pytest
from PIL import Image

from irpreview.web.app import opened_page
from tests.shells.test_web_log import make_frame

CHECKOUT = Path(__file__).resolve().parents[2]
AXE = Path(__file__).parent / "node_modules" / "axe-core" / "axe.min.js"
NAMES = ("chromium-headless-shell", "chromium", "chromium-browser")
CHROMIUM = os.environ.get("CHROMIUM") or next(filter(None, map(shutil.which, NAMES)), None)
"""The same engine without the browser's own windows where it is installed: a quarter less of the processor."""


def pytest_collection_modifyitems(items):
    here = str(Path(__file__).parent)
    for item in items:
        if str(item.path).startswith(here):
            # Warnings of the framework's and the browser driver's own threads are not ours to mend; what our own code
            # would warn of is an error in tests/shells.
            item.add_marker(pytest.mark.filterwarnings("ignore"))
            if CHROMIUM is None and os.environ.get("IRPREVIEW_BROWSER_TESTS") != "required":
                item.add_marker(
                    pytest.mark.skip(
                        reason="no Chromium here (apt-get install chromium-headless-shell, or set CHROMIUM)"
                    )
                )


@pytest.fixture(scope="session")
def browser_type_launch_args(browser_type_launch_args):
    switches = "--no-sandbox --disable-gpu --disable-quic --no-first-run --disable-background-networking"
    return {
        **browser_type_launch_args,
        "executable_path": CHROMIUM,
        "args": [*switches.split(), "--disable-component-update", "--disable-sync"],
    }


@pytest.fixture(scope="package")
def base_url(tmp_path_factory):
    with warnings.catch_warnings(), pytest.MonkeyPatch.context() as patched:
        patched.setenv("IRPREVIEW_PAGE", str(tmp_path_factory.mktemp("kept")))
        patched.setenv("IRPREVIEW_LOG", str(tmp_path_factory.mktemp("log") / "log.sqlite"))
        warnings.simplefilter("ignore")
        with opened_page() as opened:
            yield opened.url.rstrip("/")


@pytest.fixture
def watched(base_url):
    """Watches a browser context: a request to any other address or an error in the page fails the test."""
    outside, faults = [], []

    def watch(context):
        def guard(route):
            if route.request.url.startswith((base_url, "data:", "blob:")):
                route.continue_()
            else:
                outside.append(route.request.url)
                route.abort()

        context.route("**/*", guard)
        context.on("page", lambda page: page.on("pageerror", lambda error: faults.append(str(error))))
        return context

    yield watch
    assert outside == []
    assert faults == []


@pytest.fixture
def desk(browser, watched, base_url):
    """The page on a desk's screen, open and ready."""
    context = watched(browser.new_context(viewport={"width": 1440, "height": 900}, accept_downloads=True))
    yield ready(context, base_url)
    context.close()


@pytest.fixture
def phone(browser, watched, base_url):
    """The page on a phone's screen."""
    context = watched(
        browser.new_context(
            viewport={"width": 390, "height": 844}, has_touch=True, is_mobile=True, accept_downloads=True
        )
    )
    yield ready(context, base_url)
    context.close()


def ready(context, base_url):
    page = context.new_page()
    page.set_default_timeout(60_000)
    page.goto(base_url + "/")
    page.locator("body[data-opened]").wait_for(state="attached")
    return page


@pytest.fixture(scope="session")
def whole_snap():
    return CHECKOUT / "demo_scenes" / "moor_tower" / "photo.jpg"


@pytest.fixture(scope="session")
def snap(whole_snap, tmp_path_factory):
    """The demo scene at 640 px, with its facts: what is tried here does not hang on size, and is answered sooner."""

    image = Image.open(whole_snap)
    path = tmp_path_factory.mktemp("snaps") / "photo.jpg"
    image.resize((640, round(640 * image.height / image.width)), Image.Resampling.LANCZOS).save(
        path, quality=92, exif=image.getexif()
    )
    return path


@pytest.fixture(scope="session")
def temple(tmp_path_factory, sample_photographs):
    """A real photograph without any facts in its file."""

    path = tmp_path_factory.mktemp("snaps") / "temple.jpg"
    Image.fromarray(sample_photographs["china.jpg"]).save(path, quality=92)
    return path


@pytest.fixture(scope="session")
def frame(tmp_path_factory, snap):
    """An infrared frame of the demo scene, as it might have been taken."""

    return make_frame(snap, tmp_path_factory.mktemp("frames") / "tower-infrared.png")
