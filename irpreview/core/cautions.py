"""The usual cautions, each on a stated trigger; local rules, warnings and licensed guides always go first."""

from __future__ import annotations

from collections.abc import Mapping

from irpreview.core.units import shutter_text
from irpreview.records import Conditions, Light

LONG_FRAME_S = 30.0
"""From here on the sun's image rests long enough on one spot to be worth a warning (assumed)."""
WATER_SHARE = 0.02
STRUCTURE_SHARE = 0.02
TREE_SHARE = 0.05
EDGE_GUST_M_S = 10.8
"""Beaufort 6: umbrellas hard to hold; a gust at an edge is stronger still."""
BRANCH_GUST_M_S = 17.2
"""Beaufort 8: twigs break off."""
GUST_OVER_MEAN = 1.5
"""Three-second gust over ten-minute mean in open country."""

SUN_EYES = (
    "this filter is no solar filter: never look at the sun through it, nor through an optical finder; "
    "what it lets through burns unseen"
)
SUN_FRAME = (
    "the sun in the frame for {time} can damage sensor and shutter: keep it out of the picture or behind something, "
    "and cap the lens between frames"
)
TIDE = "water: check tide and sea state for the whole stay, not only for the start, and keep the way back open"
EDGE = "gusts to about {gust:.0f} m/s: stay well back from edges and weigh the tripod down"
EDGE_UNKNOWN = "wind is not known: near an edge plan on gusts, stay back and weigh the tripod down"
RUIN = "structures: old walls and floors may give way; stay out of closed or unstable ruins, and ask on private land"
BRANCH = "gusts to about {gust:.0f} m/s: do not stand under trees"
LOCAL = "local rules, warnings and licensed guides go before anything said here"


def cautions_for(
    scene_share: Mapping[str, float] | None,
    light: Light | None,
    shutter_s: float | None,
    conditions: Conditions | None,
    *,
    sun_in_frame: bool | None = None,
) -> tuple[str, ...]:
    """Sentences for this scene, light, time [s] and day.

    Triggers: sun up and not known to be behind the camera; the same and `LONG_FRAME_S` or longer, or the sun known to
    be in the frame; water, structures or trees above their share of the picture; a gust at or above its limit, or wind
    unknown. `scene_share` None means the scene is unknown: only light and wind speak. The last sentence comes
    whenever one on the place was given.
    """
    said: list[str] = []
    sun_up = light is not None and light.sun_height_deg > -0.9
    may_be_ahead = sun_in_frame is True or (
        sun_in_frame is None and light is not None and light.sun_side in ("ahead", "unknown")
    )
    if sun_up and may_be_ahead:
        said.append(SUN_EYES)
        known_ahead = sun_in_frame is True or (light is not None and light.sun_side == "ahead")
        if known_ahead and shutter_s is not None and shutter_s >= LONG_FRAME_S:
            said.append(SUN_FRAME.format(time=shutter_text(shutter_s)))
        elif sun_in_frame is True:
            said.append(SUN_FRAME.format(time="long"))
    place = _of_the_place(scene_share or {}, conditions)
    return (*said, *place, LOCAL) if place else tuple(said)


def _of_the_place(share: Mapping[str, float], conditions: Conditions | None) -> list[str]:
    said = []
    if share.get("water", 0.0) >= WATER_SHARE:
        said.append(TIDE)
    gust = gust_m_s(conditions)
    if gust is not None and gust >= EDGE_GUST_M_S:
        said.append(EDGE.format(gust=gust))
    elif gust is None and share:
        said.append(EDGE_UNKNOWN)
    if share.get("structure", 0.0) >= STRUCTURE_SHARE:
        said.append(RUIN)
    if gust is not None and gust >= BRANCH_GUST_M_S and share.get("tree", 0.0) >= TREE_SHARE:
        said.append(BRANCH.format(gust=gust))
    return said


def gust_m_s(conditions: Conditions | None) -> float | None:
    """The gust to plan on [m/s]: as given, else 1.5 times the mean; None when neither is known."""
    if conditions is None:
        return None
    if conditions.gust_m_s is not None:
        return conditions.gust_m_s
    return None if conditions.wind_m_s is None else GUST_OVER_MEAN * conditions.wind_m_s
