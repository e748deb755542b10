"""What the tables of a study share: bounds of quantities, outlines, materials and interfaces, as the data model reads them."""

from typing import Annotated, Any, Literal, Self

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Discriminator, Field, Tag, model_validator
from pydantic_core import PydanticCustomError

from plancha.geometry.quantity import Quantity
from plancha.geometry.units import show

# Bounds refuse the absurd (a slip of the unit); what is only unusual is noted when the stack is laid.
Length = Annotated[float, Quantity("length", at_least=1e-9, at_most=10.0)]
Radius = Annotated[float, Quantity("length", at_least=0.0, at_most=10.0)]
Coordinate = Annotated[float, Quantity("length", at_least=-10.0, at_most=10.0)]
Temperature = Annotated[float, Quantity("temperature", at_least=150.0, at_most=2000.0)]
Power = Annotated[float, Quantity("power", at_least=0.0, at_most=1e6)]
Conductivity = Annotated[float, Quantity("conductivity", at_least=1e-4, at_most=1e6)]
Impedance = Annotated[float, Quantity("impedance", at_least=0.0, at_most=1.0)]
Coefficient = Annotated[float, Quantity("coefficient", at_least=1e-3, at_most=1e7)]
Resistance = Annotated[float, Quantity("resistance", at_least=1e-6, at_most=1e6)]
Density = Annotated[float, Quantity("density", at_least=0.1, at_most=3e4)]
Accuracy = Annotated[float, Quantity("fraction", above=0, at_most=0.1)]
Emissivity = Annotated[float, Quantity("fraction", above=0, at_most=1.0)]
Area = Annotated[float, Quantity("area", above=0, at_most=100.0)]
Pressure = Annotated[float, Quantity("pressure", at_least=0.0, at_most=1e6)]
ClampPressure = Annotated[float, Quantity("pressure", at_least=1.0, at_most=1e9)]
Force = Annotated[float, Quantity("force", at_least=1e-3, at_most=1e6)]
AbsolutePressure = Annotated[float, Quantity("pressure", at_least=1e4, at_most=1e7)]
VolumeFlow = Annotated[float, Quantity("volume flow", above=0, at_most=100.0)]
Altitude = Annotated[float, Quantity("length", at_least=-500.0, at_most=11000.0)]
Preheat = Annotated[float, Quantity("temperature difference", at_least=0.0, at_most=200.0)]
Blocked = Annotated[float, Quantity("fraction", at_least=0.0, at_most=0.95)]
RotationSpeed = Annotated[float, Quantity("speed of rotation", at_least=0.1, at_most=5000.0)]
SoundLevel = Annotated[float, Quantity("sound level", at_least=-20.0, at_most=150.0)]
Coverage = Annotated[float, Quantity("fraction", at_least=0.0, at_most=1.0)]
Growth = Annotated[float, Quantity("growth", at_least=0.0, at_most=1.0)]
Angle = Annotated[float, Quantity("angle")]
Point = tuple[Coordinate, Coordinate]
Size = tuple[Length, Length]
Face = Literal["component side", "cooled side"]

MOST_PARTS = 1000  # plates, joints, coolings, edges, probes, cut-outs
MOST_CORNERS = 10_000  # of one polygon
LONGEST_NAME = 80

AN_OUTLINE = "at + size, center + diameter, or points"
TEXT, TABLE = "<text>", "<table>"  # parts of an error's location that name no key


def wrong(message: str, allowed: str = "", hint: str = "", value: Any = None) -> PydanticCustomError:
    """A fault between the keys of one table, with its parts in the error's context."""
    return PydanticCustomError(
        "study", "{message}", {"message": message, "allowed": allowed, "hint": hint, "found": value}
    )


def _plain_text(text: str) -> str:
    if not text.strip():
        raise wrong("the text is empty")
    if not text.isprintable() or len(text) > LONGEST_NAME:
        raise wrong("the text is too long or holds characters that cannot be printed", f"{LONGEST_NAME} characters")
    return text


def _kind_of(value: Any) -> str:
    return TABLE if isinstance(value, dict | BaseModel) else TEXT


Name = Annotated[str, AfterValidator(_plain_text)]


def one_or_many(value: Any) -> Any:
    """`[plate]` and `[[plate]]` are both welcome."""
    return [value] if isinstance(value, dict) else value


