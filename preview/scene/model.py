"""The plan as data: one frozen model per table of the scene file, format 1.

Every field carries the name it has in the file, with its unit. The models hold a *complete* plan: what a label leaves
out has been filled (`preview.scene.fill`) before a model is built, and the keys so filled are in `Scene.assumed`.

What the descriptions say is what `covecast schema` hands to editors. What a value may be is in `preview.scene.kinds`.
"""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, field_validator, model_validator

from preview.scene.kinds import (
    Amps,
    Chromaticity,
    Dial,
    Finish8Bit,
    Fraction,
    Kelvin,
    LengthM,
    Lumens,
    Metres,
    Milliamps,
    Millimetres,
    Milliohms,
    Name,
    Number,
    Part,
    Pixel,
    Point,
    Price,
    SideM,
    Size,
    Surface,
    Volts,
    VoltsOrNone,
    Whole,
    YesNo,
)

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
    "Programme",
    "Room",
    "Run",
    "Scene",
    "Strip",
    "Supply",
    "Viewer",
    "White",
]


class Table(BaseModel):
    """A table of the scene file: unknown keys, NaN and infinities are faults; nothing changes after reading."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False, populate_by_name=False)


class Finish(Table):
    """Colour of each room surface, sRGB as #rrggbb, which is its diffuse reflectance."""

    floor: Finish8Bit = "#6b5442"
    ceiling: Finish8Bit = "#e8e4dc"
    back: Finish8Bit = "#d8d0c4"
    left: Finish8Bit = "#d8d0c4"
    right: Finish8Bit = "#d8d0c4"
    front: Finish8Bit = "#d8d0c4"


class Room(Table):
    """A box room: x along the back wall to the right, y into the room (the back wall is at y = size y), z up."""

    size_m: Annotated[Size, Field(description="Width x, depth y and height z, in metres.")]
    ambient_lux: Annotated[
        Number, Field(ge=0, le=200_000, description="Light already in the room when the client looks at it, in lux.")
    ] = 5.0
    ambient_k: Annotated[Kelvin, Field(description="Its colour temperature, in kelvin.")] = 2700.0
    finish: Annotated[Finish, Field(description="Colours of the room's surfaces.")] = Finish()


class Viewer(Table):
    """Where the client's eye is and what it looks at."""

    eye_m: Annotated[Point, Field(description="The eye, in metres; it may stand outside the room.")]
    look_m: Annotated[Point, Field(description="The point looked at, in metres.")]
    field_deg: Annotated[Number, Field(ge=5, le=150, description="Horizontal field of view, in degrees.")] = 60.0

    @model_validator(mode="after")
    def _looks_somewhere(self) -> Viewer:
        if self.eye_m == self.look_m:
            raise ValueError("look_m: a point other than eye_m")
        return self


class Box(Table):
    """A solid, axis-parallel box: furniture, a shelf, a cove's lip. It hides and catches light."""

    name: Annotated[Name, Field(description="What it is called.")]
    corner_m: Annotated[Point, Field(description="Its corner with the smallest x, y and z, in metres.")]
    size_m: Annotated[Size, Field(description="Its sides along x, y and z, in metres.")]
    finish: Annotated[Finish8Bit, Field(description="sRGB colour as #rrggbb.")] = "#8a6f58"


class Photo(Table):
    """The client's own room in place of the drawn one."""

    file: Annotated[str, Field(min_length=1, description="A picture inside the scene's folder.")]
    surface: Annotated[Surface, Field(description="The room surface that the corners lie on.")]
    rect_m: Annotated[
        tuple[Metres, Metres, Metres, Metres],
        Field(description="[u0, v0, u1, v1] in metres: a rectangle on that surface, u along it, v up (y on a floor)."),
    ]
    corners_px: Annotated[
        tuple[Pixel, Pixel, Pixel, Pixel],
        Field(description="Where (u0,v0), (u1,v0), (u1,v1), (u0,v1) are in the photo, in pixels from its top left."),
    ]
    taken_lux: Annotated[
        Number, Field(gt=0, le=200_000, description="Light in the room when the photo was taken, in lux.")
    ]
    field_deg: Annotated[
        Number | None,
        Field(
            ge=5, le=140, description="The photo's horizontal field of view, in degrees, where corners cannot tell it."
        ),
    ] = None


