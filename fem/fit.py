"""Model against measurement: residuals, and a fit of one to three parameters with its confidence intervals.

Nothing here knows a study or a file: the model is a function from parameters to temperatures.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.optimize import least_squares
from scipy.stats import chi2, norm, t

from plancha.geometry.faults import Failure

CONFIDENCE = 0.95
MOST_PARAMETERS = 3
STEP = 1e-3  # of the logarithm, or of a span, for slopes by central differences
CORRELATED = 0.95  # |correlation| from which two parameters are said not to be told apart: common practice, no source
# Of the slopes scaled to equal length. Belsley, Kuh and Welsch, "Regression Diagnostics" (1980), from memory.
CONDITION = 30.0
WIDE = 3.0  # upper end of an interval over its lower one from which it says little
SETTLED = 1e-8  # of the logarithm: where the search ends
FLAT = 1e-12  # change of the sum of squares, or slope, that counts as none
UNFELT = 1e-5  # weighted residual per unit of the logarithm, or per unit: a slope below it is rounding
UNLIKELY = 0.01  # probability of so large residuals by chance below which the model or the uncertainties are doubted

Model = Callable[[np.ndarray], np.ndarray]


@dataclass(frozen=True)
class Residuals:
    """Model less measurement (readings,) [K]; ``uncertainties`` [K] of the readings, one standard deviation, or None."""

    model: np.ndarray
    measured: np.ndarray
    uncertainties: np.ndarray | None

    @property
    def kelvin(self) -> np.ndarray:
        """Model less measured (readings,) [K]."""
        return self.model - self.measured

    @property
    def normalised(self) -> np.ndarray | None:
        """The residuals over the uncertainties (readings,) [-]; None where there are none."""
        return None if self.uncertainties is None else self.kelvin / self.uncertainties

    @property
    def root_mean_square(self) -> float:
        """Of the residuals [K]."""
        return float(np.sqrt(np.mean(self.kelvin**2)))

    @property
    def mean(self) -> float:
        """Of the residuals [K]: above 0 where the model is too hot."""
        return float(self.kelvin.mean())

    @property
    def largest(self) -> int:
        """Number of the reading that is farthest off in kelvin."""
        return int(np.argmax(np.abs(self.kelvin)))


@dataclass(frozen=True)
class Parameter:
    """One number to be found: where the search starts, its bounds (SI), and whether it is sought by its logarithm."""

    name: str
    start: float
    low: float
    high: float
    logarithmic: bool = True

    def inner(self, value: float) -> float:
        """The number that the search changes, from the parameter's value."""
        return math.log(value) if self.logarithmic else value

    def value(self, inner: float) -> float:
        """The parameter's value, from the number that the search changes; within the bounds whatever rounding does."""
        return min(max(math.exp(inner) if self.logarithmic else inner, self.low), self.high)


@dataclass(frozen=True)
class Fit:
    """What the readings say about the parameters.

    ``values`` with 95 % intervals ``low`` to ``high`` (parameters,), SI; ``correlation`` (parameters, parameters) of the search's
    numbers (logarithms, where so sought); ``condition`` [-] of the scaled slopes; ``freedom`` readings less parameters; ``spread``
    the standard deviation of a reading that the residuals show [K] (weighted: of a normalised residual [-]), NaN without freedom;
    ``weighted`` whether uncertainties were given; ``warnings`` what to mind, in sentences.
    """

    parameters: tuple[Parameter, ...]
    values: np.ndarray
    low: np.ndarray
    high: np.ndarray
    correlation: np.ndarray
    condition: float
    freedom: int
    spread: float
    weighted: bool
    solves: int
    warnings: tuple[str, ...]


