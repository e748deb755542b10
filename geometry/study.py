"""The study: what the engineer writes, as checked, frozen values in SI. The reference of all keys is generated from here."""

from typing import Annotated, Any, Literal, Self

from pydantic import BeforeValidator, Field, model_validator

from plancha.geometry.air_tables import FanTable, FinTable, FlowTable
from plancha.geometry.parts import (
    MOST_PARTS,
    AbsolutePressure,
    Accuracy,
    Altitude,
    Angle,
    CasePointChoice,
    Coefficient,
    Emissivity,
    Face,
    Footprint,
    Growth,
    Interface,
    InterfaceChoice,
    Length,
    MaterialChoice,
    Name,
    Outline,
    Part,
    PatchTable,
    Point,
    Power,
    Resistance,
    Temperature,
    listed,
    one_or_many,
    wrong,
)

MOST_COMPONENTS = 2000
MOST_LAYERS = 100  # of one component
A_LAYER = "material + thickness; or impedance; or bond_line + conductivity or material; or candidate + age"


def _none_is_none(value: Any) -> Any:
    return None if isinstance(value, str) and value.strip().lower() == "none" else value


class Layer(Interface, Footprint):
    """One layer of a component, from the chip outward: a solid (material + thickness) or an interface."""

    name: Annotated[Name | None, Field(description="how the tables call it; else the material's name")] = None
    material: Annotated[MaterialChoice | None, Field(description="of a solid layer, or of the bond line")] = None
    thickness: Annotated[Length | None, Field(description="of a solid layer")] = None
    turned: Annotated[Angle, Field(description="turn of the material's x axis, counter-clockwise")] = 0.0

    def must_have_shape(self) -> bool:
        """A layer without an outline has that of the layer before it."""
        return False

    def check_form(self) -> None:
        """Refuse a table that is neither a solid nor an interface, or something of both."""
        if not self.is_interface():
            if self.material is None or self.thickness is None:
                raise wrong("a solid layer needs material and thickness; an interface impedance or bond_line", A_LAYER)
            if any(getattr(self, key) for key in ("tilt", "bow", "bond_line_map", "void", "void_map")):
                raise wrong("voids, tilt and bow belong to an interface", "impedance, or bond_line + conductivity")
            if any(patch.impedance is not None for patch in self.patch):
                raise wrong("a patch of a solid has no impedance", "material, thickness or turned")
            if self.conductivity is not None or self.contact:
                raise wrong("conductivity and contact belong to an interface", 'material = { conductivity = "..." }')
        elif self.thickness is not None:
            raise wrong("a layer is a solid or an interface, not both", A_LAYER)
        elif self.has_shape() or self.cut_outs or self.turned:
            raise wrong("an interface has no outline and no turn of its own", "it lies where the two bodies overlap")
        else:
            super().check_form()


class MapFile(Part):
    """A power map from a CSV file."""

    file: Annotated[Name, Field(description="CSV, from the folder of the study file")]
    unit: Annotated[
        Name | None, Field(description="W, W/cm^2 or W/mm^2 of a grid's cells; a table says it in its heads")
    ] = None
    seen_from: Annotated[
        Literal["active side", "cooled side"], Field(description="whose view the rows and columns are")
    ]
    quarter_turns: Annotated[
        int, Field(ge=-3, le=3, strict=True, description="counter-clockwise, after the view is set right; -3 to 3")
    ] = 0
    mirror: Annotated[bool, Field(strict=True, description="left-right, before turning")] = False
    scale: Annotated[bool, Field(strict=True, description="scale the map to the stated power")] = False


class FieldFile(Part):
    """A coefficient map from a CSV grid, laid over the bounding rectangle of its area."""

    file: Annotated[Name, Field(description="CSV grid, first row at the top, seen from the cooled side")]
    unit: Annotated[Name, Field(description="unit of the cells")] = "W/m^2/K"


class Leakage(Part):
    """Power that comes on top of the component's own and grows exponentially with its temperature."""

    power: Annotated[Power, Field(description="at the temperature `at`")]
    at: Annotated[Temperature, Field(description="mean temperature of the active face")]
    growth: Annotated[
        Growth, Field(description="exponent per kelvin, usually 0.01 to 0.03 1/K (doubling in 70 to 23 K)")
    ]