class Colour(Table):
    """One colour of a group: rated current, the knee of its voltage curve, its flux and chromaticity."""

    milliamp: Annotated[Milliamps, Field(description="Current per group with this colour fully on, in milliampere.")]
    dark_v: Annotated[VoltsOrNone, Field(description="At or below this voltage across the group it is dark, in volts.")]
    full_v: Annotated[Volts, Field(description="From this voltage its rated current flows, in volts.")]
    lumen: Annotated[Lumens, Field(description="Flux per group at rated current, in lumens.")]
    xy: Annotated[tuple[Chromaticity, Chromaticity], Field(description="CIE 1931 chromaticity [x, y].")]


class White(Colour):
    """The white of a four-colour strip: its chromaticity as xy or as a colour temperature."""

    kelvin: Annotated[Kelvin | None, Field(description="Colour temperature in kelvin, instead of xy.")] = None


class Strip(Table):
    """A strip type: its label, completed with bench figures or typical values."""

    volts: Annotated[Volts, Field(description="Rated voltage, in volts.")]
    leds_per_m: Annotated[Number, Field(gt=0, le=10_000, description="LEDs a metre.")]
    leds_per_group: Annotated[
        Whole, Field(ge=1, le=1000, description="LEDs that one address drives together; also the cut interval.")
    ]
    colours: Annotated[Literal["rgb", "rgbw"], Field(description="Three colours, or four with a white.")] = "rgb"
    colour_order: Annotated[
        str, Field(description="Order in which the strip takes the values on its data line, as grb.")
    ] = "grb"
    reel_m: Annotated[SideM, Field(description="Sold length, in metres.")] = 5.0
    price: Annotated[Price | None, Field(description="Price of a reel, in the currency of [money].")] = None
    watts_per_m: Annotated[
        Number | None,
        Field(gt=0, le=10_000, description="From the label: power of a metre, every colour fully on, in watts."),
    ] = None
    milliamp: Annotated[
        Number | None,
        Field(gt=0, le=100_000, description="From the label: current per group, each colour fully on, in milliampere."),
    ] = None
    switching_hz: Annotated[
        Number | None, Field(gt=0, le=10_000_000, description="Frequency at which the strip dims its LEDs, in hertz.")
    ] = None
    rail_milliohm_per_m: Annotated[
        tuple[Milliohms, Milliohms],
        Field(description="Positive and negative conductor of the strip at 20 °C, in milliohm a metre."),
    ]
    idle_milliamp_per_group: Annotated[
        Milliamps, Field(description="Current of a group with every colour dark, in milliampere.")
    ]
    regulated: Annotated[
        YesNo, Field(description="true: current held at its rated value above full_v; false: it goes on rising.")
    ] = True
    reset_below_v: Annotated[
        VoltsOrNone | None, Field(description="Below this voltage the group's chip loses its data, in volts.")
    ] = None
    red: Annotated[Colour, Field(description="The red of a group.")]
    green: Annotated[Colour, Field(description="The green of a group.")]
    blue: Annotated[Colour, Field(description="The blue of a group.")]
    white: Annotated[White | None, Field(description="The white of a group, on strips with colours rgbw.")] = None

    @property
    def cut_m(self) -> float:
        """Cut length in metres: the strip can only be cut to whole groups."""
        return self.leds_per_group / self.leds_per_m


class Channel(Table):
    """An aluminium channel with its cover."""

    depth_mm: Annotated[Millimetres, Field(description="LED surface to the inside of the cover, in millimetres.")]
    width_mm: Annotated[Millimetres, Field(description="Luminous width of the cover, in millimetres.")]
    cover: Annotated[Literal["clear", "frosted", "opal"], Field(description="The diffuser over the channel.")]
    transmission: Annotated[Part, Field(description="Flux out of the cover over flux from the strip, 0 to 1.")]
    spread_mm: Annotated[
        Number,
        Field(ge=0, le=1000, description="Standard deviation of the scatter inside the cover, in millimetres."),
    ]
    side_fraction: Annotated[Fraction, Field(description="Part of the light that leaves by the cover's sides.")] = 0.0
    stock_m: Annotated[SideM, Field(description="Sold length, in metres.")] = 2.0
    price: Annotated[Price | None, Field(description="Price of a sold length, in the currency of [money].")] = None


