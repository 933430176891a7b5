"""A desk without server or browser, and the snaps it is given."""

import pytest
from PIL import Image

from irpreview.web.handlers import Desk
from irpreview.web.keeping import Keeping
from tests.shells.page_desk import SCENE


@pytest.fixture(scope="module")
def small(tmp_path_factory):
    """The demo scene at 400 px, with its facts, so that every answer is quick."""
    path = tmp_path_factory.mktemp("small") / "tower.jpg"
    with Image.open(SCENE) as image:
        image.resize((400, 300)).save(path, exif=image.getexif())
    return path


@pytest.fixture
def flower(tmp_path, sample_photographs):
    """A photograph without any facts."""
    path = tmp_path / "flower.jpg"
    Image.fromarray(sample_photographs["flower.jpg"]).resize((300, 200)).save(path)
    return path


@pytest.fixture
def desk(tmp_path):
    (tmp_path / "page").mkdir()
    return Desk(tmp_path / "page", keeping=Keeping(tmp_path / "kept"))


@pytest.fixture
def token(desk):
    return desk.sessions.open()
