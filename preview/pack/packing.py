"""The whole pack: clips, pictures, lists, drawing, pages and manifest into one folder, which is there whole or not at all.

Everything is written out of sight beside its target and moved into place at the end. Clips that an earlier pack in the same place, or a
folder of clips that is named, already has are taken over where nothing they are made of has changed.
"""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable, Generator, Sequence
from contextlib import AbstractContextManager, closing
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any, cast

from preview.handover.batch import Done, write_all
from preview.handover.checking import Checked
from preview.handover.clips import Wish
from preview.handover.making import covecast_version, digest_of
from preview.handover.placing import placing_folder
from preview.looks.library import client_looks, looks_of
from preview.pack.client import client_page
from preview.pack.cuts import Sold, cut_list
from preview.pack.diagram import wiring_svg
from preview.pack.fitter import fitter_page
from preview.pack.folder import MANIFEST, PackError, aside, check_target, manifest_of
from preview.pack.gauging import gauge
from preview.pack.lists import cuts_csv, parts_csv, readings_csv
from preview.pack.lux_points import LuxPoint, with_lux
from preview.pack.pages import page
from preview.pack.parts import ALLOWANCE, parts_list
from preview.pack.pictures import Shown, write_pictures
from preview.power.cap import Cap
from preview.scene.layout import lay_out
from preview.scene.model import Scene
from preview.scene.read import find_scene

__all__ = ["CLIENT", "FITTER", "Asked", "Bar", "Packed", "write_pack"]

CLIENT, FITTER = "for-the-client.html", "for-the-fitter.html"
"""What the two pages are called."""

CLIPS, PICTURES = "clips", "pictures"

Bar = Callable[[str, int], AbstractContextManager[Callable[[int], None]]]
"""Shows how far something has come: called with what it is and its steps, gives a function of the steps done."""


@dataclass(frozen=True)
class Asked:
    """What goes into a pack, and how. `date` is printed as it stands; `clips_from` is a folder of clips to take over."""

    client: bool = True
    clips: bool = True
    wish: Wish = field(default_factory=Wish)
    jobs: int = 1
    sold: Sold = field(default_factory=Sold)
    allowance: float = ALLOWANCE
    lux: tuple[LuxPoint, ...] = ()
    date: str | None = None
    clips_from: Path | None = None
    force: bool = False


@dataclass(frozen=True)
class Packed:
    """What was packed: the files, the looks without a clip because they flash, clips kept and written, and where the old folder went."""

    files: tuple[str, ...]
    withheld: tuple[str, ...]
    kept: tuple[str, ...]
    written: tuple[str, ...]
    aside: Path | None
    notes: tuple[str, ...]
    manifest: dict[str, Any]


def write_pack(
    scene_name: str, scene: Scene, target: Path, asked: Asked, caps: Sequence[Cap], checked: Checked, bar: Bar
) -> Packed:
    """Pack a scene. `caps` are those of its looks and last that of any content; `checked` is its check, with flashes for the client's page.

    Raises PackError where the target may not be replaced or a clip fails; then nothing has changed.
    """
    whole = target.resolve()
    set_aside = check_target(target, asked.force)
    before = aside(whole) if set_aside else None
    with placing_folder(whole, ".*") as part:
        shown: tuple[Shown, ...] = ()
        notes: Sequence[str] = ()
        done = _Clips()
        if asked.client:
            (part / PICTURES).mkdir()
            with bar("Drawing pictures", 1000) as step:
                shown, notes = write_pictures(
                    scene, part / PICTURES, asked.wish.size, lambda share: step(round(1000 * share))
                )
            if asked.clips:
                done = _write_clips(scene_name, scene, whole, part / CLIPS, asked, bar)
        about = _write_papers(scene_name, scene, part, asked, caps, checked, shown, done)
        text = manifest_of(part, about)
        (part / MANIFEST).write_text(text, encoding="utf-8")
        files = tuple(sorted(path.relative_to(part).as_posix() for path in part.rglob("*") if path.is_file()))
        if before is not None:
            os.replace(whole, before)
    return Packed(files, tuple(done.withheld), tuple(done.kept), tuple(done.written), before, tuple(notes), about)


@dataclass
class _Clips:
    """Clips by look, and what became of each."""

    files: dict[str, str] = field(default_factory=dict)
    withheld: list[str] = field(default_factory=list)
    kept: list[str] = field(default_factory=list)
    written: list[str] = field(default_factory=list)


