"""The sheet of frames brought home, read back by other programs than the one that wrote it."""

import io
from dataclasses import replace
from datetime import timedelta

import numpy as np
import pypdf
import pypdfium2
import pytest
from PIL import Image

from irpreview.core.field_log.comparison import PartDifference
from irpreview.core.field_log.difference_picture import TICKS, scale_colours, tick_at
from irpreview.core.field_log.entries import HomeFrame, LogEntry
from irpreview.core.field_log.homecoming import Homecoming, RealFrame
from irpreview.core.field_log.learning import Learned
from irpreview.core.field_log.matching import Clocks, Found
from irpreview.core.words.home_words import clock_words, exposure_words, headline, outcome_words, where_words
from irpreview.core.words.phrases import cap
from irpreview.io.home_sheet import HEADS, SCREEN_PX, SheetPictures, home_pdf
from irpreview.io.paper import drawn
from irpreview.io.pictures import jpeg_bytes
from irpreview.records import Range
from tests.io.test_card_files import LEAST_PT, faults_of, letters_of, text_of

HOW_ON = "Nothing is in the log yet. To take it in: irpreview log take home-0a1b2c3d.json"


def frame(number: int, name: str = "", **changes: object) -> RealFrame:
    entry = LogEntry("unmodified-720", iso=200.0, f_number=8.0, shutter_s=49.0, planned_shutter_s=60.0)
    made = RealFrame(
        number,
        name or f"IR_{number:04}.jpg",
        Found.EITHER,
        snap=f"snap_{number:04}.jpg",
        rivals=("other.jpg",),
        after=timedelta(minutes=7),
        came_out_stops=0.4,
        expected_stops=Range(-1.0, 0.1, 1.2),
        classes={"trees": PartDifference("trees", 0.4, Range(-0.9, -0.5, 0.1), 6.0, 5.5)},
        home=HomeFrame(entry),
    )
    return replace(made, **changes)  # type: ignore[arg-type]


def home_of(*frames: RealFrame) -> Homecoming:
    before = Learned(Range(13.6, 15.3, 16.4), Range(13.6, 15.3, 16.4), 0, (), 0.5)
    after = replace(before, factor_stops=Range(14.8, 15.1, 15.3), frames=len(frames))
    clocks = Clocks(timedelta(minutes=62), timedelta(minutes=2), 7)
    return Homecoming(
        "0a1b2c3d", "unmodified-720", frames, clocks, before, after, 9, (("broken.jpg", "the file ends too early"),)
    )


