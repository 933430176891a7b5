"""Pictures out: whole or not at all, exact where they carry numbers, silent about the photographer."""

from __future__ import annotations

import errno
import io
import os
import stat
from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import Image

from irpreview.core.scene.class_picture import CLASS_COLOURS, CLASS_LETTERS, class_picture, class_sheet
from irpreview.errors import CannotWrite
from irpreview.io import pictures
from irpreview.records import CLASS_ID, CLASS_NAMES, Photo, SceneMap


def refusal(call, *arguments) -> str:
    with pytest.raises(CannotWrite) as caught:
        call(*arguments)
    assert "\n" not in str(caught.value)
    return str(caught.value)


GREY = np.linspace(0, 255, 100 * 150).reshape(100, 150).astype(np.uint8)


def test_jpeg_and_png_come_back(tmp_path, sample_photographs):
    view = sample_photographs["flower.jpg"][:200, :300]
    assert pictures.write_png(tmp_path / "a.png", view) == tmp_path / "a.png"
    assert np.array_equal(np.asarray(Image.open(tmp_path / "a.png")), view)
    pictures.write_jpeg(tmp_path / "a.jpg", GREY)
    back = Image.open(tmp_path / "a.jpg")
    assert back.mode == "L"
    assert np.abs(np.asarray(back).astype(int) - GREY).mean() < 1.5
    assert not back.getexif()
    assert "icc_profile" not in back.info


def test_tones_keep_their_values(tmp_path):
    """16-bit: error at most half a step, whatever the scale; read back by OpenCV (a general-purpose library)."""
    rng = np.random.default_rng(4)
    for brightest, scale in ((0.3, 1.0), (1.0, 1.0), (1.3, 2.0), (7.9, 8.0)):
        tones = (rng.random((60, 90), np.float32) * brightest).astype(np.float32)
        tones[0, 0] = brightest
        keep = tones.copy()
        assert pictures.write_tones(tmp_path / "t.png", tones) == scale
        assert np.array_equal(tones, keep)
        back = cv2.imread(str(tmp_path / "t.png"), cv2.IMREAD_UNCHANGED)
        assert back is not None
        assert back.dtype == np.uint16
        assert np.abs(back / 65535.0 * scale - tones).max() <= 0.5 * scale / 65535 + 1e-6
    assert pictures.tones_full_scale(np.zeros((3, 3), np.float32)) == 1.0


def test_labels_keep_their_ids(tmp_path):
    label = np.random.default_rng(1).integers(1, 10, (40, 50)).astype(np.uint8)
    pictures.write_labels(tmp_path / "l.png", label)
    back = Image.open(tmp_path / "l.png")
    assert back.mode == "L"
    assert np.array_equal(np.asarray(back), label)


def test_a_failed_write_leaves_the_old_file_and_nothing_else(tmp_path, monkeypatch):
    path = tmp_path / "a.jpg"
    path.write_bytes(b"old")
    for number, word in ((errno.ENOSPC, "disk is full"), (errno.EDQUOT, "disk is full"), (errno.EACCES, "permission")):

        def fail(*_arguments, number=number):
            raise OSError(number, os.strerror(number))

        for step in ("fsync", "replace"):
            with monkeypatch.context() as patch:
                patch.setattr(os, step, fail)
                assert word in refusal(pictures.write_jpeg, path, GREY)
        assert path.read_bytes() == b"old"
        assert os.listdir(tmp_path) == ["a.jpg"]


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs /dev/full, a device that is always full")
def test_a_really_full_disk(tmp_path, monkeypatch):
    real = os.open
    monkeypatch.setattr(os, "open", lambda path, flags, mode=0o777: real("/dev/full", os.O_WRONLY))
    assert "disk is full" in refusal(pictures.write_jpeg, tmp_path / "a.jpg", GREY)


def test_places_that_cannot_be_written(tmp_path):
    assert "is a folder" in refusal(pictures.write_jpeg, tmp_path, GREY)
    assert "does not exist" in refusal(pictures.write_jpeg, tmp_path / "none" / "a.jpg", GREY)
    (tmp_path / "file").write_bytes(b"x")
    assert "is a file" in refusal(pictures.write_jpeg, tmp_path / "file" / "a.jpg", GREY)
    assert "too long" in refusal(pictures.write_jpeg, tmp_path / ("x" * 300 + ".jpg"), GREY)
    assert "is a file" in refusal(pictures.make_folder, tmp_path / "file")
    assert "is a file" in refusal(pictures.make_folder, tmp_path / "file" / "sub")
    refusal(pictures.make_folder, "a\x00b")
    refusal(pictures.write_jpeg, "a\x00b", GREY)
    made = pictures.make_folder(tmp_path / "new" / "deep")
    assert made.is_dir()
    assert pictures.make_folder(made) == made
    if os.name == "posix" and os.geteuid() != 0:
        made.chmod(0o500)
        assert "permission" in refusal(pictures.write_jpeg, made / "a.jpg", GREY)


@pytest.mark.skipif(os.name != "posix", reason="file modes of POSIX")
def test_files_have_ordinary_permissions(tmp_path):
    (tmp_path / "plain").write_bytes(b"x")
    pictures.write_jpeg(tmp_path / "a.jpg", GREY)
    assert stat.S_IMODE((tmp_path / "a.jpg").stat().st_mode) == stat.S_IMODE((tmp_path / "plain").stat().st_mode)