def _write_clips(scene_name: str, scene: Scene, whole: Path, folder: Path, asked: Asked, bar: Bar) -> _Clips:
    """Every look that the client is shown as MP4; what is there already is taken over."""
    folder.mkdir()
    for source in (whole / CLIPS, asked.clips_from):
        if source is not None and source.is_dir():
            for path in source.iterdir():
                if path.suffix in (".mp4", ".json") and path.is_file():
                    shutil.copy2(path, folder / path.name)
    found, failed = _Clips(), []
    with bar("Writing clips", 1000) as step:

        def progress(frame: int, of: int) -> None:
            step(round(1000 * frame / max(of, 1)))

        names = [look.name for look in client_looks(scene)]
        every = cast(
            "Generator[Done]", write_all(scene_name, folder, ".mp4", asked.wish, asked.jobs, None, progress, names)
        )
        with closing(every) as all_done:
            for one in all_done:
                if one.flashes:
                    found.withheld.append(one.look)
                elif one.failed is not None:
                    failed.append(one.failed)
                else:
                    found.files[one.look] = one.path.name
                    (found.kept if one.written is None else found.written).append(one.look)
    if failed:
        raise PackError("\n".join(failed))
    wanted = {*found.files.values(), "clips.json"}
    for path in folder.iterdir():  # clips of looks that are no more
        if path.name not in wanted:
            path.unlink()
    return found


def _write_papers(
    scene_name: str,
    scene: Scene,
    part: Path,
    asked: Asked,
    caps: Sequence[Cap],
    checked: Checked,
    shown: Sequence[Shown],
    clips: _Clips,
) -> dict[str, Any]:
    """Lists, drawing and pages; gives what the manifest says besides its files."""
    layout = lay_out(scene)
    any_cap = caps[-1]
    gauged = with_lux(scene, gauge(scene, any_cap.code if any_cap.holds else 0), asked.lux)
    cuts = cut_list(scene, asked.sold)
    parts = parts_list(scene, cuts, asked.allowance)
    (part / "parts.csv").write_bytes(parts_csv(parts))
    (part / "cuts.csv").write_bytes(cuts_csv(cuts))
    (part / "readings.csv").write_bytes(readings_csv(gauged))
    (part / "wiring.svg").write_text(wiring_svg(scene, layout, gauged.wiring), encoding="utf-8")
    file = find_scene(scene_name)
    invented = (scene.note or "").strip().lower().startswith("invented")
    both = {
        "title": scene.title,
        "note": scene.note,
        "invented": invented,
        "made_on": asked.date,
        "version": covecast_version(),
        "scene_sha256": digest_of(file),
        "flashes_known": bool(checked.flashes),
        "planned": {f"look {look.name}": look.level for look in looks_of(scene)},
        "four": layout.colours == 4,
    }
    if asked.client:
        about = client_page(scene, checked, shown, clips.files, clips.withheld, asked.wish.size)
        (part / CLIENT).write_text(page("client.html", both | about), encoding="utf-8")
    about = fitter_page(scene, layout, gauged, parts, cuts, caps, checked)
    (part / FITTER).write_text(page("fitter.html", both | {"client": asked.client} | about), encoding="utf-8")
    return {
        "scene": scene.title,
        "scene_file": file.name,
        "scene_sha256": both["scene_sha256"],
        "covecast": both["version"],
        "made_on": asked.date,
        "invented": invented,
        "breaks": checked.breaks,
        "cap": any_cap.as_json(),
        "assumed": list(scene.assumed),
        "assumed_too": [*cuts.assumed, *parts.assumed],
        "looks": [
            {"name": look.name, "clip": f"{CLIPS}/{clips.files[look.name]}" if look.name in clips.files else None,
             "flashes": look.name in clips.withheld}
            for look in looks_of(scene)
        ],
        "options": _options(asked),
    }  # fmt: skip


def _options(asked: Asked) -> dict[str, Any]:
    return {
        "client": asked.client,
        "clips": asked.clips and asked.client,
        "clip_size": list(asked.wish.size),
        "seconds": asked.wish.seconds,
        "allow_flashing": asked.wish.allow_flashing,
        "allowance": asked.allowance,
        "lux": [point.words for point in asked.lux],
        **asdict(asked.sold),
    }