def listed(value: Any) -> Any:
    """A single name is a list of one."""
    return (value,) if isinstance(value, str) else value


class Part(BaseModel):
    """One table of the study; keys that are not in the schema are refused."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False, defer_build=True)


class Outline(Part):
    """A shape in the plan: at + size, or center + diameter, or points."""

    at: Annotated[Point | None, Field(description="lower left corner, x then y")] = None
    size: Annotated[Size | None, Field(description="width (along x) and height (along y)")] = None
    corner_radius: Annotated[Radius | None, Field(description="rounds the corners of a rectangle")] = None
    center: Annotated[Point | None, Field(description="centre of a circle")] = None
    diameter: Annotated[Length | None, Field(description="diameter of a circle")] = None
    points: Annotated[
        tuple[Point, ...] | None, Field(description="corners of a polygon, in order", max_length=MOST_CORNERS)
    ] = None

    @model_validator(mode="after")
    def _one_shape(self) -> Self:
        forms = {"size": self.size, "diameter": self.diameter, "points": self.points}
        given = [name for name, value in forms.items() if value is not None]
        if len(given) > 1:
            raise wrong(f"an outline has one shape, not {' and '.join(given)}", AN_OUTLINE)
        if (self.diameter is None) != (self.center is None):
            raise wrong("a circle needs both center and diameter", 'center = ["20 mm", "20 mm"], diameter = "8 mm"')
        if self.size is None and (self.corner_radius is not None or self.at is not None):
            raise wrong("at and corner_radius belong to a rectangle, which needs size", 'size = ["24 mm", "20 mm"]')
        if self.size and self.corner_radius and 2 * self.corner_radius > min(self.size):
            most = show(min(self.size) / 2, "length")
            raise wrong("the corner radius is more than half of the shorter side", f"at most {most}")
        if not given and self.must_have_shape():
            raise wrong(f"{self.called()} has no outline", AN_OUTLINE)
        if self.size is not None and self.at is None and not self.may_start_at_origin():
            raise wrong(f"{self.called()} has a size but no place", 'at = ["36 mm", "30 mm"]')
        return self

    def has_shape(self) -> bool:
        """Whether the table draws an outline of its own."""
        return any(value is not None for value in (self.size, self.diameter, self.points))

    def called(self) -> str:
        """How messages call this table."""
        return getattr(self, "name", None) or "the table"

    def must_have_shape(self) -> bool:
        """Whether the table cannot do without an outline of its own."""
        return True

    def may_start_at_origin(self) -> bool:
        """Whether a rectangle without ``at`` starts at (0, 0)."""
        return False


class Footprint(Outline):
    """An outline with cut-outs."""

    cut_outs: Annotated[tuple[Outline, ...], Field(description="holes: a list of outlines", max_length=MOST_PARTS)] = ()


class CopperLayer(Part):
    """A copper layer of a printed board."""

    thickness: Annotated[Length, Field(description="of the foil and what is plated on it; 1 oz copper is 34.8 um")]
    coverage: Annotated[Coverage, Field(description="share of the plan that copper covers")]


class InlineMaterial(Part):
    """A material given in the study: one conductivity, or in-plane and through, or x, y and through, or a board's layers."""

    name: Annotated[Name, Field(description="how the tables call it")] = "inline"
    conductivity: Annotated[Conductivity | None, Field(description="the same in all directions")] = None
    conductivity_in_plane: Annotated[Conductivity | None, Field(description="along the plan")] = None
    conductivity_x: Annotated[Conductivity | None, Field(description="along x, before turning")] = None
    conductivity_y: Annotated[Conductivity | None, Field(description="along y, before turning")] = None
    conductivity_through: Annotated[Conductivity | None, Field(description="through the thickness")] = None
    copper: Annotated[
        tuple[CopperLayer, ...],
        BeforeValidator(one_or_many),
        Field(description="layers of a printed board, in any order; needs laminate", max_length=100),
    ] = ()
    laminate: Annotated[
        Conductivity | None, Field(description="conductivity of the board's laminate, such as 0.3 W/m/K")
    ] = None
    copper_conductivity: Annotated[Conductivity, Field(description="of those layers")] = 388.0
    exponent: Annotated[float, Field(ge=-3, le=3, strict=True, description="n of k = k_ref (T / T_ref)^n, -3 to 3")] = (
        0.0
    )
    temperature_reference: Annotated[Temperature, Field(description="T_ref of that law")] = 300.0
    density: Annotated[Density | None, Field(description="for the mass")] = None

    @model_validator(mode="after")
    def _one_form(self) -> Self:
        given = {name for name in type(self).model_fields if name.startswith("conductivity") and getattr(self, name)}
        given |= {name for name in ("copper", "laminate") if getattr(self, name)}
        forms = (
            {"conductivity"},
            {"conductivity_in_plane", "conductivity_through"},
            {"conductivity_x", "conductivity_y", "conductivity_through"},
            {"copper", "laminate"},
        )
        if given not in forms:
            raise wrong(
                "the conductivities given do not make a material",
                "conductivity; or conductivity_in_plane + _through; or conductivity_x + _y + _through; or copper + laminate",
                value=", ".join(sorted(given)) or "none",
            )
        return self


