"""README's pictures of the page, taken of the real page in Debian's Chromium.

python demo_scenes/make_page_pictures.py      writes irpreview/docs/pictures/page_{desk,phone}_{light,dark}.jpg
"""

from __future__ import annotations

import os
import shutil
import tempfile
import warnings
from pathlib import Path
from typing import Literal

import cv2
import numpy as np
from playwright.sync_api import Browser, expect, sync_playwright

from irpreview.web.app import opened_page

CHECKOUT = Path(__file__).resolve().parents[1]
OUT = CHECKOUT / "irpreview" / "docs" / "pictures"
SNAP = CHECKOUT / "demo_scenes" / "moor_tower" / "photo.jpg"
DESK_PX, PHONE_PX = 1440, 390
COLUMNS, COLUMN_HEIGHT_PX, GAP_PX = 2, 844, 20
QUALITY = (cv2.IMWRITE_JPEG_QUALITY, 82)


def shot(browser: Browser, url: str, width: int, scheme: Literal["light", "dark"]) -> np.ndarray:
    """The whole page with the demo snap in it. (h, w, 3) BGR"""
    context = browser.new_context(
        viewport={"width": width, "height": 900}, color_scheme=scheme, is_mobile=width == PHONE_PX
    )
    page = context.new_page()
    page.goto(url)
    page.locator("body[data-opened]").wait_for(state="attached")
    page.locator(".rail input[type=file]").first.set_input_files(SNAP)
    expect(page.locator("#answer .setting")).to_be_visible(timeout=120_000)
    expect(page.locator("#first-framing button")).to_be_visible(timeout=60_000)
    page.wait_for_timeout(1500)
    picture: np.ndarray | None = cv2.imdecode(
        np.frombuffer(page.screenshot(full_page=True), np.uint8), cv2.IMREAD_COLOR
    )
    context.close()
    assert picture is not None
    return picture


def columns(picture: np.ndarray) -> np.ndarray:
    """A long, narrow page cut into columns side by side, the last one filled up with the page's own paper."""
    left = max(0, COLUMNS * COLUMN_HEIGHT_PX - len(picture))
    paper = np.full((left, picture.shape[1], 3), picture[-1, 0], np.uint8)
    picture = np.vstack([picture, paper])
    gap = np.full((COLUMN_HEIGHT_PX, GAP_PX, 3), 110, np.uint8)
    parts: list[np.ndarray] = []
    for number in range(COLUMNS):
        part = picture[number * COLUMN_HEIGHT_PX : (number + 1) * COLUMN_HEIGHT_PX]
        parts += [part, gap] if number < COLUMNS - 1 else [part]
    return np.hstack(parts)


def smaller(picture: np.ndarray, width: int) -> np.ndarray:
    """The picture at that width [px]."""
    size = width, round(width * picture.shape[0] / picture.shape[1])
    return np.asarray(cv2.resize(picture, size, interpolation=cv2.INTER_AREA))


def main() -> None:
    """Take the page at a desk and on a phone, light and dark."""
    warnings.simplefilter("ignore")
    binary = os.environ.get("CHROMIUM") or shutil.which("chromium")
    with tempfile.TemporaryDirectory() as folder:
        os.environ["IRPREVIEW_PAGE"] = f"{folder}/kept"
        os.environ["IRPREVIEW_LOG"] = f"{folder}/log.sqlite"  # not the log of whoever runs this
        with opened_page() as opened, sync_playwright() as driver:
            browser = driver.chromium.launch(executable_path=binary, args=["--no-sandbox", "--disable-gpu"])
            schemes: tuple[Literal["light", "dark"], ...] = ("light", "dark")
            for scheme in schemes:
                desk = shot(browser, opened.url, DESK_PX, scheme)[:900]
                cv2.imwrite(str(OUT / f"page_desk_{scheme}.jpg"), smaller(desk, 733), QUALITY)
                phone = columns(shot(browser, opened.url, PHONE_PX, scheme))
                cv2.imwrite(str(OUT / f"page_phone_{scheme}.jpg"), phone, QUALITY)


if __name__ == "__main__":
    main()
