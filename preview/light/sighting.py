"""Where a photo was taken from: the camera, from four corners of a known rectangle on one surface of the room.

The corners give the homography between the surface and the photo. With square pixels and the optical axis through the photo's middle it
holds the focal length and the camera's place (Zhang 2000): for K⁻¹H = [a b t], a·b = 0 and |a| = |b|. From there the eight coordinates of
the corners are fitted by least squares over seven unknowns, which leaves one to tell a rectangle that does not fit. The fit also tells
how well the focal length is known if each corner is marked to `MARKED_TO` of the photo's width: seen squarely, a small rectangle near by
looks like a large one far away, and the corners alone say nothing. Then the focal length that the camera wrote into the file is taken, and
where there is none only the surface itself is known, by its homography.

Source: Z. Zhang, A flexible new technique for camera calibration, IEEE PAMI 22 (2000); cv2.solvePnP for the start.
Leaves out: lens distortion, photos whose middle was cut away.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from scipy.optimize import least_squares

from preview.light.camera import Camera
from preview.light.room import Surfaces
from preview.scene.faults import CovecastError
from preview.scene.layout import Floats

__all__ = ["FILE", "MARKED_TO", "Sighting", "corners_m", "plane_of_photo", "sight"]

FILE = "the focal length in the file"
"""What tells the focal length where the scene does not."""

MARKED_TO = 0.0015
"""How well a corner is marked, over the photo's width: two pixels of 1280."""

_WELL_KNOWN = 0.12  # largest relative error of the focal length that still puts the other surfaces where they are
_WIDEST_DEG, _NARROWEST_DEG = 140.0, 4.0
_MISFIT = 0.012  # of the photo's width: corners that miss a rectangle by more were measured or marked wrongly


@dataclass(frozen=True)
class Sighting:
    """What the corners say. `camera` is None where they say too little, and `says` tells in words either way."""

    plane: Floats  # (3, 3) homography from photo pixels (x, y, 1) to metres (u, v, 1) on the surface
    camera: Camera | None  # for a picture of the photo's own size
    misfit_px: float  # root mean square distance of the corners from the fitted rectangle's
    says: str
    squarely: bool = False  # whether it is for want of a slant that there is no camera


def corners_m(surfaces: Surfaces, surface: int, rect_m: tuple[float, float, float, float]) -> Floats:
    """Places (4, 3) in the room of a rectangle's corners, in the order (u0,v0), (u1,v0), (u1,v1), (u0,v1)."""
    u0, v0, u1, v1 = rect_m
    along = np.array([[u0, v0], [u1, v0], [u1, v1], [u0, v1]])
    return np.asarray(surfaces.origin_m[surface] + along @ np.stack([surfaces.u[surface], surfaces.v[surface]]))


def plane_of_photo(corners_px: Floats, rect_m: tuple[float, float, float, float]) -> Floats:
    """Homography (3, 3) from photo pixels to metres along the surface's u and v."""
    u0, v0, u1, v1 = rect_m
    flat = np.array([[u0, v0], [u1, v0], [u1, v1], [u0, v1]], dtype=np.float32)
    return np.asarray(cv2.getPerspectiveTransform(np.asarray(corners_px, dtype=np.float32), flat), dtype=np.float64)


