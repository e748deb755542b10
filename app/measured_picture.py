"""Pictures of a model beside its measurement: probes in two panels, or an infrared map in three."""

import numpy as np

from plancha.app.charts import (
    BAR,
    Axis,
    Canvas,
    Colour,
    add_axis,
    add_bar,
    add_mark,
    add_raster,
    axis_over,
    block_size,
    page,
)
from plancha.app.colours import COOL, WARM, colours
from plancha.app.fields import ZERO_CELSIUS
from plancha.app.label_places import GAP, Box
from plancha.app.measured import Agreement
from plancha.app.plan_drawing import DARK, TEXT, Picture, text_size, wrapped
from plancha.app.plan_page import LINE, Scale, difference_scale, number_text, scale_of

ROW = 92  # height of a probe's row [px]
MOST_PROBES = 24  # rows; of more probes, those that are farthest off
NAMES, LEFT, RIGHT, BETWEEN = 400, 640, 440, 60  # widths of the names, the two panels and the gaps [px]
SIZE = 11  # of a mark
ASIDE = 23  # of the models' marks from the reading's, so that none hides another [px]
CAP = 8  # half of an error bar's end
DEVIATIONS = 2.0  # that the error bars show
STUDY: Colour = tuple(float(c) / 255 for c in colours(WARM)[120])  # type: ignore[assignment]
FITTED: Colour = tuple(float(c) / 255 for c in colours(COOL)[110])  # type: ignore[assignment]
WIDE = 1560  # of the page of an infrared map [px]
ASIDE_AXIS = 110  # room for the numbers along y [px]
TALLEST = 620  # of a panel [px]
LEVELS = 5  # asked for on a difference's colour bar


def measured_picture(found: Agreement) -> Picture:
    """The picture of a comparison: of an infrared map where there is one, else of probes."""
    return probe_picture(found) if found.measurement.grid is None else infrared_picture(found)


def probe_picture(found: Agreement) -> Picture:
    """One row per probe: temperatures on the left, residuals on the right, error bars of two standard deviations."""
    order = np.argsort(-np.abs(found.residuals.kelvin), kind="stable")
    shown = sorted(order[:MOST_PROBES].tolist())
    height = ROW * len(shown)
    left = Box(NAMES + BETWEEN, 0, NAMES + BETWEEN + LEFT, height)
    right = Box(left.right + BETWEEN, 0, left.right + BETWEEN + RIGHT, height)
    canvas = Canvas()
    bars = _bars(found, shown)
    models = [residuals for residuals in (found.residuals, found.after) if residuals is not None]
    temperatures = [found.residuals.measured[shown] + sign * bars for sign in (-1, 1)]
    temperatures += [each.model[shown] for each in models]
    warm = axis_over(np.concatenate(temperatures) - ZERO_CELSIUS, left)
    off = axis_over(np.concatenate([[0.0], -bars, bars, *(each.kelvin[shown] for each in models)]), right)
    add_axis(canvas, warm, "temperature [°C]")
    add_axis(canvas, off, "model less measured [K]")
    canvas.strokes([[[off.pixel(0), right.bottom], [off.pixel(0), right.top]]], DARK, 2.5)
    for row, number in enumerate(shown):
        _add_row(canvas, found, number, height - (row + 0.5) * ROW, warm, off)
    low = -3 * LINE - GAP
    _add_key(canvas, found, low)
    return page(
        canvas, Box(0, low - LINE, right.right, height), found.title, _subtitle(found), [_caption(found, shown)]
    )


def _bars(found: Agreement, shown: list[int]) -> np.ndarray:
    uncertainties = found.measurement.uncertainties
    return np.zeros(len(shown)) if uncertainties is None else DEVIATIONS * uncertainties[shown]


def _add_row(canvas: Canvas, found: Agreement, number: int, y: float, warm: Axis, off: Axis) -> None:
    """A probe's name, its reading with error bars, and the model before and after the fit."""
    lines = wrapped(found.measurement.labels[number], NAMES)[:2]
    for line, text in enumerate(lines):
        canvas.text(text, NAMES + BETWEEN - 2 * GAP, y + (len(lines) - 1 - 2 * line) * TEXT * 0.55, 1.0)
    (bar,) = _bars(found, [number])
    measured = found.residuals.measured[number] - ZERO_CELSIUS
    for axis, middle in ((warm, measured), (off, 0.0)):
        if bar:
            low, high = axis.pixel(middle - bar), axis.pixel(middle + bar)
            ends = [[[x, y - CAP], [x, y + CAP]] for x in (low, high)]
            canvas.strokes([[[low, y], [high, y]], *ends], DARK, 2.5)
    add_mark(canvas, warm.pixel(measured), y, 24, SIZE - 2, DARK)
    for (residuals, colour, corners, turned), aside in zip(_models(found), (ASIDE, -ASIDE)):
        add_mark(canvas, warm.pixel(residuals.model[number] - ZERO_CELSIUS), y + aside, corners, SIZE, colour, turned)
        add_mark(canvas, off.pixel(residuals.kelvin[number]), y + aside, corners, SIZE, colour, turned)


