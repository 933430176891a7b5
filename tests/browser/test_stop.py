"""Stop in a real browser: seen while work runs, gone after it, by button and by key."""

import shutil

import pytest


@pytest.fixture(scope="module")
def many(whole_snap, tmp_path_factory):
    folder = tmp_path_factory.mktemp("many")
    return [shutil.copy(whole_snap, folder / f"snap{number:02}.jpg") for number in range(16)]


@pytest.mark.parametrize("by", ["button", "key"])
def test_a_batch_is_stopped(desk, many, by):
    stop = desk.locator("#stop")
    assert not stop.is_visible()
    desk.set_input_files("#add input", many)
    stop.wait_for(state="visible")
    if by == "button":
        stop.click()
    else:
        desk.keyboard.press("Escape")
    desk.locator("#status", has_text="Stopped.").wait_for()
    desk.locator("body:not(.busy)").wait_for(state="attached")
    assert not stop.is_visible()
    assert desk.locator("#strip .snap").count() < len(many)
    # and the page goes on as before
    desk.set_input_files("#add input", many[:1])
    desk.locator("body:not(.busy)").wait_for(state="attached")
    assert desk.locator("#strip .snap").count() > 0
