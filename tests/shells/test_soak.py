"""Long use of the page: many photos one after another, many sessions side by side, memory back to where it was."""

import gc
import shutil
import threading
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from irpreview.web.answer import WINDS_M_S
from irpreview.web.handlers import Desk
from irpreview.web.keeping import Keeping
from irpreview.web.sessions import Sessions

pytestmark = pytest.mark.long


def resident_mb():
    pages = int(Path("/proc/self/statm").read_text().split()[1])
    return pages * 4096 / 1e6


@pytest.fixture(scope="module")
def photos(tmp_path_factory, sample_photographs):
    """Eight different photographs of 1200 px, named by their number."""
    folder = tmp_path_factory.mktemp("photos")
    made = []
    for number in range(8):
        pixels = sample_photographs["china.jpg" if number % 2 else "flower.jpg"]
        image = Image.fromarray(np.roll(pixels, 60 * number, axis=1)).resize((1200, 800))
        image.save(folder / f"photo{number}.jpg", quality=90)
        made.append(folder / f"photo{number}.jpg")
    return made


def give(desk, token, photo, number):
    folder = desk.folder / f"up{number}"
    folder.mkdir()
    *_, last = desk.add(token, [shutil.copy(photo, folder / photo.name)])
    assert photo.name in last.parts["strip"]


def test_two_hundred_photos_leave_memory_where_it_was(tmp_path, photos):
    if not Path("/proc/self/statm").exists():
        pytest.skip("resident memory is read from /proc, which this system lacks")
    desk = Desk(tmp_path, Sessions(most=2), Keeping(tmp_path / "kept"))
    for number in range(10):
        give(desk, desk.sessions.open(), photos[number % 8], number)
    gc.collect()
    before = resident_mb()
    for number in range(10, 210):
        give(desk, desk.sessions.open(), photos[number % 8], number)
    gc.collect()
    after = resident_mb()
    print(f"resident after 10 photos {before:.0f} MB, after 210 {after:.0f} MB")  # with -s, for DEVELOPERS.md
    assert after <= 1.2 * before
    assert not [path for path in tmp_path.rglob("*") if path.is_file()]


def test_eight_sessions_side_by_side_never_mix(tmp_path, photos):
    desk = Desk(tmp_path, keeping=Keeping(tmp_path / "kept"))
    wrong = []

    def use(who):
        token = desk.sessions.open()
        try:
            for turn in range(3):
                photo = photos[who]
                give(desk, token, photo, f"{who}-{turn}")
                desk.move(token, 1 + who, 10)
                shown = desk.settle(token, 1 + who, 10)
                with desk.sessions.at(token) as session:
                    if {snap.photo.name for snap in session.snaps} != {photo.name}:
                        wrong.append((who, "snaps"))
                    assert session.analysis is not None
                    if session.analysis.request.conditions.wind_m_s != WINDS_M_S[1 + who]:
                        wrong.append((who, "wind"))
                if "answer" not in shown.parts:
                    wrong.append((who, "answer"))
        except Exception as error:
            wrong.append((who, repr(error)))

    threads = [threading.Thread(target=use, args=(who,)) for who in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert wrong == []
    assert len(desk.sessions) == 8
