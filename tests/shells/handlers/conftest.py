"""A desk without server or browser, and the snaps it is given."""

import pytest
from PIL import Image

from irpreview.web.handlers import Desk
from irpreview.web.keeping import Keeping


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
