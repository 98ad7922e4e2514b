"""`covecast pack`: a whole folder or none, pages that hold together, and figures that are those of the other commands."""

import csv
import hashlib
import json
import re
import signal
import subprocess
import sys
import time
from html.parser import HTMLParser
from pathlib import Path
from xml.etree import ElementTree

import html5lib
import pytest
from PIL import Image

from preview.looks.library import own_folder
from preview.pack import pictures

PAGES = ["for-the-client.html", "for-the-fitter.html"]
PAPERS = [*PAGES, "cuts.csv", "pack.json", "parts.csv", "readings.csv", "wiring.svg"]
QUICK = ["--clip-size", "64x36", "--jobs", "1"]

FLASHING = '''"""All on and off, five times a second, which WCAG 2.2 calls five flashes."""
import numpy as np
MOOD = "festive"
DIALS = ()


def light(place, time_s, dials, seed):
    """What is tried."""
    on = (np.floor(10 * time_s) % 2 == 0)[:, None, None]
    return np.broadcast_to(on, (len(time_s), place.groups, 3)).astype(float)
'''


@pytest.fixture(scope="module")
def quick(moving: str, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A small scene as a file, invented, with names that mean something to a page."""
    file = tmp_path_factory.mktemp("scene") / "shelf.toml"
    text = moving.replace('"proof_full"', '"steady"').replace(
        'title = "One shelf"', 'title = "Shelf <b>& more</b>"\nnote = "Invented. <script>alert(1)</script>"'
    )
    text = text.replace("seconds = 4", "seconds = 1")
    file.write_text(text.replace('"water"', '"<i>water</i> & \\"wind\\""'))
    return file


@pytest.fixture(scope="module")
def packed(quick: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """That scene packed by the command itself, clips and all."""
    folder = tmp_path_factory.mktemp("out") / "pack"
    done = subprocess.run(
        ["covecast", "pack", str(quick), str(folder), *QUICK, "--date", "3 March"],
        capture_output=True,
        text=True,
        check=False,
    )
    assert (done.returncode, done.stderr) == (0, "")
    assert "packed into" in done.stdout
    return folder


@pytest.fixture
def small(monkeypatch: pytest.MonkeyPatch) -> None:
    """Pictures as small as the clips, for tests that do not look at them."""
    monkeypatch.setattr(pictures, "_WIDE_PX", 64)


def files_in(folder: Path) -> dict[str, str]:
    return {
        path.relative_to(folder).as_posix(): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


class Links(HTMLParser):
    """Everything a page points to."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.found: set[str] = set()
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.found |= {value for key, value in attrs if key in ("src", "href", "poster") and value}


def test_what_is_in_it(packed: Path) -> None:
    names = set(files_in(packed))
    assert names >= set(PAPERS)
    assert {name for name in names if name.startswith("clips/")} == {
        "clips/clips.json", "clips/i-water-i-wind.mp4", "clips/soft-dusk.mp4", "clips/full.mp4",
    }  # fmt: skip
    assert {"pictures/room-before.jpg", "pictures/room-after.jpg", "pictures/look-full.jpg"} <= names
    assert not [path for path in packed.parent.iterdir() if path != packed]


@pytest.mark.parametrize("name", PAGES)
def test_pages_are_html_and_hold_together(name: str, packed: Path) -> None:
    text = (packed / name).read_text(encoding="utf-8")
    tree = html5lib.HTMLParser(strict=True, namespaceHTMLElements=False).parse(
        text
    )  # raises on anything the standard calls an error
    assert tree.findall(".//script") == []
    assert tree.findall(".//i") == []
    assert tree.find(".//h1").text == "Shelf <b>& more</b>"
    assert "<script>alert(1)</script>" in "".join(tree.itertext())
    assert "Invented for demonstration" in "".join(tree.itertext())
    links = Links(text).found
    assert all((packed / link).is_file() for link in links)  # so nothing is fetched from elsewhere
    assert not re.search(r"url\(|@import|https?://(?!www\.w3\.org/2000/svg)", text)


def test_the_clients_page(packed: Path) -> None:
    text = (packed / PAGES[0]).read_text(encoding="utf-8")
    tree = html5lib.parse(text, namespaceHTMLElements=False)
    assert [video.find("source").get("src") for video in tree.iter("video")] == [
        "clips/i-water-i-wind.mp4", "clips/soft-dusk.mp4", "clips/full.mp4",
    ]  # fmt: skip
    assert [head.text for head in tree.iter("h3")] == ['<i>water</i> & "wind"', "Soft dusk", "full"]
    words = "".join(tree.itertext())
    assert "Water running down a channel" in words  # what the effect's script says one sees
    assert "3 March" in words
    for care in ("seizure", "dazzle", "licensed", "Heat and fire"):
        assert care in words
    body = "".join(tree.find(".//body").itertext())
    assert not re.search(r"\b\d+(\.\d+)? ?(V|A|W|mm²|lm)\b|ampere|voltage", body)  # nothing technical


def test_the_fitters_sheet(packed: Path) -> None:
    words = " ".join("".join(html5lib.parse((packed / PAGES[1]).read_text(encoding="utf-8")).itertext()).split())
    for care in ("licensed", "Local codes", "on its reel", "Fuse before cable", "Heat and fire", "Polarity"):
        assert care in words
    for section in (
        "Set the brightness",
        "Wiring",
        "Feeds",
        "Switching on",
        "Readings to take",
        "Parts",
        "Cuts",
        "What is assumed",
    ):
        assert section in words
    assert "typical values for strip s" in words


def test_clips_and_pictures(packed: Path) -> None:
    for clip in (packed / "clips").glob("*.mp4"):
        asked = ["-show_entries", "stream=width,height,codec_name", "-of", "csv=p=0", str(clip)]
        said = subprocess.run(["ffprobe", "-v", "error", *asked], capture_output=True, check=True, text=True).stdout
        assert said.strip().strip(",") == "h264,64,36"
    with (
        Image.open(packed / "pictures" / "room-before.jpg") as before,
        Image.open(packed / "pictures" / "room-after.jpg") as after,
    ):
        assert before.size == after.size == (1280, 720)
        assert sum(after.convert("L").histogram()[128:]) > sum(
            before.convert("L").histogram()[128:]
        )  # lighter with the light on


def test_the_drawing_is_xml(packed: Path) -> None:
    text = (packed / "wiring.svg").read_text(encoding="utf-8")
    assert ElementTree.fromstring(text).tag == "{http://www.w3.org/2000/svg}svg"


def test_readings_are_the_probes(packed: Path, quick: Path, covecast) -> None:
    with (packed / "readings.csv").open(encoding="utf-8-sig", newline="") as file:
        rows = [row for row in csv.DictReader(file) if row["drive"] == "every colour"]
    _, printed, _ = covecast("cap", quick, "--json")
    code = json.loads(printed)["caps"][-1]["code"]
    assert {row["codes"] for row in rows} == {f"{code},{code},{code}"}
    _, printed, _ = covecast("probe", quick, "--drive", rows[0]["codes"], "--json")
    told = json.loads(printed)
    expected = {row["place"]: float(row["expected"]) for row in rows if row["unit"] == "A"}
    assert expected["supply psu, in its positive"] == round(told["supplies"][0]["amps"], 3)
    assert expected["feed 1 (psu to shelf at 0 m), in its positive"] == round(told["feeds"][0]["amps"], 3)


def test_the_manifest(packed: Path, quick: Path) -> None:
    held = json.loads((packed / "pack.json").read_text(encoding="utf-8"))
    told = {entry["file"]: entry["sha256"] for entry in held["files"]}
    assert told | {"pack.json": files_in(packed)["pack.json"]} == files_in(packed)
    assert held["scene_sha256"] == hashlib.sha256(quick.read_bytes()).hexdigest()
    assert held["made_on"] == "3 March"
    assert [look["clip"] for look in held["looks"]] == [
        "clips/i-water-i-wind.mp4",
        "clips/soft-dusk.mp4",
        "clips/full.mp4",
    ]


def test_again_keeps_the_clips_and_is_the_same(packed: Path, quick: Path, covecast) -> None:
    before = files_in(packed)
    code, printed, told = covecast("pack", quick, packed, *QUICK, "--date", "3 March")
    assert (code, told) == (0, "")
    assert "3 kept" in printed
    assert files_in(packed) == before


def test_without_the_client(quick: Path, out: Path, covecast) -> None:
    code, printed, _ = covecast("pack", quick, out / "pack", "--without", "client", "--json")
    assert code == 0
    told = json.loads(printed)
    assert set(told["files"]) == set(PAPERS) - {"for-the-client.html"} == set(files_in(out / "pack"))
    assert told["format"] == 1
    assert "Flashes were not counted" in (out / "pack" / PAGES[1]).read_text(encoding="utf-8")


@pytest.mark.usefixtures("small")
def test_a_proof_for_the_meter_is_not_shown_to_the_client(quick: Path, out: Path, covecast, tmp_path: Path) -> None:
    plan = tmp_path / "proof.toml"
    plan.write_text(quick.read_text(encoding="utf-8").replace('"steady"', '"proof_full"'), encoding="utf-8")
    code, _, told = covecast("pack", plan, out / "pack", *QUICK)
    assert code == 0, told
    files = [path.name for path in (out / "pack").rglob("*") if path.is_file()]
    assert any("soft-dusk" in name for name in files)
    assert not any("full" in name for name in files)
    assert "<h3>full</h3>" not in (out / "pack" / "for-the-client.html").read_text(encoding="utf-8")
    assert "<td>look full</td>" in (out / "pack" / "for-the-fitter.html").read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("note", "badge"), [("Invented for a trial.", True), ("The client likes an invented pattern.", False)]
)
def test_only_a_note_that_begins_so_marks_a_plan_as_invented(
    note: str, badge: bool, quick: Path, out: Path, covecast, tmp_path: Path
) -> None:
    plan = tmp_path / "noted.toml"
    text = quick.read_text(encoding="utf-8")
    lines = [line for line in text.splitlines() if not line.startswith("note = ")]
    at = next(k for k, line in enumerate(lines) if line.startswith("title"))
    plan.write_text("\n".join([*lines[: at + 1], f'note = "{note}"', *lines[at + 1 :]]), encoding="utf-8")
    covecast("pack", plan, out / "pack", "--without", "client")
    assert ("Invented for demonstration" in (out / "pack" / "for-the-fitter.html").read_text(encoding="utf-8")) == badge


