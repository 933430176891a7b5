"""The help page is written without loading the commands; it must say what they say."""

from __future__ import annotations

import inspect
import subprocess
import sys

from irpreview import cli
from irpreview.cli.reference import commands


def test_the_first_lines_are_those_of_the_commands():
    app = cli.build_app()
    own = {words[1]: inspect.getdoc(callback) for words, callback in commands(app) if len(words) == 2}
    for group in app.registered_groups:
        assert group.name is not None
        assert group.typer_instance is not None
        own[group.name] = group.typer_instance.info.help
    assert {name: (text or "?").splitlines()[0] for name, text in own.items()} == cli.COMMANDS


def test_the_help_page_loads_neither_arrays_nor_pictures():
    """What makes it fast: none of the heavy packages is loaded (`python -X importtime` says how long each takes)."""
    code = (
        "import sys\nfrom irpreview.cli import main\ntry:\n    main(['--help'])\nexcept SystemExit:\n    pass\n"
        "print(sorted({'numpy', 'cv2', 'pydantic', 'gradio', 'scipy'} & set(sys.modules)), file=sys.stderr)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, timeout=60, check=True)
    assert done.stderr.strip() == "[]"
    assert all(name in done.stdout for name in cli.COMMANDS)
