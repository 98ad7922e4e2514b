"""Every look of a scene as a clip, a folder full, in worker processes; what is there and unchanged is kept.

A list beside the clips, `clips.json`, says what each was made of: a stamp of the plan, of the effect's script and of every option, and a
digest of the file itself. A clip whose stamp and digest still hold is left alone, so a run that was stopped goes on where it was, and a
change to one effect costs one clip. A clip goes into the list when it is whole.

Leaves out: what changed in covecast itself between two releases of the same version.
"""

from __future__ import annotations

import hashlib
import json
import multiprocessing
import os
import queue
import re
import signal
import sys
import threading
import warnings
from collections.abc import Callable, Collection, Iterator, Sequence
from dataclasses import asdict, dataclass, replace
from multiprocessing.process import BaseProcess
from pathlib import Path
from typing import Any

import effects
from preview.handover.clips import Target, Wish, Written, write_look
from preview.handover.eyes import FlashingError
from preview.handover.frames import stage_of
from preview.handover.making import covecast_version, digest_of
from preview.handover.placing import ending_cleanly, placing_file
from preview.looks.drives import clip_times
from preview.looks.library import effect_names, find_effect, look_faults, looks_of
from preview.scene.faults import CovecastError
from preview.scene.model import Look, Scene
from preview.scene.read import find_scene, read_scene

__all__ = ["LIST", "Done", "clip_names", "stamp_of", "write_all"]

LIST = "clips.json"
"""What the list beside the clips is called."""

_LEAVE_S = 10.0
"""How long a worker may take to leave once its work is done."""


@dataclass(frozen=True)
class Done:
    """What became of one look: its file, and `written`; None where it was kept; `failed` says why there is none.

    `flashes`: there is none because it flashes more than it may.
    """

    look: str
    path: Path
    written: Written | None = None
    failed: str | None = None
    flashes: bool = False


def clip_names(looks: Sequence[Look], ending: str) -> list[str]:
    """A file name for each look.

    >>> clip_names([Look(name=n, effect="steady", seconds=1) for n in ("Opening hour", "Опал", "opening hour!")], ".gif")
    ['opening-hour.gif', 'опал.gif', 'opening-hour-2.gif']
    """
    names: list[str] = []
    for look in looks:
        plain = re.sub(r"[\W_]+", "-", look.name.lower()).strip("-") or "look"
        name, number = plain, 1
        while name in names:
            number += 1
            name = f"{plain}-{number}"
        names.append(name)
    return [name + ending for name in names]


def stamp_of(scene: Scene, look: Look, wish: Wish) -> str:
    """A digest of everything a look's clip is made of."""
    digest = hashlib.sha256(f"2 {covecast_version()} {look.name} {asdict(wish)}".encode())
    digest.update(scene.model_dump_json(exclude={"look", "programme"}).encode())
    played = {look.effect}
    if look not in scene.look:  # the programme: its steps and their looks
        steps = {step.look for step in scene.programme}
        parts = [other for other in scene.look if other.name in steps]
        played = {other.effect for other in parts}
        for part in (*scene.programme, *parts):
            digest.update(part.model_dump_json().encode())
    else:
        digest.update(look.model_dump_json().encode())
    kit = sorted(Path(effects.__file__).parent.glob("kit/*.py"))
    photo = [Path(scene.folder) / scene.photo.file] if scene.photo is not None else []
    for path in [*(Path(find_effect(name).file) for name in sorted(played)), *kit, *photo]:
        digest.update(path.read_bytes())
    return digest.hexdigest()


def _digest(path: Path) -> str | None:
    try:
        return digest_of(path)
    except OSError:
        return None