def _models(found: Agreement) -> list:
    """Residuals with colour, corners and turn of their marks: the study's square, the fit's diamond."""
    marks = [(found.residuals, STUDY, 4, np.pi / 4)]
    return marks if found.after is None else [*marks, (found.after, FITTED, 4, 0.0)]


def _add_key(canvas: Canvas, found: Agreement, y: float) -> None:
    entries: list[tuple[str, Colour, int, float]] = [("measured", DARK, 24, 0.0), ("model", STUDY, 4, np.pi / 4)]
    if found.after is not None:
        entries[1:] = [("model, as the study says", STUDY, 4, np.pi / 4), ("model, fitted", FITTED, 4, 0.0)]
    x = float(NAMES + BETWEEN)
    for text, colour, corners, turned in entries:
        add_mark(canvas, x + SIZE, y, corners, SIZE, colour, turned)
        canvas.text(text, x + 3 * SIZE, y)
        x += 3 * SIZE + text_size(text)[0] + 40


def _subtitle(found: Agreement) -> str:
    what = f"infrared map of {found.measurement.face}" if found.measurement.grid is not None else "probes"
    return f"Model against measurement, {what} – case: {found.case}"


def _caption(found: Agreement, shown: list[int]) -> str:
    bars = (
        "No uncertainty of the readings is given."
        if found.measurement.uncertainties is None
        else f"Error bars: {DEVIATIONS:g} standard deviations of the reading."
    )
    few = "" if len(shown) == len(found.errors) else f" {len(shown)} of {len(found.errors)} probes, the farthest off."
    return f"{bars}{few} {_root_mean_squares(found)} Numerical error of the model at most {_at_most(found.errors)} K."


def _at_most(errors: np.ndarray) -> str:
    return f"{max(float(errors.max()), 0.01):.2f}"


def _root_mean_squares(found: Agreement) -> str:
    words = f"Root mean square of the residuals {found.residuals.root_mean_square:.2f} K"
    return words + (f", fitted {found.after.root_mean_square:.2f} K." if found.after is not None else ".")


def infrared_picture(found: Agreement) -> Picture:
    """Model, measurement and their difference as three panels; model and measurement on one scale."""
    grid, cells = found.measurement.grid, found.measurement.cells
    assert grid is not None and cells is not None, "a picture of an infrared map needs one"
    residuals = found.after or found.residuals
    model = np.full(grid.values.size, np.nan)
    model[cells] = residuals.model - ZERO_CELSIUS
    measured = np.full(grid.values.size, np.nan)
    measured[cells] = residuals.measured - ZERO_CELSIUS
    shape = grid.values.shape
    warm = scale_of("temperature [°C]", [model[cells], measured[cells]], WARM)
    cold = difference_scale("model less measured [K]", residuals.kelvin, LEVELS)
    panels = [("model", model, warm), ("measured", measured, warm), ("model less measured", model - measured, cold)]
    canvas = Canvas()
    boxes = _panel_boxes(grid.bounds)
    for (name, values, scale), box in zip(panels, boxes):
        add_raster(canvas, box, grid.bounds, values.reshape(shape), scale, with_lines=scale is warm)
        canvas.text(name, box.left + GAP, box.top + TEXT, bold=True)
    middle, top = boxes[1].left, boxes[2].top - LINE
    for scale, bottom in ((warm, top - BAR), (cold, top - BAR - 4 * LINE)):
        add_bar(canvas, Box(middle, bottom, WIDE, bottom + BAR), scale)
    low = min(boxes[2].bottom - 3 * LINE, top - BAR - 6 * LINE)
    whole = Box(-ASIDE_AXIS, low, WIDE, boxes[0].top + 2 * TEXT)
    return page(canvas, whole, found.title, _subtitle(found), [_infrared_caption(found, warm)])


def _panel_boxes(bounds: tuple[float, float, float, float]) -> list[Box]:
    """Model and measurement beside each other, the difference below the model."""
    width, height = bounds[2] - bounds[0], bounds[3] - bounds[1]
    step = (WIDE + ASIDE_AXIS) / 2
    scale = min((step - ASIDE_AXIS) / width, TALLEST / height)
    down = height * scale + 5 * LINE
    corners = ((0.0, 0.0), (step, 0.0), (0.0, -down))
    return [Box(x, y, x + width * scale, y + height * scale) for x, y in corners]


def _infrared_caption(found: Agreement, warm: Scale) -> str:
    residuals = found.after or found.residuals
    errors = found.errors if found.after_errors is None else found.after_errors
    number = residuals.largest
    size = block_size(found.measurement.grid.values.shape) if found.measurement.grid is not None else 1
    blocks = f" of means over {size} x {size} cells" if size > 1 else ""
    fitted = "Model with the fitted values. " if found.after is not None else ""
    return (
        f"{fitted}{_root_mean_squares(found)} Mean difference {residuals.mean:+.2f} K; largest "
        f"{residuals.kelvin[number]:+.1f} K at {found.measurement.labels[number]}. Isotherms every "
        f"{number_text(warm.step, warm.step)} K{blocks}. Seen from the cooled side. Numerical error of the model at most "
        f"{_at_most(errors)} K. A camera's reading depends on the surface's emissivity."
    )
