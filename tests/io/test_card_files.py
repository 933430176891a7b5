"""The card's files, read back by other programs than the one that wrote them."""

import io
import itertools
import json
import math
import stat
from dataclasses import dataclass, replace

import jsonschema
import numpy as np
import pypdfium2
import pytest
from PIL import Image
from pypdf import PdfReader
from pypdf.generic import DictionaryObject
from reportlab.pdfgen.canvas import Canvas

from irpreview.answers.card import CardAnswer
from irpreview.answers.schemas import schema_of
from irpreview.core.card import blocks as card_blocks
from irpreview.core.words import in_words
from irpreview.core.words.saying import both
from irpreview.errors import BadValue, CannotWrite
from irpreview.io import card_files, card_paper
from irpreview.records import Doubt, Light, LightBy, LightKnown, Place
from tests.core.card.test_card import card, exposure, light_plan, rendering, setting, verdict


def full_card(**changes):
    rng = np.random.default_rng(4)
    values = {
        "snap": rng.integers(0, 255, (300, 400, 3), np.uint8),
        "infrared": rng.integers(0, 255, (300, 400), np.uint8),
        "day_plan": light_plan(((10, 30), (15, 0), "behind_camera")),
        "version": "0.1.0",
    }
    return card(**{**values, **changes})


def text_of(data: bytes) -> str:
    return " ".join(" ".join(page.extract_text() for page in PdfReader(io.BytesIO(data)).pages).split())


def letters_of(data: bytes) -> list[tuple[float, float, str]]:
    """Size [pt], width over height of the letters, text: of every piece of text on every page."""
    found = []

    def visit(text, cm, tm, _font, size):
        # PDF 32000-1, 9.4.4: what is shown has the font size times text matrix times page matrix.
        high = size * math.hypot(tm[2], tm[3]) * math.hypot(cm[2], cm[3])
        if text.strip():
            wide = size * math.hypot(tm[0], tm[1]) * math.hypot(cm[0], cm[1])
            found.append((high, wide / high, text.strip()))

    for page in PdfReader(io.BytesIO(data)).pages:
        page.extract_text(visitor_text=visit)
    return found


def boxes_of(data: bytes) -> list[tuple[tuple[float, float], list[tuple[float, float, float, float]]]]:
    """(width, height) of each page and the box (left, bottom, right, top) of each run of letters on it. [pt]"""
    found = []
    with pypdfium2.PdfDocument(data) as document:
        for page in document:
            text = page.get_textpage()
            found.append((page.get_size(), [text.get_rect(i) for i in range(text.count_rects())]))
    return found


def faults_of(data: bytes, edge: float = 10.0) -> list[str]:
    """Letters beyond the edge of the paper, and runs of letters that lie on each other."""
    faults = []
    for number, ((wide, high), boxes) in enumerate(boxes_of(data)):
        for left, bottom, right, top in boxes:
            if left < edge or bottom < edge or right > wide - edge or top > high - edge:
                faults.append(f"page {number}: beyond the edge at {left:.0f}, {bottom:.0f}, {right:.0f}, {top:.0f}")
        for (l1, b1, r1, t1), (l2, b2, r2, t2) in itertools.combinations(boxes, 2):
            across, up = min(r1, r2) - max(l1, l2), min(t1, t2) - max(b1, b2)
            if across > 1.0 and up > 0.35 * min(t1 - b1, t2 - b2):
                faults.append(f"page {number}: {l1:.0f}, {b1:.0f} lies on {l2:.0f}, {b2:.0f}")
    return faults


def test_faults_are_found_where_there_are_some():
    buffer = io.BytesIO()
    canvas = Canvas(buffer, pagesize=(200, 200))
    canvas.setFont("Helvetica", 12)
    canvas.drawString(30, 100, "one line of letters")
    canvas.drawString(34, 104, "another on it")
    canvas.drawString(150, 40, "beyond the edge")
    canvas.save()
    said = " ".join(faults_of(buffer.getvalue()))
    assert "lies on" in said
    assert "beyond the edge" in said


def test_the_pdf_is_an_a5_front_and_back_with_searchable_text():
    data = card_paper.card_pdf(full_card())
    pages = PdfReader(io.BytesIO(data)).pages
    assert len(pages) == 2
    # ISO 216: A5 is 148 x 210 mm.
    for page in pages:
        assert float(page.mediabox.width) == pytest.approx(148 / 25.4 * 72, abs=0.5)
        assert float(page.mediabox.height) == pytest.approx(210 / 25.4 * 72, abs=0.5)
    front, back = (" ".join(page.extract_text().split()) for page in pages)
    for wanted in ("Ford below Anselt", "The trees lead", "ISO 64, f/8, 1 min 40 s", "10:30"):
        assert wanted in front
    for wanted in ("Order of work", "small trees in leaf", "Reading the red channel", "Overcast", "Notes", "Take care"):
        assert wanted in back
    for wanted in ("network-of-the-test", "0.1.0"):
        assert wanted in back


