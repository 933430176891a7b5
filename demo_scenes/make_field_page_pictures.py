"""The guide's picture of the field page: four screens of the real file in Debian's Chromium, without network.

python demo_scenes/make_field_page_pictures.py      writes irpreview/docs/pictures/field_page.jpg
"""

from __future__ import annotations

import os
import shutil
import tempfile
from pathlib import Path

import cv2
import numpy as np
from playwright.sync_api import Page, ViewportSize, sync_playwright

from irpreview import __version__
from irpreview.analysis import analyse
from irpreview.core.field_page import field_page
from irpreview.field_pages import field_place_of
from irpreview.io.field_page import write_field_page
from irpreview.io.photos import load_photo
from irpreview.records import Conditions
from irpreview.request import Request

CHECKOUT = Path(__file__).resolve().parents[1]
OUT = CHECKOUT / "irpreview" / "docs" / "pictures" / "field_page.jpg"
PLACES = (
    ("moor_tower", "Moor tower"),
    ("hazel_wood_edge", "Hazel wood edge"),
    ("ruin_by_the_tarn", "Ruin by the tarn"),
)
SCREEN: ViewportSize = {"width": 390, "height": 844}
GAP_PX, WIDTH_PX, QUALITY = 20, 1440, (cv2.IMWRITE_JPEG_QUALITY, 84)


def main() -> None:
    """Make the file, use it as outdoors, and lay the screens side by side."""
    request = Request(conditions=Conditions(wind_m_s=4.4))
    places = [
        field_place_of(analyse(load_photo(CHECKOUT / "demo_scenes" / name / "photo.jpg"), request), title, False)
        for name, title in PLACES
    ]
    binary = os.environ.get("CHROMIUM") or shutil.which("chromium")
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as driver:
        written = write_field_page(
            field_page(tuple(places), with_place=False, version=__version__), Path(folder) / "field.html"
        )
        browser = driver.chromium.launch(executable_path=binary, args=["--no-sandbox", "--disable-gpu"])
        context = browser.new_context(
            viewport=SCREEN, is_mobile=True, has_touch=True, device_scale_factor=2, offline=True
        )
        page = context.new_page()
        page.goto(written.as_uri())
        screens = [seen(page)]
        page.get_by_role("button", name="Evening", exact=True).click()
        page.locator("#place-0 [data-took='0']").click()
        page.locator("#place-0 [data-right='2']").click()
        page.evaluate("document.querySelector('#tests-0').scrollIntoView()")
        screens.append(seen(page))
        page.locator("#place-0 .ask input").fill("4 min")
        page.locator("#place-0 .ask button").first.click()
        page.evaluate("document.querySelector('#rings-0').scrollIntoView()")
        screens.append(seen(page))
        page.get_by_role("button", name="Night", exact=True).click()
        page.locator("#start").click()
        page.wait_for_timeout(1500)
        screens.append(seen(page))
        context.close()
    gap = np.full((screens[0].shape[0], GAP_PX, 3), 110, np.uint8)
    whole = np.hstack([part for screen in screens for part in (screen, gap)][:-1])
    height = round(WIDTH_PX * whole.shape[0] / whole.shape[1])
    cv2.imwrite(str(OUT), cv2.resize(whole, (WIDTH_PX, height), interpolation=cv2.INTER_AREA), QUALITY)


def seen(page: Page) -> np.ndarray:
    """What is on the screen. (h, w, 3) BGR"""
    page.wait_for_timeout(400)
    picture: np.ndarray | None = cv2.imdecode(np.frombuffer(page.screenshot(), np.uint8), cv2.IMREAD_COLOR)
    assert picture is not None
    return picture


if __name__ == "__main__":
    main()