def fitted(
    model: Model, parameters: Sequence[Parameter], measured: np.ndarray, uncertainties: np.ndarray | None = None
) -> Fit:
    """Least-squares fit of parameters to readings.

    Minimises sum(((model - measured) / uncertainty)^2), all weights equal where no uncertainty is given.

    Parameters
    ----------
    model : function
        From the parameters' values (parameters,), SI, to the readings' temperatures (readings,) [K].
    parameters : sequence of Parameter
        One to three.
    measured : array (readings,), [K]
    uncertainties : array (readings,), [K], optional
        One standard deviation of each reading, independent of the others'.

    Returns
    -------
    Fit
        Intervals are of the model made linear at the answer: with uncertainties given, those of the normal distribution; without,
        the residuals' own spread with Student's t.

    Raises
    ------
    ValueError
        If there are fewer readings than parameters, or, without uncertainties, not more; or no or too many parameters.
    Failure
        If the search ends nowhere.

    Notes
    -----
    Source: the linear theory of least squares, from memory (as in any text on regression). Valid where the model is nearly linear
    over the intervals, the errors are independent and normal, and the model's other inputs are right.
    """
    need = len(parameters) + (uncertainties is None)
    if not 1 <= len(parameters) <= MOST_PARAMETERS or len(measured) < need:
        raise ValueError(f"{len(parameters)} parameters from {len(measured)} readings; {need} readings are needed")
    weights = np.ones(len(measured)) if uncertainties is None else 1.0 / uncertainties
    count = 0

    def off(inner: np.ndarray) -> np.ndarray:
        """Weighted residuals (readings,) at the numbers that the search changes."""
        nonlocal count
        count += 1
        values = np.array([each.value(x) for each, x in zip(parameters, inner)])
        return weights * (model(values) - measured)

    start = np.array([each.inner(each.start) for each in parameters])
    low, high = (np.array([each.inner(getattr(each, end)) for each in parameters]) for end in ("low", "high"))
    step = STEP * np.where([each.logarithmic for each in parameters], 1.0, high - low)
    found = least_squares(off, start, lambda x: slopes(off, x, step, low, high), (low, high), x_scale=step / STEP,
                          ftol=FLAT, xtol=SETTLED, gtol=FLAT, max_nfev=50)  # fmt: skip
    if not found.success:
        raise Failure(f"the fit did not settle in {found.nfev} steps: {found.message}")
    scale = np.where([each.logarithmic for each in parameters], 1.0, high - low)
    at_end = (found.x - low < 1e-3 * scale) | (high - found.x < 1e-3 * scale)
    return _judged(tuple(parameters), found.x, found.fun, found.jac, uncertainties is not None, at_end, count)


def slopes(off: Model, at: np.ndarray, step: np.ndarray, low: np.ndarray, high: np.ndarray) -> np.ndarray:
    """Slopes (readings, parameters) of a function by central differences, one-sided at the bounds."""
    columns = []
    for number in range(len(at)):
        ends = []
        for sign in (1.0, -1.0):
            moved = at.copy()
            moved[number] = np.clip(at[number] + sign * step[number], low[number], high[number])
            ends.append((moved[number], off(moved)))
        (right, above), (left, below) = ends
        columns.append((above - below) / (right - left))
    return np.column_stack(columns)


def _judged(
    parameters: tuple[Parameter, ...],
    inner: np.ndarray,
    residuals: np.ndarray,
    jacobian: np.ndarray,
    weighted: bool,
    at_end: np.ndarray,
    solves: int,
) -> Fit:
    """Intervals, correlations and warnings at the answer."""
    freedom = len(residuals) - len(parameters)
    spread = math.sqrt(float(residuals @ residuals) / freedom) if freedom else math.nan
    factor = norm.ppf(0.5 + CONFIDENCE / 2) if weighted else t.ppf(0.5 + CONFIDENCE / 2, freedom) * spread
    deviation, correlation, condition = covariance_of(jacobian)
    half = np.where(np.isfinite(deviation), deviation, 0.0) * factor
    half[~np.isfinite(deviation)] = np.inf
    low, high = (np.array([_end(*pair) for pair in zip(parameters, end)]) for end in (inner - half, inner + half))
    fit = Fit(
        parameters=parameters,
        values=np.array([each.value(x) for each, x in zip(parameters, inner)]),
        low=low,
        high=high,
        correlation=correlation,
        condition=condition,
        freedom=freedom,
        spread=spread,
        weighted=weighted,
        solves=solves,
        warnings=(),
    )
    return replace(fit, warnings=tuple(_warnings(fit, at_end, np.abs(jacobian).max(axis=0) > UNFELT)))


