"""The documents hold: every command in them runs, every option is in the reference, every link leads somewhere."""

from __future__ import annotations

import json
import re
import shlex
import shutil
import tomllib
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

import irpreview
from irpreview import cli
from irpreview.answers.field_notes import FieldNote
from irpreview.cli.guide import guide_pages
from irpreview.cli.reference import command_reference, commands, parameters
from irpreview.records import CLASS_WORDS
from tests.core.simulated_frames import draw, picture_pair
from tests.docs.documents import CHECKOUT, DOCS, GUIDE, README, links, typed_commands
from tests.shells.test_cli_expose import save

PAGES = sorted([README, CHECKOUT / "DEVELOPERS.md", *DOCS.glob("*.md"), *CHECKOUT.glob("*/README.md")])
SCENE = CHECKOUT / "demo_scenes" / "ruin_by_the_tarn"
RUN_ELSEWHERE = {"irpreview serve", "irpreview serve --lan"}
"""Ends only when stopped: tests/browser and tests/release start it."""


def call(words: list[str]) -> int:
    with pytest.raises(SystemExit) as left:
        cli.main(words)
    return int(left.value.code or 0)


# ---- the reference of the command line


def test_the_reference_is_what_the_commands_say():
    """After a change: python -m irpreview.cli.reference > irpreview/docs/command-line.md"""
    assert (DOCS / "command-line.md").read_text(encoding="utf-8") == command_reference()


def test_the_reference_names_the_options_of_every_help(capsys):
    told = {" ".join(words[1:]): parameters(callback) for words, callback in commands(cli.build_app())}
    assert len(told) > 20
    for words, taken in told.items():
        assert call([*words.split(), "--help"]) == 0
        # names stand at the start of a line of the list; inside sentences other commands' options are named
        shown = re.findall(r"^ {2}(-[^ ].*?)(?: {2,}|$)", capsys.readouterr().out, re.MULTILINE)
        in_help = {name for line in shown for name in re.findall(r"(?<![\w-])--?[a-z][\w-]*", line)} - {"-h", "--help"}
        in_reference = {part for p in taken for name in p.names for part in name.split("/")}
        assert in_reference == in_help, words


# ---- what a person is told to type


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """A photographer's folder: snaps, a clip, frames with and without the filter, even frames of a wall."""

    place = tmp_path_factory.mktemp("photographer")
    shutil.copy(SCENE / "clip.mp4", place / "clip.mp4")
    (place / "snaps").mkdir()
    for scene, name in (("ruin_by_the_tarn", "snap.jpg"), ("plain_blue_lea", "other.jpg"), ("low_flats", "third.jpg")):
        with Image.open(CHECKOUT / "demo_scenes" / scene / "photo.jpg") as photo:
            # small, so that the answers are quick
            photo.resize((512, 384)).save(place / name, quality=92, exif=photo.info["exif"])
        shutil.copy(place / name, place / "snaps" / name)
    plain, filtered = picture_pair(draw(seed=21, leaves=0.0), 13.8, 3.2, off_stops=-1.2)
    save(plain, place / "plain.jpg")
    save(filtered, place / "filtered.jpg")
    tones = 1.6 * (np.asarray(Image.open(SCENE / "infrared.png"), float) / 255) ** 2
    frame = Image.fromarray((255 * np.clip(0.85 * tones, 0, 1) ** (1 / 2.2)).astype(np.uint8))
    frame.save(place / "frame.jpg", quality=92)
    (place / "frames").mkdir()
    shutil.copy(place / "frame.jpg", place / "frames" / "frame.jpg")
    y, x = np.mgrid[-1:1:240j, -1.5:1.5:360j]
    for i in (1, 2, 3):
        rng = np.random.default_rng(i)
        wall = 0.18 * (1 + 0.25 * np.exp(-(x**2 + y**2) / 0.1)) + rng.normal(0, 0.004, x.shape)
        code = (255 * wall.clip(0, 1) ** (1 / 2.2)).astype(np.uint8)
        Image.fromarray(np.dstack([code] * 3)).save(place / f"wall{i}.jpg", quality=95)
    note = dict.fromkeys(FieldNote.model_fields) | {"uid": "0" * 32, "kind": "plan", "outcome": "unknown", "notes": "W"}
    note |= {"title": "Tarn", "snap_name": "snap.jpg", "snap_sha256": "", "kit_name": "unmodified-720", "kit_key": ""}
    page = {"schema": "irpreview/1", "kind": "field_notes", "page": "0" * 16, "version": "0.1.0", "frames": [note]}
    (place / "field-notes.json").write_text(json.dumps(page))
    return place


