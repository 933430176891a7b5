"""The card to take along from an analysis."""

from __future__ import annotations

from dataclasses import replace

from irpreview import __version__
from irpreview.analysis import Analysis
from irpreview.core.card.card import build_card
from irpreview.core.card.field_tables import WindCase
from irpreview.core.card.shot_card import ShotCard
from irpreview.errors import BadValue
from irpreview.io.card_files import small_picture


def card_of(analysis: Analysis, title: str, with_place: bool) -> ShotCard:
    """The card. Raises BadValue when there is no exposure to carry.

    Without its place it is worked out as if that were not known (`Analysis.without_place`).
    """
    if not with_place:
        analysis = analysis.without_place()
    if analysis.why_no_exposure is not None:
        raise BadValue(f"a card needs an exposure, and there is none: {analysis.why_no_exposure}")

    def in_wind(wind_m_s: float) -> WindCase:
        there = analysis.in_wind(wind_m_s)
        verdict, moves = there.verdict, there.foliage_movement
        return WindCase(
            lead=verdict.lead,
            setting=there.setting,
            shutter_s=there.shutter_s,
            blur_px=moves.blur_px if moves is not None else None,
            kind=verdict.subject.kind if verdict.subject is not None else None,
            wait_for=verdict.wait_for,
        )

    exposure = analysis.exposure
    if analysis.setting is not None:  # for the time asked for
        exposure = replace(exposure, recommended=analysis.setting, focus=analysis.focus)
    return build_card(
        title=title,
        snap=small_picture(analysis.photo.pixels),
        infrared=small_picture(analysis.rendering.picture),
        scene=analysis.scene,
        rendering=analysis.rendering,
        verdict=analysis.verdict,
        exposure=exposure,
        movement=analysis.movement,
        conditions=analysis.request.conditions,
        in_wind=in_wind,
        pixels_wide=analysis.photo.full_size[1],
        day_plan=analysis.day_plan,
        white_patch=analysis.white_patch,
        framing=next(iter(analysis.framings.best), None) if analysis.framings.leads else None,
        assumptions=analysis.doubts,
        place=analysis.photo.place,
        with_place=with_place,
        version=__version__,
        asked_time=analysis.asked_time,
    )
