"""The contact sheet as PDF, read back by other programs than the one that wrote it."""

import io
from collections.abc import Sequence
from dataclasses import replace

import pypdf
import pytest

from irpreview.core.scouting.ranking import arrange
from irpreview.core.scouting.sheet import PlaceMap, Section, Sheet, sheet_of
from irpreview.io.contact_sheet import contact_pdf
from tests.core.scouting.test_ranking import placed, snap
from tests.io.test_card_files import LEAST_PT, faults_of, letters_of, text_of
from tests.io.test_scout_files import pictures


def sheet_with(count: int, most: int = 5000, refused: Sequence[tuple[str, str]] = ()) -> Sheet:
    many = [snap(f"walk/day {i % 7}/b{i:04}.jpg", i, contrast=99.0 * i / count) for i in range(count)]
    return sheet_of(arrange(many, refused), most=most)


def by_place(sizes: Sequence[int]) -> Sheet:
    """A sheet with a heading, a note and so many views for each place."""
    views = iter(sheet_with(sum(sizes)).sections[0].entries)
    sections = [
        Section(f"Place {i}", f"{size} views at 47.3{i:03}, -16.4000", tuple(next(views) for _ in range(size)))
        for i, size in enumerate(sizes)
    ]
    return replace(sheet_with(1), sections=tuple(sections))


def pages_of(data: bytes) -> list[str]:
    return [" ".join(page.extract_text().split()) for page in pypdf.PdfReader(io.BytesIO(data)).pages]


def with_many_places() -> Sheet:
    sheet = sheet_of(placed(True))
    return replace(sheet, maps=tuple(PlaceMap(one.plan, one.lines * 30) for one in sheet.maps))


@pytest.mark.parametrize(
    "made",
    [sheet_with(23, refused=[("x.jpg", "is damaged: " + "w" * 300)]), with_many_places(), by_place((1, 3, 1, 9))],
)
def test_no_letter_is_smaller_than_promised_and_none_is_cut_off_or_covered(made: Sheet) -> None:
    data = contact_pdf(made, pictures)
    letters = letters_of(data)
    assert len(letters) > 20
    assert min(high for high, _, _ in letters) >= LEAST_PT - 0.01
    assert faults_of(data) == []
    assert data == contact_pdf(made, pictures)


def test_every_word_is_on_paper() -> None:
    made = sheet_of(placed(True))
    text = text_of(contact_pdf(made, pictures))
    for words in (
        *(made.title, *made.summary, *made.cautions),
        *(words for one in made.maps for line in one.lines for words in line),
        *(words for one in made.sections for words in (one.heading, one.note)),
    ):
        assert words in text
    for entry in (entry for one in made.sections for entry in one.entries):
        for words in (entry.name, entry.sentence, f"Layered contrast {entry.contrast}", *entry.figures, entry.alike):
            assert words in text


@pytest.mark.parametrize("shift", range(6))
def test_a_heading_is_never_alone_at_the_foot(shift: int) -> None:
    """With one more row above them each time, the headings come to stand at every height of the page."""
    made = by_place((1 + shift, *([2, 3, 1, 4, 1, 1] * 3)))
    pages = pages_of(contact_pdf(made, pictures))
    for section in made.sections:
        (page,) = (page for page in pages if section.note in page)
        first = section.entries[0]
        assert page.index(section.heading) < page.index(section.note) < page.index(f"{first.rank} {first.name}")
    (last,) = (page for page in pages if "Before you go" in page)
    assert all(" ".join(line.split()) in last for line in made.cautions)


def test_two_hundred_views_each_with_both_pictures() -> None:
    made = sheet_with(200)
    data = contact_pdf(made, pictures)
    reader = pypdf.PdfReader(io.BytesIO(data))
    # six rows on a page of A4, five beside the title
    assert len(reader.pages) == 34
    text = text_of(data)
    assert all(entry.name in text for entry in made.sections[0].entries)
    # ISO 32000-1, 8.8: a picture is painted by the operator Do
    painted = sum(page["/Contents"].get_object().get_data().count(b" Do") for page in reader.pages)  # type: ignore[union-attr]
    assert painted == 2 * 200


def test_a_row_that_no_page_holds_runs_on() -> None:
    made = sheet_with(8)
    entries = made.sections[0].entries
    names = ", ".join(f"{i:03}-{'n' * 150}.jpg" for i in range(100))
    long = Section("Place A", "one view", (replace(entries[3], alike=f"Same view: {names}."), *entries[4:]))
    data = contact_pdf(replace(made, sections=(Section("", "", entries[:3]), long)), pictures)
    text = text_of(data)
    packed = "".join(text.split())
    assert all(f"{i:03}-" in packed for i in range(100))
    assert packed.count("n" * 150) >= 90  # the others go from one page to the next
    assert entries[7].name in text
    assert faults_of(data) == []
