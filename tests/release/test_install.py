"""What is handed out works outside the checkout: wheel and sdist, each Python there is, and the oldest pins.

Minutes long, and they install packages: `python -m pytest -m long tests/release`.
"""

from __future__ import annotations

import json
import os
import re
import shutil
import signal
import subprocess
import sys
import tarfile
import time
import tomllib
import urllib.request
import zipfile
from pathlib import Path

import pytest

import irpreview

CHECKOUT = Path(__file__).resolve().parents[2]
PROJECT = tomllib.loads((CHECKOUT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
SUPPORTED = ("3.11", "3.12", "3.13")

pytestmark = pytest.mark.long


def run(*words: object, where: Path, **environment: str) -> str:
    """Run a command far from the checkout; its stdout."""
    clean = {key: value for key, value in os.environ.items() if key not in ("PYTHONPATH", "VIRTUAL_ENV")}
    done = subprocess.run(
        [str(word) for word in words], cwd=where, env=clean | environment, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, f"{words}\n{done.stdout[-3000:]}\n{done.stderr[-3000:]}"
    return done.stdout


def new_environment(folder: Path, python: str = sys.executable) -> Path:
    """A fresh virtual environment; the path of its Python."""
    run(python, "-m", "venv", folder, where=folder.parent)
    return folder / ("Scripts/python.exe" if os.name == "nt" else "bin/python")


def interpreters() -> dict[str, str | None]:
    """Version and a Python that runs and is of it, else None."""
    found: dict[str, str | None] = {}
    for version in SUPPORTED:
        candidates = [shutil.which(f"python{version}")]
        candidates += sorted(map(str, (Path.home() / ".pyenv" / "versions").glob(f"{version}.*/bin/python")))
        found[version] = next((path for path in candidates if path and _is_version(path, version)), None)
    return found


def _is_version(path: str, version: str) -> bool:
    told = subprocess.run([path, "--version"], capture_output=True, text=True, check=False)
    return told.returncode == 0 and told.stdout.startswith(f"Python {version}.")


@pytest.fixture(scope="module")
def built(tmp_path_factory) -> dict[str, Path]:
    """sdist from a clean clone, wheel from that sdist, both by `python -m build`."""
    place = tmp_path_factory.mktemp("build")
    run("git", "clone", "-q", CHECKOUT, place / "clone", where=place)
    python = new_environment(place / "tools")
    run(python, "-m", "pip", "install", "-q", "build", where=place)
    run(python, "-m", "build", "--outdir", place / "dist", place / "clone", where=place)
    (wheel,) = (place / "dist").glob("*.whl")
    (sdist,) = (place / "dist").glob("*.tar.gz")
    return {"wheel": wheel, "sdist": sdist}


def test_wheel_holds_what_the_program_needs_and_nothing_else(built):
    with zipfile.ZipFile(built["wheel"]) as wheel:
        names = wheel.namelist()
        about = next(name for name in names if name.endswith("METADATA"))
        metadata = wheel.read(about).decode()
    for wanted in (
        "irpreview/data/models/scene_network.onnx",
        "irpreview/data/models/scene_network.json",
        "irpreview/data/demo/moor_tower/photo.jpg",
        "irpreview/data/sources.toml",
        "irpreview/data/schemas/judge.json",
        "irpreview/docs/guide.md",
        "irpreview/docs/command-line.md",
        "irpreview/docs/pictures/three_views.jpg",
        "irpreview/py.typed",
    ):
        assert wanted in names
    assert all(name.startswith(("irpreview/", "irpreview-")) for name in names)
    assert f"Version: {irpreview.__version__}" in metadata
    assert any(name.endswith("LICENSE") for name in names)
    assert built["wheel"].stat().st_size < 25e6


def test_sdist_holds_the_tests_and_no_research_data(built):
    with tarfile.open(built["sdist"]) as sdist:
        names = [name.split("/", 1)[1] for name in sdist.getnames() if "/" in name]
    for wanted in (
        "README.md",
        "DEVELOPERS.md",
        "tests/core/rendering/test_tones.py",
        "models/train.py",
        "pyproject.toml",
    ):
        assert wanted in names
    assert not [name for name in names if "rgb_nir_pairs" in name or "labelled_scenes" in name]


@pytest.fixture(scope="module")
def installed(built, tmp_path_factory) -> Path:
    """The Python of an environment that holds the wheel and nothing of the checkout."""
    python = new_environment(tmp_path_factory.mktemp("wheel") / "environment")
    run(python, "-m", "pip", "install", "-q", built["wheel"], where=python.parent)
    return python


def test_first_readme_command_from_a_clean_clone(tmp_path):
    """Word for word, as it stands in README."""
    block = re.search(r"```\n(python3 -m venv .*irpreview demo)\n```", (CHECKOUT / "README.md").read_text("utf-8"))
    assert block
    run("git", "clone", "-q", CHECKOUT, tmp_path / "clone", where=tmp_path)
    out = run("bash", "-c", block[1], where=tmp_path / "clone")
    assert "moor tower" in out
    assert (tmp_path / "clone" / "irpreview-demo" / "snap.jpg").exists()


def test_the_wheel_does_the_main_job_without_the_checkout(installed, tmp_path):
    program = installed.with_name("irpreview")
    where = run(installed, "-c", "import irpreview; print(irpreview.__file__)", where=tmp_path)
    assert str(CHECKOUT) not in where
    assert run(program, "--version", where=tmp_path).strip() == f"irpreview {irpreview.__version__}"
    facts = json.loads(run(program, "demo", "--json", where=tmp_path))
    assert facts["schema"] == "irpreview/1"
    snap = Path(where.strip()).parent / "data" / "demo" / "moor_tower" / "photo.jpg"
    told = run(program, "judge", snap, "--wind", "4bft", "--shutter", "30", where=tmp_path)
    assert "lead" in told
    assert "Guide" in run(program, "guide", where=tmp_path)
    run(program, "card", snap, "--out", "cards", where=tmp_path)
    assert len(list((tmp_path / "cards").iterdir())) == 3


def test_the_page_of_the_wheel_answers(installed, tmp_path):
    words = [installed.with_name("irpreview"), "serve", "--no-open", "--port", "8765"]
    with subprocess.Popen(words, cwd=tmp_path, stderr=subprocess.PIPE, text=True) as page:
        try:
            assert page.stderr is not None
            line = page.stderr.readline()
            address = re.search(r"http://\S+", line)
            assert address, line
            for _ in range(60):
                try:
                    with urllib.request.urlopen(address[0], timeout=2) as answer:
                        assert answer.status == 200
                        break
                except OSError:
                    time.sleep(0.5)
            else:
                pytest.fail("the page did not answer within 30 s")
        finally:
            page.send_signal(signal.SIGINT)
            page.wait(20)
    assert page.returncode == 0


@pytest.mark.parametrize("version", SUPPORTED)
def test_each_python(version, built, tmp_path):
    """The wheel and the quick core of the suite under every supported Python that this machine has."""
    python = interpreters()[version]
    if python is None:
        pytest.skip(f"no Python {version} on this machine")
    inside = new_environment(tmp_path / "environment", python)
    run(inside, "-m", "pip", "install", "-q", built["wheel"], *tools(), where=tmp_path)
    core_of_the_suite(inside, built["sdist"], tmp_path)


def test_oldest_pins(built, tmp_path):
    """Every direct requirement at the lowest release that pyproject.toml allows, what they need in turn at the newest.

    Old releases warn about new ones underneath, so warnings are no errors here.
    """
    python = interpreters()["3.11"]
    if python is None:
        pytest.skip("no Python 3.11 on this machine")
    helper, inside = new_environment(tmp_path / "helper"), new_environment(tmp_path / "environment", python)
    run(helper, "-m", "pip", "install", "-q", "uv", where=tmp_path)
    # What a wheel requires is no direct requirement to the installer, so each is named here, and the wheel comes alone.
    install = (helper.with_name("uv"), "pip", "install", "-q", "--python", inside)
    run(*install, "--resolution", "lowest-direct", *PROJECT["dependencies"], *tools(), where=tmp_path)
    run(*install, "--no-deps", built["wheel"], where=tmp_path)
    there = json.loads(run(inside, "-c", VERSIONS, where=tmp_path))
    for line in PROJECT["dependencies"]:
        name, lowest = re.split(r">=|,", line)[:2]
        assert same_release(there[name.lower()], lowest), (line, there[name.lower()])
    core_of_the_suite(inside, built["sdist"], tmp_path, "-o", "filterwarnings=default")


VERSIONS = """
import importlib.metadata, json
found = importlib.metadata.distributions()
print(json.dumps({one.name.lower().replace("_", "-"): one.version for one in found}))
"""


def same_release(version: str, lowest: str) -> bool:
    """Whether a version is the lowest there is of what was asked for: 2.0.0 of 2.0."""
    return f"{version}.0.0".startswith(f"{lowest}.")


def tools() -> list[str]:
    """What the core of the suite needs besides irpreview."""
    names = ("pytest", "pytest-timeout", "hypothesis", "jsonschema", "astral", "pypdf")
    return [line for line in PROJECT["optional-dependencies"]["test"] if re.split(r"[<>=]", line)[0] in names]


def core_of_the_suite(python: Path, sdist: Path, place: Path, *more: str) -> None:
    """Run the tests of core, io and command line out of the sdist against the installed package, not the checkout's."""
    with tarfile.open(sdist) as archive:
        archive.extractall(place / "source", filter="data")
    (source,) = (place / "source").iterdir()
    shutil.move(source / "irpreview", place / "irpreview-of-the-sdist")
    program = python.with_name("irpreview")
    run(program, "demo", where=place)
    words = ("-m", "pytest", "-q", "-x", "-p", "no:cacheprovider", "tests/core", "tests/io", "tests/shells", *more)
    out = run(python, *words, "--ignore=tests/shells/test_soak.py", where=source)
    assert " passed" in out