MaterialChoice = Annotated[
    Annotated[Name, Tag(TEXT)] | Annotated[InlineMaterial, Tag(TABLE)],
    Discriminator(_kind_of),
]


class PatchTable(Outline):
    """A part of a body or of an interface that differs from the rest."""

    material: Annotated[MaterialChoice | None, Field(description="of a body's patch; else the body's own")] = None
    thickness: Annotated[Length | None, Field(description="of a body's patch; else the body's own")] = None
    turned: Annotated[Angle | None, Field(description="of a body's patch: turn of the material's x axis")] = None
    impedance: Annotated[Impedance | None, Field(description="of an interface's patch")] = None

    def called(self) -> str:
        """How messages call this table."""
        return "the patch"

    def changes_body(self) -> bool:
        """Whether it says something of a solid."""
        return any(each is not None for each in (self.material, self.thickness, self.turned))

    @model_validator(mode="after")
    def _differs(self) -> Self:
        if self.impedance is None and not self.changes_body():
            raise wrong("a patch changes nothing", "material, thickness or turned; of an interface impedance")
        return self


class VoidMap(Part):
    """Voids of an interface from a black-and-white image, or from a CSV grid of shares, laid over the contact's rectangle."""

    file: Annotated[Name, Field(description="image, or CSV grid of 0 (bonded) to 1 (void), seen from the cooled side")]
    void: Annotated[Literal["dark", "light"] | None, Field(description="which pixels of an image are void")] = None


class LineMap(Part):
    """Bond-line thickness from a CSV grid, laid over the contact's bounding rectangle."""

    file: Annotated[Name, Field(description="CSV grid, first row at the top, seen from the cooled side")]
    unit: Annotated[Name, Field(description="unit of the cells")] = "um"