# ------------------------------------------------------------------------------------------- the class picture


def scene_of(label: np.ndarray, sure: float = 0.9) -> SceneMap:
    probability = np.full((9, 4, 4), 1 / 9, np.float32)
    confidence = np.full(label.shape, sure, np.float32)
    return SceneMap(probability, label.astype(np.uint8), confidence, np.zeros((1, 1, 1), np.float32))


def halves(height: int, width: int) -> tuple[Photo, SceneMap]:
    label = np.full((height, width), CLASS_ID["grass"], np.uint8)
    label[: height // 2] = CLASS_ID["clear_sky"]
    return Photo(np.full((height, width, 3), 128, np.uint8)), scene_of(label)


def _lab(colour: tuple[int, int, int]) -> np.ndarray:
    return cv2.cvtColor(np.array([[colour]], np.float32) / 255, cv2.COLOR_RGB2LAB)[0, 0]


# Linear RGB as a person without one kind of cone sees it, severity 1.0: G. M. Machado, M. M. Oliveira and
# L. A. F. Fernandes, IEEE Transactions on Visualization and Computer Graphics 15 (2009), 1291-1298, table 1.
DEFICIENT_SIGHT = {
    "protan": [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]],
    "deutan": [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]],
    "tritan": [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.303900]],
}


@pytest.mark.parametrize("sight", ["full", *DEFICIENT_SIGHT])
def test_class_colours_can_be_told_apart(sight):
    """CIE 1976 colour difference of every pair at least 10, four times what is just seen, with every kind of sight."""

    def seen(colour):
        if sight == "full":
            return _lab(colour)
        c = np.array(colour) / 255
        linear = np.where(c <= 0.04045, c / 12.92, ((c + 0.055) / 1.055) ** 2.4)
        turned = np.clip(np.array(DEFICIENT_SIGHT[sight]) @ linear, 0, 1)
        back = np.where(turned <= 0.0031308, 12.92 * turned, 1.055 * turned ** (1 / 2.4) - 0.055)
        return _lab(tuple(255 * back))

    for i, a in enumerate(CLASS_NAMES):
        for b in CLASS_NAMES[i + 1 :]:
            assert np.linalg.norm(seen(CLASS_COLOURS[a]) - seen(CLASS_COLOURS[b])) > 10, (a, b)


def test_every_class_has_its_own_letter():
    assert set(CLASS_LETTERS) == set(CLASS_NAMES)
    assert len(set(CLASS_LETTERS.values())) == 9
    assert all(len(letter) == 1 for letter in CLASS_LETTERS.values())


def test_class_picture_tints_each_region_and_keeps_the_size():
    photo, scene = halves(300, 400)
    drawn = class_picture(photo, scene)
    assert drawn.shape == photo.pixels.shape
    sky, grass = drawn[20, 20].astype(int), drawn[-20, 20].astype(int)
    assert sky[2] > sky[0] + 30  # bluish
    assert grass[1] > grass[2] + 30  # yellow-green
    # a word stands on each half: light letters with a dark rim
    for part in (drawn[10:140], drawn[160:290]):
        assert (part.min(-1) > 240).sum() > 20
        assert (part.max(-1) < 45).sum() > 20
    assert (drawn[148:153].mean(axis=(1, 2)) > 180).any()  # the line between them


def test_unsure_regions_are_paler():
    photo, scene = halves(200, 300)
    unsure = SceneMap(scene.probability, scene.label, np.full(scene.label.shape, 0.3, np.float32), scene.mix)
    grey = photo.pixels[15, 15].astype(int)
    far = [np.abs(class_picture(photo, s)[15, 15].astype(int) - grey).sum() for s in (scene, unsure)]
    assert far[1] < 0.6 * far[0]


@pytest.mark.parametrize("size", [(64, 64), (64, 900), (900, 64), (375, 500), (1500, 4000)])
def test_class_sheet_can_be_read_at_any_size(size):
    photo, scene = halves(*size)
    sheet = class_sheet(photo, scene)
    long_side = max(sheet.shape[1], round(sheet.shape[1] * size[0] / size[1]))
    assert 950 <= long_side <= 1610  # to the rounding of a narrow side
    legend = sheet[round(sheet.shape[1] * size[0] / size[1]) :]
    assert len(legend) > 30
    if sheet.shape[1] > 200:  # swatches of both classes, and nothing else, in the legend
        found = {name for name, colour in CLASS_COLOURS.items() if ((legend == colour).all(-1)).sum() > 50}
        assert found == {"clear_sky", "grass"}


def test_class_sheet_of_all_nine_and_of_specks():
    label = (np.arange(300 * 450).reshape(300, 450) // 150 % 9 + 1).astype(np.uint8)
    assert class_sheet(Photo(np.zeros((300, 450, 3), np.uint8)), scene_of(label)).dtype == np.uint8
    specks = np.random.default_rng(0).integers(1, 10, (200, 300)).astype(np.uint8)
    photo = Photo(np.zeros((200, 300, 3), np.uint8))
    assert np.array_equal(class_sheet(photo, scene_of(specks)), class_sheet(photo, scene_of(specks)))


def test_class_sheet_survives_a_png(tmp_path):
    sheet = class_sheet(*halves(300, 400))
    path = pictures.write_png(tmp_path / "c.png", sheet)
    assert np.array_equal(np.asarray(Image.open(io.BytesIO(path.read_bytes()))), sheet)
