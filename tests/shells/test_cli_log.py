"""`irpreview log` as a person types it: exit status, stdout for results only, one line for a refusal."""

import json

import numpy as np
import pytest
from PIL import Image

from irpreview.cli import main
from irpreview.core.field_log.entries import SpotRecord
from irpreview.io.field_log import FieldLog
from irpreview.records import Range


@pytest.fixture
def run(capsys, tmp_path, monkeypatch):
    monkeypatch.setenv("IRPREVIEW_LOG", str(tmp_path / "log.sqlite"))

    def call(*arguments):
        with pytest.raises(SystemExit) as left:
            main([*map(str, arguments)])
        out, err = capsys.readouterr()
        return left.value.code, out, err

    return call


TYPED = ("log", "add", "--taken", "30s f/8 ISO 200", "--ev", "15")


def test_add_list_show_edit_remove_undo(run):
    code, out, err = run(*TYPED, "--came-out", "-0.4", "--place", "Old mill", "--when", "2026-06-21", "--json")
    answer = json.loads(out)
    assert (code, err) == (0, "")
    assert (answer["schema"], answer["kind"], answer["number"]) == ("irpreview/1", "log_frame", 1)
    assert answer["raw_factor_stops"] == pytest.approx(15.307, abs=0.01)  # 15 - (log2(64/30) - 1) + 0.4
    assert "Old mill" in run("log", "list")[1]
    code, out, _ = run("log", "edit", "1", "--outcome", "clipped", "--shade", "--subject", "tree")
    assert code == 0
    code, out, _ = run("log", "show", "1", "--json")
    facts = json.loads(out)
    assert (facts["outcome"], facts["in_shade"], facts["subject"], facts["came_out_stops"]) == (
        "clipped",
        True,
        "tree",
        -0.4,
    )
    code, out, err = run("log", "remove", "1")
    assert (code, out) == (0, "")
    assert "undo" in err
    assert "no frame" in run("log", "list")[2]
    assert "removed frame 1" in run("log", "undo")[2]
    assert "Old mill" in run("log", "search", "--place", "mill", "--since", "2026-06-21", "--until", "2026-06-21")[1]
    assert run("log", "search", "--since", "2026-06-22", "--json")[1] == ""


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (("log", "add"), "say what was taken"),
        ((*TYPED, "--meter", "1/125 f/10 ISO 64"), "not both"),
        ((*TYPED, "--outcome", "nice"), "outcome 'nice'"),
        ((*TYPED, "--when", "yesterday"), "was not understood"),
        ((*TYPED, "--at", "95,11"), "latitude"),
        (("log", "edit", "7"), "say what to change"),
        (("log", "use"), "say what"),
    ],
)
def test_wrong_usage_is_one_line_and_exit_2(run, arguments, says):
    code, out, err = run(*arguments)
    assert (code, out) == (2, "")
    assert says in err
    assert "Traceback" not in err


def test_a_missing_log_is_told(run):
    code, out, err = run("log", "list")
    assert (code, out) == (1, "")
    assert "there is no log at" in err
    assert err.count("\n") == 1


def test_learn_and_the_next_exposure_says_so(run):
    before = json.loads(run("expose", "--ev", "15", "--json")[1])["factor_stops"]
    assert before["source"] == "kit class"
    for i in range(6):
        run(*TYPED, "--came-out", f"{-1.0 + 0.05 * i:.2f}")
    run(*TYPED, "--came-out", "7")
    learned = json.loads(run("log", "learn", "--json")[1])
    assert learned["frames"] == 6
    assert learned["set_aside"] == [7]
    assert learned["factor_stops"]["likely"] == pytest.approx(15.78, abs=0.1)
    after = json.loads(run("expose", "--ev", "15", "--json")[1])["factor_stops"]
    assert after["likely"] == pytest.approx(learned["factor_stops"]["likely"], abs=0.01)
    assert after["source"].startswith("learned from 6 frames")
    assert after["high"] - after["low"] < before["high"] - before["low"]
    assert "learned from 6 frames" in run("expose", "--ev", "15")[1]
    run("log", "use", "--no-learned")
    assert json.loads(run("expose", "--ev", "15", "--json")[1])["factor_stops"] == before
    assert "switched off" in run("log", "learn")[1]