def _end(parameter: Parameter, inner: float) -> float:
    """An interval's end: beyond all bounds where it knows none."""
    if not parameter.logarithmic:
        return inner
    return 0.0 if inner < -700 else math.inf if inner > 700 else math.exp(inner)


def covariance_of(jacobian: np.ndarray) -> tuple[np.ndarray, np.ndarray, float]:
    """Standard deviations (p,) per unit of the residuals', correlations (p, p) and condition of slopes (readings, p).

    Columns are first brought to length one; the condition is theirs. Where the readings do not feel a combination at all, what takes
    part in it has an infinite deviation; the correlation of such a pair is that of the limit, 1 or -1.
    """
    length = np.linalg.norm(jacobian, axis=0)
    felt = length > 1e-9 * max(length.max(), 1e-300)
    unit = np.where(felt, jacobian / np.where(felt, length, 1.0), 0.0)
    _, singular, right = np.linalg.svd(unit, full_matrices=False)  # as many readings as parameters, or more
    least = 1e-9 * max(singular[0], 1e-100)
    inverse = (right.T / np.maximum(singular, least) ** 2) @ right
    root = np.sqrt(np.diag(inverse))
    correlation = inverse / np.outer(root, root)
    lost = (np.abs(right[singular < least]) > 1e-6).any(axis=0)
    deviation = np.where(lost | ~felt, np.inf, root / np.where(felt, length, 1.0))
    return deviation, correlation, float(singular[0] / singular[-1]) if singular[-1] > least else math.inf


def _warnings(fit: Fit, at_end: np.ndarray, felt: np.ndarray) -> list[str]:
    told = [] if len(fit.parameters) == 1 else _ambiguities(fit)
    for number, each in enumerate(fit.parameters):
        low, high = fit.low[number], fit.high[number]
        if not felt[number]:
            told.append(f"no reading feels {each.name}: in this model, none of the temperatures read hangs on it")
            continue
        if at_end[number]:
            told.append(
                f"the search for {each.name} ran into its bound: no value in its range does what the readings ask for"
            )
        if each.logarithmic and not high <= WIDE * low:
            told.append(f"the readings hardly fix {each.name}: its interval is wider than a factor of {WIDE:g}")
    if fit.weighted and fit.freedom and chi2.sf(fit.freedom * fit.spread**2, fit.freedom) < UNLIKELY:
        told.append(
            f"the residuals are {fit.spread:.1f} times what the readings' uncertainty explains: the model, its other inputs or the "
            "stated uncertainty is wrong, and the intervals are too narrow"
        )
    if not fit.freedom:
        told.append(
            "as many readings as parameters: the fit passes through all of them and proves nothing about the model"
        )
    return told


def _ambiguities(fit: Fit) -> list[str]:
    """Which parameters the readings cannot tell apart."""
    names = [each.name for each in fit.parameters]
    pairs = [(one, other) for other in range(len(names)) for one in range(other)]
    told = [
        f"the readings cannot tell {names[one]} and {names[other]} apart (correlation {fit.correlation[one, other]:+.3f}): only what "
        "they do together is known; fix one of them, or place a probe that feels them apart"
        for one, other in pairs
        if abs(fit.correlation[one, other]) > CORRELATED
    ]
    if not told and fit.condition > CONDITION:
        told.append(
            f"the readings cannot tell these parameters apart (condition number {fit.condition:.0f} of the slopes)"
        )
    return told
