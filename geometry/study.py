"""The study: what the engineer writes, as checked, frozen values in SI. The README's reference is generated from here."""

from typing import Annotated, Any, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, model_validator
from pydantic_core import PydanticCustomError

from plancha.geometry.units import quantity

Face = Literal["component side", "cooled side"]

Length = quantity("length", above=0)
Coordinate = quantity("length")
Temperature = quantity("temperature")
Power = quantity("power", at_least=0)
Conductivity = quantity("conductivity", above=0)
Impedance = quantity("impedance", at_least=0)
Coefficient = quantity("coefficient", above=0)
Angle = quantity("angle")
Point = tuple[Coordinate, Coordinate]
Size = tuple[Length, Length]


def one_or_many(value: Any) -> Any:
    """`[plate]` and `[[plate]]` are both welcome."""
    return [value] if isinstance(value, dict) else value


def _limit(value: Any) -> Any:
    return None if isinstance(value, str) and value.strip().lower() == "none" else value


def _wrong(message: str, allowed: str = "", hint: str = "", value: Any = None) -> PydanticCustomError:
    return PydanticCustomError(
        "study", "{message}", {"message": message, "allowed": allowed, "hint": hint, "found": value}
    )


class Part(BaseModel):
    """One table of the study; keys that are not in the schema are refused."""

    model_config = ConfigDict(extra="forbid", frozen=True)


class Outline(Part):
    """A shape in the plan: at + size, or center + diameter, or points."""

    at: Annotated[Point | None, Field(description="lower left corner, x then y")] = None
    size: Annotated[Size | None, Field(description="width (along x) and height (along y)")] = None
    corner_radius: Annotated[Length | None, Field(description="rounds the corners of a rectangle")] = None
    center: Annotated[Point | None, Field(description="centre of a circle")] = None
    diameter: Annotated[Length | None, Field(description="diameter of a circle")] = None
    points: Annotated[tuple[Point, ...] | None, Field(description="corners of a polygon, in order")] = None

    @model_validator(mode="after")
    def _one_shape(self):
        forms = {"size": self.size, "diameter": self.diameter, "points": self.points}
        given = [name for name, value in forms.items() if value is not None]
        if len(given) > 1:
            raise _wrong(
                f"an outline has one shape, not {' and '.join(given)}", "at + size, center + diameter, or points"
            )
        if (self.diameter is None) != (self.center is None):
            raise _wrong("a circle needs both center and diameter", 'center = ["20 mm", "20 mm"], diameter = "8 mm"')
        if self.size is None and (self.corner_radius or self.at):
            raise _wrong("at and corner_radius belong to a rectangle, which needs size", 'size = ["24 mm", "20 mm"]')
        if self.size and self.corner_radius and 2 * self.corner_radius > min(self.size):
            raise _wrong("the corner radius is more than half of the shorter side", f"at most {min(self.size) / 2:g} m")
        return self

    def has_shape(self) -> bool:
        """Whether the table draws an outline of its own."""
        return any(value is not None for value in (self.size, self.diameter, self.points))


class Footprint(Outline):
    """An outline with cut-outs."""

    cut_outs: Annotated[tuple[Outline, ...], Field(description="holes: a list of outlines")] = ()


class InlineMaterial(Part):
    """A material given in the study: one conductivity, or in-plane and through, or x, y and through."""

    name: Annotated[str, Field(description="how the tables call it")] = "inline"
    conductivity: Annotated[Conductivity | None, Field(description="the same in all directions")] = None
    conductivity_in_plane: Annotated[Conductivity | None, Field(description="along the plan")] = None
    conductivity_x: Annotated[Conductivity | None, Field(description="along x, before turning")] = None
    conductivity_y: Annotated[Conductivity | None, Field(description="along y, before turning")] = None
    conductivity_through: Annotated[Conductivity | None, Field(description="through the thickness")] = None
    exponent: Annotated[float, Field(ge=-3, le=3, description="k = k_ref (T / T_ref)^exponent")] = 0.0
    temperature_reference: Annotated[Temperature, Field(description="T_ref of the law above")] = 300.0
    density: Annotated[quantity("density", above=0) | None, Field(description="for the mass")] = None  # type: ignore[valid-type]

    @model_validator(mode="after")
    def _one_form(self):
        given = {
            name
            for name in (
                "conductivity",
                "conductivity_in_plane",
                "conductivity_x",
                "conductivity_y",
                "conductivity_through",
            )
            if getattr(self, name) is not None
        }
        forms = (
            {"conductivity"},
            {"conductivity_in_plane", "conductivity_through"},
            {"conductivity_x", "conductivity_y", "conductivity_through"},
        )
        if given not in forms:
            raise _wrong(
                "the conductivities given do not make a material",
                "conductivity; or conductivity_in_plane + _through; or conductivity_x + _y + _through",
                value=", ".join(sorted(given)) or "none",
            )
        return self