class Interface(Part):
    """What lies between two bodies: an impedance, a bond line with its conductivity, or a candidate of the table of interfaces."""

    impedance: Annotated[Impedance | None, Field(description="areal, of the whole interface; 0 is perfect contact")] = (
        None
    )
    bond_line: Annotated[Length | None, Field(description="thickness of the joint")] = None
    conductivity: Annotated[Conductivity | None, Field(description="of the bond line")] = None
    material: Annotated[MaterialChoice | None, Field(description="of the bond line, in place of its conductivity")] = (
        None
    )
    contact: Annotated[Impedance, Field(description="both contact terms together, added to the bond line")] = 0.0
    candidate: Annotated[Name | None, Field(description="name from the table of interfaces, in place of all these")] = (
        None
    )
    age: Annotated[Literal["new", "end of life"] | None, Field(description="of the candidate; must be said")] = None
    level: Annotated[
        Literal["low", "typical", "high"] | None,
        Field(description="which impedance of those one may meet of the candidate; else typical"),
    ] = None
    pressure: Annotated[ClampPressure | None, Field(description="on the candidate; else that of its table row")] = None
    force: Annotated[Force | None, Field(description="of the clamp, over the area where the bodies overlap")] = None
    gap: Annotated[Length | None, Field(description="between faces that are held apart, in place of a pressure")] = None
    gap_tolerance: Annotated[Length | None, Field(description="of the gap, to either side")] = None
    force_limit: Annotated[Force | None, Field(description="most that a pad squeezed in the gap may press with")] = None
    barrier: Annotated[
        Name | None, Field(description="what plates faces that a gallium alloy would attack, such as nickel")
    ] = None

    tilt: Annotated[
        tuple[Coordinate, Coordinate] | None,
        Field(description="of a bond line: by how much it gains from left to right, and from bottom to top"),
    ] = None
    bow: Annotated[
        Coordinate | None,
        Field(description="of a bond line: by how much it is thicker at the corners than in the middle"),
    ] = None
    bond_line_map: Annotated[LineMap | None, Field(description="thickness of the bond line from place to place")] = None
    void: Annotated[
        tuple[Outline, ...],
        BeforeValidator(one_or_many),
        Field(description="voids: where nothing joins the bodies", max_length=MOST_PARTS),
    ] = ()
    void_map: Annotated[VoidMap | None, Field(description="voids from an image or a map")] = None
    patch: Annotated[
        tuple[PatchTable, ...],
        BeforeValidator(one_or_many),
        Field(
            description="parts that differ: of an interface in impedance, of a solid in material, thickness or turn",
            max_length=MOST_PARTS,
        ),
    ] = ()

    def is_interface(self) -> bool:
        """Whether the table describes a joint (and not a solid layer)."""
        return self.impedance is not None or self.bond_line is not None or self.candidate is not None

    @model_validator(mode="after")
    def _joint_form(self) -> Self:
        self.check_form()
        self._check_candidate()
        bodily = any(patch.impedance is None or patch.changes_body() for patch in self.patch)
        if self.is_interface() and bodily:
            raise wrong("a patch of an interface has an impedance, and nothing else", 'impedance = "40 mm^2 K/W"')
        return self

    def check_form(self) -> None:
        """Refuse a table that is no interface."""
        if not self.is_interface():
            raise wrong("an interface needs an impedance, a bond line or a candidate", 'impedance = "8 mm^2 K/W"')
        if self.candidate is not None:
            return
        if self.impedance is not None and (self.bond_line is not None or self.contact or self.conductivity):
            raise wrong("an interface has an impedance or a bond line, not both", "impedance; or bond_line + ...")
        if self.bond_line is not None and (self.conductivity is None) == (self.material is None):
            raise wrong("a bond line needs its conductivity or its material, one of them", 'conductivity = "5 W/m/K"')

    def _check_candidate(self) -> None:
        """Refuse keys that say the same twice, or that mean nothing here."""
        own = [key for key in CANDIDATE_KEYS if getattr(self, key) is not None]
        if self.barrier is not None and not self.is_interface():
            raise wrong("barrier belongs to an interface", "impedance, bond_line or candidate")
        if self.candidate is None:
            if own:
                raise wrong(f"{own[0]} belongs to a candidate", 'candidate = "paste, filled silicone", age = "new"')
            return
        other = [
            key for key in ("impedance", "bond_line", "conductivity", "material") if getattr(self, key) is not None
        ]
        if other or self.contact:
            raise wrong(
                "a candidate brings its own numbers", "candidate + age, and no others", value=(other or ["contact"])[0]
            )
        if self.age is None:
            raise wrong("a candidate needs its age", 'age = "new", or age = "end of life"')
        clamps = [key for key in ("pressure", "force", "gap") if getattr(self, key) is not None]
        if len(clamps) > 1:
            raise wrong("one thing sets the bond line", "one of pressure, force, gap", value=" and ".join(clamps))
        if self.gap is None and (self.gap_tolerance is not None or self.force_limit is not None):
            raise wrong("gap_tolerance and force_limit belong to a gap", 'gap = "0.8 mm", gap_tolerance = "0.1 mm"')
        if self.gap is not None and (self.gap_tolerance or 0.0) >= self.gap:
            raise wrong("the tolerance is as large as the gap", "a tolerance below the gap")


CANDIDATE_KEYS = ("age", "level", "pressure", "force", "gap", "gap_tolerance", "force_limit")

InterfaceChoice = Annotated[
    Annotated[Interface, Tag(TABLE)] | Annotated[Literal["perfect"], Tag(TEXT)],
    Discriminator(_kind_of),
]


class CasePoint(Part):
    """Where a component's case temperature is taken."""

    at: Annotated[Point, Field(description="place in the plan, x then y")]


CasePointChoice = Annotated[
    Annotated[CasePoint, Tag(TABLE)] | Annotated[Literal["centre"], Tag(TEXT)],
    Discriminator(_kind_of),
]
