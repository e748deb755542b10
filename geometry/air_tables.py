"""The study's tables of air and other coolants: fins, flows and fans."""

from typing import Annotated, Literal, Self

from pydantic import BeforeValidator, Field, model_validator

from plancha.geometry.parts import (
    AbsolutePressure,
    Altitude,
    Area,
    Blocked,
    Coefficient,
    Density,
    Face,
    InterfaceChoice,
    Length,
    MaterialChoice,
    Name,
    Outline,
    Part,
    Point,
    Preheat,
    Pressure,
    Radius,
    RotationSpeed,
    Size,
    SoundLevel,
    Temperature,
    VolumeFlow,
    listed,
    one_or_many,
    wrong,
)
from plancha.geometry.units import show

# The laws that a coolant which warms up may use, by the names under which fem keeps them.
ConvectionLaw = Literal[
    "automatic",
    "developing gap",
    "developing gap, cubes",
    "developed gap",
    "developed gap, even flux",
    "thermally developing gap",
    "thermally developing gap, even flux",
    "developed duct",
    "developed duct, even flux",
    "turbulent",
]
FrictionLaw = Literal["automatic", "developing gap", "developed gap", "developed duct", "blended duct", "turbulent"]
MOST_PATCHES = 100  # of one bank, or fans and losses of one flow


class FinPatch(Outline):
    """A part of a bank with shorter fins or another pitch, such as the pocket under a fan's hub."""

    height: Annotated[Length | None, Field(description="of the fins here; else as around")] = None
    pitch: Annotated[Length | None, Field(description="of the fins here; else as around")] = None


class FinTable(Part):
    """A bank of fins on a face of a plate."""

    name: Annotated[Name, Field(description="flows and tables use it")] = "fins"
    on: Annotated[Name | None, Field(description="the plate they stand on; else the only one")] = None
    face: Annotated[Face, Field(description="which face of that plate")] = "cooled side"
    at: Annotated[
        Point | None, Field(description="lower left corner of the field, which may reach beyond the plate")
    ] = None
    size: Annotated[Size | None, Field(description="width and height of the field; else the whole plate's")] = None
    form: Annotated[Literal["plate fins", "pins"], Field(description="plate fins, or round pins")]
    along: Annotated[Literal["x", "y"] | None, Field(description="direction in which plate fins run")] = None
    pitch: Annotated[Length, Field(description="from one fin to the next; of pins, along the flow")]
    pitch_across: Annotated[Length | None, Field(description="of pins across the flow; else as along it")] = None
    rows: Annotated[Literal["in line", "staggered"], Field(description="of pins, along the flow")] = "in line"
    thickness: Annotated[Length, Field(description="of a plate fin; diameter of a pin")]
    height: Annotated[Length, Field(description="from the plate's face to the tips")]
    material: Annotated[MaterialChoice, Field(description="name and grade from the table of materials, or a table")]
    interface: Annotated[InterfaceChoice, Field(description='between plate and fins, or "perfect"')] = "perfect"
    tip_gap: Annotated[Radius, Field(description="clear height above the tallest fins, where coolant slips by")] = 0.0
    described_as: Annotated[
        Literal["block", "film"],
        Field(description="block: heat also runs along the fins; film: a coefficient with fin efficiency"),
    ] = "block"
    patch: Annotated[
        tuple[FinPatch, ...],
        BeforeValidator(one_or_many),
        Field(description="parts of the field with other fins", max_length=MOST_PATCHES),
    ] = ()

    @model_validator(mode="after")
    def _sound(self) -> Self:
        if self.form == "plate fins" and self.along is None:
            raise wrong(f"{self.name}: plate fins run along x or y", 'along = "x"')
        if self.form == "plate fins" and self.pitch_across is not None:
            raise wrong(f"{self.name}: only pins have a pitch across the flow", "pitch")
        if (self.at is None) != (self.size is None):
            raise wrong(
                f"{self.name}: a field needs both at and size", 'at = ["0 mm", "0 mm"], size = ["80 mm", "60 mm"]'
            )
        pitches = [p for p in (self.pitch, self.pitch_across, *(each.pitch for each in self.patch)) if p is not None]
        if self.thickness >= min(pitches):
            found = f"{show(self.thickness, 'length')} at a pitch of {show(min(pitches), 'length')}"
            raise wrong(f"{self.name}: the fins are thicker than their pitch", "thickness below pitch", value=found)
        return self


