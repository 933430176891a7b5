"""Strokes, areas, undo and redo."""

import numpy as np
import pytest

from tests.shells.page_desk import STROKE, analysis, changed, give


def test_an_outline_changes_nothing_until_it_is_taken(desk, token, small):
    give(desk, token, small)
    before = analysis(desk, token).scene.label.copy()
    shown = desk.outline(token, [STROKE], 0)
    assert changed(shown) == {"status", "values"}
    (line,) = shown.values["outlines"]
    assert line["share"] > 0.001
    assert all(0 <= x <= 1 and 0 <= y <= 1 for one in line["lines"] for x, y in one)
    assert np.array_equal(analysis(desk, token).scene.label, before)
    desk.take(token, [STROKE], 0)
    assert (analysis(desk, token).scene.label == 3).mean() == pytest.approx(line["share"], abs=0.002)


def test_corrections_are_undone_and_done_again(desk, token, small):
    give(desk, token, small)
    before = analysis(desk, token).scene.label.copy()
    shown = desk.take(token, [STROKE], 0)
    assert "Corrected" in shown.status
    after = analysis(desk, token).scene.label.copy()
    assert shown.values["can_undo"]
    assert not shown.values["can_redo"]
    assert desk.undo(token).values["can_redo"]
    assert np.array_equal(analysis(desk, token).scene.label, before)
    desk.redo(token)
    assert np.array_equal(analysis(desk, token).scene.label, after)
    assert "no correction to redo" in desk.redo(token).status
    desk.undo(token)
    assert "no correction to undo" in desk.undo(token).status


def test_repainting_changes_the_tone_there(desk, token, small):
    give(desk, token, small)
    before = float(np.median(analysis(desk, token).rendering.tones[270:290, 40:120]))
    desk.take(token, [{"class_name": "water", "width": 0.2, "points": [[0.1, 0.93], [0.3, 0.93]]}], 0, False)
    after = float(np.median(analysis(desk, token).rendering.tones[270:290, 40:120]))
    # Water is far darker than grass in the near infrared (satellite reflectances: .02 against .27).
    assert after < before / 2


def test_an_area_is_corrected_by_its_number(desk, token, small):
    give(desk, token, small)
    assert "now snow" in desk.correct_area(token, 0, "snow").status