def test_without_clips(quick: Path, out: Path, covecast) -> None:
    code, _, _ = covecast("pack", quick, out / "pack", "--without", "clips", "--without", "flashes", *QUICK)
    assert code == 0
    assert not (out / "pack" / "clips").exists()
    text = (out / "pack" / PAGES[0]).read_text(encoding="utf-8")
    assert "<video" not in text
    assert "have not been counted" in text


@pytest.mark.usefixtures("small")
def test_a_look_that_flashes_is_left_out_with_a_word(
    one_shelf: str, out: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, covecast
) -> None:
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    own_folder().mkdir(parents=True)
    (own_folder() / "strobe.py").write_text(FLASHING)
    file = tmp_path / "strobe.toml"
    text = one_shelf.replace('"proof_full"\nseconds = 1', '"strobe"\nseconds = 2')
    file.write_text(
        text.replace('title = "One shelf"', 'title = "One shelf"\n[room]\nsize_m = [1.2, 0.6, 1.2]\nambient_lux = 0')
    )
    code, _, told = covecast("pack", file, out / "pack", *QUICK)
    assert code == 0
    assert "No clip of look all on" in told
    assert not list((out / "pack").rglob("*.mp4"))
    words = (out / "pack" / PAGES[0]).read_text(encoding="utf-8")
    assert "No clip of this look" in words
    assert "more than 3 times in a second" in words
    code, _, told = covecast("pack", file, out / "pack", *QUICK, "--allow-flashing")
    assert code == 0
    assert len(list((out / "pack").rglob("*.mp4"))) == 1
    assert "It can bring on a seizure" in (out / "pack" / PAGES[0]).read_text(encoding="utf-8")


