"""Several snaps side by side: from which standpoint of one place to work, and why."""

from __future__ import annotations

from collections.abc import Sequence

from irpreview.core.framing.search import kept_in_wind, leads
from irpreview.core.scouting.places import group_places, letters
from irpreview.records import Place
from irpreview.records.framing import Framing, Framings, ViewpointReason, Viewpoints

CLOSE = 0.9
"""From this share of the best one's worth the next standpoint is about as good."""
_STRONGER, _CONTRAST, _CALMER = 0.08, 5.0, 0.1
"""Least differences that are given as a reason: strength of the lead, layered contrast, share that the wind leaves."""


def compare_viewpoints(places: Sequence[Place | None], found: Sequence[Framings]) -> tuple[Viewpoints, ...]:
    """One answer for each place, in the order in which they come; snaps whose place is not known count as one.

    places, found: of the snaps, in one order. Snaps are put to places as scouting does.
    """
    spots = group_places(places)[1]
    out = []
    for spot in dict.fromkeys(spots):
        members = [i for i, one in enumerate(spots) if one == spot]
        order = sorted(members, key=lambda i: -_worth(found[i]))
        best = found[order[0]].best[0] if found[order[0]].best else None
        rival = found[order[1]].best[0] if len(order) > 1 and found[order[1]].best else None
        because: tuple[ViewpointReason, ...] = ()
        if best is not None and rival is not None:
            because = _because(best, rival)
        close = best is not None and rival is not None and rival.worth > CLOSE * best.worth
        out.append(Viewpoints(None if spot is None else letters(spot), tuple(order), because, close))
    return tuple(out)


def _worth(found: Framings) -> float:
    return found.best[0].worth if found.best else -1.0


def _because(best: Framing, rival: Framing) -> tuple[ViewpointReason, ...]:
    """Where the best framing of one standpoint is better than that of the next."""
    out: list[ViewpointReason] = []
    if leads(best.verdict) and not leads(rival.verdict):
        out.append("something_leads")
    elif best.verdict.strength >= rival.verdict.strength + _STRONGER:
        out.append("leads_more_strongly")
    elif best.verdict.clearness == "clear" and rival.verdict.clearness != "clear":
        out.append("leads_more_clearly")
    if best.verdict.layered_contrast >= rival.verdict.layered_contrast + _CONTRAST:
        out.append("layers_part_better")
    if kept_in_wind(best.verdict, best.movement) >= kept_in_wind(rival.verdict, rival.movement) + _CALMER:
        out.append("holds_better_in_the_wind")
    return tuple(out)