def test_a_damaged_usual_log_does_not_stop_an_exposure(run, tmp_path):
    (tmp_path / "log.sqlite").write_bytes(b"not a log")
    code, out, _ = run("expose", "--ev", "15", "--json")
    answer = json.loads(out)
    assert code == 0
    assert any("field log was not used" in d for d in answer["doubts"])
    code, _, err = run("expose", "--ev", "15", "--log", tmp_path / "log.sqlite")
    assert code == 1
    assert "no field log" in err


def test_export_import_backup(run, tmp_path):
    run(*TYPED, "--place", "Old mill", "--at", "47.1,11.4", "--when", "2026-06-21T10:30+02:00")
    code, out, err = run("log", "export", tmp_path / "a.json")
    assert (code, out) == (0, "")
    assert "left out" in err
    assert "47.1" not in (tmp_path / "a.json").read_text()
    run("log", "export", tmp_path / "b.csv", "--locations")
    assert "47.1" in (tmp_path / "b.csv").read_text()
    assert "1 were there already" in run("log", "import", tmp_path / "b.csv")[2]
    other = ("--log", tmp_path / "other.sqlite")
    assert "1 frame added" in run("log", "import", tmp_path / "b.csv", *other)[2]
    assert "Old mill" in run("log", "search", "--near", "47.1,11.41", *other)[1]
    assert run("log", "backup", tmp_path / "copy.sqlite")[0] == 0
    assert "Old mill" in run("log", "list", "--log", tmp_path / "copy.sqlite")[1]


def test_a_frame_from_its_file(run, tmp_path):
    picture = Image.fromarray(np.full((200, 300, 3), 118, np.uint8))
    exif = Image.Exif()
    details = exif.get_ifd(0x8769)
    details[0x829A], details[0x829D], details[0x8827] = 30.0, 8.0, 200
    details[0x9003], details[0x9011] = "2026:06:21 10:30:00", "+02:00"
    exif[0x8769] = details
    picture.save(tmp_path / "frame.jpg", exif=exif, quality=95)
    code, out, err = run("log", "add", "--frame", tmp_path / "frame.jpg", "--ev", "15", "--json")
    assert (code, err) == (0, "")
    facts = json.loads(out)
    assert (facts["iso"], facts["f_number"], facts["shutter_s"]) == (200.0, 8.0, 30.0)
    assert facts["taken_at"] == "2026-06-21T10:30:00+02:00"
    # code 118 of 255 is middle grey (ISO 12232 standard output sensitivity)
    assert facts["came_out_stops"] == pytest.approx(0.0, abs=0.05)


def test_hot_spot_is_measured_kept_and_avoided(run, tmp_path):
    y, x = np.mgrid[0:200, 0:300]
    half = 0.5 * np.hypot(200, 300)
    r2 = ((x - 150) ** 2 + (y - 100) ** 2) / half**2
    noise = np.random.default_rng(0).normal(0.0, 0.5, (200, 300))
    linear = 0.18 * 2.0 ** (0.5 * np.exp2(-r2 / 0.2**2) - 0.8 * r2)
    code = 255 * (1.055 * linear ** (1 / 2.4) - 0.055) + noise
    Image.fromarray(np.clip(code, 0, 255).astype(np.uint8)).save(tmp_path / "wall.png")
    asked = ("log", "hot-spot", tmp_path / "wall.png")
    code, _, err = run(*asked)
    assert code == 2
    assert "--focal" in err
    more = ("--focal", "50", "--aperture", "8", "--lens", "old fifty", "--keep")
    code, out, _ = run(*asked, *more, "--json")
    facts = json.loads(out)
    assert code == 0
    assert facts["strength_stops"]["low"] < 0.5 < facts["strength_stops"]["high"]
    assert "old fifty" in run("log", "hot-spot")[1]
    limited = [s for s in json.loads(run("expose", "--ev", "15", "--json")[1])["settings"] if s["f_number"] >= 8]
    assert limited
    assert all(any("hot spot" in text for text in s["limits"]) for s in limited)


