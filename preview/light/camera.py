"""The client's eye as a pinhole camera.

Picture coordinates are in pixels, x to the right and y down, the middle of the top left pixel at (0.5, 0.5).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from preview.scene.layout import Floats
from preview.scene.model import Viewer

__all__ = ["Camera", "camera_of"]


@dataclass(frozen=True)
class Camera:
    """A pinhole at `eye_m`. A ray's direction is forward + x'·right + y'·down, x' and y' tangents of its angles."""

    eye_m: Floats  # (3,)
    forward: Floats  # (3,) unit vector
    right: Floats  # (3,) unit vector
    down: Floats  # (3,) unit vector
    focal_px: float
    size: tuple[int, int]  # width, height

    def slopes(self, x_px: Floats, y_px: Floats) -> tuple[Floats, Floats]:
        """Tangents of the ray's angles to the right and down, of picture coordinates of any shape."""
        return (x_px - self.size[0] / 2) / self.focal_px, (y_px - self.size[1] / 2) / self.focal_px

    def project(self, points_m: Floats) -> tuple[Floats, Floats, Floats]:
        """Picture coordinates x, y in pixels and depth in metres along the view, each (N,); depth ≤ 0 is behind the eye."""
        step = points_m - self.eye_m
        depth = step @ self.forward
        safe = np.where(np.abs(depth) < 1e-9, 1e-9, depth)
        x = step @ self.right / safe * self.focal_px + self.size[0] / 2
        y = step @ self.down / safe * self.focal_px + self.size[1] / 2
        return x, y, depth


def camera_of(viewer: Viewer, size: tuple[int, int]) -> Camera:
    """The camera of a scene's viewer for a picture of `size` = (width, height). The field is the horizontal one."""
    eye = np.asarray(viewer.eye_m, dtype=float)
    forward = np.asarray(viewer.look_m, dtype=float) - eye
    length = float(np.linalg.norm(forward))
    forward = forward / length if length > 0 else np.array([0.0, 1.0, 0.0])
    up = np.array([0.0, 0.0, 1.0]) if abs(forward[2]) < 0.999 else np.array([0.0, 1.0, 0.0])
    right = np.cross(forward, up)
    right /= np.linalg.norm(right)
    focal = size[0] / 2 / float(np.tan(np.radians(viewer.field_deg) / 2))
    return Camera(eye, forward, right, np.cross(forward, right), focal, size)
