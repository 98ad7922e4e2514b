"""A video encoder at the end of a pipe: frames go in one by one, a file comes out, memory stays flat.

The program is the one that imageio-ffmpeg carries. Leaves out: sound.
"""

from __future__ import annotations

import contextlib
import re
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterator, Sequence
from typing import IO

import imageio_ffmpeg

from preview.scene.faults import CovecastError

__all__ = ["EncoderError", "encoding"]


_SPEAKER = re.compile(r"^\[[^]]*\] ")
"""Which of the encoder's parts speaks, and where in memory it lies."""


class EncoderError(CovecastError):
    """The encoder is missing, or gave up; the message has its own last line."""


@contextlib.contextmanager
def encoding(
    size: tuple[int, int],
    frames_per_s: float,
    pixels: str,
    arguments: Sequence[str],
) -> Iterator[Callable[[bytes | memoryview], None]]:
    """A function that takes one raw frame; leaving the block closes the file. `pixels` names their layout.

    `arguments` come after the input: codec, container and target.
    Raises EncoderError; leaving early stops the encoder.
    """
    try:
        program = imageio_ffmpeg.get_ffmpeg_exe()
    except RuntimeError as error:
        raise EncoderError(f"no encoder: {error}; set IMAGEIO_FFMPEG_EXE to one") from error
    source = [
        "-f",
        "rawvideo",
        "-pix_fmt",
        pixels,
        "-s",
        f"{size[0]}x{size[1]}",
        "-r",
        f"{frames_per_s:.6f}",
        "-i",
        "-",
    ]
    command = [program, "-hide_banner", "-nostdin", "-loglevel", "error", "-y", *source, *arguments]
    with tempfile.TemporaryFile() as says:
        process = subprocess.Popen(
            command, stdin=subprocess.PIPE, stdout=subprocess.DEVNULL, stderr=says, start_new_session=True
        )
        pipe = process.stdin
        assert pipe is not None
        _widen(pipe)

        def gave_up() -> EncoderError:
            says.seek(0)
            lines = says.read().decode(errors="replace").strip().splitlines()
            why = _SPEAKER.sub("", lines[-1]) if lines else f"exit code {process.returncode}"
            return EncoderError(f"the encoder gave up: {why}")

        def write(frame: bytes | memoryview) -> None:
            try:
                pipe.write(frame)
            except BrokenPipeError as error:
                process.wait()
                raise gave_up() from error

        try:
            yield write
            with contextlib.suppress(BrokenPipeError):
                pipe.close()
            if process.wait() != 0:
                raise gave_up()
        finally:
            if process.poll() is None:
                process.kill()
                process.wait()
            with contextlib.suppress(BrokenPipeError):
                pipe.close()


def _widen(pipe: IO[bytes]) -> None:
    """Let a pipe take a megabyte at once, where the system lets us (Linux)."""
    if sys.platform == "linux":
        import fcntl

        with contextlib.suppress(OSError):
            fcntl.fcntl(pipe.fileno(), fcntl.F_SETPIPE_SZ, 1 << 20)
