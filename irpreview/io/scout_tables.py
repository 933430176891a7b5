"""The ranking as CSV for a spreadsheet, JSON for programs, GeoJSON for a map."""

from __future__ import annotations

import json
from typing import Any

from irpreview.answers.scouting import scouting_answer
from irpreview.core.scouting.ranking import COLUMNS, PLACE_COLUMNS, Scouting, all_facts, geojson
from irpreview.io.spreadsheet import is_live, write_rows


def printable(path: str) -> str:
    """A path as text: bytes that are no text become question marks in a box."""
    return path.encode("utf-8", "surrogateescape").decode("utf-8", "replace")


def scouting_csv(scouting: Scouting) -> str:
    """One row per snap, by rank; then one per refused file, with the reason alone. The same snaps give the same text.

    A path that a spreadsheet would take for a formula gets "./" in front, which names the same file.
    """
    columns = [*COLUMNS, *(PLACE_COLUMNS if scouting.with_places else ()), "refused"]
    rows = [
        {**facts, "photo": _safe(facts["photo"]), "layers": "; ".join(facts["layers"]), "refused": None}
        for facts in all_facts(scouting)
    ]
    rows += [{"photo": _safe(path), "refused": _one_line(why)} for path, why in scouting.refused]
    return write_rows(columns, rows)


def _safe(path: str) -> str:
    text = printable(path)
    return f"./{text}" if is_live(text) else text


def _one_line(text: str) -> str:
    return " ".join(printable(text).split())


def printable_facts(scouting: Scouting) -> list[dict[str, Any]]:
    """`all_facts` with file names that are text."""
    return [facts | {"photo": printable(facts["photo"])} for facts in all_facts(scouting)]


def scouting_json(scouting: Scouting) -> str:
    """The whole ranking as one JSON object, see data/schemas/scouting.json."""
    refused = [(printable(path), _one_line(why)) for path, why in scouting.refused]
    whole = scouting_answer(
        printable_facts(scouting), refused, scouting.settings, scouting.order, locations=scouting.with_places
    )
    return json.dumps(whole.as_json(), ensure_ascii=False, indent=1, allow_nan=False) + "\n"


def scouting_geojson(scouting: Scouting) -> str:
    """The snaps with a known place as GeoJSON text (RFC 7946)."""
    whole = geojson(scouting)
    for feature in whole["features"]:
        feature["properties"]["photo"] = printable(feature["properties"]["photo"])
    return json.dumps(whole, ensure_ascii=False, indent=1, allow_nan=False) + "\n"