def sight(
    surfaces: Surfaces,
    surface: int,
    rect_m: tuple[float, float, float, float],
    corners_px: Floats,
    size: tuple[int, int],
    focal_px: float | None = None,
    focal_by: str = FILE,
) -> Sighting:
    """The camera of a photo of `size` (width, height) whose corners (4, 2) are those of a rectangle on surface number `surface`.

    `focal_px` is the focal length in pixels of the photo's width that something tells, `focal_by`, or None. Raises CovecastError where the
    corners go round the wrong way for that surface, or lie far outside the photo.
    """
    name = surfaces.names[surface]
    corners = np.asarray(corners_px, dtype=np.float64)
    _check_way_round(surfaces, surface, corners)
    over = np.maximum(np.maximum(-corners, corners - np.array(size)), 0) / np.array(size)
    if over.max() > 1:
        found = ", ".join(f"({x:g}, {y:g})" for x, y in corners)
        raise CovecastError(
            f"photo.corners_px: expected places in the photo of {size[0]} × {size[1]} px, found {found}"
        )
    plane = plane_of_photo(corners, rect_m)
    places = corners_m(surfaces, surface, rect_m)
    normal, origin = surfaces.normal[surface], surfaces.origin_m[surface]

    camera, misfit, blur = _fit(places, corners, size, None)
    how = "from the corners"
    if camera is None or blur > _WELL_KNOWN or misfit > _MISFIT * size[0]:
        missed = camera is not None and misfit > _MISFIT * size[0]
        if not missed and focal_px is None:  # seen squarely, any focal length tells whether the shape is right
            usual, by, _ = _fit(places, corners, size, 0.9 * max(size))
            if usual is not None and by > 2 * _MISFIT * size[0]:
                missed, misfit = True, by
        why = (
            f"the corners miss a rectangle of that size by {misfit:.0f} px"
            if missed
            else "the corners are seen too squarely to tell how far away the camera stood"
        )
        if focal_px is None:
            unknown = "" if missed else ", and the file does not tell its focal length (photo.field_deg would)"
            return Sighting(plane, None, misfit, f"only the {name} is lit: {why}{unknown}", squarely=not missed)
        camera, misfit, _ = _fit(places, corners, size, focal_px)
        how = f"from the corners and {focal_by}"
        if camera is None or misfit > 2 * _MISFIT * size[0]:
            text = f"only the {name} is lit: the corners miss a rectangle of that size by {misfit:.0f} px"
            return Sighting(plane, None, misfit, text)
    if (camera.eye_m - origin) @ normal <= 0:
        return Sighting(plane, None, misfit, f"only the {name} is lit: the corners put the camera behind it")
    eye = ", ".join(f"{value:.2f}" for value in camera.eye_m)
    field = np.degrees(2 * np.arctan(size[0] / 2 / camera.focal_px))
    text = f"camera {how}: at {eye} m, {field:.0f}° wide, corners met to {misfit:.1f} px"
    return Sighting(plane, camera, misfit, text)


def _check_way_round(surfaces: Surfaces, surface: int, corners: Floats) -> None:
    """Seen from inside the room the corners go round one way only; which way depends on the surface."""
    x, y = corners[:, 0], corners[:, 1]
    turn = float(np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y))  # above 0: clockwise on the photo, y being down
    handed = float(np.cross(surfaces.u[surface], surfaces.v[surface]) @ surfaces.normal[surface])
    if turn * handed > 0:
        right = {"right": "u runs to the left there", "front": "u runs to the left there"}.get(
            surfaces.names[surface], "u runs to the right there"
        )
        raise CovecastError(
            f"photo.corners_px: expected (u0,v0), (u1,v0), (u1,v1), (u0,v1) as the {surfaces.names[surface]} is seen from "
            f"inside the room ({right}), found them the other way round"
        )


def _focal_start(places: Floats, corners: Floats, size: tuple[int, int]) -> float:
    """Focal length in pixels by the two conditions on the homography, or a usual one where they say nothing."""
    usual = 0.9 * max(size)
    step_u, step_v = places[1] - places[0], places[3] - places[0]
    wide, tall = float(np.linalg.norm(step_u)), float(np.linalg.norm(step_v))
    flat = np.array([[0, 0], [wide, 0], [wide, tall], [0, tall]], dtype=np.float32)
    centred = (corners - np.array(size) / 2).astype(np.float32)
    h = np.asarray(cv2.getPerspectiveTransform(flat, centred), dtype=np.float64)
    a, b = h[:, 0] / np.linalg.norm(h), h[:, 1] / np.linalg.norm(h)
    planar = np.array([a[0] * b[0] + a[1] * b[1], a[0] ** 2 + a[1] ** 2 - b[0] ** 2 - b[1] ** 2])
    deep = np.array([a[2] * b[2], a[2] ** 2 - b[2] ** 2])
    over = float(planar @ planar)
    inverse = -float(planar @ deep) / over if over > 0 else 0.0  # 1/f²
    if inverse <= 0:
        return usual
    return float(np.clip(1 / np.sqrt(inverse), _focal(size, _WIDEST_DEG), _focal(size, _NARROWEST_DEG)))


