"""The usual cautions, each on a stated trigger; local rules, warnings and licensed guides always go first."""

from __future__ import annotations

from collections.abc import Mapping

from irpreview.records import Caution, CautionKind, Conditions, Light

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


def cautions_for(
    scene_share: Mapping[str, float] | None,
    light: Light | None,
    shutter_s: float | None,
    conditions: Conditions | None,
    *,
    sun_in_frame: bool | None = None,
) -> tuple[Caution, ...]:
    """What to take care of for this scene, light, time [s] and day.

    Triggers: sun up and not known to be behind the camera; the same and `LONG_FRAME_S` or longer, or the sun known to
    be in the frame; water, structures or trees above their share of the picture; a gust at or above its limit, or wind
    unknown. The sea has a tide, a pond or lake none; of water of unknown kind it is told with an if, and last.
    `scene_share` None means the scene is unknown: only light and wind speak. Local rules are named
    whenever one on the place was given.
    """
    said: list[Caution] = []
    sun_up = light is not None and light.sun_height_deg > -0.9
    may_be_ahead = sun_in_frame is True or (
        sun_in_frame is None and light is not None and light.sun_side in ("ahead", "unknown")
    )
    if sun_up and may_be_ahead:
        said.append(Caution(CautionKind.SUN_EYES))
        known_ahead = sun_in_frame is True or (light is not None and light.sun_side == "ahead")
        if known_ahead and shutter_s is not None and shutter_s >= LONG_FRAME_S:
            said.append(Caution(CautionKind.SUN_FRAME, shutter_s=shutter_s))
        elif sun_in_frame is True:
            said.append(Caution(CautionKind.SUN_FRAME))
    place = _of_the_place(scene_share or {}, conditions)
    return (*said, *place, Caution(CautionKind.LOCAL_RULES)) if place else tuple(said)


def _of_the_place(share: Mapping[str, float], conditions: Conditions | None) -> list[Caution]:
    said = []
    kind = "unknown" if conditions is None else conditions.water_kind
    water = share.get("water", 0.0) >= WATER_SHARE
    if water and kind == "sea":
        said.append(Caution(CautionKind.TIDE))
    elif water and kind in ("stream", "falls"):
        said.append(Caution(CautionKind.STREAM))
    gust = gust_m_s(conditions)
    if gust is not None and gust >= EDGE_GUST_M_S:
        said.append(Caution(CautionKind.EDGE, gust_m_s=gust))
    elif gust is None and share:
        said.append(Caution(CautionKind.EDGE_WIND_UNKNOWN))
    if share.get("structure", 0.0) >= STRUCTURE_SHARE:
        said.append(Caution(CautionKind.RUIN))
    if gust is not None and gust >= BRANCH_GUST_M_S and share.get("tree", 0.0) >= TREE_SHARE:
        said.append(Caution(CautionKind.BRANCH, gust_m_s=gust))
    if water and kind == "unknown":
        said.append(Caution(CautionKind.TIDE_IF_TIDAL))
    return said


def gust_m_s(conditions: Conditions | None) -> float | None:
    """The gust to plan on [m/s]: as given, else 1.5 times the mean; None when neither is known."""
    if conditions is None:
        return None
    if conditions.gust_m_s is not None:
        return conditions.gust_m_s
    return None if conditions.wind_m_s is None else GUST_OVER_MEAN * conditions.wind_m_s
