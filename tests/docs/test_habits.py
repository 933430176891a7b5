"""The habits of the project, held by the tools that DEVELOPERS.md names."""

import re
import subprocess
import sys
from pathlib import Path

import pytest

import irpreview

CHECKOUT = Path(__file__).resolve().parents[2]
TOP_LEVEL = {"README.md", "DEVELOPERS.md", "pyproject.toml", "irpreview", "models", "tests", "demo_scenes", "shared"}


def run(*command: str) -> None:
    done = subprocess.run([sys.executable, "-m", *command], cwd=CHECKOUT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout[-4000:] + done.stderr[-2000:]


def test_ruff_finds_nothing():
    run("ruff", "check", ".")


def test_code_is_formatted():
    run("ruff", "format", "--check", ".")


def test_mypy_finds_nothing():
    """Over the package, the tests, the training and the scene scripts; settings in pyproject.toml."""
    run("mypy")


def test_imports_go_only_downwards():
    done = subprocess.run(
        [Path(sys.executable).with_name("lint-imports")], cwd=CHECKOUT, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stdout[-4000:] + done.stderr[-2000:]


def test_public_names_are_what_the_package_says():
    for name in irpreview.__all__:
        assert getattr(irpreview, name) is not None
    with pytest.raises(AttributeError, match="no attribute 'forecast'"):
        _ = irpreview.forecast


def test_the_top_level_holds_only_what_the_design_names():
    listed = subprocess.run(["git", "ls-files"], cwd=CHECKOUT, capture_output=True, text=True, check=False)
    if listed.returncode:
        pytest.skip("not a git checkout")
    top = {line.split("/")[0] for line in listed.stdout.splitlines()}
    assert {name for name in top if not name.startswith(".")} <= TOP_LEVEL


def test_every_package_module_says_what_it_is_for():
    modules = list((CHECKOUT / "irpreview").rglob("*.py"))
    assert len(modules) > 100
    for path in modules:
        assert re.match(r'\s*(r?""")', path.read_text()), f"{path} opens without a docstring"
