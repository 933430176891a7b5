"""The snap that the tests of the doors share."""

import pytest
from PIL import Image

from tests.shells.page_desk import SCENE


@pytest.fixture(scope="module")
def small(tmp_path_factory):
    """The demo scene at 400 px, with its facts, so that every answer is quick."""
    path = tmp_path_factory.mktemp("small") / "tower.jpg"
    with Image.open(SCENE) as image:
        image.resize((400, 300)).save(path, exif=image.getexif())
    return path
