"""result.json: all that a solve found, as one documented, versioned schema; docs/result.md is generated from here."""

from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field

SCHEMA = "plancha-result/1"
ZERO_CELSIUS = 273.15
A_THETA = "thermal resistance; from a standard board it is a figure for comparison, no design input"
A_PSI = "characterisation parameter, no resistance (JESD51-12): not for a series chain"
NO_FOOTPRINT = "null where next to no heat goes through the footprint"


class Record(BaseModel):
    """A table of the result; units stand in the keys."""

    model_config = ConfigDict(frozen=True, defer_build=True)


class Place(Record):
    """A point of the plan."""

    x_mm: float
    y_mm: float


class ComponentRecord(Record):
    """One component's active face."""

    name: str
    power_W: Annotated[float, Field(description="given off, at its temperature")]
    asked_W: Annotated[float, Field(description="without leakage, and before losses grow with temperature")]
    peak_degC: Annotated[float, Field(description="hottest point of the active face")]
    peak_at: Place
    area_mean_degC: float
    power_mean_degC: Annotated[float, Field(description="weighted by the component's own heat")]
    peak_rise_K: Annotated[float, Field(description="peak above the reference")]
    peak_error_K: Annotated[float | None, Field(description="estimated discretisation error of the peak")]
    mean_error_K: Annotated[float | None, Field(description="estimated discretisation error of the area mean")]
    limit_degC: Annotated[float | None, Field(description="of the peak; null without a limit")]
    margin_K: Annotated[float | None, Field(description="limit less peak; null without a limit")]


class StepRecord(Record):
    """One step of a budget."""

    name: str
    kelvin: float
    heat_W: Annotated[float, Field(description="heat that crosses the step")]
    shared: Annotated[bool, Field(description="whether other components' heat takes part")]
    resistance_K_per_W: Annotated[float | None, Field(description="only where one heat flow is meant")]


class BudgetRecord(Record):
    """Area means plane by plane from the hot spot to the reference; the steps add up to the peak rise."""

    component: str
    steps: list[StepRecord]
    total_K: Annotated[float, Field(description="sum of the steps")]
    elsewhere_W: Annotated[
        float,
        Field(description="heat that leaves the component's own layers by other ways; negative where it comes in"),
    ]


class SpreadingRecord(Record):
    """Spreading resistance of the body under a component, by this component's heat alone."""

    component: str
    body: str
    face: Annotated[
        str, Field(description="of that body, on which the component sits", pattern="^(component|cooled) side$")
    ]
    maximum_K_per_W: Annotated[float | None, Field(description=NO_FOOTPRINT)]
    mean_K_per_W: Annotated[float | None, Field(description=NO_FOOTPRINT)]
    maximum_error_K_per_W: Annotated[float | None, Field(description="estimated discretisation error")]
    mean_error_K_per_W: Annotated[float | None, Field(description="estimated discretisation error")]
    share: Annotated[float, Field(description="part of the component's heat that goes through its footprint")]


class CouplingRecord(Record):
    """Rise of the row's component per watt in the column's component; conductivities as in the solution."""

    names: Annotated[list[str], Field(description="of rows and columns, in their order")]
    mean_K_per_W: Annotated[list[list[float]], Field(description="weighted by the receiver's heat; symmetric")]
    peak_K_per_W: Annotated[list[list[float]], Field(description="at the receiver's hot spot")]


class EstimateRecord(Record):
    """One lumped estimate; null where it does not apply."""

    name: str
    rise_K: Annotated[float | None, Field(description="peak above the reference")]
    reason: Annotated[str, Field(description="why it does not apply")]


class LinkRecord(Record):
    """One resistance of the lumped chain."""

    name: str
    resistance_K_per_W: float
    heat_W: Annotated[float, Field(description="that is taken to cross it")]


class LumpedRecord(Record):
    """The lumped estimate of one component."""

    component: str
    chain: list[LinkRecord]
    estimates: list[EstimateRecord]


class RungRecord(Record):
    """One rung of the substitution ladder."""

    name: str
    rise_K: Annotated[float | None, Field(description="peak above the reference; null where the rung does not apply")]
    change_K: Annotated[float | None, Field(description="against the rung before that applies")]


class LadderRecord(Record):
    """The lumped assumptions of one component replaced one after the other."""

    component: str
    rungs: list[RungRecord]


class PathRecord(Record):
    """Heat by one way out; negative where heat comes in."""

    name: str
    kind: Annotated[str, Field(description="film, natural, radiation, board, rim, flow or held")]
    body: Annotated[str, Field(description="empty for a held place")]
    heat_W: float
    area_mm2: Annotated[float | None, Field(description="null for a held place")]


