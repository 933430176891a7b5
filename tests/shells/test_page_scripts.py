"""The page's scripts and style as a linter reads them: Node's own parser, and what the page's policy allows."""

import re
import shutil
import subprocess
from pathlib import Path

import pytest

import irpreview

WEB = Path(irpreview.__file__).parent / "web"
FIELD_PAGE = WEB.parent / "data" / "field_page"
SCRIPTS = sorted([*(WEB / "static").glob("*.js"), *FIELD_PAGE.glob("*.js")])


@pytest.mark.skipif(shutil.which("node") is None, reason="no node here")
@pytest.mark.parametrize("path", SCRIPTS, ids=lambda path: path.name)
def test_every_script_parses(path, tmp_path):
    # modules are parsed as such by their ending
    copy = tmp_path / (
        path.stem + (".mjs" if re.search(r"^(import|export) ", path.read_text(), re.MULTILINE) else ".js")
    )
    shutil.copy(path, copy)
    done = subprocess.run(["node", "--check", str(copy)], capture_output=True, text=True)
    assert done.returncode == 0, done.stderr


@pytest.mark.parametrize("path", SCRIPTS, ids=lambda path: path.name)
def test_scripts_import_only_each_other_and_ask_no_other_host(path):
    text = path.read_text()
    for named in re.findall(r"from '([^']+)'", text):
        assert (path.parent / named).is_file()
    assert not re.search(r"https?://", text)
    assert "eval(" not in text


def test_templates_hold_no_script_and_no_style_of_their_own():
    # the page's policy (script-src, style-src 'self') would refuse them
    pages = list((WEB / "templates").glob("*.html"))
    assert pages
    for path in pages:
        text = path.read_text()
        assert not re.search(r"\son[a-z]+=", text), path.name
        assert " style=" not in text, path.name
        assert not re.search(r"<script(?![^>]*src=)", text), path.name


def test_every_colour_of_the_style_is_a_token():
    text = (WEB / "static" / "page.css").read_text()
    rules = text.partition("* { box-sizing")[2]
    left = set(re.findall(r"#[0-9a-f]{3,8}\b", rules))
    # the seam and letters on the classes' own colours, and the three colours that a comparison is drawn in
    assert left <= {"#fff", "#000", "#e69f00", "#0072b2", "#888"}


def test_the_field_page_has_the_colours_of_the_page_and_no_code_in_its_markup():
    style, page = (path.read_text() for path in (FIELD_PAGE / "field.css", WEB / "static" / "page.css"))
    tokens, _, rules = style.partition("* { box-sizing")
    assert set(re.findall(r"#[0-9a-f]{3,8}\b", rules)) <= {"#ffffff"}  # the frame drawn into the picture
    assert set(re.findall(r"--[a-z]+(?:-[a-z]+)*: #[0-9a-f]+", tokens)) <= set(
        re.findall(r"--[a-z-]+: #[0-9a-f]+", page)
    )
    markup = (FIELD_PAGE / "field.html").read_text()
    assert not re.search(r"\son[a-z]+=", markup)
    assert " style=" not in markup