def test_both_pictures_are_in_the_pdf():
    images = PdfReader(io.BytesIO(card_paper.card_pdf(full_card()))).pages[0].images
    assert [image.image.size for image in images if image.image] == [(400, 300)] * 2
    assert len(images) == 2


def test_fonts_are_embedded():
    resources = PdfReader(io.BytesIO(card_paper.card_pdf(full_card()))).pages[0]["/Resources"]
    assert isinstance(resources, DictionaryObject)
    fonts = resources["/Font"]
    assert isinstance(fonts, DictionaryObject)
    embedded = [font.get_object() for font in fonts.values()]
    assert all("/FontFile2" in font["/FontDescriptor"] for font in embedded if "/FontDescriptor" in font)
    assert any("/FontDescriptor" in font for font in embedded)


LEAST_PT = 9.0
"""What the card promises: read at arm's length in wind and sunlight (common practice, no source)."""


@dataclass(frozen=True)
class WrittenDoubt(Doubt):
    """A doubt of any length."""

    text: str


@in_words.register
def _(doubt: WrittenDoubt):
    return both(doubt.text)


def wordy_card(**changes):
    doubts = tuple(
        WrittenDoubt(f"Doubt number {i} is about as long as the doubts that a card usually has to tell")
        for i in range(30)
    )
    return full_card(**{"assumptions": doubts, **changes})


@pytest.mark.parametrize("made", [full_card, wordy_card])
def test_no_letter_on_paper_is_smaller_than_promised_or_squeezed(made):
    letters = letters_of(card_paper.card_pdf(made()))
    assert len(letters) > 50
    assert min(high for high, _, _ in letters) >= LEAST_PT - 0.01
    # A condensed cut is about nine tenths as wide as the plain one; less would be squeezing.
    assert min(narrow for _, narrow, _ in letters) >= 0.895
    assert faults_of(card_paper.card_pdf(made())) == []


def test_lead_and_setting_are_clearly_larger_than_the_text():
    letters = letters_of(card_paper.card_pdf(wordy_card()))

    def size(words):
        return next(high for high, _, text in letters if words in text)

    assert size("ISO 64,") >= 18.0
    assert size("The trees lead") >= 18.0
    assert size("10:30") >= 11.0
    assert size("Order of work") > size("Doubt number 3")


def test_what_one_back_does_not_hold_runs_on_and_nothing_is_cut():
    data = card_paper.card_pdf(wordy_card())
    assert len(PdfReader(io.BytesIO(data)).pages) == 3
    text = text_of(data)
    for i in range(30):
        assert f"Doubt number {i} is about as long as the doubts that a card usually has to tell." in text


@pytest.mark.parametrize("made", [full_card, wordy_card])
def test_every_word_of_every_part_is_on_paper(made):
    shown = made()
    text = text_of(card_paper.card_pdf(shown))
    assert "…" not in text
    front = card_blocks.card_front(shown)
    for words in (
        front.lead,
        front.why,
        front.setting,
        front.setting_range,
        *(one for row in front.rows for one in row),
    ):
        assert words in text
    for block in card_blocks.card_blocks(shown):
        for words in (block.heading, *block.lines, *(cell for row in block.table for cell in row)):
            assert words in text


def test_what_to_wait_for_stands_with_the_lead():
    front = card_blocks.card_front(full_card(verdict=verdict("wait")))
    assert (front.lead, front.why) == ("Wait for a lull", "The foliage would lead, but not in this wind.")


def test_a_long_title_is_broken_not_cut():
    title = "The long ford below the upper mill of Anselt in the first light of a clear May day"[:80]
    assert title in text_of(card_paper.card_pdf(full_card(title=title)))


def test_a_front_that_cannot_fit_is_refused_with_a_sentence(monkeypatch):
    monkeypatch.setattr(card_paper, "A5", replace(card_paper.A5, pictures=()))
    with pytest.raises(CannotWrite, match="shorter title"):
        card_paper.card_pdf(full_card(), card_paper.A5)


def test_same_card_same_bytes():
    assert card_paper.card_pdf(full_card()) == card_paper.card_pdf(full_card())
    assert card_files.card_png(full_card()) == card_files.card_png(full_card())


