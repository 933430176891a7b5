"""One place of the field page from an analysis."""

from __future__ import annotations

from irpreview.analysis import Analysis
from irpreview.cards import card_of
from irpreview.core.exposure.calculator import calculator_for
from irpreview.core.field_log.entries import kit_key
from irpreview.core.field_page import FieldPlace
from irpreview.errors import BadValue


def field_place_of(analysis: Analysis, title: str, with_place: bool) -> FieldPlace:
    """The place; without its location as if that were unknown. Raises BadValue where there is no exposure."""
    if not with_place:
        analysis = analysis.without_place()
    if analysis.why_no_exposure is not None:
        raise BadValue(f"no setting to take outdoors: {analysis.why_no_exposure}")
    card = card_of(analysis, title, with_place)
    return FieldPlace(
        card=card,
        framings=analysis.framings,
        calculator=calculator_for(card.exposure, analysis.kit, analysis.request.conditions.temperature_c),
        picture=analysis.rendering.picture,
        snap_name=analysis.photo.name,
        snap_sha256=analysis.photo.content_sha256,
        kit_key=kit_key(analysis.kit),
    )
