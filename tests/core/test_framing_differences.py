"""Where a framing and the whole snap differ on two neighbours: which pairs, and the reason given.

No published source: the reasons follow from what the two verdicts are made of (core.verdict.separation), and each is
tried on a verdict changed in that one thing.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from irpreview.core.framing.differences import pairs_that_differ
from irpreview.core.verdict.judging import judge_scene
from irpreview.core.words.framing_words import framing_details
from irpreview.records import Movement, Range, Separation, SeparationWord, Verdict
from irpreview.records.framing import Frame, Framing
from tests.core.drawn_scenes import drawn, layered_view

WHOLE = Frame(24.0, 24.0, "4:3", "lying", 0.0, 0.0, 1.0, 1.0)
RIGHT_HALF = Frame(50.0, 50.0, "4:3", "lying", 0.5, 0.0, 0.5, 1.0)
OTHER: dict[SeparationWord, SeparationWord] = {"separates": "merges", "merges": "separates", "uncertain": "merges"}


@pytest.fixture(scope="module")
def snap() -> Verdict:
    return judge_scene(*drawn(layered_view()))


def changed(verdict: Verdict, index: int, **values: object) -> Verdict:
    """The verdict with another word for one pair, and whatever else is given."""
    rows = list(verdict.separations)
    rows[index] = replace(rows[index], says=OTHER[rows[index].says], **values)  # type: ignore[arg-type]
    return replace(verdict, separations=tuple(rows))


def half_of(verdict: Verdict) -> Verdict:
    """The same verdict as a frame of the right half would have it, on its own layer map."""
    return replace(verdict, layer_map=verdict.layer_map[:, verdict.layer_map.shape[1] // 2 :])


def wider(one: Separation, times: float) -> Range:
    """The print's step as a harder print makes it."""
    step = one.print_step
    return Range(times * step.low, times * step.likely, times * step.high)


def test_a_frame_that_is_the_snap_differs_in_nothing(snap: Verdict) -> None:
    assert snap.separations
    assert pairs_that_differ(WHOLE, snap, snap) == ()


def test_each_pair_with_another_word_is_told_and_no_other(snap: Verdict) -> None:
    for index, own in enumerate(snap.separations):
        (found,) = pairs_that_differ(WHOLE, changed(snap, index), snap)
        assert (found.a, found.b) == (own.a, own.b)
        assert (found.here, found.in_the_snap) == (OTHER[own.says], own.says)


def test_the_reason_is_what_differs(snap: Verdict) -> None:
    own = snap.separations[0]
    (same,) = pairs_that_differ(WHOLE, changed(snap, 0), snap)
    assert (same.because, same.cut) == ("near_the_limit", None)
    for times, reason in ((1.3, "harder_print"), (1 / 1.3, "softer_print")):
        (printed,) = pairs_that_differ(WHOLE, changed(snap, 0, print_step=wider(own, times)), snap)
        assert printed.because == reason
    # another tone, but all of both layers in the frame: that is no reason
    (all_of_it,) = pairs_that_differ(WHOLE, changed(snap, 0, zones=own.zones + 0.5), snap)
    assert all_of_it.because == "near_the_limit"
    for index, pair in enumerate(snap.separations):
        there = half_of(changed(snap, index, zones=pair.zones + 0.5))
        for found in pairs_that_differ(RIGHT_HALF, there, snap):
            assert found.because == "part_of_it"
            assert found.cut is not None
            inside = (snap.layer_map == found.cut)[:, snap.layer_map.shape[1] // 2 :].sum()
            assert inside < (snap.layer_map == found.cut).sum()


def test_pairs_are_matched_by_what_lies_under_them_not_by_their_number(snap: Verdict) -> None:
    last = len(snap.layers) - 1
    turned = replace(
        snap,
        layers=tuple(replace(la, index=last - la.index) for la in reversed(snap.layers)),
        layer_map=np.where(snap.layer_map >= 0, last - snap.layer_map, -1).astype(np.int16),
        separations=tuple(
            replace(s, a=last - s.b, b=last - s.a, zones=-s.zones, low=-s.high, high=-s.low) for s in snap.separations
        ),
    )
    assert pairs_that_differ(WHOLE, turned, snap) == ()


def test_the_difference_is_said_with_its_reason_in_one_sentence(snap: Verdict) -> None:
    verdict = changed(snap, 0)
    still = Movement(30.0, {}, None, None, None, ())  # type: ignore[arg-type]
    one = Framing(WHOLE, ("sky",), verdict, still, None, 0.5, differs=pairs_that_differ(WHOLE, verdict, snap))
    told = [text for text in framing_details(one) if "in the whole snap" in text]
    assert len(told) == 1
    assert told[0].endswith(": it lies near the limit.")
