"""`covecast photo`: whether the corners marked in the client's photo fit, with the plan's lines drawn over it."""

from __future__ import annotations

from pathlib import Path

import click

from preview.commands.options import check_png, json_option, load, print_json, scene_argument

__all__ = ["command"]

_WIDE = 1600


@click.command(name="photo")
@scene_argument
@click.argument("out", metavar="[OUT.png]", required=False)
@json_option
def command(scene: str, out: str | None, as_json: bool) -> None:
    """Where the photo of SCENE was taken from, as its marked corners tell, and in OUT.png the plan's lines over it.

    Green: the rectangle as marked. Blue: half-metre grid on its surface. White: the room; grey: boxes; amber: runs. Where the lines lie on
    what they stand for, the light will too.
    """
    from preview.handover.placing import check_place
    from preview.handover.stills import write_png
    from preview.light.lit_photo import sighting_of
    from preview.light.outline import outlined
    from preview.light.photo import load_photo
    from preview.scene.faults import CovecastError

    plan = load(scene)
    if plan.photo is None:
        raise CovecastError(f"{scene}: expected a scene with a [photo], found none in it")
    if out is not None:
        check_png(out, "OUT.png")
        check_place(Path(out))
    photo = load_photo(plan.photo.file, Path(plan.folder))
    sighting = sighting_of(plan, photo)
    if out is not None:
        width = min(_WIDE, photo.size[0])
        picture, _ = outlined(plan, (width, max(1, round(width * photo.size[1] / photo.size[0]))))
        write_png(Path(out), picture)
    camera = sighting.camera
    if as_json:
        print_json(
            {
                "format": 1,
                "scene": plan.title,
                "file": plan.photo.file,
                "size_px": list(photo.size),
                "surface": plan.photo.surface,
                "camera": None
                if camera is None
                else {
                    "eye_m": [float(value) for value in camera.eye_m],
                    "forward": [float(value) for value in camera.forward],
                    "focal_px": camera.focal_px,
                },
                "misfit_px": sighting.misfit_px,
                "says": sighting.says,
            }
        )
        return
    click.echo(f"{plan.title}: {plan.photo.file}, {photo.size[0]} × {photo.size[1]} px: {sighting.says}.")
    if out is not None:
        click.echo(f"{out}: the plan's lines over the photo")