def test_a_plan_that_breaks_its_limits_is_packed_and_says_so(moving: str, out: Path, covecast) -> None:
    file = out / "weak.toml"
    file.write_text(moving.replace("amps = 5", "amps = 0.5"))
    code, _, told = covecast("pack", file, out / "pack", "--without", "client")
    assert code == 0
    assert "breaks a limit" in told
    tree = html5lib.parse((out / "pack" / PAGES[1]).read_text(encoding="utf-8"), namespaceHTMLElements=False)
    first = next(iter(tree.iter("section")))
    assert first.get("class") == "stop"
    assert "supply psu" in "".join(first.itertext())
    assert json.loads((out / "pack" / "pack.json").read_text())["breaks"] is True


def test_a_plan_for_which_no_level_holds(moving: str, out: Path, covecast) -> None:
    file = out / "hopeless.toml"
    file.write_text(moving.replace("amps = 5", "amps = 0.01"))  # less than the groups draw when dark
    code, _, told = covecast("pack", file, out / "pack", "--without", "client")
    assert code == 0
    assert "breaks a limit" in told
    words = (out / "pack" / PAGES[1]).read_text(encoding="utf-8")
    assert "No level holds" in words
    assert "Do not switch it on" in words
    with (out / "pack" / "readings.csv").open(encoding="utf-8-sig", newline="") as rows:
        assert {row["drive"] for row in csv.DictReader(rows)} == {"dark"}