class Supply(Table):
    """A power supply: electromotive force `volts` behind `output_milliohm`, rated `amps`."""

    volts: Annotated[Volts, Field(description="Voltage with no load, in volts.")]
    amps: Annotated[Amps, Field(description="Rated current, in ampere.")]
    output_milliohm: Annotated[
        Milliohms, Field(description="Resistance inside the supply, in its positive lead, in milliohm.")
    ] = 0.0
    at_m: Annotated[Point | None, Field(description="Where it hangs, in metres, to estimate cable lengths.")] = None
    price: Annotated[Price | None, Field(description="Price, in the currency of [money].")] = None


class Cable(Table):
    """A two-core cable, its length one way; both conductors are counted. Exactly one of `mm2` and `awg`."""

    mm2: Annotated[
        Number | None, Field(ge=0.01, le=1000, description="Section of a conductor, in square millimetres.")
    ] = None
    awg: Annotated[Whole | None, Field(ge=0, le=40, description="American wire gauge of a conductor.")] = None
    length_m: Annotated[LengthM, Field(description="Length one way, in metres.")]


class Block(Table):
    """A terminal block on its own cable from a supply or another block."""

    from_: Annotated[str, Field(alias="from", description="Name of a supply or of another block.")]
    cable: Annotated[Cable, Field(description="The cable that brings it power.")]
    contact_milliohm: Annotated[Milliohms, Field(description="Contact in each conductor, in milliohm.")] = 0.0
    at_m: Annotated[Point | None, Field(description="Where it hangs, in metres, to estimate cable lengths.")] = None


class Run(Table):
    """One length of strip as it is fixed to the room."""

    name: Annotated[Name, Field(description="What it is called.")]
    strip: Annotated[str, Field(description="Name of a strip type.")]
    channel: Annotated[str | None, Field(description="Name of a channel; bare strip where left out.")] = None
    path_m: Annotated[
        tuple[Point, ...],
        Field(
            min_length=2, max_length=10_000, description="Polyline from its data end, in metres; cut to whole groups."
        ),
    ]
    aim: Annotated[Point, Field(description="Direction in which the LEDs face.")] = (0.0, 0.0, 1.0)
    data_m: Annotated[
        LengthM | None, Field(description="Data cable from the controller to its first group, in metres.")
    ] = None

    @field_validator("aim")
    @classmethod
    def _aim_points_somewhere(cls, aim: Point) -> Point:
        if max(abs(part) for part in aim) < 1e-6:
            raise ValueError("a direction other than [0, 0, 0]")
        return aim


class Feed(Table):
    """Where power enters a run."""

    from_: Annotated[str, Field(alias="from", description="Name of a supply or a block.")]
    run: Annotated[str, Field(description="Name of the run it feeds.")]
    at_m: Annotated[
        Metres, Field(description="Place along the run from its data end, in metres; moved to the nearest cut point.")
    ] = 0.0
    cable: Annotated[Cable, Field(description="The cable to the run.")]
    contact_milliohm: Annotated[Milliohms, Field(description="Contact in each conductor, in milliohm.")] = 0.0
    fuse_a: Annotated[Amps | None, Field(description="Rating of a fuse in the positive conductor, in ampere.")] = None
    fuse_milliohm: Annotated[Milliohms, Field(description="Resistance of that fuse, in milliohm.")] = 0.0


class Join(Table):
    """The end of one run to the start of the next."""

    from_: Annotated[str, Field(alias="from", description="Name of the run that ends here.")]
    to: Annotated[str, Field(description="Name of the run that starts here.")]
    carries: Annotated[
        Literal["power", "negative", "data"],
        Field(description="power: both conductors; negative: that one only, for separate supplies; data: neither."),
    ]
    cable: Annotated[Cable | None, Field(description="The cable between them; none where they are soldered.")] = None
    contact_milliohm: Annotated[Milliohms, Field(description="Contact in each conductor, in milliohm.")] = 0.0


class Look(Table):
    """An effect with its dials set, a length and a level."""

    name: Annotated[Name, Field(description="What it is called.")]
    effect: Annotated[str, Field(description="Name of an effect.")]
    seconds: Annotated[Number, Field(gt=0, le=3600, description="Its length, in seconds.")] = 12.0
    level: Annotated[Fraction, Field(description="Level, 0 to 1, applied to every code.")] = 1.0
    dials: Annotated[dict[str, Dial], Field(description="The effect's dials; those left out keep their defaults.")] = {}


