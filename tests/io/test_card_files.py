"""The card's files, read back by other programs than the one that wrote them."""

import io
import json
import math
import stat

import jsonschema
import numpy as np
import pytest
from PIL import Image
from pypdf import PdfReader

from irpreview.core.card import blocks as card_blocks
from irpreview.errors import BadValue, CannotWrite
from irpreview.io import card_files
from irpreview.records import Light, LightBy, LightKnown, Place
from tests.core.card.test_card import card, exposure, rendering, setting, verdict


def full_card(**changes):
    rng = np.random.default_rng(4)
    values = {
        "snap": rng.integers(0, 255, (300, 400, 3), np.uint8),
        "infrared": rng.integers(0, 255, (300, 400), np.uint8),
        "light_window": ("Tomorrow best from 10:30 to 15:00, with the sun behind you.",),
        "sources": ("Beaufort scale: WMO-No. 306.",),
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


def test_the_pdf_is_one_a5_page_with_searchable_text():
    data = card_files.card_pdf(full_card())
    pages = PdfReader(io.BytesIO(data)).pages
    assert len(pages) == 1
    # ISO 216: A5 is 148 x 210 mm.
    assert float(pages[0].mediabox.width) == pytest.approx(148 / 25.4 * 72, abs=0.5)
    assert float(pages[0].mediabox.height) == pytest.approx(210 / 25.4 * 72, abs=0.5)
    text = text_of(data)
    for wanted in (
        "Ford below Anselt",
        "ISO 64, f/8, 1 min 40 s",
        "Order of work",
        "small trees in leaf begin to sway",
        "red channel",
    ):
        assert wanted in text
    for wanted in ("Overcast", "Notes", "network-of-the-test", "0.1.0", "Take care", "10:30"):
        assert wanted in text


def test_both_pictures_are_in_the_pdf():
    images = PdfReader(io.BytesIO(card_files.card_pdf(full_card()))).pages[0].images
    assert len(images) == 2
    assert {image.image.size for image in images} == {(400, 300)}


def test_fonts_are_embedded():
    fonts = PdfReader(io.BytesIO(card_files.card_pdf(full_card()))).pages[0]["/Resources"]["/Font"]
    embedded = [font.get_object() for font in fonts.values()]
    assert all("/FontFile2" in font["/FontDescriptor"] for font in embedded if "/FontDescriptor" in font)
    assert any("/FontDescriptor" in font for font in embedded)


LEAST_PT = 7.0
"""What the card promises: read at arm's length in wind and sunlight (common practice, no source)."""


def wordy_card(**changes):
    sources = tuple(f"Published source number {i} with a rather long title and a year" for i in range(12))
    doubts = tuple(
        f"Doubt number {i} is about as long as the doubts that a card usually has to tell" for i in range(30)
    )
    return full_card(**{"sources": sources, "assumptions": doubts, **changes})


@pytest.mark.parametrize("made", [full_card, wordy_card])
def test_no_letter_on_paper_is_smaller_than_promised_or_squeezed(made):
    letters = letters_of(card_files.card_pdf(made()))
    assert len(letters) > 50
    assert min(high for high, _, _ in letters) >= LEAST_PT - 0.01
    # A condensed cut is about nine tenths as wide as the plain one; less would be squeezing.
    assert min(narrow for _, narrow, _ in letters) >= 0.895


def test_headings_and_key_figures_are_clearly_larger_than_the_text():
    letters = letters_of(card_files.card_pdf(wordy_card()))
    body = next(high for high, _, text in letters if "Doubt number 3" in text)

    def size(words):
        return next(high for high, _, text in letters if words in text)

    assert size("ISO 64,") >= max(14.0, 1.5 * body)
    assert size("Build on") >= max(11.0, 1.25 * body)
    assert size("10:30") >= 7.0
    assert size("Will it hold apart") >= 1.1 * body


def test_what_one_page_does_not_hold_is_on_its_back_and_nothing_is_cut():
    data = card_files.card_pdf(wordy_card())
    assert len(PdfReader(io.BytesIO(data)).pages) == 2
    text = text_of(data)
    for i in range(12):
        assert f"source number {i} " in text
    for i in range(30):
        assert f"Doubt number {i} " in text
    front = " ".join(PdfReader(io.BytesIO(data)).pages[0].extract_text().split())
    for wanted in (
        "Take care",
        "Never look at the sun",
        "Local rules",
        "ISO 64, f/8",
        "On the back: ",
        "Order of work",
    ):
        assert wanted in front


@pytest.mark.parametrize("made", [full_card, wordy_card])
def test_every_word_of_every_part_is_on_paper(made):
    shown = made()
    text = text_of(card_files.card_pdf(shown))
    assert "…" not in text
    for figure in card_blocks.key_figures(shown):
        for words in (figure.label, figure.value, *figure.notes):
            assert words in text
    for block in card_blocks.card_blocks(shown):
        for words in (block.heading, *block.lines, *(cell for row in block.table for cell in row)):
            assert words in text


def test_a_part_longer_than_a_column_runs_on_and_keeps_every_word():
    doubts = tuple(
        f"Doubt number {i} is about as long as the doubts that a card usually has to tell" for i in range(55)
    )
    text = text_of(card_files.card_pdf(full_card(assumptions=doubts)))
    for i in range(55):
        assert f"Doubt number {i} is about as long as the doubts that a card usually has to tell." in text


def test_what_to_wait_for_stands_with_the_plan():
    why = "Wait for a lull: the leaves would lead, but not in this wind."
    figure, *_ = card_blocks.key_figures(waits := full_card(verdict=verdict("wait")))
    assert (figure.value, figure.notes) == ("Wait for a lull", (why,))
    assert text_of(card_files.card_pdf(waits)).count(why) == 1


def test_a_long_title_is_broken_not_cut():
    title = "The long ford below the upper mill of Anselt in the first light of a clear May day"[:80]
    assert title in text_of(card_files.card_pdf(full_card(title=title)))


def test_a_card_that_cannot_fit_is_refused_with_a_sentence():
    sources = tuple(f"Published source number {i} with a rather long title and a year" * 20 for i in range(80))
    with pytest.raises(CannotWrite, match="both sides of an A5 page"):
        card_files.card_pdf(full_card(sources=sources))


def test_same_card_same_bytes():
    assert card_files.card_pdf(full_card()) == card_files.card_pdf(full_card())
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
    # At 390 px, the width of a common phone: no text under 12 px, running text 14 (common practice, no source).
    assert card_files.SMALL_PX * 390 / card_files.PNG_WIDTH_PX >= 12
    assert card_files.TEXT_PX * 390 / card_files.PNG_WIDTH_PX >= 14


def test_the_json_keeps_its_schema():
    made = json.loads(card_files.card_json(full_card()))
    jsonschema.Draft202012Validator(card_files.card_schema()).validate(made)
    assert made["schema"] == "irpreview/1"
    assert made["place"] is None


def test_the_json_of_a_card_without_a_setting_keeps_the_schema_too():
    bare = full_card(exposure=exposure(settings=(), recommended=None, freezes=None, streaks=None, test_exposures=()))
    jsonschema.Draft202012Validator(card_files.card_schema()).validate(json.loads(card_files.card_json(bare)))


def test_no_location_in_any_file_unless_ticked():
    light = Light(known=LightKnown(LightBy.PLACE_AND_TIME, "normal"))
    place = Place(51.23456, 7.65432)
    made = full_card(place=place, rendering=rendering(light), with_place=False)
    pdf, png = card_files.card_pdf(made), card_files.card_png(made)
    assert "51.2" not in text_of(pdf)
    assert "51.2" not in card_files.card_json(made)
    assert not Image.open(io.BytesIO(png)).getexif()
    ticked = full_card(place=place, with_place=True)
    assert "51.2346 N, 7.6543 E" in text_of(card_files.card_pdf(ticked))
    assert json.loads(card_files.card_json(ticked))["place"]["longitude_deg"] == 7.65432


def test_words_from_outside_are_only_text():
    made = full_card(title="<b>Weir</b> & <script>alert(1)</script>")
    assert "<script>alert(1)</script>" in text_of(card_files.card_pdf(made))


def test_letters_beyond_latin_are_printed():
    assert "Žďár ψ" in text_of(card_files.card_pdf(full_card(title="Žďár ψ")))


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
    assert "Notes" in text_of(card_files.card_pdf(tall))


def test_the_title_names_the_file():
    assert card_files.file_stem("Ford below Anselt.jpg") == "Ford-below-Anselt-jpg"
    assert card_files.file_stem("...") == "card"


def test_settings_differ_in_the_table_by_wind():
    assert setting(64, 100.0).shutter_text in text_of(card_files.card_pdf(full_card()))