class Interface(Part):
    """What lies between two bodies: an impedance, or a bond line with its conductivity and contact terms."""

    impedance: Annotated[Impedance | None, Field(description="areal, of the whole interface; 0 is perfect contact")] = (
        None
    )
    bond_line: Annotated[Length | None, Field(description="thickness of the joint")] = None
    conductivity: Annotated[Conductivity | None, Field(description="of the bond line")] = None
    material: Annotated[str | InlineMaterial | None, Field(description="of the bond line, from the table")] = None
    contact: Annotated[Impedance, Field(description="both contact terms together, added to the bond line")] = 0.0

    def is_interface(self) -> bool:
        """Whether the table describes a joint (and not a solid layer)."""
        return self.impedance is not None or self.bond_line is not None

    def _check_interface(self):
        if self.impedance is not None and (self.bond_line is not None or self.conductivity is not None or self.contact):
            raise _wrong(
                "an interface has an impedance or a bond line, not both", "impedance; or bond_line + conductivity"
            )
        if self.bond_line is not None and (self.conductivity is None) == (self.material is None):
            raise _wrong("a bond line needs its conductivity or its material, one of them", 'conductivity = "5 W/m/K"')

    @model_validator(mode="after")
    def _joint_form(self):
        if not self.is_interface():
            raise _wrong("an interface needs an impedance or a bond line", 'impedance = "8 mm^2 K/W"')
        self._check_interface()
        return self


class Layer(Interface, Footprint):
    """One layer of a component, from the chip outward: a solid (material + thickness) or an interface."""

    name: Annotated[str | None, Field(description="how the tables call it; else the material's name")] = None
    thickness: Annotated[Length | None, Field(description="of a solid layer")] = None
    turned: Annotated[Angle, Field(description="turn of the material's x axis, counter-clockwise")] = 0.0

    @model_validator(mode="after")
    def _joint_form(self):
        if self.is_interface():
            if self.thickness is not None:
                raise _wrong(
                    "a layer is a solid or an interface, not both", "material + thickness; or impedance; or bond_line"
                )
            self._check_interface()
        elif self.material is None or self.thickness is None:
            raise _wrong("a solid layer needs material and thickness; an interface needs impedance or bond_line")
        return self


class MapFile(Part):
    """A power map from a CSV file."""

    file: Annotated[str, Field(description="CSV, beside the study file")]
    unit: Annotated[
        str | None, Field(description="W, W/cm^2 or W/mm^2 of a grid's cells; a table says it in its head")
    ] = None
    seen_from: Annotated[
        Literal["active side", "cooled side"], Field(description="whose view the rows and columns are")
    ]
    quarter_turns: Annotated[int, Field(ge=-3, le=3, description="counter-clockwise, after the view is set right")] = 0
    mirror: Annotated[bool, Field(description="left-right, before turning")] = False
    scale: Annotated[bool, Field(description="scale the map to the stated power")] = False


class FieldFile(Part):
    """A coefficient map from a CSV grid, laid over the bounding rectangle of its area."""

    file: Annotated[str, Field(description="CSV grid, first row at the top, seen from the cooled side")]
    unit: Annotated[str, Field(description="unit of the cells")] = "W/m^2/K"


class BoardPath(Part):
    """A way out at the chip's active side, to the board."""

    resistance: Annotated[quantity("resistance", above=0), Field(description="from active face to board ambient")]  # type: ignore[valid-type]
    ambient: Annotated[Temperature | None, Field(description="temperature behind it; else the study's ambient")] = None


class Component(Footprint):
    """A source of heat with its own chain of layers down to the body it sits on."""

    name: Annotated[str, Field(description="unique; load cases and tables use it")]
    limit: Annotated[Temperature | None, BeforeValidator(_limit), Field(description='highest allowed peak, or "none"')]
    power: Annotated[Power | None, Field(description="total; may be left out where the map is in watts")] = None
    map: Annotated[MapFile | None, Field(description="power map; else uniform")] = None
    heat_depth: Annotated[Length | None, Field(description="heat is spread over this depth from the active face")] = (
        None
    )
    layers: Annotated[
        tuple[Layer, ...], Field(description="from the chip outward; [] puts the heat on the body itself")
    ]
    on: Annotated[str | None, Field(description="the body it sits on; else the only plate")] = None
    face: Annotated[Face, Field(description="which face of that body")] = "component side"
    board: Annotated[BoardPath | None, Field(description="a way out to the board")] = None

    @model_validator(mode="after")
    def _has_power(self):
        if self.power is None and self.map is None:
            raise _wrong(f"{self.name} has no power and no map", 'power = "280 W", or map = { ... }')
        if not self.has_shape():
            raise _wrong(f"{self.name} has no outline", "at + size, center + diameter, or points")
        if self.size is not None and self.at is None:
            raise _wrong(f"{self.name} has a size but no place", 'at = ["36 mm", "30 mm"]')
        return self