def test_the_phone_picture_is_a_phone_wide():
    image = Image.open(io.BytesIO(card_files.card_png(full_card())))
    image.load()
    assert image.width == card_files.PNG_WIDTH_PX
    assert image.height > image.width
    # Paper at the edges, so nothing is cut off there.
    pixels = np.asarray(image.convert("L"))
    assert pixels[:, :20].min() == 255
    assert pixels[:, -20:].min() == 255


def test_text_on_the_phone_is_read_without_zooming():
    # At 390 px, the width of a common phone: no text under 12 px (common practice, no source).
    data = card_paper.card_pdf(full_card(), card_paper.PHONE)
    least = min(high for high, _, _ in letters_of(data))
    assert least * 390 / card_paper.PHONE.width >= 12
    assert faults_of(data, edge=6.0) == []


def test_the_phones_picture_shows_the_pdf():
    """The PNG is the phone's PDF, page below page: its first rows are the first page as pdfium draws it."""
    made = full_card()
    picture = Image.open(io.BytesIO(card_files.card_png(made)))
    with pypdfium2.PdfDocument(card_paper.card_pdf(made, card_paper.PHONE)) as document:
        first = document[0].render(scale=card_files.PNG_WIDTH_PX / card_paper.PHONE.width).to_pil().convert("RGB")
    top = (0, 0, first.width, 900)
    assert np.abs(np.asarray(picture.crop(top), int) - np.asarray(first.crop(top), int)).max() <= 2


def test_the_json_keeps_its_schema():
    made = json.loads(card_files.card_json(full_card()))
    jsonschema.Draft202012Validator(schema_of(CardAnswer)).validate(made)
    assert made["schema"] == "irpreview/1"
    assert made["place"] is None


def test_the_json_of_a_card_without_a_setting_keeps_the_schema_too():
    bare = full_card(exposure=exposure(settings=(), recommended=None, freezes=None, streaks=None, test_exposures=()))
    jsonschema.Draft202012Validator(schema_of(CardAnswer)).validate(json.loads(card_files.card_json(bare)))


def test_no_location_in_any_file_unless_ticked():
    light = Light(known=LightKnown(LightBy.PLACE_AND_TIME, "normal"))
    place = Place(51.23456, 7.65432)
    made = full_card(place=place, rendering=rendering(light), with_place=False)
    pdf, png = card_paper.card_pdf(made), card_files.card_png(made)
    assert "51.2" not in text_of(pdf)
    assert "51.2" not in card_files.card_json(made)
    assert not Image.open(io.BytesIO(png)).getexif()
    ticked = full_card(place=place, with_place=True)
    assert "51.2346 N, 7.6543 E" in text_of(card_paper.card_pdf(ticked))
    assert json.loads(card_files.card_json(ticked))["place"]["longitude_deg"] == 7.65432


def test_words_from_outside_are_only_text():
    made = full_card(title="<b>Weir</b> & <script>alert(1)</script>")
    assert "<script>alert(1)</script>" in text_of(card_paper.card_pdf(made))


def test_letters_beyond_latin_are_printed():
    assert "Žďár ψ" in text_of(card_paper.card_pdf(full_card(title="Žďár ψ")))


def test_files_are_written_whole_and_named_safely(tmp_path):
    made = full_card(title="../../etc/<odd> name")
    paths = card_files.write_card(made, tmp_path / "out")
    assert [path.suffix for path in paths] == [".pdf", ".png", ".json"]
    assert all(path.parent == tmp_path / "out" for path in paths)
    assert sorted(path.name for path in (tmp_path / "out").iterdir()) == sorted(path.name for path in paths)
    assert stat.S_IMODE(paths[0].stat().st_mode) == 0o644


def test_a_folder_that_cannot_be_made_is_one_sentence(tmp_path):
    (tmp_path / "file").write_text("x")
    with pytest.raises(CannotWrite, match="choose a folder"):
        card_files.write_card(full_card(), tmp_path / "file" / "below")


def test_an_unknown_kind_is_refused(tmp_path):
    with pytest.raises(BadValue, match="pdf, png or json"):
        card_files.write_card(full_card(), tmp_path, ("docx",))  # type: ignore[arg-type]


def test_a_portrait_snap_fits_too():
    rng = np.random.default_rng(5)
    tall = full_card(
        snap=rng.integers(0, 255, (400, 300, 3), np.uint8), infrared=rng.integers(0, 255, (400, 300), np.uint8)
    )
    assert "Notes" in text_of(card_paper.card_pdf(tall))


def test_the_title_names_the_file():
    assert card_files.file_stem("Ford below Anselt.jpg") == "Ford-below-Anselt-jpg"
    assert card_files.file_stem("...") == "card"


def test_settings_differ_in_the_table_by_wind():
    assert setting(64, 100.0).shutter_text in text_of(card_paper.card_pdf(full_card()))
