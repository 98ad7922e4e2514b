"""Clips as a shell would ask for them, read back by readers of others."""

import csv
import json
import shutil
import subprocess
import warnings
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from .conftest import delays_ms, linear, pictures_in

REFERENCE = Path(__file__).parents[1] / "reference"
SMALL = ["--size", "96x54", "--fps", "10"]
FFMPEG = pytest.mark.skipif(shutil.which("ffprobe") is None, reason="ffprobe is not installed")


def psnr(a: np.ndarray, b: np.ndarray) -> float:
    return float(10 * np.log10(255**2 / np.mean((a.astype(float) - b) ** 2)))


@pytest.fixture
def original(plan: Path, tmp_path: Path, covecast) -> np.ndarray:
    """The clip's pictures without any loss."""
    code, _, told = covecast("clip", plan, f"{tmp_path}/original/", *SMALL)
    assert code == 0, told
    return pictures_in(tmp_path / "original")


def test_a_folder_has_every_picture(original: np.ndarray, tmp_path: Path) -> None:
    assert original.shape == (40, 54, 96, 3)  # 4 s at 10 a second
    names = sorted(file.name for file in (tmp_path / "original").iterdir())
    assert (names[0], names[-1]) == ("frame-00000.png", "frame-00039.png")
    assert original.max() > 150  # it is lit, and it moves
    assert np.ptp(original, axis=0).max() > 20


# The same call gives the same pictures whatever it writes, before that format's own loss. Bounds (common practice, no source): 255 dithered
# colours keep 27 dB at least, and 99 in 100 means over 6 × 6 pixels within 6 codes (the others lie on single bright LEDs); WebP at
# quality 90 and H.264 at rate factor 18, which are said to look like the original, keep 36 dB.
@pytest.mark.parametrize(("ending", "least_db"), [("gif", 27), ("webp", 36), pytest.param("mp4", 36, marks=FFMPEG)])
def test_every_ending_shows_the_same_pictures(
    ending: str, least_db: float, plan: Path, out: Path, original: np.ndarray, covecast
) -> None:
    file = out / f"a.{ending}"
    code, said, told = covecast("clip", plan, file, *SMALL)
    assert code == 0, told
    assert said.startswith(f"{file}: water, 40 pictures, 4 s, 10 a second, 96x54, ")
    assert [path.name for path in out.iterdir()] == [file.name]
    back = pictures_in(file)
    assert back.shape == original.shape
    assert psnr(original, back) > least_db
    means = [p.astype(float).reshape(40, 9, 6, 16, 6, 3).mean(axis=(2, 4)) for p in (original, back)]
    assert np.percentile(np.abs(means[0] - means[1]), 99) < 6


def exact_rates() -> list[tuple[float, int, float]]:
    with (REFERENCE / "gif_delays.csv").open() as file:
        rows = [row for row in csv.DictReader(file) if row["nominal_fps"]]
    return [(float(r["nominal_fps"]), int(r["delay_cs"]), float(r["browser_effective_ms"])) for r in rows]


@pytest.mark.parametrize(("rate", "delay_cs", "browser_ms"), [row for row in exact_rates() if 2 <= row[1] <= 13])
def test_delays_are_those_of_the_table(
    rate: float, delay_cs: int, browser_ms: float, plan: Path, out: Path, covecast
) -> None:
    code, _, told = covecast("clip", plan, out / "a.gif", "--size", "32x18", "--fps", rate, "--seconds", "0.5")
    assert code == 0, told
    assert set(delays_ms(out / "a.gif")) == {10 * delay_cs} == {int(browser_ms)}


def test_a_rate_that_browsers_slow_down_is_refused(plan: Path, out: Path, covecast) -> None:
    refused = [rate for rate, delay_cs, browser_ms in exact_rates() if browser_ms != 10 * delay_cs]
    assert refused == [100.0]
    code, said, told = covecast("clip", plan, out / "a.gif", "--fps", 100)
    assert (code, said) == (2, "")
    assert "--fps: expected 1 to 50" in told
    assert not list(out.iterdir())


