"""What all tests share: where the research photographs are, and small real photographs that everybody has."""

import gc
import os
import tempfile
import uuid
from collections.abc import Iterator
from pathlib import Path

import cv2
import numpy as np
import pytest
from hypothesis import settings
from sklearn.datasets import load_sample_image

from tests.remembering import remembered_steps

os.environ.setdefault("GRADIO_ANALYTICS_ENABLED", "False")
# No test may read or write the log of whoever runs it.
os.environ["IRPREVIEW_LOG"] = str(Path(tempfile.gettempdir()) / f"irpreview-tests-{os.getpid()}" / "log.sqlite")
# The same examples in each run, so that a red run can be had again; `--hypothesis-profile=default` looks for new ones.
settings.register_profile("suite", derandomize=True, deadline=None, database=None)
settings.load_profile("suite")
CHECKOUT = Path(__file__).resolve().parents[1]


LONGEST_FIRST = (
    *("test_page.py", "test_one_answer.py", "test_habits.py", "test_documents.py", "test_framing.py", "test_serve.py"),
    *("test_firefox.py", "test_field_page.py", "test_log.py", "test_take_along.py", "test_stop.py"),
    *("test_scout.py", "test_cli_card.py", "test_edges.py", "test_research_pairs.py", "test_gaps_real.py"),
    *("test_view_factors.py", "test_demo_scenes.py", "test_clip_motion.py", "test_scout_files.py"),
    *("test_cli_log_home.py", "test_exports_without_place.py", "test_cli_field_page.py", "test_matching_real.py"),
)
"""Files of 20 s and more, in the order in which they are begun: the longest first, so that no worker is left alone with
one of them at the end; those with a browser in one run, so that one worker's server and browser serve them all.
"""


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """The longest files first; inside a file the order stays."""
    place = {name: number for number, name in enumerate(LONGEST_FIRST)}
    items.sort(key=lambda item: place.get(item.path.name, len(place)))


@pytest.fixture(autouse=True, scope="session")
def steps_remembered() -> Iterator[None]:
    """The network and the other costly steps are asked once a run for the same inputs."""
    with remembered_steps():
        yield


@pytest.fixture(autouse=True)
def own_log(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """A log of its own for each test: what one logs teaches no other. The page in the browser keeps one for all."""
    if "browser" in request.path.parts:
        yield
        return
    with pytest.MonkeyPatch.context() as patched:
        patched.setenv("IRPREVIEW_LOG", str(tmp_path_factory.getbasetemp() / f"log-{uuid.uuid4().hex}" / "log.sqlite"))
        yield


@pytest.fixture(autouse=True, scope="module")
def framework_leftovers(request: pytest.FixtureRequest) -> Iterator[None]:
    """What the page's framework leaves unclosed is collected with the tests that opened it, where its warnings are
    ignored, not in a later test that has nothing to do with it."""
    yield
    if "browser" in request.path.parts or request.path.name == "test_doors.py":
        gc.collect()


def read_picture(path: Path | str, how: int = cv2.IMREAD_COLOR) -> np.ndarray:
    """The picture in a file as OpenCV reads it (BGR, or as `how` says); a file that is none fails the test."""
    picture = cv2.imread(str(path), how)
    assert picture is not None, f"{path} holds no picture"
    return picture


def research_folder() -> Path | None:
    """Folder with rgb_nir_pairs, labelled_scenes and scoring.py, or None."""
    folder = Path(os.environ.get("IRPREVIEW_RESEARCH", CHECKOUT.parent / "shared"))
    return folder if (folder / "rgb_nir_pairs").is_dir() else None


@pytest.fixture(scope="session")
def research() -> Path:
    folder = research_folder()
    if folder is None:
        pytest.skip("research photographs are not beside this checkout (set IRPREVIEW_RESEARCH to their folder)")
    return folder


@pytest.fixture(scope="session")
def sample_photographs() -> dict[str, np.ndarray]:
    """scikit-learn's two bundled photographs, uint8 sRGB: a temple in trees and a flower."""
    return {name: np.ascontiguousarray(load_sample_image(name)) for name in ("china.jpg", "flower.jpg")}