def test_a_filled_in_pack_is_left_alone(quick: Path, out: Path, covecast) -> None:
    words = ["pack", quick, out / "pack", "--without", "client"]
    assert covecast(*words)[0] == 0
    (out / "pack" / "readings.csv").write_text("filled in")
    before = files_in(out)
    code, printed, told = covecast(*words)
    assert (code, printed) == (2, "")
    assert "readings.csv, changed since" in told
    assert files_in(out) == before
    code, _, told = covecast(*words, "--force")
    assert code == 0
    assert "pack.before" in told
    assert (out / "pack.before" / "readings.csv").read_text() == "filled in"
    assert (out / "pack" / "readings.csv").read_text(encoding="utf-8-sig").startswith("drive,")


@pytest.mark.usefixtures("small")
def test_clips_are_taken_over_from_the_clip_command(quick: Path, out: Path, covecast) -> None:
    assert covecast("clip", quick, f"{out}/clips/", "--all", "--as", "mp4", "--size", "64x36", "--jobs", "1")[0] == 0
    before = files_in(out / "clips")
    words = [*QUICK, "--without", "flashes", "--clips-from", out / "clips"]
    code, printed, _ = covecast("pack", quick, out / "pack", *words)
    assert code == 0
    assert "3 kept" in printed
    assert files_in(out / "pack" / "clips") == files_in(out / "clips") == before


@pytest.mark.usefixtures("small")
def test_shorter_clips(quick: Path, out: Path, covecast) -> None:
    code, _, _ = covecast("pack", quick, out / "pack", *QUICK, "--without", "flashes", "--seconds", "0.4")
    assert code == 0
    asked = ["-show_entries", "stream=nb_frames", "-of", "csv=p=0", str(out / "pack" / "clips" / "soft-dusk.mp4")]
    said = subprocess.run(["ffprobe", "-v", "error", *asked], capture_output=True, check=True, text=True).stdout
    assert said.strip().strip(",") == "10"  # 0.4 s at 25 a second