def test_thirty_a_second_keeps_the_total(plan: Path, out: Path, covecast) -> None:
    covecast("clip", plan, out / "a.gif", "--size", "32x18", "--fps", 30)
    delays = delays_ms(out / "a.gif")
    assert len(delays) == 120
    assert sum(delays) == 4000
    assert set(delays) == {30, 40}  # 3, 3, 4 hundredths in turn, as the table's source says
    with Image.open(out / "a.gif") as image:
        assert image.info["loop"] == 0  # endless


@FFMPEG
def test_mp4_says_what_phones_need(plan: Path, out: Path, covecast) -> None:
    covecast("clip", plan, out / "a.mp4", *SMALL)
    asked = ["-show_streams", "-count_frames", "-of", "json", str(out / "a.mp4")]
    said = subprocess.run(["ffprobe", "-v", "error", *asked], capture_output=True, check=True).stdout
    stream = json.loads(said)["streams"][0]
    assert [stream[key] for key in ("codec_name", "pix_fmt", "width", "height")] == ["h264", "yuv420p", 96, 54]
    assert [stream[key] for key in ("color_space", "color_primaries", "color_transfer")] == ["bt709"] * 3
    assert (int(stream["nb_read_frames"]), float(stream["duration"])) == (40, 4.0)


@pytest.mark.parametrize(("look", "once"), [("water", False), ("Soft dusk", False), ("water", True)])
def test_the_seam_is_no_more_of_a_step_than_the_others(
    look: str, once: bool, plan: Path, tmp_path: Path, covecast
) -> None:
    words = ["--once"] if once else []
    covecast("clip", plan, f"{tmp_path}/f/", "--size", "64x36", "--fps", 20, "--look", look, "--seconds", 1.7, *words)
    seen = pictures_in(tmp_path / "f").astype(float)
    steps = np.abs(np.diff(seen, axis=0)).mean(axis=(1, 2, 3))
    seam = np.abs(seen[0] - seen[-1]).mean()
    if once:
        assert seam > 2 * np.median(steps)
    else:
        assert seam < 1.5 * steps.max() + 0.3


def still(covecast, plan: Path, out: Path, *words: object) -> np.ndarray:
    code, _, told = covecast("clip", plan, out / "s.png", "--at", 1, "--size", "96x54", *words)
    assert code == 0, told
    return pictures_in(out / "s.png")[0]


def test_a_still_is_the_picture_of_its_moment(plan: Path, out: Path, original: np.ndarray, covecast) -> None:
    # The clip's own loss apart there is none: a moment away from the seam is the same to the last code.
    assert (still(covecast, plan, out) == original[10]).all()
    with Image.open(out / "s.png") as image:
        assert "srgb" in image.info
    covecast("clip", plan, out / "large.png", "--at", 0)
    assert pictures_in(out / "large.png").shape == (1, 720, 1280, 3)


def test_exposure_is_in_the_light_that_becomes_grey(plan: Path, out: Path, covecast) -> None:
    luminance = np.array([0.2126, 0.7152, 0.0722])  # IEC 61966-2-1
    a = linear(still(covecast, plan, out, "--exposure", 4)) @ luminance
    b = linear(still(covecast, plan, out, "--exposure", 8)) @ luminance
    # Twice the luminance for the same grey: half the light in the picture, away from the shoulder and from the last codes.
    plain = (a > 0.03) & (a < 0.3)
    assert plain.mean() > 0.05
    assert np.median(a[plain] / b[plain]) == pytest.approx(2, rel=0.03)


def test_level_ambient_and_sagging_change_the_light(plan: Path, out: Path, covecast) -> None:
    fixed = ["--exposure", 20, "--look", "water"]
    dark = still(covecast, plan, out, "--level", 0, "--ambient", 0, *fixed)
    assert dark.max() <= 1
    plain = linear(still(covecast, plan, out, *fixed)).mean()
    assert linear(still(covecast, plan, out, "--level", 0.2, *fixed)).mean() < plain
    assert linear(still(covecast, plan, out, "--ambient", 200, *fixed)).mean() > plain
    long = plan.read_text().replace("[1, 0, 1]", "[4.5, 0, 1]")
    plan.write_text(long)
    full = ["--exposure", 40, "--look", "full"]
    assert (
        linear(still(covecast, plan, out, "--no-drop", *full)).mean() > linear(still(covecast, plan, out, *full)).mean()
    )


