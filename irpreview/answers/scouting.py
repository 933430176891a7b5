"""The snaps of a folder in their order as JSON holds them: one a line, and all of them in one file."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Annotated, Any, Literal

from pydantic import Field

from irpreview.answers.base import Answer, Whole, only_if_given
from irpreview.records import LeadChoice

Count = Annotated[int, Field(ge=0)]
Rank = Annotated[int, Field(ge=1)]
Share = Annotated[float, Field(ge=0.0, le=1.0)]


class ScoutSettings(Answer):
    """What the whole folder was judged with."""

    kit: str
    log_used: bool
    model: str
    wind_m_s: float | None
    shutter_s: float | None
    grade: Annotated[float, Field(ge=0.0, le=5.0)]
    planned_sun_deg: float | None
    planned_time: str | None
    haze: Literal["clear", "normal", "hazy"] | None


class ScoutedSnap(Answer):
    """One snap. The last three fields are there only where places were asked for."""

    rank: Rank
    contrast_rank: Rank
    in_view: Rank
    photo: str
    lead: LeadChoice
    landscape: bool
    sentence: str
    layered_contrast: Annotated[float, Field(ge=0.0, le=100.0)]
    parting: Share
    depth: Share
    range: Share
    separates: Count
    merges: Count
    uncertain: Count
    layers: Annotated[list[str], Field(min_length=1)]
    sky: Literal["clear", "textured", "overcast", "hazy", "none"]
    sky_okta: Annotated[int, Field(ge=0, le=8)] | None
    sky_texture_stops: Annotated[float, Field(ge=0.0)]
    shutter_s: Annotated[float, Field(gt=0.0)] | None
    lead_turns_at_wind_m_s: Annotated[float, Field(ge=0.0)] | None
    taken: str | None
    doubts: list[str]
    place: str | None = only_if_given()
    latitude_deg: Annotated[float, Field(ge=-90.0, le=90.0)] | None = only_if_given()
    longitude_deg: Annotated[float, Field(ge=-180.0, le=180.0)] | None = only_if_given()


class ScoutAnswer(Whole, ScoutedSnap):
    """One line of `irpreview scout --json`."""

    kind: Literal["scouted"] = "scouted"
    settings: ScoutSettings


class RefusedFile(Answer):
    """A file that could not be used."""

    photo: str
    why: str


class ScoutingAnswer(Whole):
    """The file scout.json."""

    kind: Literal["scouting"] = "scouting"
    order: Literal["lead", "contrast"]
    locations: bool
    settings: ScoutSettings | None
    snaps: list[ScoutedSnap]
    refused: list[RefusedFile]


def scout_answers(facts: Iterable[Mapping[str, Any]], settings: Mapping[str, Any]) -> list[ScoutAnswer]:
    """One answer for each snap; facts: `core.scouting.ranking.snap_facts` of each."""
    given = ScoutSettings.model_validate(dict(settings))
    return [ScoutAnswer.model_validate({**one, "settings": given}) for one in facts]


def scouting_answer(
    facts: Iterable[Mapping[str, Any]],
    refused: Sequence[tuple[str, str]],
    settings: Mapping[str, Any] | None,
    order: Literal["lead", "contrast"],
    *,
    locations: bool,
) -> ScoutingAnswer:
    """All snaps and all refused files; refused: (file, why in one line)."""
    return ScoutingAnswer(
        order=order,
        locations=locations,
        settings=ScoutSettings.model_validate(dict(settings)) if settings else None,
        snaps=[ScoutedSnap.model_validate(dict(one)) for one in facts],
        refused=[RefusedFile(photo=photo, why=why) for photo, why in refused],
    )