class SustainableRecord(Record):
    """Power at which the first limit is met when only the power of ``scaled`` changes, all by one factor."""

    scaled: Annotated[list[str], Field(description="components whose power changes")]
    factor: Annotated[float | None, Field(description="null where no limit is ever met, 0 where they cannot hold")]
    power_W: Annotated[float | None, Field(description="of the scaled components together, then")]
    limited_by: Annotated[str, Field(description="the component that meets its limit; empty where none does")]


class ProbeRecord(Record):
    """A probe's reading."""

    name: str
    temperature_degC: float
    below_hot_spot_K: Annotated[float, Field(description="the hottest peak of all components less this")]


class QuotientRecord(Record):
    """A temperature difference over a component's power: a resistance (theta), or a characterisation parameter (psi)."""

    symbol: Annotated[str, Field(description="theta_... or psi_..., after the JESD51 series")]
    start: Annotated[str, Field(description="junction or case")]
    end: Annotated[str, Field(description="case, board or other probe, or the reference")]
    value_K_per_W: Annotated[float, Field(description="from the junction's peak, where it starts there")]
    by_mean_K_per_W: Annotated[
        float | None, Field(description="from the junction's area mean; null where it starts elsewhere")
    ]
    meaning: Annotated[str, Field(description="which of the two it is, and what it must not be used for")]


class DatasheetRecord(Record):
    """What a data sheet gives of a component that names a case point or a board point."""

    component: str
    power_W: float
    junction_peak_degC: float
    junction_mean_degC: float
    case_degC: Annotated[float | None, Field(description="at the case point; null where the study names none")]
    case_at: Place | None
    case_share: Annotated[
        float | None, Field(description="part of the heat that leaves through the face with the case point")
    ]
    quotients: list[QuotientRecord]


class SpanRecord(Record):
    """A field between the fins, in the unit that its key says."""

    least: Annotated[float, Field(description="over all cells that take heat")]
    mean: Annotated[float, Field(description="weighted by the area of the walls that the coolant wets")]
    most: Annotated[float, Field(description="over all cells that take heat")]


class OperatingRecord(Record):
    """Where the fans meet the resistance."""

    fans: Annotated[list[str], Field(description="that run")]
    dead: Annotated[list[str], Field(description="that do not")]
    rate_m3_per_s: float
    pressure_Pa: float
    stalled: Annotated[bool, Field(description="left of the last maximum of the fans' curve")]
    also_at_m3_per_s: Annotated[list[float], Field(description="further crossings, where the curve has a dip")]


class ProfileRecord(Record):
    """Peaks at both limits of how the fan's profile falls on the bank."""

    evened_share: Annotated[float, Field(description="taken: 0 rigid, 1 evened out by the pressure")]
    rigid_peaks_degC: Annotated[dict[str, float], Field(description="by component, if the fan's profile stays rigid")]
    evened_peaks_degC: Annotated[dict[str, float], Field(description="by component, if the pressure evens it out")]


class FlowRecord(Record):
    """One coolant's way past its fins."""

    name: str
    fluid: str
    entry: Annotated[str, Field(description="side, top or through")]
    rate_m3_per_s: Annotated[float, Field(description="at the inlet")]
    mass_g_per_s: float
    inlet_degC: float
    outlet_degC: Annotated[float, Field(description="mixed, with what slips by")]
    hottest_degC: Annotated[float, Field(description="of the coolant at a wall")]
    heat_W: float
    share_between_fins: Annotated[float, Field(description="of the rate; the rest slips by")]
    pressure_drop_Pa: Annotated[float, Field(description="banks and losses")]
    banks_drop_Pa: float
    power_W: Annotated[float, Field(description="rate times pressure drop; a fan takes more")]
    sound_dBA: Annotated[float | None, Field(description="of all running fans; null where unknown")]
    operating_point: Annotated[OperatingRecord | None, Field(description="null where the rate is given")]
    velocity_m_per_s: Annotated[SpanRecord, Field(description="between the fins")]
    coefficient_W_per_m2K: Annotated[SpanRecord, Field(description="on the fins' surface")]
    fin_efficiency: Annotated[SpanRecord, Field(description="of fins rooted on a base at one temperature")]
    properties_at_degC: Annotated[
        float, Field(description="mean temperature of the coolant, where its properties are taken")
    ]
    profile: Annotated[ProfileRecord | None, Field(description="null without a known profile")]
    neglected: Annotated[str, Field(description="what the description of this entry leaves out")]
    warnings: Annotated[list[str], Field(description="laws outside their range, stalled fans, and the like")]


