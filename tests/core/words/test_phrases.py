"""Pieces that many sentences are made of."""

import pytest

from irpreview.core.words.phrases import sentence


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
