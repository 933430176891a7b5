"""How long the page takes: first answer after a 12-megapixel upload, sliders, card; by its handlers and in a browser.

    python tests/benchmarks/page.py [--browser] [PHOTO...]

Prints medians with the load of the machine at the time; nothing is asserted. The owner asks for 1 s to the
infrared picture, 2 s to all answers, 0.1 s for a slider's picture and 0.3 s for its answers, on two cores.
"""

from __future__ import annotations

import os
import shutil
import statistics
import sys
import tempfile
import time
import warnings
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
from PIL import Image
from playwright.sync_api import expect, sync_playwright

from irpreview.web.answer import SHUTTERS_S, WINDS_M_S
from irpreview.web.app import opened_page
from irpreview.web.handlers import Desk

CHECKOUT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(CHECKOUT))
ROUNDS = 5
SIDE_PX = 4000


def twelve_megapixels(photo: Path, folder: Path) -> Path:
    """The photo blown up to 4000 x 3000 with a little grain, so that its file is as large as a phone's."""
    image = Image.open(photo)
    exif = image.getexif()
    big = image.convert("RGB").resize((SIDE_PX, round(SIDE_PX * image.height / image.width)), Image.Resampling.BICUBIC)
    grain = np.random.default_rng(0).normal(0, 4, (big.height, big.width, 1))
    pixels = np.clip(np.asarray(big, np.float32) + grain, 0, 255).astype(np.uint8)
    path = folder / f"{photo.parent.name}-{photo.stem}-12mp.jpg"
    Image.fromarray(pixels).save(path, quality=90, exif=exif)
    return path


Times = tuple[float, float]
"""Seconds by the clock, and of the processor: on a busy machine only the second can be compared."""


def now() -> Times:
    return time.perf_counter(), time.process_time()


def since(start: Times) -> Times:
    clock, processor = now()
    return clock - start[0], processor - start[1]


def timed(work: Callable[[], Any]) -> Times:
    start = now()
    work()
    return since(start)


def say(what: str, times: list[Times]) -> None:
    clock, processor = ([one[i] for one in times] for i in (0, 1))
    print(
        f"  {what:<42} {statistics.median(clock):6.2f} s ({min(clock):.2f} to {max(clock):.2f}), "
        f"of the processor {statistics.median(processor):.2f} s",
        flush=True,
    )


def by_handlers(photo: Path, folder: Path) -> None:
    desk = Desk(folder)
    token = desk.sessions.open()

    def upload(number: int) -> list[Times]:
        inside = folder / f"up{number}"
        inside.mkdir()
        path = shutil.copy(photo, inside / photo.name)
        start, times = now(), []
        for shown in desk.add(token, [path]):
            if shown.pictures or "answer" in shown.parts:
                times.append(since(start))
        return times

    upload(0)  # network and tables are loaded while the page opens
    runs = [upload(number) for number in range(1, ROUNDS + 1)]
    say("infrared picture shown after", [run[0] for run in runs])
    say("everything shown after", [run[1] for run in runs])
    moves = [(wind, SHUTTERS_S.index(4.0)) for wind in range(1, len(WINDS_M_S))]
    moves += [(4, at) for at in range(0, len(SHUTTERS_S), 4)]
    say("a slider moves (picture)", [timed(partial(desk.move, token, *at)) for at in moves])
    say("a slider rests (verdict, exposure)", [timed(partial(desk.settle, token, *at)) for at in moves[:6]])
    stroke = {"class_name": "water", "width": 0.03, "points": [[0.3, 0.9], [0.6, 0.9]]}

    def paint() -> None:
        desk.take(token, [stroke], 0)
        desk.undo(token)

    say("strokes grown and undone (two answers)", [timed(paint) for _ in range(3)])
    say("card as PDF, PNG and JSON", [timed(lambda: desk.make_card(token, "Card", False)) for _ in range(3)])


def in_a_browser(photos: list[Path]) -> None:
    switches = ["--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking"]
    binary = os.environ.get("CHROMIUM") or shutil.which("chromium")
    with opened_page() as opened, sync_playwright() as driver:
        opened.server.warming.join()
        browser = driver.chromium.launch(executable_path=binary, args=switches)
        for photo in photos:
            first, rest, slides = [], [], []
            for _ in range(3):
                page = browser.new_page(viewport={"width": 1280, "height": 900})
                page.goto(opened.url)
                page.locator("body[data-opened]").wait_for(state="attached")
                start = now()
                page.locator(".rail input[type=file]").first.set_input_files(photo)
                expect(page.locator("#under")).to_be_visible(timeout=90_000)
                first.append(since(start))
                expect(page.locator("#answer .setting")).to_be_visible(timeout=90_000)
                rest.append(since(start))
                wind = page.get_by_role("slider", name="Wind", exact=True)
                for key, words in (("ArrowRight", "movement"), ("End", "movement")):
                    start = now()
                    wind.press(key)
                    expect(page.locator("#under")).to_have_attribute("data-view", words, timeout=90_000)
                    slides.append(since(start))
                    page.wait_for_timeout(2500)  # the rest of the answers follows
                page.close()
            print(f" {photo.name} in a browser, load {os.getloadavg()[0]:.1f}")
            say("infrared picture seen after", first)
            say("everything seen after", rest)
            say("picture with its movement seen after", slides)


def main() -> None:
    warnings.simplefilter("ignore")
    given = [Path(one) for one in sys.argv[1:] if not one.startswith("--")]
    photos = given or sorted((CHECKOUT / "demo_scenes").glob("*/photo.jpg"))[:2]
    with tempfile.TemporaryDirectory() as temporary:
        folder = Path(temporary)
        large = [twelve_megapixels(photo, folder) for photo in photos]
        if "--browser" in sys.argv:
            in_a_browser(large)
            return
        for photo in large:
            print(f" {photo.name}, {photo.stat().st_size / 1e6:.1f} MB, load {os.getloadavg()[0]:.1f}")
            by_handlers(photo, Path(tempfile.mkdtemp(dir=folder)))


if __name__ == "__main__":
    main()
