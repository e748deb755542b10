"""Model against measurement as tables for the terminal."""

import numpy as np
from rich.console import Console
from rich.text import Text

from plancha.app.fields import ZERO_CELSIUS
from plancha.app.fit_parameters import Sought
from plancha.app.measured import Agreement
from plancha.app.sections import Section, section
from plancha.fem.fit import Fit, Residuals
from plancha.geometry.units import show

MOST_ROWS = 40  # readings up to which each is printed; of more, those that are farthest off
NEIGHBOURS = (
    "Cells of one picture share the camera's errors and blur, so they are no independent readings: "
    "the intervals are too narrow."
)
AS_GOOD_AS = (
    "A fit is only as good as the model's other inputs: whatever is wrong there is pressed into the fitted numbers, the more so "
    "the fewer readings there are. Intervals hold the readings' scatter alone."
)


def print_agreement(console: Console, found: Agreement) -> None:
    """Print readings beside the model, what they add up to, and the fit."""
    console.print(Text(found.title, style="bold"))
    console.print(Text(f"Case: {found.case}. Residual = model less measured."))
    console.print(readings_table(found), Text(summary("As the study says", found.residuals, found)))
    if found.fit is None or found.after is None:
        return
    console.print(fit_table(found.fit, found.sought))
    if len(found.sought) > 1:
        console.print(correlation_table(found.fit))
    console.print(Text(summary("With the fitted values", found.after, found)))
    console.print(Text(closing_words(found)))


def readings_table(found: Agreement) -> Section:
    """Each reading beside the model; of many, those farthest off."""
    order = np.argsort(-np.abs(found.residuals.kelvin), kind="stable")
    count = len(order)
    shown = range(count) if count <= MOST_ROWS else order[:MOST_ROWS].tolist()
    columns = ["reading", "measured degC", "s.d. K", "model degC", "+- K", "residual K", "in s.d."]
    rows = [_row(found, number) for number in shown]
    if found.after is not None:
        columns.append("fitted K")
    few = "" if count <= MOST_ROWS else f"{count} readings; the {MOST_ROWS} that are farthest off"
    note = "+- estimated numerical error of the model; s.d. the reading's stated uncertainty, one standard deviation"
    return section("Model against measurement", columns, rows, few, note)


def _row(found: Agreement, number: int) -> tuple[str, ...]:
    measured, residuals = found.measurement, found.residuals
    error = found.errors[number]
    row = (
        measured.labels[number],
        f"{measured.temperatures[number] - ZERO_CELSIUS:.1f}",
        "-" if measured.uncertainties is None else f"{measured.uncertainties[number]:.2g}",
        f"{residuals.model[number] - ZERO_CELSIUS:.1f}",
        f"{error:.1f}" if error >= 0.05 else "<0.1",
        signed(residuals.kelvin[number]),
        "-" if residuals.normalised is None else signed(residuals.normalised[number]),
    )
    return row if found.after is None else (*row, signed(found.after.kelvin[number]))


def summary(head: str, residuals: Residuals, found: Agreement) -> str:
    """What the residuals add up to, in two sentences."""
    number = residuals.largest
    normalised = residuals.normalised
    scatter = (
        "no uncertainty is given, so all readings weigh the same"
        if normalised is None
        else f"{np.sqrt(np.mean(normalised**2)):.2g} times the readings' uncertainty (about 1 where model and readings agree)"
    )
    return (
        f"\n{head}: root mean square {residuals.root_mean_square:.2f} K, mean {residuals.mean:+.2f} K; {scatter}. "
        f"Largest: {signed(residuals.kelvin[number])} K at {found.measurement.labels[number]}."
    )


def fit_table(fit: Fit, sought: tuple[Sought, ...]) -> Section:
    """The fitted parameters with their intervals."""
    rows = [
        (
            each.parameter.name,
            show(each.parameter.start, each.dimension),
            _shown(float(fit.values[number]), each.dimension),
            _end(float(fit.low[number]), each.dimension),
            _end(float(fit.high[number]), each.dimension),
        )
        for number, each in enumerate(sought)
    ]
    basis = (
        "the readings' stated uncertainty"
        if fit.weighted
        else f"the residuals' spread, {fit.spread:.2g} K, and Student's t"
    )
    words = f"95 % intervals by {basis}, the model made linear at the answer; {fit.solves} solves on one mesh"
    return section("Fit", ("parameter", "study", "fitted", "from", "to (95 %)"), rows, words)


def _end(value: float, dimension: str) -> str:
    if not np.isfinite(value):
        return "any"
    return "0" if value == 0 else _shown(value, dimension)


def _shown(value: float, dimension: str) -> str:
    """A fitted value: four digits, more would be noise."""
    return show(value if dimension == "temperature" else float(f"{value:.4g}"), dimension)


def signed(kelvin: float) -> str:
    """A difference to 0.1 K with its sign; none where it prints as nothing."""
    return f"{kelvin:+.1f}" if abs(kelvin) >= 0.05 else "0.0"


def correlation_table(fit: Fit) -> Section:
    """How the parameters' errors hang together."""
    names = [each.name for each in fit.parameters]
    rows = [(name, *(f"{value:+.3f}" for value in row)) for name, row in zip(names, fit.correlation)]
    condition = f"condition number of the slopes {fit.condition:.3g}"
    return section("Correlation of the fitted parameters", ("", *names), rows, condition)


def closing_words(found: Agreement) -> str:
    """Warnings, what a fit is worth, and the lines for the study."""
    assert found.fit is not None
    lines = [f"WARNING: {warning}." for warning in found.fit.warnings]
    if found.measurement.grid is not None:
        lines.append(NEIGHBOURS)
    lines.append(AS_GOOD_AS)
    lines.append("For a [[case]] of the study:")
    for each, value in zip(found.sought, found.fit.values):
        lines.append(f'    {each.parameter.name} = "{_shown(float(value), each.dimension)}"')
    return "\n" + "\n".join(lines)