def test_words_are_in_the_picture_only_where_asked_for(plan: Path, out: Path, covecast) -> None:
    plain = still(covecast, plan, out)
    assert (still(covecast, plan, out) == plain).all()
    for words in (["--title"], ["--caption", "Counter, evening"]):
        changed = (still(covecast, plan, out, *words) != plain).any(axis=2)
        assert changed[27:].any()
        assert not changed[:20].any()  # in the lower part alone


def test_letters_that_come_out_as_boxes_are_named(plan: Path, out: Path, covecast) -> None:
    words = ["--at", "1", "--size", "96x54"]
    assert covecast("clip", plan, out / "a.png", *words, "--caption", "Größe – 2 × Ω\nзал")[2] == ""
    with warnings.catch_warnings():
        warnings.simplefilter("always")  # as outside the tests, where a warning is said and no error
        told = covecast("clip", plan, out / "a.png", *words, "--caption", "棚 and 棚板")[2]
        assert "caution: the pictures' typeface has no letters 棚 板: they come out as boxes" in told
        plan.write_text(plan.read_text(encoding="utf-8").replace('name = "full"', 'name = "棚"'), encoding="utf-8")
        assert "no letters 棚:" in covecast("clip", plan, out / "a.png", "--sheet", "--size", "32x18")[2]


def test_a_wipe_has_one_on_its_left_and_the_other_on_its_right(plan: Path, out: Path, covecast) -> None:
    fixed = ["--exposure", 20, "--ambient", 0, "--look", "full"]
    plan.write_text(plan.read_text().replace("[1, 0, 1]", "[4.5, 0, 1]").replace("length_m = 2", "length_m = 20"))
    lit = still(covecast, plan, out, *fixed)
    ideal = still(covecast, plan, out, "--no-drop", *fixed)
    wiped = still(covecast, plan, out, "--wipe", "unlit", *fixed)
    assert wiped[:, :45].max() <= 1  # with no other light in the room there is none
    assert (wiped[:, 51:] == lit[:, 51:]).all()
    wiped = still(covecast, plan, out, "--wipe", "no-drop", *fixed)
    assert (wiped[:, :45] == lit[:, :45]).all()
    # The white follows what lights the room, so that of the left side holds for both: close, and far from what sags.
    right = [picture[:, 51:].astype(float) for picture in (wiped, ideal, lit)]
    assert np.abs(right[0] - right[1]).mean() < 0.2 * np.abs(right[2] - right[1]).mean()


def test_a_wiped_clip_goes_from_one_to_the_other_and_back(plan: Path, tmp_path: Path, covecast) -> None:
    fixed = [*SMALL, "--exposure", 20]
    covecast("clip", plan, f"{tmp_path}/w/", "--wipe", "unlit", *fixed)
    covecast("clip", plan, f"{tmp_path}/l/", *fixed)
    wiped, lit = pictures_in(tmp_path / "w"), pictures_in(tmp_path / "l")
    assert (wiped[20] == lit[20]).all()  # half way: all lit
    assert (wiped[0] == wiped[-1]).all()  # unlit at both ends
    assert linear(wiped[0]).mean() < linear(lit[0]).mean()


def test_the_exposure_is_said_and_can_be_asked_for_again(plan: Path, out: Path, covecast) -> None:
    """What was worked out, given back as --exposure, gives the same picture."""
    words = ("clip", plan, out / "a.png", "--at", "1", "--size", "80x45")
    found = json.loads(covecast(*words, "--json")[1])["files"][0]["grey_cd_m2"]
    assert found > 0
    assert f"middle grey {found:.2g} cd/m²" in covecast(*words)[1]
    first = pictures_in(out / "a.png")
    covecast(*words, "--exposure", repr(found))
    assert (pictures_in(out / "a.png") == first).all()
    covecast(*words, "--exposure", repr(2 * found))
    assert linear(pictures_in(out / "a.png")).mean() < 0.8 * linear(first).mean()
    code, said, _ = covecast("clip", plan, out / "a.gif", "--size", "80x45", "--seconds", "0.4")
    assert code == 0
    assert "middle grey" in said


