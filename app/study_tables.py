"""What was understood of a study, and the materials, as tables for the terminal."""

from collections.abc import Sequence

import numpy as np
from rich.console import Console
from rich.text import Text

from plancha.app.patch_tables import conductivity_words, four_digits, is_uneven, patch_tables
from plancha.app.sections import Section, section
from plancha.geometry.bodies import Film, Joint, Source, Stack, total_height, total_mass
from plancha.geometry.grid import Grid
from plancha.geometry.materials import Material
from plancha.geometry.power_map import peak_flux
from plancha.geometry.study_file import StudyFile
from plancha.geometry.units import show


def print_study(console: Console, study: StudyFile) -> None:
    """Print what was understood of a study, with mass and height."""
    stack = study.cases[0].stack
    mass, unknown = total_mass(stack)
    console.print(Text(stack.title, style="bold"))
    console.print(bodies_table(stack), joints_table(stack), *patch_tables(stack), sources_table(stack))
    if stack.films or stack.helds or stack.rims or not stack.flows:
        console.print(surroundings_table(stack))
    if stack.flows:
        from plancha.app.air_tables import air_tables

        console.print(*air_tables(stack))
    missing = f" (without {', '.join(unknown)}: no density)" if unknown else ""
    console.print(f"\nMass {mass * 1e3:.1f} g{missing}; height {total_height(stack) * 1e3:.3f} mm.")
    console.print(f"Rises are counted from the {stack.reference_name}, {show(stack.reference, 'temperature')}.")
    for case in study.cases[1:]:
        changes = "; ".join(f"{name} = {value}" for name, value in case.changes)
        console.print(Text(f'Load case "{case.name}": {changes}'))
    for note in stack.notes:
        console.print(Text(f"Note: {note}"))


def bodies_table(stack: Stack) -> Section:
    """Bodies with their materials."""
    rows = [
        (
            body.name,
            body.material.name,
            conductivity_words(body.material),
            show(body.thickness, "length"),
            four_digits(body.outline.area * 1e6),
        )
        for body in stack.bodies
    ]
    columns = ("body", "material", "k W/m/K", "thickness", "area mm2")
    return section("Bodies (k in the plan / through)", columns, rows)


def joints_table(stack: Stack) -> Section:
    """Joints between bodies."""
    rows = [
        (
            joint.name,
            stack.bodies[joint.lower].name,
            stack.bodies[joint.upper].name,
            _impedance_words(joint),
        )
        for joint in stack.joints
    ]
    return section("Joints", ("joint", "below", "above", "impedance"), rows)


def _impedance_words(joint: Joint) -> str:
    words = show(joint.impedance, "impedance") if joint.impedance else "perfect contact"
    return f"{words}, uneven" if is_uneven(joint) else words


def sources_table(stack: Stack) -> Section:
    """Components with their power."""
    rows = [
        (
            source.name,
            show(source.power, "power"),
            show(_peak_flux(source), "flux"),
            "even" if source.power_map is None else "{1} x {0} cells".format(*source.power_map.watts.shape),
            "none" if source.limit is None else show(source.limit, "temperature"),
            stack.bodies[source.chain[-1]].name,
        )
        for source in stack.sources
    ]
    return section("Components", ("component", "power", "peak flux", "map", "limit", "sits on"), rows)


def _peak_flux(source: Source) -> float:
    return source.power / source.outline.area if source.power_map is None else peak_flux(source.power_map)


def surroundings_table(stack: Stack) -> Section:
    """Films, held faces and rims."""
    rows = []
    for film in stack.films:
        words = film_words(film)
        rows.append((film.name, stack.bodies[film.body].name, words, show(film.temperature, "temperature")))
    for held in stack.helds:
        rows.append((held.name, stack.bodies[held.body].name, "held", show(held.temperature, "temperature")))
    for rim in stack.rims:
        words = "held" if rim.coefficient is None else show(rim.coefficient, "coefficient")
        place = f"{rim.name} ({rim.side} rim)"
        rows.append((place, stack.bodies[rim.body].name, words, show(rim.temperature, "temperature")))
    return section("Cooling", ("name", "body", "coefficient", "temperature"), rows)


def film_words(film: Film) -> str:
    """What a film's heat goes by: a coefficient, a map of it, how the face stands in its air, its emissivity."""
    own, given = film.unforced, isinstance(film.coefficient, Grid) or film.coefficient > 0
    words = [("map" if isinstance(film.coefficient, Grid) else show(film.coefficient, "coefficient"))] if given else []
    if own is not None and own.natural:
        words.append(f"natural, {own.natural}")
    if own is not None and own.emissivity:
        around = "" if own.surroundings == film.temperature else f" to {show(own.surroundings, 'temperature')}"
        words.append(f"emissivity {own.emissivity:g}{around}")
    return ", ".join(words)


def _span(values: tuple[float, float], scale: float = 1.0) -> str:
    return "" if np.isnan(values).any() else f"{values[0] * scale:g}-{values[1] * scale:g}"


def print_materials(console: Console, materials: Sequence[Material]) -> None:
    """Print a list of materials."""
    rows = [
        (
            each.name,
            each.category,
            conductivity_words(each),
            _span(each.conductivity_range),
            "" if np.isnan(each.density) else f"{each.density:g}",
        )
        for each in materials
    ]
    columns = ("name", "kind", "k W/m/K", "range", "kg/m3")
    remark = (
        "Values vary with grade and making: mind the range. plancha materials NAME shows one in full, with its source."
    )
    console.print(section("Materials (k in the plan / through)", columns, rows, remark))


def print_material(console: Console, material: Material) -> None:
    """Print all that is known of one material."""
    rows = {
        "kind": material.category,
        "k, W/m/K": conductivity_words(material),
        "range of k": _span(material.conductivity_range),
        "range through": _span(material.conductivity_range_through),
        "holds at, K": _span(material.temperature_range),
        "density": show(material.density, "density"),
        "specific heat": show(material.specific_heat, "specific heat"),
        "expansion": show(material.expansion, "expansion"),
        "bond line, um": _span(material.bond_line_range, 1e6),
        "impedance, mm^2 K/W": _span(material.impedance_range, 1e6),
        "source": material.source,
        "note": material.note,
    }
    console.print(Text(material.name, style="bold"))
    for name, value in rows.items():
        if value and value != "unknown":
            console.print(Text(f"  {name:20s} {value}"))
    for caution in material.cautions:
        console.print(Text(f"  Caution: {caution}"))