class LossTable(Part):
    """A resistance in the way of a flow: grille, duct, filter."""

    name: Annotated[Name, Field(description="how the tables call it")]
    coefficient: Annotated[
        float | None, Field(ge=0, le=1e4, strict=True, description="on the dynamic head in the free area, 0 to 10000")
    ] = None
    area: Annotated[Area | None, Field(description="free area of that coefficient")] = None
    drop: Annotated[Pressure | None, Field(description="pressure drop at the flow `at`; grows with its square")] = None
    at: Annotated[VolumeFlow | None, Field(description="flow of that pressure drop")] = None

    @model_validator(mode="after")
    def _one_form(self) -> Self:
        given = {name for name in ("coefficient", "area", "drop", "at") if getattr(self, name) is not None}
        if given not in ({"coefficient", "area"}, {"drop", "at"}):
            raise wrong(
                f"{self.name}: a loss is a coefficient with its area, or a drop at a flow",
                "coefficient + area, or drop + at",
                value=", ".join(sorted(given)) or "none",
            )
        return self


class ProfileFile(Part):
    """Speeds over a bank from a CSV grid, laid over its field; scaled to the flow."""

    file: Annotated[Name, Field(description="CSV grid, first row at the top, seen from the cooled side")]
    unit: Annotated[Name, Field(description="unit of the cells")] = "m/s"


class FlowTable(Part):
    """A coolant's way past fins: its entry, its rate or fans, and what stands in its way."""

    name: Annotated[Name, Field(description="load cases and tables use it")] = "flow"
    fins: Annotated[
        tuple[Name, ...],
        BeforeValidator(listed),
        Field(
            description="the bank, or banks in the order in which they are passed",
            min_length=1,
            max_length=MOST_PATCHES,
        ),
    ] = ("fins",)
    entry: Annotated[
        Literal["side", "top", "through"],
        Field(
            description="side: in at one end of the fins; top: in all along the tips, out at both ends; "
            "through: normal to the plan"
        ),
    ]
    side: Annotated[
        Literal["left", "right", "lower", "upper", "tips", "base"] | None,
        Field(description="where a side entry comes from; of a through flow, what it meets first: tips or base"),
    ] = None
    fluid: Annotated[
        Name, Field(description='"air", "water", or "ethylene glycol 30 %" (share of mass in water; propylene too)')
    ]
    inlet: Annotated[Temperature | None, Field(description="before the preheat; else the ambient")] = None
    preheat: Annotated[Preheat, Field(description="what the coolant gains on its way to the bank")] = 0.0
    altitude: Annotated[Altitude | None, Field(description="for the air's pressure; else sea level")] = None
    pressure: Annotated[AbsolutePressure | None, Field(description="absolute; in place of the altitude")] = None
    rate: Annotated[VolumeFlow | None, Field(description="flow at the inlet; else the fans find it")] = None
    fans: Annotated[
        tuple[Name, ...],
        BeforeValidator(listed),
        Field(description="fans that drive it, side by side", max_length=MOST_PATCHES),
    ] = ()
    beside: Annotated[
        Radius, Field(description="clear width beside the bank, both sides together, where coolant slips by")
    ] = 0.0
    loss: Annotated[
        tuple[LossTable, ...],
        BeforeValidator(one_or_many),
        Field(description="grille, duct, filter", max_length=MOST_PATCHES),
    ] = ()
    blocked: Annotated[Blocked, Field(description="share of the inlet that is blocked")] = 0.0
    coefficient: Annotated[Coefficient | None, Field(description="on the fins' surface; in place of a law")] = None
    law: Annotated[ConvectionLaw, Field(description="of convection in the gaps of plate fins")] = "automatic"
    friction: Annotated[FrictionLaw, Field(description="of friction in the gaps of plate fins")] = "automatic"
    end_losses: Annotated[
        Literal["area", "switched", "area squared"], Field(description="form of the entry and exit losses")
    ] = "area"
    enhancement: Annotated[
        float, Field(gt=0, le=10, strict=True, description="factor on the law's coefficient, above 0, at most 10")
    ] = 1.0
    plenum: Annotated[Radius, Field(description="free depth between fan and fins: evens the flow out")] = 0.0
    profile: Annotated[ProfileFile | None, Field(description="measured speeds over the bank, top or through")] = None
    zone: Annotated[Outline | None, Field(description="of a through flow: where it passes; else all that is free")] = (
        None
    )

    @model_validator(mode="after")
    def _sound(self) -> Self:
        if (self.rate is None) == (not self.fans):
            raise wrong(f"{self.name}: a flow has a rate or fans, one of them", 'rate = "20 CFM", or fans = "fan"')
        allowed = {"side": ("left", "right", "lower", "upper"), "top": (None,), "through": ("tips", "base")}[self.entry]
        if self.side not in allowed:
            choice = " or ".join(f'side = "{each}"' for each in allowed if each) or "no side"
            raise wrong(f"{self.name}: entry {self.entry} needs {choice}", choice, value=self.side)
        if self.altitude is not None and self.pressure is not None:
            raise wrong(f"{self.name}: altitude or pressure, not both", "one of them")
        if self.zone is not None and self.entry != "through":
            raise wrong(f"{self.name}: only a through flow has a zone", "leave zone out")
        if self.entry != "side" and (self.beside or len(self.fins) > 1):
            raise wrong(f"{self.name}: only a side entry passes several banks or slips by beside", "entry side")
        if self.profile is not None and self.entry == "side":
            raise wrong(f"{self.name}: a speed profile is for entry top or through", "leave profile out")
        return self