def test_a_sheet_shows_every_look(plan: Path, out: Path, covecast) -> None:
    code, said, _ = covecast("clip", plan, out / "s.png", "--sheet", "--size", "80x45")
    assert code == 0
    assert "3 looks" in said
    sheet = pictures_in(out / "s.png")[0]
    assert sheet.shape[1] > 4 * 80
    windows = np.lib.stride_tricks.sliding_window_view(sheet, (45, 80, 3))[:, :, 0]
    wanted = [still_at(covecast, plan, out, at) for at in (0.5, 1.5, 2.5, 3.5)]  # the middles of the quarters of 4 s
    for picture in wanted:  # each is somewhere on the sheet, whole
        corner = (windows[:, :, 0, :, :] == picture[0]).all(axis=(2, 3))
        assert any((windows[y, x] == picture).all() for y, x in np.argwhere(corner))
    code, said, _ = covecast("clip", plan, out / "one.png", "--sheet", "--look", "water", "--size", "80x45")
    assert "twelve moments" in said
    assert pictures_in(out / "one.png").shape[1] > 3 * 45


def test_a_sheet_shows_a_look_that_stands_still_once(plan: Path, out: Path, covecast) -> None:
    """One more row for a look that moves; looks that stand still share a row, each with one picture."""
    sizes = []
    for looks in (1, 2, 3):
        steady = '[[look]]\nname = "still {}"\neffect = "steady"\nseconds = 3\n'
        more = plan.with_name(f"still{looks}.toml")
        more.write_text(plan.read_text() + "".join(steady.format(k) for k in range(looks)))
        assert covecast("clip", more, out / "s.png", "--sheet", "--size", "80x45")[0] == 0
        sizes.append(pictures_in(out / "s.png")[0].shape)
    assert sizes[0] == sizes[1] == sizes[2]
    code, said, _ = covecast("clip", more, out / "one.png", "--sheet", "--look", "still 1", "--size", "80x45")
    assert code == 0
    assert "one moment" in said
    assert pictures_in(out / "one.png")[0].shape[1] < 2 * 80


def still_at(covecast, plan: Path, out: Path, at_s: float) -> np.ndarray:
    covecast("clip", plan, out / "m.png", "--at", at_s, "--size", "80x45")
    return pictures_in(out / "m.png")[0]


@pytest.mark.parametrize("ending", ["gif", "webp", pytest.param("mp4", marks=FFMPEG)])
def test_mail_keeps_below_and_says_what_was_lowered(ending: str, plan: Path, out: Path, covecast) -> None:
    words = ["--size", "160x90", "--seconds", 2]
    covecast("clip", plan, out / f"full.{ending}", *words)
    full = (out / f"full.{ending}").stat().st_size
    code, said, told = covecast("clip", plan, out / f"a.{ending}", *words, "--mail", 0.5 * full / 1e6)
    assert code == 0, told
    assert (out / f"a.{ending}").stat().st_size <= 0.5 * full
    assert "lowered to fit: " in told
    back = pictures_in(out / f"a.{ending}")
    assert f"{len(back)} pictures, 2 s" in said  # never the length
    # What already fits is written as without it.
    covecast("clip", plan, out / f"b.{ending}", *words, "--mail", 2 * full / 1e6)
    assert (out / f"b.{ending}").read_bytes() == (out / f"full.{ending}").read_bytes()


def test_mail_that_cannot_be_kept_leaves_nothing(plan: Path, out: Path, covecast) -> None:
    code, said, told = covecast("clip", plan, out / "a.gif", "--size", "160x90", "--mail", 0.01)
    assert (code, said) == (2, "")
    assert "expected at most 0.01 MB" in told
    assert "or write .mp4" in told
    assert not list(out.iterdir())


