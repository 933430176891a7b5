"""The list of places: TOML and CSV say the same, and what is wrong is said in one line."""

import os

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from irpreview.errors import BadValue
from irpreview.io.places_file import LARGEST_BYTES, read_places


def written(folder, name: str, text: str):
    path = folder / name
    path.write_text(text, encoding="utf-8")
    return path


TOML = """
[[place]]
name = "Moor tower"
at = [57.5, -20.1]
heading = 210
stay = 45

[[place]]
name = "Ford"
at = "57.51,-20.2"
from = 09:30:00
until = "12:00"
focal = 35
snap = "snaps/ford.jpg"
"""
CSV = 'name,at,heading,focal,stay,from,until,snap\nMoor tower,"57.5,-20.1",210,,45,,,\n'
CSV += 'Ford,"57.51,-20.2",,35,,09:30,12:00,snaps/ford.jpg\n'


def test_toml_and_csv_say_the_same(tmp_path) -> None:
    toml, csv = read_places(written(tmp_path, "p.toml", TOML)), read_places(written(tmp_path, "p.csv", CSV))

    def bare(entries):
        return [(e.name, e.at, e.heading_deg, e.focal_35mm_mm, e.stay, e.hours, e.snap) for e in entries]

    assert bare(toml) == bare(csv)
    assert toml[0].at == "57.5,-20.1"
    assert toml[1].hours == ("09:30", "12:00")
    assert toml[1].snap == tmp_path / "snaps" / "ford.jpg"


@pytest.mark.parametrize(
    ("name", "text", "words"),
    [
        ("p.toml", "place = 3", "one \\[\\[place\\]\\]"),
        ("p.toml", "[[spot]]\nat = '1,2'", "holds something else"),
        ("p.toml", "[[place]]\nat = '1,2", "is not TOML"),
        ("p.toml", "", "lists 0 places"),
        ("p.toml", "[[place]]\nname = 'x'", "place 1 has neither at nor snap"),
        ("p.toml", "[[place]]\nat = '1,2'\nheadin = 3", "'headin' is no key"),
        ("p.toml", "[[place]]\nat = '1,2'\nheading = 700", "heading = 700 must be a number from -360 to 360"),
        ("p.toml", "[[place]]\nat = '1,2'\nfocal = 'wide'", "focal must be a number"),
        ("p.toml", "[[place]]\nat = '1,2'\nfrom = '09:00'", "from and until go together"),
        ("p.toml", "[[place]]\nat = true", "at = True must be a text"),
        ("p.csv", "name,where\nx,y\n", "column 2 has a name that is not known"),
        ("p.csv", "name\n", "lists 0 places"),
    ],
)
def test_what_is_wrong_is_said_in_one_line(tmp_path, name: str, text: str, words: str) -> None:
    with pytest.raises(BadValue, match=words) as refused:
        read_places(written(tmp_path, name, text))
    assert "\n" not in str(refused.value)


def test_a_pipe_and_endless_names_do_not_hang(tmp_path) -> None:
    os.mkfifo(tmp_path / "pipe.toml")
    with pytest.raises(BadValue, match="ordinary"):
        read_places(tmp_path / "pipe.toml")
    with pytest.raises(BadValue, match="dots"):
        read_places(written(tmp_path, "long.toml", ".".join("a" * 90_000) + "=1"))


def test_no_file_a_folder_a_picture_and_a_book_are_refused(tmp_path) -> None:
    with pytest.raises(BadValue, match="does not exist"):
        read_places(tmp_path / "nowhere.toml")
    with pytest.raises(BadValue, match="is a folder"):
        read_places(tmp_path)
    (tmp_path / "x.toml").write_bytes(b"\xff\xd8\xff\xe0" * 10)
    with pytest.raises(BadValue, match="UTF-8"):
        read_places(tmp_path / "x.toml")
    (tmp_path / "y.toml").write_bytes(b"#" * (LARGEST_BYTES + 1))
    with pytest.raises(BadValue, match="more than the 200 kB"):
        read_places(tmp_path / "y.toml")


@settings(max_examples=150, deadline=None)
@given(st.binary(max_size=200), st.sampled_from([".toml", ".csv"]))
def test_any_bytes_are_a_list_or_refused(tmp_path_factory, data: bytes, suffix: str) -> None:
    path = tmp_path_factory.mktemp("p") / f"list{suffix}"
    path.write_bytes(data)
    said = ""
    try:
        assert read_places(path)
    except BadValue as error:
        said = str(error)
    assert "\n" not in said