class Programme(Table):
    """One step of the evening's programme: looks that follow one another."""

    look: Annotated[str, Field(description="Name of a look.")]
    seconds: Annotated[
        Number | None, Field(gt=0, le=86_400, description="How long it stays, in seconds; the look's own if left out.")
    ] = None
    fade_s: Annotated[Number, Field(ge=0, le=3600, description="Fade from the look before, in seconds.")] = 0.0


class Limits(Table):
    """What the plan must keep to."""

    supply_fraction: Annotated[Part, Field(description="Continuous load over a supply's rating, 0 to 1.")] = 0.8
    fuse_fraction: Annotated[Part, Field(description="Continuous load over a fuse's rating, 0 to 1.")] = 0.8
    colour_steps: Annotated[
        Number, Field(gt=0, le=1000, description="Largest colour shift, in steps of 0.0011 in CIE 1976 u'v'.")
    ] = 4.0
    dimming: Annotated[
        Part, Field(description="Largest loss of light of a group against the same drive at rated current, 0 to 1.")
    ] = 0.20
    flashes_per_s: Annotated[Number, Field(ge=0, le=100, description="Most flashes in any one second.")] = 3.0
    class2: Annotated[
        YesNo, Field(description="true: every circuit keeps to the bounds of a limited (Class 2) power source.")
    ] = False


class Assume(Table):
    """What is taken as given."""

    conductor_c: Annotated[
        Number, Field(ge=-40, le=120, description="Temperature of every conductor, in degrees Celsius.")
    ] = 40.0
    data_frames_per_s: Annotated[
        Number, Field(ge=0.1, le=240, description="Rate at which looks are worked out, a second.")
    ] = 30.0


class Money(Table):
    """The currency that prices are in."""

    currency: Annotated[Name, Field(description="As it is to be printed, such as EUR.")] = "EUR"


class Scene(Table):
    """A whole plan: a room, what is fixed in it, and what plays.

    Two fields are not keys of the file: `assumed` lists, as dotted keys, every value that was filled from typical values, and
    `folder` is where the file lies, for what it names beside it.
    """

    format: Annotated[Literal[1], Field(description="Version of the format.")]
    title: Annotated[Name, Field(description="Shown to the client.")]
    note: Annotated[str | None, Field(max_length=10_000, description="Free text.")] = None
    room: Annotated[Room, Field(description="The room; one that fits the runs where left out.")]
    viewer: Annotated[Viewer, Field(description="The client's eye; facing the back wall where left out.")]
    box: Annotated[tuple[Box, ...], Field(max_length=1000, description="Furniture.")] = ()
    photo: Annotated[Photo | None, Field(description="A photo of the room in place of the drawn one.")] = None
    strip: Annotated[dict[str, Strip], Field(min_length=1, description="Strip types by name.")]
    channel: Annotated[dict[str, Channel], Field(description="Channels by name.")] = {}
    supply: Annotated[dict[str, Supply], Field(min_length=1, description="Power supplies by name.")]
    block: Annotated[dict[str, Block], Field(description="Terminal blocks by name.")] = {}
    run: Annotated[tuple[Run, ...], Field(min_length=1, max_length=5000, description="The lengths of strip.")]
    feed: Annotated[tuple[Feed, ...], Field(min_length=1, max_length=10_000, description="Where power enters.")]
    join: Annotated[tuple[Join, ...], Field(max_length=10_000, description="Runs that follow one another.")] = ()
    look: Annotated[tuple[Look, ...], Field(max_length=1000, description="What plays.")] = ()
    programme: Annotated[
        tuple[Programme, ...], Field(max_length=1000, description="The looks of an evening, in their order.")
    ] = ()
    limits: Annotated[Limits, Field(description="What the plan must keep to.")] = Limits()
    assume: Annotated[Assume, Field(description="What is taken as given.")] = Assume()
    money: Annotated[Money, Field(description="The currency.")] = Money()
    assumed: Annotated[tuple[str, ...], Field(exclude=True)] = ()
    folder: Annotated[str, Field(exclude=True)] = "."
