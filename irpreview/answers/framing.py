"""Framings as JSON holds them."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any, Literal

from irpreview.answers.base import Answer, Asked, Span, Whole, asked_of, maybe_span
from irpreview.answers.exposure import AskedTimeAnswer, SettingAnswer, asked_time_answer, focus_facts, setting_answer
from irpreview.core.framing.viewpoints import compare_viewpoints
from irpreview.core.words import long_words
from irpreview.core.words.framing_words import (
    framing_details,
    framing_sentence,
    framing_short,
    place_sentence,
    wider_sentence,
)
from irpreview.records import Doubt, HowClear, Place, SeparationWord
from irpreview.records.framing import (
    DifferenceReason,
    Framing,
    FramingNote,
    FramingRole,
    Framings,
    Orientation,
    SoftReason,
    ViewpointReason,
)

if TYPE_CHECKING:
    from collections.abc import Mapping

    from irpreview.analysis import Analysis


class PairDiffersAnswer(Answer):
    """Two neighbours of which the whole snap says something else."""

    pair: list[str]
    here: SeparationWord
    in_the_snap: SeparationWord
    because: DifferenceReason


class FramingAnswer(Answer):
    """One picture to make; the rectangle in shares of the snap's width and height."""

    roles: list[FramingRole]
    short: str
    sentence: str
    details: list[str]
    lens_mm: float
    focal_35mm_mm: float
    format: str
    orientation: Orientation
    left: float
    top: float
    width: float
    height: float
    right_deg: float
    """Where to point, from the middle of the snap; left is negative."""
    up_deg: float
    lead: str
    clearness: HowClear
    subject: str | None
    subject_share: float | None
    layered_contrast: float
    merges: list[list[str]]
    differs: list[PairDiffersAnswer]
    """From the whole snap."""
    focus: dict[str, Any]
    """With this lens at the aperture set; empty without an exposure."""
    plant_print_mm: Span | None
    worth: float
    reasons: list[SoftReason]
    notes: list[FramingNote]


def framing_answer(one: Framing) -> FramingAnswer:
    """One framing as plain values."""
    frame, verdict = one.frame, one.verdict
    names = [layer.name for layer in verdict.layers]
    return FramingAnswer(
        roles=list(one.roles),
        short=framing_short(one),
        sentence=framing_sentence(one),
        details=framing_details(one),
        lens_mm=frame.lens_mm,
        focal_35mm_mm=round(frame.focal_35mm_mm, 1),
        format=frame.format,
        orientation=frame.orientation,
        left=round(frame.left, 4),
        top=round(frame.top, 4),
        width=round(frame.width, 4),
        height=round(frame.height, 4),
        right_deg=frame.right_deg,
        up_deg=frame.up_deg,
        lead=verdict.lead,
        clearness=verdict.clearness,
        subject=None if verdict.subject is None else verdict.subject.kind,
        subject_share=None if verdict.subject is None else round(verdict.subject.share, 4),
        layered_contrast=verdict.layered_contrast,
        merges=[[names[s.a], names[s.b]] for s in verdict.separations if s.says == "merges"],
        differs=[
            PairDiffersAnswer(
                pair=[names[pair.a], names[pair.b]], here=pair.here, in_the_snap=pair.in_the_snap, because=pair.because
            )
            for pair in one.differs
        ],
        focus=focus_facts(one.focus),
        plant_print_mm=maybe_span(one.plant_print_mm, 2),
        worth=round(one.worth, 3),
        reasons=list(one.reasons),
        notes=list(one.notes),
    )


class ViewpointAnswer(Answer):
    """How a snap stands among the others of its place."""

    place: str | None
    """A, B, C...; null = the files hold no position, and count as one place."""
    rank: int
    """1 = work from here."""
    of: int
    because: list[ViewpointReason]
    """What the first of the place has over the second."""
    close: bool
    sentence: str | None


def viewpoint_answers(
    names: Sequence[str], places: Sequence[Place | None], found: Sequence[Framings]
) -> list[ViewpointAnswer]:
    """Of each snap, in the order given."""
    out: dict[int, ViewpointAnswer] = {}
    for here in compare_viewpoints(places, found):
        sentence = place_sentence(names, found, here)
        for rank, snap in enumerate(here.order, 1):
            out[snap] = ViewpointAnswer(
                place=here.place,
                rank=rank,
                of=len(here.order),
                because=list(here.because),
                close=here.close,
                sentence=sentence,
            )
    return [out[i] for i in range(len(out))]


class FrameAnswer(Whole, Asked):
    """`irpreview frame --json`."""

    kind: Literal["framings"] = "framings"
    photo: str
    setting: SettingAnswer | None
    asked_time: AskedTimeAnswer | None
    """None = no time was asked for."""
    framings: list[FramingAnswer]
    """Best first."""
    wider_than_snap_mm: list[float]
    wider: str | None
    landscape: bool
    leads: bool
    """Whether anything leads in any of them."""
    doubts: list[str]
    viewpoint: ViewpointAnswer | None = None
    """Among the snaps given with it; null for a single one."""
    files: dict[str, str]


def frame_answer(
    analysis: Analysis, photo: str, files: Mapping[str, str], more_doubts: Sequence[Doubt] = ()
) -> FrameAnswer:
    """The framings of one photo."""
    found = analysis.framings
    return FrameAnswer(
        **dict(asked_of(analysis)),
        photo=photo,
        setting=setting_answer(analysis.setting),
        asked_time=asked_time_answer(analysis.asked_time),
        framings=[framing_answer(one) for one in found.best],
        wider_than_snap_mm=list(found.wider_than_snap_mm),
        wider=wider_sentence(found),
        landscape=analysis.verdict.gate.landscape,
        leads=found.leads,
        doubts=list(long_words((*analysis.doubts, *more_doubts))),
        files=dict(files),
    )