WRONG = {
    "no ending": (["a"], "expected the ending .gif, .mp4, .webp, .png"),
    "unknown ending": (["a.gfi"], "did you mean .gif?"),
    "odd size": (["a.mp4", "--size", "641x360"], "nearest: 642x360"),
    "no size": (["a.gif", "--size", "large"], "expected width and height such as 640x360"),
    "tiny": (["a.gif", "--size", "4x4"], "expected a width of 16 to 4096"),
    "huge": (["a.gif", "--size", "99999x10"], "expected a width of 16 to 4096"),
    "slow": (["a.gif", "--fps", "0"], "--fps: expected 1 to 50"),
    "not a rate": (["a.gif", "--fps", "nan"], "--fps: expected 1 to 50"),
    "moment beyond": (["a.png", "--at", "4.5"], "expected 0 to its 4 s, found 4.5 s"),
    "moment before": (["a.png", "--at", "-1"], "expected 0 to its 4 s"),
    "too long": (["a.gif", "--seconds", "5"], "up to its 4 s, found 5 s"),
    "no length": (["a.gif", "--seconds", "0"], "--seconds: expected 0.01 to"),
    "moment as a clip": (["a.gif", "--at", "1"], "expected the ending .png"),
    "clip as a moment": (["a.png"], "expected --at SECONDS"),
    "level": (["a.gif", "--level", "1.2"], "--level: expected 0 to 1, found 1.2"),
    "ambient": (["a.gif", "--ambient", "-1"], "--ambient: expected 0 to 200000 lux"),
    "exposure": (["a.gif", "--exposure", "0"], "--exposure: expected 0.0001 to"),
    "mail": (["a.gif", "--mail", "-3"], "--mail: expected 0.001 to"),
    "wipe": (["a.gif", "--wipe", "unlitt"], "unlit"),
    "look": (["a.gif", "--look", "watr"], "did you mean water?"),
    "no folder": (["none/a.gif"], "expected an existing folder"),
    "sheet of all": (["a.png", "--sheet", "--all"], "expected one of them"),
    "all of one": (["f/", "--all", "--look", "water"], "expected it without --look"),
    "all in a file": (["a.gif", "--all"], "expected a name without an ending"),
    "as without all": (["a.gif", "--as", "mp4"], "expected --all"),
    "mail of pictures": (["f/", "--mail", "3"], "--mail is for one file"),
    "sheet as a clip": (["a.gif", "--sheet"], "expected the ending .png"),
}


@pytest.mark.parametrize("case", WRONG)
def test_a_wrong_call_says_so_and_writes_nothing(case: str, plan: Path, out: Path, covecast) -> None:
    (name, *words), says = WRONG[case]
    code, said, told = covecast("clip", plan, f"{out}/{name}", *words)
    assert (code, said) == (2, "")
    assert says in " ".join(told.split())
    assert "Traceback" not in told
    assert not list(out.iterdir())


def test_all_that_is_wrong_with_a_call_is_said_at_once(plan: Path, out: Path, covecast) -> None:
    _, _, told = covecast("clip", plan, out / "a.mp4", "--size", "641x5", "--fps", 500)
    for part in ("height of 16", "even sides", "--fps: expected 1 to 120"):
        assert part in told


def test_a_folder_that_takes_no_files(plan: Path, out: Path, covecast) -> None:
    # /proc takes files from nobody, root included.
    code, said, told = covecast("clip", plan, "/proc/self/a.gif", "--size", "32x18")
    assert (code, said) == (2, "")
    assert "/proc/self/a.gif: " in told
    assert "Traceback" not in told


def test_json_says_what_was_written(covecast, tmp_path: Path) -> None:
    """Frames and bytes as an independent reader and the file system count them."""
    target = tmp_path / "a.gif"
    code, out, _ = covecast(
        "clip", "reading_corner", target, "--seconds", "1", "--fps", "10", "--size", "64x36", "--json"
    )
    assert code == 0
    found = json.loads(out)
    (file,) = found["files"]
    with Image.open(target) as gif:
        assert (file["frames"], tuple(file["size"])) == (gif.n_frames, gif.size)
    assert file["bytes"] == target.stat().st_size
    assert (found["format"], file["file"], file["seconds"]) == (1, str(target), 1.0)
