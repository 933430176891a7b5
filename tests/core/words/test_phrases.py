"""Pieces that many sentences are made of."""

import pytest

from irpreview.core.words.phrases import held, sentence, two_figures


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("the tower leads", "The tower leads."),
        ("Does it hold?", "Does it hold?"),
        ("two\nlines  and\ta tab", "Two lines and a tab."),
        ("tower.jpg is damaged", "tower.jpg is damaged."),  # a file keeps its name
        ("f/8 is soft in the corners", "f/8 is soft in the corners."),
        ("e.g. this", "e.g. this."),
        ("a bell\x07 rings", "A bell rings."),
        ("", ""),
    ],
)
def test_a_sentence_has_one_line_a_capital_and_an_end(text, said):
    assert sentence(text) == said


@pytest.mark.parametrize(
    ("value", "said"), [(0.012, "0.012"), (0.234, "0.23"), (2.84, "2.8"), (30.0, "30"), (412.0, "410"), (0.0, "0")]
)
def test_two_figures_never_have_an_exponent(value, said):
    assert two_figures(value) == said


def test_no_line_ends_between_a_figure_and_its_unit():
    text = "ISO 400, f/9, 1 min 35 s; 50 mm, 22° right; 07:15 to 12:00; 8 to 9"
    gaps = [text[i] for i in range(len(text)) if held(text)[i] != text[i]]
    assert len(gaps) == 7
    assert held(text).replace("\u00a0", "_") == ("ISO_400, f/9, 1_min 35_s; 50_mm, 22°_right; 07:15_to_12:00; 8 to 9")