@pytest.mark.parametrize("how", [signal.SIGINT, signal.SIGTERM])
def test_stopped_midway_nothing_is_left(how: signal.Signals, quick: Path, out: Path) -> None:
    program = [sys.executable, "-c", "from preview.cli import main; main()"]
    call = ["pack", str(quick), str(out / "pack"), "--clip-size", "640x360", "--without", "flashes", "--jobs", "2"]
    words = [*program, *call]
    with subprocess.Popen(words, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as running:
        while running.poll() is None and not list(out.glob(".pack.part-*/clips")):
            time.sleep(0.02)
        time.sleep(0.3)
        running.send_signal(how)
        printed, told = running.communicate(timeout=60)
    assert (running.returncode, printed) == (130, "")
    assert "Nothing half-written" in told
    assert not list(out.iterdir())


@pytest.mark.usefixtures("small")
def test_a_clip_that_fails_leaves_nothing(quick: Path, out: Path, covecast, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("IMAGEIO_FFMPEG_EXE", "/bin/false")
    code, printed, told = covecast("pack", quick, out / "pack", *QUICK, "--without", "flashes")
    assert (code, printed) == (2, "")
    assert "Traceback" not in told
    assert not list(out.iterdir())


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["--clip-size", "big"], "--clip-size: expected width and height"),
        (["--clip-size", "63x36"], "--clip-size: expected even sides"),
        (["--seconds", "0"], "--seconds: expected 0.01"),
        (["--channel-m", "nan"], "--channel-m: expected"),
        (["--kerf-mm", "-1"], "--kerf-mm: expected 0"),
        (["--allowance", "2"], "--allowance: expected 0 to 1"),
        (["--date", ""], "--date: expected"),
        (["--clips-from", "nowhere"], "--clips-from: expected a folder"),
        (["--without", "page"], "page"),
    ],
)
def test_options_that_are_wrong(words: list[str], says: str, quick: Path, out: Path, covecast) -> None:
    code, printed, told = covecast("pack", quick, out / "pack", *words)
    assert (code, printed) == (2, "")
    assert says in told
    assert not list(out.iterdir())


def test_all_that_is_wrong_is_told_at_once(quick: Path, out: Path, covecast) -> None:
    told = covecast("pack", quick, out / "pack", "--seconds", "0", "--reel-m", "0", "--clip-size", "1x1")[2]
    assert all(name in told for name in ("--seconds", "--reel-m", "--clip-size"))


def test_lux_is_what_the_lux_command_reads(quick: Path, out: Path, covecast) -> None:
    words = ["--lux", "0.5,1,0.5", "--lux", "0.5,1.4,1/0,-1,0"]
    code, _, told = covecast("pack", quick, out / "pack", "--without", "client", *words)
    assert code == 0, told
    with (out / "pack" / "readings.csv").open(encoding="utf-8-sig", newline="") as file:
        rows = [row for row in csv.DictReader(file) if row["unit"] == "lux"]
    assert len(rows) == 10
    for row in rows:
        point, _, facing = row["place"].removeprefix("at ").partition(" m, facing ")
        asked = ["--point", point, "--facing", "0,0,1" if facing == "up" else facing, "--drive", row["codes"]]
        _, printed, _ = covecast("lux", quick, *asked, "--json")
        assert row["expected"] == f"{json.loads(printed)['lux']:.3f}"
    assert "Light, in lux" in (out / "pack" / PAGES[1]).read_text(encoding="utf-8")


def test_places_of_a_lux_meter_that_are_wrong(quick: Path, out: Path, covecast) -> None:
    code, _, told = covecast("pack", quick, out / "pack", "--lux", "1,2", "--lux", "a,b,c")
    assert (code, told.count("--lux: expected three numbers")) == (2, 2)
    code, _, told = covecast("pack", quick, out / "pack", "--lux", "50,1,1")
    assert code == 2
    assert "--lux: expected a place in the room" in told
    assert not list(out.iterdir())


def test_a_folder_in_a_folder_that_is_not_there(quick: Path, out: Path, covecast) -> None:
    code, _, told = covecast("pack", quick, out / "no" / "pack")
    assert code == 2
    assert "expected an existing folder" in told


def test_a_scene_that_is_wrong(out: Path, one_shelf: str, covecast) -> None:
    file = out.parent / "bad.toml"
    file.write_text(one_shelf.replace("leds_per_m ", "led_per_m "))
    code, _, told = covecast("pack", file, out / "pack")
    assert code == 2
    assert "leds_per_m" in told
    assert not list(out.iterdir())