class Plate(Footprint):
    """A body that carries components or stands on another body: plate, spreader, graphite sheet, board, chamber wall."""

    name: Annotated[str, Field(description="how other tables refer to it")] = "plate"
    thickness: Annotated[Length, Field(description="of the body")]
    material: Annotated[str | InlineMaterial, Field(description="name and grade from the table, or inline")]
    turned: Annotated[Angle, Field(description="turn of the material's x axis, counter-clockwise")] = 0.0
    model: Annotated[
        Literal["resolved", "sheet"],
        Field(description="resolved through the thickness, or one temperature through it (2-D, for thin plates)"),
    ] = "resolved"
    on: Annotated[str | None, Field(description="the body it lies on")] = None
    face: Annotated[Face, Field(description="on which face of that body")] = "cooled side"
    interface: Annotated[
        Interface | Literal["perfect"] | None, Field(description='joint to that body, or "perfect" contact')
    ] = None

    @model_validator(mode="after")
    def _has_outline(self):
        if not self.has_shape():
            raise _wrong(f"{self.name} has no outline", "size, center + diameter, or points")
        if (self.on is None) != (self.interface is None):
            raise _wrong(
                f"{self.name}: on and interface belong together",
                'on = "base", interface = { impedance = "8 mm^2 K/W" }',
            )
        return self


class JointTable(Part):
    """A joint between two bodies where their footprints overlap."""

    lower: Annotated[
        str, Field(description="body whose cooled side touches; a component's name means its outermost layer")
    ]
    upper: Annotated[str, Field(description="body whose component side touches; a component's name means its chip")]
    interface: Annotated[Interface | Literal["perfect"], Field(description='between the two, or "perfect"')]


class Cooling(Part):
    """What takes heat from a face: a coefficient, a map of it, or a held temperature."""

    name: Annotated[str, Field(description="load cases and tables use it")] = "cooling"
    on: Annotated[str | None, Field(description="body; else the only plate")] = None
    face: Annotated[Face, Field(description="which face; parts covered by other bodies do not cool")] = "cooled side"
    coefficient: Annotated[Coefficient | None, Field(description="of the film on the bare face, fins included")] = None
    map: Annotated[FieldFile | None, Field(description="coefficient from a CSV grid")] = None
    held: Annotated[Temperature | None, Field(description="the face is held at this temperature")] = None
    coolant: Annotated[Temperature | None, Field(description="temperature of the coolant; else the ambient")] = None
    area: Annotated[Outline | None, Field(description="only inside this outline")] = None

    @model_validator(mode="after")
    def _one_kind(self):
        if sum(value is not None for value in (self.coefficient, self.map, self.held)) != 1:
            raise _wrong("cooling needs one of coefficient, map, held", 'coefficient = "2000 W/m^2/K"')
        return self


class Edge(Part):
    """What happens at the rim of a body, which is insulated otherwise."""

    name: Annotated[str, Field(description="load cases and tables use it")] = "edge"
    on: Annotated[str | None, Field(description="body; else the only plate")] = None
    side: Annotated[
        Literal["left", "right", "lower", "upper", "all"], Field(description="of the outline; all includes cut-outs")
    ]
    coefficient: Annotated[Coefficient | None, Field(description="of the film on the rim")] = None
    held: Annotated[Temperature | None, Field(description="the rim is held at this temperature")] = None
    coolant: Annotated[Temperature | None, Field(description="temperature of the coolant; else the ambient")] = None

    @model_validator(mode="after")
    def _one_kind(self):
        if (self.coefficient is None) == (self.held is None):
            raise _wrong("an edge needs one of coefficient, held", 'held = "25 degC"')
        return self


class Probe(Part):
    """A named point (sensor, thermocouple) whose temperature is reported."""

    name: Annotated[str, Field(description="how the tables call it")]
    at: Annotated[Point, Field(description="place in the plan")]
    on: Annotated[str | None, Field(description="body or component; else the only plate")] = None
    face: Annotated[Face, Field(description="which face of that body")] = "component side"


class Study(Part):
    """Everything a solve needs, read from one TOML file and its CSV files."""

    title: Annotated[str, Field(description="one line; the pictures carry it")]
    ambient: Annotated[
        Temperature, Field(description="temperature of the surroundings, and of coolants without their own")
    ]
    sustainable: Annotated[
        str | tuple[str, ...],
        Field(description='whose power scales for the sustainable power: "all", a component, or a list'),
    ] = "all"
    mesh_size: Annotated[Length | None, Field(description="largest triangle side; else chosen")] = None
    plate: Annotated[tuple[Plate, ...], BeforeValidator(one_or_many), Field(description="one or several", min_length=1)]
    component: Annotated[tuple[Component, ...], BeforeValidator(one_or_many), Field(description="sources of heat")] = ()
    joint: Annotated[tuple[JointTable, ...], BeforeValidator(one_or_many), Field(description="further joints")] = ()
    cooling: Annotated[
        tuple[Cooling, ...], BeforeValidator(one_or_many), Field(description="films and held faces")
    ] = ()
    edge: Annotated[
        tuple[Edge, ...], BeforeValidator(one_or_many), Field(description="rims that are not insulated")
    ] = ()
    probe: Annotated[tuple[Probe, ...], BeforeValidator(one_or_many), Field(description="points to report")] = ()