@pytest.mark.parametrize("document", [README, GUIDE], ids=["README", "guide"])
def test_every_command_runs(document, folder, monkeypatch, capsys, tmp_path):
    monkeypatch.chdir(folder)
    monkeypatch.setenv("IRPREVIEW_LOG", str(tmp_path / "log.sqlite"))
    if document == GUIDE:  # README's on the cores that there are; the guide's as on a machine with one
        for module in ("scouting", "home_frames"):
            monkeypatch.setattr(f"irpreview.{module}.cores", lambda: 1)
    typed = typed_commands(document)
    assert len(typed) >= 10
    for line in typed:
        if line in RUN_ELSEWHERE:
            continue
        status = call(shlex.split(line)[1:])
        out, err = capsys.readouterr()
        assert status == 0, f"{line}: {err[-800:]}"
        assert "Traceback" not in out + err, line
    assert (folder / "pictures" / "snap-infrared.jpg").exists()


def _text(page: Path) -> str:
    return page.read_text(encoding="utf-8")


def test_every_command_in_the_texts_exists():
    """`irpreview WORD` in running text names a command."""
    known = {words[1] for words, _ in commands(cli.build_app())}
    named = [(page.name, word) for page in PAGES for word in re.findall(r"`irpreview ([a-z][\w-]*)", _text(page))]
    assert len(named) > 20
    for page, word in named:
        assert word in known, f"{page}: irpreview {word}"


def test_every_option_in_the_guide_exists():
    known = {
        part
        for _, callback in commands(cli.build_app())
        for parameter in parameters(callback)
        for name in parameter.names
        for part in name.split("/")
    }
    named = re.findall(r"`(--[\w-]+)", _text(GUIDE))
    assert len(named) > 20
    for option in named:
        assert option in known | {"--help"}, option


# ---- pages


@pytest.mark.parametrize("document", PAGES, ids=[str(path.relative_to(CHECKOUT)) for path in PAGES])
def test_links_lead_somewhere(document):
    for target in links(document):
        assert (document.parent / target).exists(), target


def test_guide_prints_each_page_and_says_where_they_are(capsys):
    assert call(["guide"]) == 0
    out, err = capsys.readouterr()
    assert out == GUIDE.read_text(encoding="utf-8")
    assert "glossary" in err
    assert str(DOCS) in err
    for name, path in guide_pages().items():
        assert call(["guide", name]) == 0
        assert capsys.readouterr().out == path.read_text(encoding="utf-8")
    assert call(["guide", "nowhere"]) == 2
    assert "how-it-works" in capsys.readouterr().err


def test_guide_missing_is_one_line(capsys, monkeypatch, tmp_path):
    monkeypatch.setattr("irpreview.io.paths.PACKAGE", tmp_path)
    assert call(["guide"]) == 1
    assert "guide is missing" in capsys.readouterr().err


def test_the_version_has_one_place_and_its_lines_in_the_changelog():
    assert "version" not in tomllib.loads((CHECKOUT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    assert f"**{irpreview.__version__}**" in (DOCS / "changelog.md").read_text(encoding="utf-8")


def test_glossary_is_in_order_and_covers_the_classes():
    text = (DOCS / "glossary.md").read_text(encoding="utf-8")
    terms = re.findall(r"^\*\*(.+?)\*\*", text, re.MULTILINE)
    assert [t.lower() for t in terms] == sorted(t.lower() for t in terms)
    for words in CLASS_WORDS.values():
        assert words in text.lower(), words


def test_figures_say_where_they_come_from():
    """Each part of the script that measures the figures is named on the page that states them."""
    script = Path(CHECKOUT / "tests" / "benchmarks" / "figures.py").read_text(encoding="utf-8")
    page = (DOCS / "how-it-works.md").read_text(encoding="utf-8")
    named = re.findall(r"figures\.py ([a-z ]+)`", page)
    assert named
    for word in named:
        for part in word.split():
            assert f"def {part}(" in script