def test_pictures_that_do_not_belong_together_are_refused(run, tmp_path, sample_photographs):
    for name, pixels in sample_photographs.items():
        Image.fromarray(pixels[::2, ::2]).save(tmp_path / name, quality=90)
    code, out, err = run("log", "compare", tmp_path / "china.jpg", tmp_path / "flower.jpg", "--out", tmp_path)
    assert (code, out) == (1, "")
    assert "could not be laid over" in err
    assert not list(tmp_path.glob("*difference*"))


def test_compare_keeps_what_it_found(run, tmp_path, sample_photographs):
    pixels = sample_photographs["china.jpg"][::2, ::2]
    Image.fromarray(pixels).save(tmp_path / "snap.jpg", quality=92)
    linear = (pixels / 255.0) ** 2.2
    grey = np.clip(0.15 + 1.4 * linear[..., 1] - 0.6 * linear[..., 2], 0.02, 0.95) ** (1 / 2.2)
    Image.fromarray((grey[8:-8, 12:-12] * 255).astype(np.uint8)).save(tmp_path / "frame.png")
    asked = ("log", "compare", tmp_path / "snap.jpg", tmp_path / "frame.png", "--out", tmp_path, "--keep", "--json")
    code, out, err = run(*asked)
    assert code == 0, err
    facts = json.loads(out)
    assert facts["placement"]["zoom"] == pytest.approx(1.0, abs=0.02)
    assert facts["classes"]
    assert (tmp_path / "frame-difference.jpg").exists()
    corrections = json.loads(run("log", "learn", "--json")[1])["corrections"]
    assert corrections
    assert all(c["pairs"] == 1 for c in corrections.values())


def test_a_plan_is_shown_as_one_and_told_what_it_lacks(run):
    code, out, err = run("log", "add", "--planned", "60s f/8 ISO 200", "--ev", "14", "--place", "Heron weir")
    assert code == 0
    assert "planned ISO 200 f/8 1 min" in out
    assert "teaches nothing yet" in err
    assert "how it came out" in err
    _, out, err = run("log", "edit", "1", "--taken", "60s f/8 ISO 200", "--came-out", "-0.5")
    assert "planned" not in out
    assert err == ""
    assert "at most" in run("log", "edit", "1", "--outcome", "clipped")[1]


def test_the_lens_in_use_decides_which_apertures_are_avoided(run, tmp_path):
    with FieldLog(tmp_path / "log.sqlite") as log:
        log.keep_hot_spot(SpotRecord("unmodified-720", "old fifty", 50.0, 8.0, Range(0.2, 0.3, 0.4), 0.2))

    def avoided(*more):
        code, out, _ = run("expose", "--ev", "15", "--json", *more)
        assert code == 0
        settings = json.loads(out)["settings"]
        return min((s["f_number"] for s in settings if any("hot spot" in t for t in s["limits"])), default=None)

    assert avoided("--lens", "Old Fifty") == 8.0
    assert avoided("--lens", "another") is None
    err = run("expose", "--ev", "15")[2]
    assert "which lens is in use was not said" in err
    run("kit", "make", tmp_path / "mine.toml", "--name", "unmodified-720", "--lens", "another")
    assert avoided("--kit", tmp_path / "mine.toml") is None
    assert "Lens     another" in run("expose", "--ev", "15", "--kit", tmp_path / "mine.toml")[1]
    assert run("expose", "--ev", "15", "--lens", "")[0] != 0


def test_the_suns_height_counts_where_it_is_known(run):
    for i in range(8):
        run(*TYPED, "--came-out", f"{0.02 * i:.2f}", "--sun-height", "45")
        run("log", "add", "--taken", "60s f/8 ISO 200", "--ev", "15", "--came-out", f"{-0.02 * i}", "--sun-height", "6")
    low = ("--at", "47.1,11.4", "--when", "2026-06-21T20:00", "--zone", "+02:00")
    said = json.loads(run("expose", "--ev", "11", "--json", *low)[1])["factor_stops"]["source"]
    assert "a sun" in said
    assert "degrees high" in said
    unknown = json.loads(run("expose", "--ev", "15", "--json")[1])
    assert "degrees high" not in unknown["factor_stops"]["source"]
    assert any("how high the sun will stand is not known" in d for d in unknown["doubts"])
