"""Which way a scene is drawn: as a room of painted surfaces, or on the client's own photo."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TypeAlias

from preview.light.camera import Camera, camera_of
from preview.light.lit_photo import PhotoRenderer, sighting_of
from preview.light.photo import load_photo
from preview.light.picture import Renderer
from preview.light.transport import Progress
from preview.scene.layout import Layout
from preview.scene.model import Scene

__all__ = ["Drawing", "camera_of_scene", "photo_notes", "renderer_of"]

Drawing: TypeAlias = Renderer | PhotoRenderer
"""What draws a scene. Both have the same `size`, `camera`, `notes`, `luminance`, `exposure`, `picture` and `pictures`."""


def renderer_of(
    scene: Scene, layout: Layout, size: tuple[int, int] = (1280, 720), progress: Progress | None = None
) -> Drawing:
    """What draws a scene at a size (width, height): on its photo where it has one.

    Raises CovecastError where the photo or its corners are no good.
    """
    return (Renderer if scene.photo is None else PhotoRenderer)(scene, layout, size, progress)


def camera_of_scene(scene: Scene, size: tuple[int, int]) -> Camera | None:
    """The camera that a picture of `size` is drawn with, without drawing one; None where the photo does not tell it."""
    if scene.photo is None:
        return camera_of(scene.viewer, size)
    photo = load_photo(scene.photo.file, Path(scene.folder))
    camera = sighting_of(scene, photo).camera
    if camera is None:
        return None
    return replace(camera, focal_px=camera.focal_px * photo.scale_to(size), size=size)


def photo_notes(scene: Scene) -> tuple[str, ...]:
    """What there is to say of a scene's photo before anything is drawn on it; nothing where it has none.

    Raises CovecastError where the photo or its corners are no good.
    """
    return () if scene.photo is None else (f"photo: {sighting_of(scene).says}",)