def _read_list(folder: Path) -> dict[str, Any]:
    """The list of a folder; an empty one where there is none or it cannot be read."""
    try:
        held = json.loads((folder / LIST).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return {}
    clips = held.get("clips") if isinstance(held, dict) else None
    return clips if isinstance(clips, dict) else {}


def _write_list(folder: Path, scene: Scene, clips: dict[str, Any]) -> None:
    with placing_file(folder / LIST) as part:
        text = json.dumps({"format": 1, "scene": scene.title, "clips": clips}, indent=2, ensure_ascii=False)
        part.write_text(text + "\n", encoding="utf-8")


def write_all(
    scene_name: str,
    folder: Path,
    ending: str,
    wish: Wish,
    jobs: int,
    prepare: Callable[[Scene], object] | None = None,
    progress: Callable[[int, int], None] | None = None,
    only: Collection[str] | None = None,
) -> Iterator[Done]:
    """Write every look of a scene, and its programme, into `folder`, which must be there; gives each as it is done.

    `only` names the looks that are wanted, where not all are.

    `prepare` is called once if anything is to be written, `progress` with the frames written and to be written.
    What fails is given too, and the others go on; leaving early ends the workers and leaves whole clips alone.
    """
    scene = read_scene(find_scene(scene_name), effect_names(), look_faults)
    looks = looks_of(scene)
    if not looks:
        raise CovecastError(f"{scene.title}: the scene has no [[look]]; add one with name and effect")
    clips = _read_list(folder)
    todo: list[tuple[int, str]] = []
    stamps: dict[str, str] = {}
    names = clip_names(looks, ending)
    for number, (look, name) in enumerate(zip(looks, names, strict=True)):
        if only is not None and look.name not in only:
            continue
        stamps[name] = stamp_of(scene, look, wish)
        held = clips.get(name)
        if (
            isinstance(held, dict)
            and held.get("stamp") == stamps[name]
            and held.get("sha256") == _digest(folder / name)
        ):
            yield Done(look.name, folder / name)
        else:
            todo.append((number, name))
    if not todo:
        return
    if prepare is not None:
        prepare(scene)
    frames = [clip_times(_seconds(looks[number], wish), wish.frames_per_s).size for number, _ in todo]
    # The longest first, so that no worker is left alone with it at the end.
    todo = [todo[k] for k in sorted(range(len(todo)), key=lambda k: -frames[k])]
    for number, name, written, failed, flashes in _in_workers(
        scene_name, folder, wish, todo, jobs, sum(frames), progress
    ):
        if written is not None:
            clips[name] = {"look": looks[number].name, "stamp": stamps[name], "sha256": _digest(folder / name)}
            _write_list(folder, scene, clips)
        yield Done(looks[number].name, folder / name, written, failed, flashes)


def _seconds(look: Look, wish: Wish) -> float:
    return look.seconds if wish.seconds is None else min(wish.seconds, look.seconds)


Answer = tuple[int, str, Written | None, str | None, bool]


def _in_workers(
    scene_name: str,
    folder: Path,
    wish: Wish,
    todo: Sequence[tuple[int, str]],
    jobs: int,
    frames: int,
    progress: Callable[[int, int], None] | None,
) -> Iterator[Answer]:
    context = multiprocessing.get_context("spawn")
    tasks, answers = context.Queue(), context.Queue()
    counter = context.Value("l", 0)
    for task in todo:
        tasks.put(task)
    workers = min(jobs, len(todo))
    for _ in range(workers):
        tasks.put(None)
    arguments = (scene_name, str(folder), wish, tasks, answers, counter)
    processes: list[BaseProcess] = [context.Process(target=_work, args=arguments, daemon=True) for _ in range(workers)]
    try:
        for process in processes:
            process.start()
        left = len(todo)
        while left:
            try:
                answer: Answer = answers.get(timeout=0.2)
            except queue.Empty:
                if progress is not None:
                    progress(min(counter.value, frames), frames)
                if not any(process.is_alive() for process in processes) and answers.empty():
                    raise CovecastError(
                        f"{folder}: the workers ended before their work; whole clips are kept"
                    ) from None
                continue
            left -= 1
            yield answer
        for process in processes:
            process.join(_LEAVE_S)  # they have been told that there is no more
    finally:
        for process in processes:
            if process.is_alive():
                process.terminate()
        for process in processes:
            if process.pid is not None:
                process.join()
        for line in (tasks, answers):
            line.cancel_join_thread()
            line.close()


def _caution(message: Warning | str, *_: object) -> None:
    print(f"covecast: caution: {message}", file=sys.stderr, flush=True)


def _leave_with_caller() -> None:
    """End this worker as the caller would have, where the caller itself was killed and can end nobody."""
    caller = multiprocessing.parent_process()
    if caller is not None:
        caller.join()
        os.kill(os.getpid(), signal.SIGTERM)


def _work(scene_name: str, folder: str, wish: Wish, tasks: Any, answers: Any, counter: Any) -> None:
    """One worker: clips from the queue until there are no more. Ctrl-C is the caller's business, who ends the workers."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=_leave_with_caller, daemon=True).start()
    warnings.showwarning = _caution  # type: ignore[assignment]
    try:
        with ending_cleanly():
            scene = read_scene(find_scene(scene_name), effect_names(), look_faults)
            looks = looks_of(scene)
            stage = None
            while True:
                task = tasks.get()
                if task is None:
                    return
                number, name = task
                look = looks[number]

                def done(frame: int, of: int) -> None:
                    with counter.get_lock():
                        counter.value += 1

                try:
                    stage = stage or stage_of(scene, wish.size)
                    target = Target(Path(folder) / name, Path(name).suffix)
                    own = wish if wish.seconds is None else _shorter(wish, look)
                    written = write_look(stage, look, target, own, done)
                    answers.put((number, name, written, None, False))
                except CovecastError as error:
                    answers.put((number, name, None, str(error), isinstance(error, FlashingError)))
    except KeyboardInterrupt:
        os._exit(1)  # everything begun has been cleared away on the way here


def _shorter(wish: Wish, look: Look) -> Wish:
    return replace(wish, seconds=_seconds(look, wish))