class ResistiveLoss(Part):
    """Power that grows in proportion with temperature, as loss in copper or a channel's resistance does."""

    growth: Annotated[Growth, Field(description="share per kelvin, of copper 0.0039 1/K")]
    at: Annotated[
        Temperature, Field(description="mean temperature of the active face at which the power is as written")
    ]


class BoardPath(Part):
    """A way out at the chip's active side, to the board."""

    resistance: Annotated[Resistance, Field(description="from active face to board ambient")]
    ambient: Annotated[Temperature | None, Field(description="temperature behind it; else the study's ambient")] = None


class Component(Footprint):
    """A source of heat with its own chain of layers down to the plate it sits on."""

    name: Annotated[Name, Field(description="unique; load cases and tables use it")]
    limit: Annotated[
        Temperature | None, BeforeValidator(_none_is_none), Field(description='highest allowed peak, or "none"')
    ]
    power: Annotated[Power | None, Field(description="total; may be left out where there is a map")] = None
    map: Annotated[MapFile | None, Field(description="power map; else the heat is uniform")] = None
    leakage: Annotated[Leakage | None, Field(description="power on top, exponential in temperature")] = None
    resistive: Annotated[ResistiveLoss | None, Field(description="growth of the power itself with temperature")] = None
    heat_depth: Annotated[
        Length | None, Field(description="heat is spread over this depth from the active face; else on the face")
    ] = None
    layers: Annotated[
        tuple[Layer, ...],
        Field(description="from the chip outward; [] puts the heat on the plate itself", max_length=MOST_LAYERS),
    ]
    on: Annotated[Name | None, Field(description="the plate it sits on; else the only one")] = None
    face: Annotated[Face, Field(description="which face of that plate")] = "component side"
    board: Annotated[BoardPath | None, Field(description="a way out to the board")] = None
    case_point: Annotated[
        CasePointChoice | None,
        Field(
            description="of the data sheet: a point of the last layer's face towards the plate; its centre, or a place"
        ),
    ] = None
    board_point: Annotated[
        Name | None,
        Field(
            description="of the data sheet: the probe that counts as the board (within 1 mm of the package's long side)"
        ),
    ] = None

    @model_validator(mode="after")
    def _has_power(self) -> Self:
        if self.power is None and self.map is None:
            raise wrong(f"{self.name} has no power and no map", 'power = "280 W", or map = { ... }')
        return self


class Plate(Footprint):
    """A body that carries components or stands on another body: plate, spreader, graphite sheet, board, chamber wall."""

    name: Annotated[Name, Field(description="how other tables refer to it")] = "plate"
    thickness: Annotated[Length, Field(description="of the body")]
    material: Annotated[MaterialChoice, Field(description="name and grade from the table of materials, or a table")]
    turned: Annotated[Angle, Field(description="turn of the material's x axis, counter-clockwise")] = 0.0
    model: Annotated[
        Literal["resolved", "sheet"],
        Field(description="resolved through the thickness, or one temperature through it (2-D, for thin plates)"),
    ] = "resolved"
    patch: Annotated[
        tuple[PatchTable, ...],
        BeforeValidator(one_or_many),
        Field(
            description="parts of other material, thickness or turn: inlay, thinner or thicker region",
            max_length=MOST_PARTS,
        ),
    ] = ()
    on: Annotated[Name | None, Field(description="the plate it lies on")] = None
    face: Annotated[Face, Field(description="on which face of that plate")] = "cooled side"
    interface: Annotated[InterfaceChoice | None, Field(description='joint to that plate, or "perfect" contact')] = None

    def may_start_at_origin(self) -> bool:
        """A plate without a place sets the origin of the plan."""
        return True

    @model_validator(mode="after")
    def _patches(self) -> Self:
        if any(patch.impedance is not None for patch in self.patch):
            raise wrong(f"{self.name}: a patch of a solid has no impedance", "material, thickness or turned")
        return self

    @model_validator(mode="after")
    def _on_what(self) -> Self:
        if (self.on is None) != (self.interface is None):
            raise wrong(
                f"{self.name}: on and interface belong together",
                'on = "base", interface = { impedance = "8 mm^2 K/W" }',
            )
        return self