def _focal(size: tuple[int, int], field_deg: float) -> float:
    return size[0] / 2 / float(np.tan(np.radians(field_deg) / 2))


def _fit(
    places: Floats, corners: Floats, size: tuple[int, int], focal_px: float | None
) -> tuple[Camera | None, float, float]:
    """Camera, misfit in pixels and relative error of the focal length. With `focal_px` that length is kept."""
    centre = np.array(size) / 2
    middle = places.mean(axis=0)

    def seen(pose: Floats, focal: float) -> Floats:
        turned = (places - middle) @ np.asarray(cv2.Rodrigues(pose[:3])[0]).T + pose[3:6]
        depth = np.maximum(turned[:, 2:], 1e-6)
        return np.asarray(turned[:, :2] / depth * focal + centre)

    best: tuple[float, Floats, Floats] | None = None
    starts = [focal_px] if focal_px is not None else [_focal_start(places, corners, size), 0.9 * max(size)]
    for focal in starts:
        matrix = np.array([[focal, 0, centre[0]], [0, focal, centre[1]], [0, 0, 1]], dtype=np.float64)
        good, turns, shifts, _ = cv2.solvePnPGeneric(
            np.ascontiguousarray(places - middle), np.ascontiguousarray(corners), matrix, None, flags=cv2.SOLVEPNP_IPPE
        )
        if not good:
            continue
        for turn, shift in zip(turns, shifts, strict=True):
            start = np.concatenate([np.ravel(turn), np.ravel(shift), [0.0]])

            def missing(x: Floats, focal: float = focal) -> Floats:
                grown = focal * float(np.exp(np.clip(x[6], -4, 4))) if focal_px is None else focal
                return np.asarray((seen(x[:6], grown) - corners).ravel() / size[0])

            if focal_px is not None:
                found = least_squares(lambda x: missing(np.append(x, 0.0)), start[:6], x_scale="jac")
                solution = np.append(found.x, 0.0)
            else:
                found = least_squares(missing, start, x_scale="jac")
                solution = found.x
            jac = np.asarray(found.jac)
            value = float(np.sqrt(2 * found.cost / 4)) * size[0]
            answer = np.append(solution[:6], focal * np.exp(np.clip(solution[6], -4, 4)))
            if best is None or value < best[0] - 1e-9:
                best = value, answer, jac
    if best is None:
        return None, float("inf"), float("inf")
    misfit, answer, jac = best
    rotation = np.asarray(cv2.Rodrigues(answer[:3])[0])
    eye = middle - rotation.T @ answer[3:6]
    blur = 0.0
    if focal_px is None:
        # The root of the last entry of (JᵀJ)⁻¹, by way of J's singular values: seen squarely, JᵀJ cannot be inverted.
        _, singular, ways = np.linalg.svd(jac, full_matrices=False)
        known = singular[-1] > 1e-12 * singular[0]
        blur = MARKED_TO * float(np.linalg.norm(ways[:, 6] / singular)) if known else float("inf")
    camera = Camera(eye, rotation[2], rotation[0], rotation[1], float(answer[6]), size)
    field = np.degrees(2 * np.arctan(size[0] / 2 / camera.focal_px))
    if not _NARROWEST_DEG <= field <= _WIDEST_DEG:
        blur = float("inf") if focal_px is None else blur
    return camera, misfit, blur
