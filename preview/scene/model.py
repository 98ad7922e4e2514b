"""The plan as data: one frozen model per table of the scene file, format 1.

Every field carries the name it has in the file, with its unit. The models hold a *complete* plan: what a label leaves out
has been filled (`preview.scene.fill`) before a model is built, and the keys so filled are listed in `Scene.assumed`.
"""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, field_validator

__all__ = [
    "Assume",
    "Block",
    "Box",
    "Cable",
    "Channel",
    "Colour",
    "Feed",
    "Finish",
    "Join",
    "Limits",
    "Look",
    "Money",
    "Photo",
    "Room",
    "Run",
    "Scene",
    "Strip",
    "Supply",
    "Viewer",
    "White",
]

Positive = Annotated[float, Field(gt=0)]
NotNegative = Annotated[float, Field(ge=0)]
Fraction = Annotated[float, Field(ge=0, le=1)]
Point = tuple[float, float, float]
Size = tuple[Positive, Positive, Positive]
Finish8Bit = Annotated[str, Field(pattern=r"^#[0-9a-fA-F]{6}$")]
Kelvin = Annotated[float, Field(ge=1000, le=25000)]


class Table(BaseModel):
    """A table of the scene file: unknown keys, NaN and infinities are faults; nothing changes after reading."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False, populate_by_name=True)


class Finish(Table):
    """Colour of each room surface, sRGB, which is its diffuse reflectance."""

    floor: Finish8Bit = "#6b5442"
    ceiling: Finish8Bit = "#e8e4dc"
    back: Finish8Bit = "#d8d0c4"
    left: Finish8Bit = "#d8d0c4"
    right: Finish8Bit = "#d8d0c4"
    front: Finish8Bit = "#d8d0c4"


class Room(Table):
    """A box room: x along the back wall to the right, y into the room (the back wall is at y = size y), z up."""

    size_m: Size
    ambient_lux: NotNegative = 5.0
    ambient_k: Kelvin = 2700.0
    finish: Finish = Finish()


class Viewer(Table):
    """Where the client's eye is, what it looks at, and the horizontal field of view in degrees."""

    eye_m: Point
    look_m: Point
    field_deg: Annotated[float, Field(ge=5, le=150)] = 60.0


class Box(Table):
    """A solid, axis-parallel box: furniture, a shelf, a cove's lip."""

    name: str
    corner_m: Point
    size_m: Size
    finish: Finish8Bit = "#8a6f58"


class Photo(Table):
    """The client's own room in place of the drawn one."""

    file: str
    surface: Literal["floor", "ceiling", "back", "left", "right", "front"]
    rect_m: tuple[float, float, float, float]
    corners_px: tuple[tuple[float, float], tuple[float, float], tuple[float, float], tuple[float, float]]
    taken_lux: Positive


class Colour(Table):
    """One colour of a group: rated current, the knee of its voltage curve, its flux and chromaticity."""

    milliamp: NotNegative
    dark_v: NotNegative
    full_v: Positive
    lumen: NotNegative
    xy: tuple[Annotated[float, Field(gt=0, lt=1)], Annotated[float, Field(gt=0, lt=1)]]


class White(Colour):
    """The white of a four-colour strip: as a colour, or by its colour temperature."""

    kelvin: Kelvin | None = None


class Strip(Table):
    """A strip type: its label, completed with bench figures or typical values."""

    volts: Positive
    leds_per_m: Positive
    leds_per_group: Annotated[int, Field(ge=1)]
    colours: Literal["rgb", "rgbw"] = "rgb"
    colour_order: str = "grb"
    reel_m: Positive = 5.0
    price: NotNegative | None = None
    watts_per_m: Positive | None = None
    milliamp: Positive | None = None
    switching_hz: Positive | None = None
    rail_milliohm_per_m: tuple[NotNegative, NotNegative]
    idle_milliamp_per_group: NotNegative
    regulated: bool = True
    reset_below_v: NotNegative | None = None
    red: Colour
    green: Colour
    blue: Colour
    white: White | None = None

    @property
    def cut_m(self) -> float:
        """Cut length in metres: the strip can only be cut to whole groups."""
        return self.leds_per_group / self.leds_per_m