class JointTable(Part):
    """A joint between two bodies where their footprints overlap."""

    lower: Annotated[
        Name, Field(description="body whose cooled side touches; a component's name means its layer on that side")
    ]
    upper: Annotated[
        Name, Field(description="body whose component side touches; a component's name means its layer on that side")
    ]
    interface: Annotated[InterfaceChoice, Field(description='between the two, or "perfect"')]


class StandingFinsTable(Part):
    """Plate fins that stand upright on a naturally cooled face, all over it."""

    gap: Annotated[Length, Field(description="clear distance between two fins")]
    thickness: Annotated[Length, Field(description="of a fin")]
    height: Annotated[Length, Field(description="from the face to the tips")]
    material: Annotated[MaterialChoice, Field(description="name and grade from the table of materials, or a table")]


UPRIGHT = ("standing plate", "standing fins")


class Cooling(Part):
    """What takes heat from a face: a coefficient, a map of it, natural convection, radiation, or a held temperature."""

    name: Annotated[Name, Field(description="load cases and tables use it")] = "cooling"
    on: Annotated[Name | None, Field(description="body; else the only plate")] = None
    face: Annotated[Face, Field(description="which face; parts covered by other bodies do not cool")] = "cooled side"
    coefficient: Annotated[Coefficient | None, Field(description="of the film on the bare face, fins included")] = None
    map: Annotated[FieldFile | None, Field(description="coefficient from a CSV grid")] = None
    natural: Annotated[
        Literal["standing plate", "facing up", "facing down", "standing fins"] | None,
        Field(
            description="natural convection of air, by how this face stands in the room; its own temperature drives it"
        ),
    ] = None
    length: Annotated[
        Length | None,
        Field(
            description="upright length of a standing face or of standing fins, along which the air rises; a level face takes its "
            "area over its perimeter instead"
        ),
    ] = None
    fins: Annotated[
        StandingFinsTable | None, Field(description="of standing fins; they count neither in mass nor in height")
    ] = None
    altitude: Annotated[Altitude | None, Field(description="for the pressure of natural air; else sea level")] = None
    pressure: Annotated[AbsolutePressure | None, Field(description="absolute; in place of the altitude")] = None
    emissivity: Annotated[
        Emissivity | None,
        Field(description="of the face, which radiates; alone, or beside a coefficient or natural convection"),
    ] = None
    surroundings: Annotated[
        Temperature | None, Field(description="what the face radiates to; else as warm as the coolant")
    ] = None
    held: Annotated[Temperature | None, Field(description="the face is held at this temperature")] = None
    coolant: Annotated[
        Temperature | None,
        Field(
            description="temperature of the coolant, or of the natural air; else the ambient. Rises are counted from that of the "
            "first cooling that is not held; without one, from the first flow's inlet, else from the ambient"
        ),
    ] = None
    area: Annotated[Outline | None, Field(description="only inside this outline")] = None

    @model_validator(mode="after")
    def _one_kind(self) -> Self:
        given = [name for name in ("coefficient", "map", "natural", "held") if getattr(self, name) is not None]
        if len(given) > 1 or not (given or self.emissivity):
            found = " and ".join(given) or "none"
            message = "cooling needs one of coefficient, map, natural, held, or an emissivity alone"
            raise wrong(message, 'coefficient = "2000 W/m^2/K"', value=found)
        if self.held is not None and self.coolant is not None:
            raise wrong("a held face has no coolant", "held, or coefficient + coolant")
        if self.emissivity is not None and (self.map is not None or self.held is not None):
            raise wrong("an emissivity belongs to a coefficient or to natural convection", "leave emissivity out")
        if self.surroundings is not None and self.emissivity is None:
            raise wrong("surroundings mean something to a face that radiates", "emissivity = 0.85")
        return self

    @model_validator(mode="after")
    def _natural(self) -> Self:
        if self.natural is None:
            given = [key for key in ("length", "fins", "altitude", "pressure") if getattr(self, key) is not None]
            if given:
                raise wrong(f"{given[0]} belongs to natural convection", 'natural = "standing plate"')
            return self
        if self.altitude is not None and self.pressure is not None:
            raise wrong("altitude or pressure, not both", "one of them")
        if self.natural in UPRIGHT and self.length is None:
            raise wrong(f"{self.natural} needs its upright length", 'length = "180 mm"')
        if self.natural == "standing fins" and self.fins is None:
            a_table = 'fins = { gap = "8 mm", thickness = "1 mm", height = "25 mm", material = "aluminium 6063-T5" }'
            raise wrong("standing fins need their table", a_table)
        if self.natural == "standing plate" and self.fins is not None:
            raise wrong("a standing plate has no fins", 'natural = "standing fins"')
        return self