class FanTable(Part):
    """A fan: its measured curve, its speed, and where an axial one blows."""

    name: Annotated[Name, Field(description="flows and load cases use it")] = "fan"
    curve: Annotated[Name, Field(description="CSV with heads flow and static pressure and their units")]
    test_density: Annotated[Density, Field(description="of the air when the curve was measured")]
    test_speed: Annotated[RotationSpeed, Field(description="of the fan when the curve was measured")]
    speed: Annotated[RotationSpeed | None, Field(description="at which it runs; else the test speed")] = None
    running: Annotated[bool, Field(strict=True, description="false is a dead fan")] = True
    count: Annotated[int, Field(ge=1, le=100, strict=True, description="of fans alike, 1 to 100")] = 1
    arrangement: Annotated[Literal["side by side", "in a row"], Field(description="of several alike")] = "side by side"
    center: Annotated[Point | None, Field(description="of an axial fan over the plan")] = None
    diameter: Annotated[Length | None, Field(description="of its blades")] = None
    hub: Annotated[Length | None, Field(description="diameter of its hub, which shades the fins")] = None
    profile: Annotated[
        Literal["even", "growing with radius"], Field(description="axial speed between hub and blade tips")
    ] = "growing with radius"
    level: Annotated[SoundLevel | None, Field(description="sound measured at the test speed")] = None
    noise_limit: Annotated[
        SoundLevel | None, Field(description="highest allowed sound of the fans of this table together")
    ] = None

    @model_validator(mode="after")
    def _sound(self) -> Self:
        given = [self.center is not None, self.diameter is not None, self.hub is not None]
        if any(given) and not all(given):
            raise wrong(
                f"{self.name}: a place needs center, diameter and hub",
                'center = [...], diameter = "90 mm", hub = "35 mm"',
            )
        if self.hub is not None and self.diameter is not None and self.hub >= self.diameter:
            raise wrong(f"{self.name}: the hub is as wide as the fan", "hub below diameter")
        if self.noise_limit is not None and self.level is None:
            raise wrong(f"{self.name}: a noise limit needs the measured level", 'level = "42 dB(A)"')
        return self