class Channel(Table):
    """An aluminium channel with its cover."""

    depth_mm: Positive
    width_mm: Positive
    cover: Literal["clear", "frosted", "opal"]
    transmission: Fraction
    spread_mm: NotNegative
    side_fraction: Fraction = 0.0
    stock_m: Positive = 2.0
    price: NotNegative | None = None


class Supply(Table):
    """A power supply: electromotive force `volts` behind `output_milliohm`, rated `amps`."""

    volts: Positive
    amps: Positive
    output_milliohm: NotNegative = 0.0
    at_m: Point | None = None
    price: NotNegative | None = None


class Cable(Table):
    """A two-core cable, one way: `mm2` or `awg`, never both."""

    mm2: Positive | None = None
    awg: Annotated[int, Field(ge=0, le=40)] | None = None
    length_m: NotNegative


class Block(Table):
    """A terminal block on its own cable from a supply or another block."""

    from_: str = Field(alias="from")
    cable: Cable
    contact_milliohm: NotNegative = 0.0
    at_m: Point | None = None


class Run(Table):
    """One length of strip as it is fixed to the room."""

    name: str
    strip: str
    channel: str | None = None
    path_m: Annotated[tuple[Point, ...], Field(min_length=2)]
    aim: Point = (0.0, 0.0, 1.0)

    @field_validator("aim")
    @classmethod
    def _aim_points_somewhere(cls, aim: Point) -> Point:
        if not any(aim):
            raise ValueError("a direction other than [0, 0, 0]")
        return aim


class Feed(Table):
    """Where power enters a run."""

    from_: str = Field(alias="from")
    run: str
    at_m: float = 0.0
    cable: Cable
    contact_milliohm: NotNegative = 0.0
    fuse_a: Positive | None = None
    fuse_milliohm: NotNegative = 0.0


class Join(Table):
    """The end of one run to the start of the next."""

    from_: str = Field(alias="from")
    to: str
    carries: Literal["power", "negative", "data"]
    cable: Cable | None = None
    contact_milliohm: NotNegative = 0.0


class Look(Table):
    """An effect with its dials set, a length and a level."""

    name: str
    effect: str
    seconds: Annotated[float, Field(gt=0, le=3600)] = 12.0
    level: Fraction = 1.0
    dials: dict[str, float | int | str | bool | list[float]] = {}


class Limits(Table):
    """What the plan must keep to."""

    supply_fraction: Annotated[float, Field(gt=0, le=1)] = 0.8
    fuse_fraction: Annotated[float, Field(gt=0, le=1)] = 0.8
    colour_steps: Positive = 4.0
    dimming: Annotated[float, Field(gt=0, le=1)] = 0.20
    flashes_per_s: NotNegative = 3.0


class Assume(Table):
    """What is taken as given: conductor temperature in °C, and the rate at which looks are worked out."""

    conductor_c: Annotated[float, Field(ge=-40, le=120)] = 40.0
    data_frames_per_s: Annotated[float, Field(gt=0, le=240)] = 30.0


class Money(Table):
    """The currency that prices are in."""

    currency: str = "EUR"


class Scene(Table):
    """A whole plan: a room, what is fixed in it, and what plays.

    `assumed` is not a key of the file: it lists, as dotted keys, every value that was filled from typical values.
    """

    format: Literal[1]
    title: str
    note: str | None = None
    room: Room
    viewer: Viewer
    box: tuple[Box, ...] = ()
    photo: Photo | None = None
    strip: Annotated[dict[str, Strip], Field(min_length=1)]
    channel: dict[str, Channel] = {}
    supply: Annotated[dict[str, Supply], Field(min_length=1)]
    block: dict[str, Block] = {}
    run: Annotated[tuple[Run, ...], Field(min_length=1)]
    feed: Annotated[tuple[Feed, ...], Field(min_length=1)]
    join: tuple[Join, ...] = ()
    look: tuple[Look, ...] = ()
    limits: Limits = Limits()
    assume: Assume = Assume()
    money: Money = Money()
    assumed: tuple[str, ...] = Field(default=(), exclude=True)