class Edge(Part):
    """What happens at the rim of a body, which is insulated otherwise."""

    name: Annotated[Name, Field(description="load cases and tables use it")] = "edge"
    on: Annotated[Name | None, Field(description="body; else the only plate")] = None
    side: Annotated[
        Literal["left", "right", "lower", "upper", "all"], Field(description="of the outline; all includes cut-outs")
    ]
    coefficient: Annotated[Coefficient | None, Field(description="of the film on the rim")] = None
    held: Annotated[Temperature | None, Field(description="the rim is held at this temperature")] = None
    coolant: Annotated[Temperature | None, Field(description="temperature of the coolant; else the ambient")] = None

    @model_validator(mode="after")
    def _one_kind(self) -> Self:
        if (self.coefficient is None) == (self.held is None):
            raise wrong("an edge needs one of coefficient, held", 'held = "25 degC"')
        if self.held is not None and self.coolant is not None:
            raise wrong("a held edge has no coolant", "held, or coefficient + coolant")
        return self


class Probe(Part):
    """A named point (sensor, thermocouple) whose temperature is reported."""

    name: Annotated[Name, Field(description="how the tables call it")]
    at: Annotated[Point, Field(description="place in the plan, x then y")]
    on: Annotated[Name | None, Field(description="body, or component (its chip); else the only plate")] = None
    face: Annotated[Face, Field(description="which face of that body")] = "component side"


class Study(Part):
    """Everything a solve needs, read from one TOML file and its CSV files."""

    title: Annotated[Name, Field(description="one line; the pictures carry it")]
    ambient: Annotated[
        Temperature, Field(description="temperature of the surroundings, and of coolants without their own")
    ]
    sustainable: Annotated[
        tuple[Name, ...],
        BeforeValidator(listed),
        Field(description='components whose power scales for the sustainable power; "all", or a list of names'),
    ] = ("all",)
    accuracy: Annotated[Accuracy, Field(description="wanted of each peak rise; refined until met")] = 0.005
    mesh_size: Annotated[Length | None, Field(description="largest triangle side; else chosen")] = None
    plate: Annotated[
        tuple[Plate, ...],
        BeforeValidator(one_or_many),
        Field(description="one or several", min_length=1, max_length=MOST_PARTS),
    ]
    component: Annotated[
        tuple[Component, ...],
        BeforeValidator(one_or_many),
        Field(description="sources of heat", max_length=MOST_COMPONENTS),
    ] = ()
    joint: Annotated[
        tuple[JointTable, ...],
        BeforeValidator(one_or_many),
        Field(description="further joints", max_length=MOST_PARTS),
    ] = ()
    cooling: Annotated[
        tuple[Cooling, ...],
        BeforeValidator(one_or_many),
        Field(description="films and held faces", max_length=MOST_PARTS),
    ] = ()
    fins: Annotated[
        tuple[FinTable, ...],
        BeforeValidator(one_or_many),
        Field(description="fin banks", max_length=MOST_PARTS),
    ] = ()
    flow: Annotated[
        tuple[FlowTable, ...],
        BeforeValidator(one_or_many),
        Field(description="coolants that pass fin banks", max_length=MOST_PARTS),
    ] = ()
    fan: Annotated[
        tuple[FanTable, ...],
        BeforeValidator(one_or_many),
        Field(description="what drives flows", max_length=MOST_PARTS),
    ] = ()
    edge: Annotated[
        tuple[Edge, ...],
        BeforeValidator(one_or_many),
        Field(description="rims that are not insulated", max_length=MOST_PARTS),
    ] = ()
    probe: Annotated[
        tuple[Probe, ...], BeforeValidator(one_or_many), Field(description="points to report", max_length=MOST_PARTS)
    ] = ()