def pictures(seed: int, high: int = 330, wide: int = 440) -> SheetPictures:
    rng = np.random.default_rng(seed)
    grey = np.kron(rng.integers(0, 255, (11, 11)), np.ones((high // 11, wide // 11))).astype(np.uint8)
    return SheetPictures(grey, 255 - grey, np.dstack((grey, grey // 2, 255 - grey)))


STRANGER = RealFrame(5, "IR_stranger.jpg", Found.NONE, nearest="snap_0001.jpg")
HOME = home_of(*(frame(i) for i in range(1, 5)), STRANGER)
SHOWN = [*(pictures(i) for i in range(3)), pictures(3, 440, 330), SheetPictures(pictures(4).predicted, None, None)]


def test_no_letter_is_smaller_than_promised_and_none_is_cut_off_or_covered() -> None:
    data = home_pdf(HOME, SHOWN, HOW_ON)
    assert min(high for high, _, _ in letters_of(data)) >= LEAST_PT - 0.01
    assert faults_of(data) == []
    assert data == home_pdf(HOME, SHOWN, HOW_ON)


def test_every_word_is_on_paper_and_the_heads_with_their_scale_on_each_page() -> None:
    data = home_pdf(HOME, SHOWN, HOW_ON)
    text = text_of(data)
    said = [headline(HOME), clock_words(HOME.clocks), HOW_ON, "broken.jpg: the file ends too early", "not compared"]
    for one in HOME.frames:
        said += [f"{one.number}. {one.name}", where_words(one), exposure_words(one), *outcome_words(one)]
    for words in said:
        assert cap(words) in text or words in text, words
    pages = pypdf.PdfReader(io.BytesIO(data)).pages
    assert len(pages) == 2
    for page in pages:
        shown = " ".join(page.extract_text().split())
        for words in (*HEADS, "-2 darker", "0 stops", "+2 brighter"):
            assert words in shown


@pytest.mark.parametrize(("high", "wide"), [(330, 440), (440, 330)])
def test_three_frames_go_on_a_page_whichever_way_they_were_held(high: int, wide: int) -> None:
    home = home_of(*(frame(i, why_not="not sharp") for i in range(1, 10)))
    data = home_pdf(home, [pictures(i, high, wide) for i in range(9)])
    pages = [page.extract_text() for page in pypdf.PdfReader(io.BytesIO(data)).pages]
    assert [sum(f"IR_{i:04}" in page for i in range(1, 10)) for page in pages[1:3]] == [3, 3]


def test_the_picture_is_the_pdf_drawn() -> None:
    data = home_pdf(HOME, SHOWN, HOW_ON)
    picture = drawn(data, SCREEN_PX)
    assert picture.shape[1] == SCREEN_PX
    with pypdfium2.PdfDocument(data) as document:
        scale = SCREEN_PX / document[0].get_width()
        pages = [np.asarray(page.render(scale=scale).to_pil().convert("RGB"), int) for page in document]
    top = 0
    for page in pages:
        written = np.flatnonzero((page < 255).any(axis=(1, 2)))[-1] + 1
        assert np.abs(picture[top : top + written].astype(int) - page[:written, :SCREEN_PX]).max() <= 2
        top += min(int(written) + 24, len(page))
    assert top == len(picture)
    # and the file shows the picture
    read = np.asarray(Image.open(io.BytesIO(jpeg_bytes(picture))), int)
    assert np.abs(read - picture).mean() < 1.5


def test_the_scale_stands_below_its_head_in_the_colours_of_the_picture() -> None:
    colours = scale_colours(1001).astype(int)
    low, middle, high = (colours[round(tick_at(tick) * 1000)] for tick in (TICKS[0], 0, TICKS[-1]))
    assert low[2] > low[0] + 40  # blue, darker
    assert high[0] > high[2] + 40  # orange, brighter
    assert np.ptp(middle) <= 2
    picture = drawn(home_pdf(HOME, SHOWN, HOW_ON), SCREEN_PX).astype(int)
    strip = picture[:, 2 * SCREEN_PX // 5 : 2 * SCREEN_PX // 3]
    for colour in (low, high):
        assert (np.abs(strip - colour).max(axis=2) <= 6).sum() > 12


def test_two_hundred_frames_are_all_shown_and_a_jpeg_holds_them() -> None:
    home = home_of(*(frame(i) for i in range(1, 201)))
    small = [pictures(i, 33, 44) for i in range(10)]
    data = home_pdf(home, [small[i % 10] for i in range(200)], HOW_ON)
    text = text_of(data)
    assert all(f"IR_{i:04}.jpg" in text for i in range(1, 201))
    picture = drawn(data, SCREEN_PX)
    # JFIF, ITU-T T.81: rows are counted in 16 bits
    assert SCREEN_PX / 2 < picture.shape[1] <= SCREEN_PX
    assert picture.shape[0] <= 65_500
    assert jpeg_bytes(picture)[:2] == b"\xff\xd8"


def test_long_names_and_rows_run_on() -> None:
    long = frame(
        2, name="f" * 250 + ".jpg", snap="s" * 250 + ".jpg", rivals=tuple(f"{i}" + "r" * 900 for i in range(3))
    )
    home = home_of(frame(1), long, frame(3, name="<b>Weir</b> & Žďár.jpg"))
    data = home_pdf(home, [pictures(i) for i in range(3)], HOW_ON)
    text = text_of(data)
    assert "<b>Weir</b> & Žďár.jpg" in text
    assert "IR_0001" in text
    packed = "".join(text.split())
    assert sum(packed.count(letter * 20) for letter in "r") >= 100
    assert HOW_ON in text
    assert faults_of(data) == []
