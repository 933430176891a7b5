"""The card and the field page as the page hands them over."""

import base64
import json
import re

from tests.shells.page_desk import give


def test_cards_are_handed_over_without_a_place_and_nothing_is_left(desk, token, small):
    shown = give(desk, token, small)[-1]
    made = desk.make_card(token, "../../<b>Tower</b>", False)
    assert [one["kind"] for one in made.values["cards"]] == ["PDF", "PNG", "JSON"]
    assert all("/" not in one["name"] for one in made.values["cards"])
    text = base64.b64decode(made.values["cards"][2]["address"].partition(",")[2]).decode()
    assert json.loads(text)["place"] is None
    assert shown.values["entries"]["place"].split(",")[0][:5] not in text
    assert not [path for path in desk.folder.rglob("*") if path.is_file()]


def test_the_field_page_of_all_snaps_comes_without_places_and_nothing_is_left(desk, token, small):
    assert "no snap yet" in list(desk.make_field_page(token, False))[-1].status
    shown = give(desk, token, small)[-1]
    give(desk, token, small)
    *before, made = desk.make_field_page(token, False)
    assert [one.status for one in before if one.status.startswith("The field page: place")] == [
        "The field page: place 1 of 2.",
        "The field page: place 2 of 2.",
    ]
    assert "without locations" in made.status
    (only,) = made.values["cards"]
    text = base64.b64decode(only["address"].partition(",")[2]).decode()
    found = re.search(r'id="facts">(.*?)</script>', text, re.DOTALL)
    assert found is not None
    facts = json.loads(found[1])
    assert len(facts["places"]) == 2
    assert facts["with_place"] is False
    assert shown.values["entries"]["place"].split(",")[0][:5] not in re.sub(r"data:image[^\"]*", "", text)
    assert not [path for path in desk.folder.rglob("*") if path.is_file()]
    with_place = list(desk.make_field_page(token, True))[-1].values["cards"][0]["address"]
    assert shown.values["entries"]["place"].split(",")[0][:5] in base64.b64decode(with_place.partition(",")[2]).decode()