class FilmRecord(Record):
    """One face that cools by itself; its coefficients follow its own mean temperature."""

    name: str
    body: str
    face: Annotated[str, Field(description="of that body", pattern="^(component|cooled) side$")]
    stands: Annotated[str | None, Field(description="how, for natural convection; null without it")]
    mean_degC: Annotated[float, Field(description="area mean over the bare face, which the coefficients follow")]
    coldest_degC: float
    hottest_degC: float
    air_degC: Annotated[float | None, Field(description="null without natural convection")]
    pressure_Pa: Annotated[float | None, Field(description="of that air")]
    surroundings_degC: Annotated[float | None, Field(description="that it radiates to; null without radiation")]
    emissivity: Annotated[float | None, Field(description="of the face; null where it does not radiate")]
    convection_W_per_m2K: Annotated[float, Field(description="per area of the bare face, fins included, on the air")]
    radiation_W_per_m2K: Annotated[
        float, Field(description="per area of the bare face, fins included, on the surroundings")
    ]
    heat_by_convection_W: float
    heat_by_radiation_W: float
    length_mm: Annotated[
        float | None, Field(description="upright length; of a level face area over perimeter; null without convection")
    ]
    fin_efficiency: Annotated[float | None, Field(description="of standing fins")]
    rayleigh: Annotated[
        float | None, Field(description="of the law: on the length; of standing fins on the gap, times gap over length")
    ]
    law: Annotated[
        str | None, Field(description="of natural convection; a cold face that looks up is one that looks down")
    ]
    source: Annotated[str | None, Field(description="who published the law")]
    warnings: Annotated[list[str], Field(description="laws outside their range, faces far from one temperature")]


class AuditRecord(Record):
    """What the solve showed of itself."""

    heat_in_W: Annotated[float, Field(description="of all components")]
    imbalance: Annotated[float, Field(description="share of the heat that moves")]
    residual: Annotated[float, Field(description="share of the heat that moves")]
    points: Annotated[int, Field(description="of the plan mesh")]
    triangles: Annotated[int, Field(description="of the plan mesh")]
    unknowns: Annotated[int, Field(description="temperatures solved for")]
    steps: Annotated[
        int, Field(description="of k(T) and of coefficients that follow temperatures; 1 where all is linear")
    ]
    accuracy_wanted: Annotated[float | None, Field(description="of each peak rise, relative")]
    accuracy_estimated: Annotated[
        float | None, Field(description="largest estimated error of a rise over its peak rise")
    ]
    accuracy_reached: Annotated[
        bool | None, Field(description="whether the estimate is no larger than what was wanted")
    ]


class CaseRecord(Record):
    """One load case."""

    name: str
    changes: Annotated[
        dict[str, str], Field(description="dotted names and the texts put there; empty for the study as written")
    ]
    reference_degC: Annotated[float, Field(description="what rises are counted from")]
    reference: Annotated[str, Field(description="name of that temperature: a coolant, a flow's inlet, or the ambient")]
    limiting_component: Annotated[
        str | None, Field(description="the one with the least margin; null where none has a limit")
    ]
    loop_gain: Annotated[
        float | None,
        Field(
            description="from power to temperature and back, below 1 stable; null where no power follows temperature"
        ),
    ] = None
    components: list[ComponentRecord]
    probes: list[ProbeRecord]
    datasheet: Annotated[
        list[DatasheetRecord], Field(description="of components with a case point or a board point")
    ] = []
    sustainable: Annotated[
        SustainableRecord | None, Field(description="null where nothing has a limit, or no power scales")
    ]
    budgets: Annotated[list[BudgetRecord], Field(description="of components that give off heat")]
    spreading: list[SpreadingRecord]
    coupling: CouplingRecord
    lumped: list[LumpedRecord]
    ladder: list[LadderRecord]
    flows: list[FlowRecord] = []
    films: Annotated[list[FilmRecord], Field(description="of faces with natural convection or radiation")] = []
    ways_out: list[PathRecord]
    audit: AuditRecord
    notes: Annotated[
        list[str],
        Field(description="remarks: unusual values, overhangs, edges made one, materials beyond their known range"),
    ]


class Result(Record):
    """result.json: one record per load case, the study as written first."""

    schema_: Annotated[str, Field(alias="schema", description="name and version of this format")] = SCHEMA
    plancha: Annotated[str, Field(description="version that wrote the file")]
    title: str
    mass_g: Annotated[float, Field(description="of the bodies whose density is known")]
    mass_unknown: Annotated[list[str], Field(description="bodies without a density")]
    height_mm: Annotated[float, Field(description="from the lowest face to the highest")]
    study: Annotated[
        dict[str, str], Field(description="the study as written: dotted names, as load cases use them, and texts")
    ]
    files: Annotated[dict[str, str], Field(description="CSV files of the study by name: SHA-256 of their contents")]
    cautions: Annotated[
        list[str], Field(description="what in the materials can hurt people or hardware, in any load case")
    ] = []
    cases: list[CaseRecord]
