"""What a study was understood to say, as tables of a report: chains, materials with their sources, load cases."""

import math
from collections.abc import Iterator

from plancha.app.air_tables import air_tables
from plancha.app.fields import ZERO_CELSIUS
from plancha.app.patch_tables import conductivity_words, patch_tables
from plancha.app.sections import Section, section
from plancha.app.study_tables import bodies_table, joints_table, sources_table, surroundings_table
from plancha.geometry.bodies import Source, Stack
from plancha.geometry.materials import Material
from plancha.geometry.study_file import StudyFile
from plancha.geometry.units import show

UNSAID = "as the study says"


def input_tables(study: StudyFile) -> list[Section]:
    """All that was understood of the study as written, then its load cases."""
    stack = study.cases[0].stack
    tables = [sources_table(stack), chains_table(stack), bodies_table(stack), materials_table(stack)]
    tables += [joints_table(stack), *patch_tables(stack)]
    if stack.films or stack.helds or stack.rims or not stack.flows:
        tables.append(surroundings_table(stack))
    if stack.flows:
        tables += air_tables(stack)
    return [table for table in [*tables, load_cases_table(study)] if table.rows]


def chains_table(stack: Stack) -> Section:
    """Each component's way from the chip outward: what the heat meets, down to the body that the component sits on."""
    rows = [(source.name, " → ".join(_links(stack, source))) for source in stack.sources]
    words = "thickness of a solid, impedance of an interface; the last is the body on which the component sits"
    return section("Chain of each component, from the chip outward", ("component", "chain"), rows, words)


def _links(stack: Stack, source: Source) -> Iterator[str]:
    for place, number in enumerate(source.chain[:-1]):
        body, joint = stack.bodies[number], stack.joints[source.joints[place]]
        yield f"{body.name.rpartition('/')[2]} {show(body.thickness, 'length')}"
        if joint.impedance:
            yield f"{joint.name} {show(joint.impedance, 'impedance')}"
    yield stack.bodies[source.chain[-1]].name


def materials_table(stack: Stack) -> Section:
    """Every material in use with what one meets under its name, where its values hold, and their source."""
    used = {material.name: material for body in stack.bodies for material in body.materials}
    used |= {bank.material.name: bank.material for bank in stack.banks}
    rows = [
        (
            each.name,
            conductivity_words(each),
            _span(each.conductivity_range),
            _celsius(each),
            each.source or UNSAID,
        )
        for each in used.values()
    ]
    columns = ("material", "k W/m/K", "met under this name", "holds at degC", "source")
    return section("Materials (k in the plan / through)", columns, rows)


def _span(values: tuple[float, float], form: str = "g") -> str:
    return "-" if math.isnan(values[0]) else f"{values[0]:{form}} to {values[1]:{form}}"


def _celsius(material: Material) -> str:
    low, high = material.temperature_range
    return _span((low - ZERO_CELSIUS, high - ZERO_CELSIUS), ".0f")


def load_cases_table(study: StudyFile) -> Section:
    """Load cases beside the study as written, with what each changes."""
    rows = [(case.name, "; ".join(f"{name} = {text}" for name, text in case.changes)) for case in study.cases[1:]]
    return section("Load cases: what changes against the study as written", ("case", "changes"), rows)
