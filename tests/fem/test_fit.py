"""Fits: exact readings give the truth, noisy ones hold it in their 95 % intervals, and what cannot be told apart is said."""

import numpy as np
import pytest
from scipy.optimize import curve_fit
from scipy.stats import binom

from plancha.fem.fit import Parameter, Residuals, covariance_of, fitted, slopes

# A lumped chain, in closed form: 40 W through an interface R/A, spreading in proportion to distance, and a film 1/(h A).
POWER, AREA, AMBIENT = 40.0, 4e-4, 300.0
PLACES = np.array([0.0, 0.1, 0.3, 0.5, 0.7, 1.0])  # share of the spreading that a probe still feels
TRUTH = np.array([2e-5, 2500.0])  # m2 K/W, W/m2/K


def chain(values: np.ndarray) -> np.ndarray:
    """Six plate probes that feel the film only in part, and one on the chip that feels the interface too."""
    impedance, film = values
    plate = AMBIENT + POWER / (film * 10 * AREA) * (1 - 0.5 * PLACES)
    return np.append(plate, plate[0] + POWER * impedance / AREA)


def parameters(*starts: float, names: str = "ab") -> list[Parameter]:
    return [Parameter(name, start, start / 1e3, start * 1e3) for name, start in zip(names, starts)]


def test_exact_readings_give_the_truth():
    fit = fitted(chain, parameters(8e-6, 1000.0), chain(TRUTH))
    assert fit.values == pytest.approx(TRUTH, rel=1e-7)
    assert fit.low == pytest.approx(TRUTH, rel=1e-5) and fit.high == pytest.approx(TRUTH, rel=1e-5)
    assert not fit.warnings


@pytest.mark.parametrize("stated", [True, False], ids=["uncertainty stated", "uncertainty from the residuals"])
def test_the_truth_lies_in_its_interval_in_95_of_100_trials(stated):
    random = np.random.default_rng(20261125)
    deviation, trials, inside = np.full(7, 0.4), 400, np.zeros(2, int)
    for _ in range(trials):
        readings = chain(TRUTH) + deviation * random.standard_normal(7)
        fit = fitted(chain, parameters(8e-6, 1000.0), readings, deviation if stated else None)
        inside += (fit.low <= TRUTH) & (fit.high >= TRUTH)
    # Counts of 400 trials at 95 % lie between these in 999 of 1000 cases; with too narrow or too wide intervals they would not.
    least, most = binom.ppf([0.0005, 0.9995], trials, 0.95)
    assert (inside >= least).all() and (inside <= most).all(), inside


def test_unequal_uncertainties_weigh_as_an_independent_fit_weighs_them():
    # Against scipy.optimize.curve_fit, which forms the covariance apart from this product's code.
    random = np.random.default_rng(5)
    deviation = np.array([0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 1.5])
    readings = chain(TRUTH) + deviation * random.standard_normal(7)
    fit = fitted(chain, parameters(8e-6, 1000.0), readings, deviation)
    logs, covariance = curve_fit(
        lambda _, a, b: chain(np.exp([a, b])), None, readings, np.log(TRUTH), deviation, absolute_sigma=True
    )
    assert fit.values == pytest.approx(np.exp(logs), rel=1e-5)
    half = 1.959963984540054 * np.sqrt(np.diag(covariance))
    assert np.log(fit.high / fit.values) == pytest.approx(half, rel=1e-4)
    root = np.sqrt(np.diag(covariance))
    assert fit.correlation == pytest.approx(covariance / np.outer(root, root), abs=1e-4)


def test_without_uncertainties_students_t_widens_the_interval():
    # t of 95 % with 5 degrees of freedom is 2.5706 (tables of Student's t; from memory).
    random = np.random.default_rng(5)
    readings = chain(TRUTH) + 0.3 * random.standard_normal(7)
    fit = fitted(chain, parameters(8e-6, 1000.0), readings)
    known = fitted(chain, parameters(8e-6, 1000.0), readings, np.full(7, fit.spread))
    assert fit.freedom == 5
    assert np.log(fit.high / fit.values) / np.log(known.high / known.values) == pytest.approx(
        2.5706 / 1.95996, rel=1e-4
    )


def test_two_impedances_in_series_cannot_be_told_apart():
    def series(values: np.ndarray) -> np.ndarray:
        return AMBIENT + POWER / AREA * values.sum() * np.array([1.0, 0.5, 0.2])

    fit = fitted(series, parameters(1e-5, 2e-5), series(np.array([1e-5, 3e-5])), np.full(3, 0.1))
    assert fit.values.sum() == pytest.approx(4e-5, rel=1e-4)
    assert fit.correlation[0, 1] == pytest.approx(-1.0, abs=1e-6)
    assert fit.condition > 1e3
    assert "cannot tell a and b apart" in fit.warnings[0]


def test_a_parameter_that_no_reading_feels_may_be_anything():
    fit = fitted(lambda v: AMBIENT + v[0] * np.ones(3), parameters(5.0, 7.0), AMBIENT + np.array([6.0, 6.1, 5.9]))
    assert fit.values[0] == pytest.approx(6.0, rel=1e-5)  # the search ends where the sum of squares is flat to 1e-12
    assert fit.low[1] == 0.0 and np.isinf(fit.high[1])
    assert any("no reading feels b" in warning for warning in fit.warnings)


def test_of_a_temperature_too_it_is_said_that_no_reading_feels_it():
    limit = Parameter("limit", 360.0, 260.0, 460.0, logarithmic=False)
    fit = fitted(lambda v: AMBIENT + 0 * v[0] + np.arange(3.0), [limit], AMBIENT + np.array([0.1, 1.1, 1.9]))
    assert np.isinf(fit.high[0]) and fit.warnings == (
        "no reading feels limit: in this model, none of the temperatures read hangs on it",
    )


def test_three_parameters_of_which_one_is_a_mixture_of_the_others_are_told():
    def model(v: np.ndarray) -> np.ndarray:
        x = np.linspace(0, 1, 9)
        return AMBIENT + v[0] * (1 + x) + v[1] * (1 - x) + v[2]

    fit = fitted(model, parameters(1.0, 2.0, 3.0, names="abc"), model(np.array([1.2, 2.1, 2.5])), np.full(9, 0.05))
    assert fit.warnings and "apart" in fit.warnings[0]


def test_a_search_that_meets_its_bound_says_so():
    found = fitted(
        lambda v: AMBIENT + v[0] * np.ones(2), [Parameter("a", 1.0, 0.5, 2.0)], AMBIENT + np.array([9.0, 9.1])
    )
    assert found.values[0] == pytest.approx(2.0, rel=1e-3)
    assert "ran into its bound" in found.warnings[0]


def test_residuals_beyond_the_stated_uncertainty_are_doubted():
    random = np.random.default_rng(1)
    readings = chain(TRUTH) + 2.0 * random.standard_normal(7)
    fit = fitted(chain, parameters(8e-6, 1000.0), readings, np.full(7, 0.2))
    assert any("times what the readings' uncertainty explains" in warning for warning in fit.warnings)


def test_as_many_readings_as_parameters_prove_nothing():
    fit = fitted(chain_of_two, parameters(8e-6, 1000.0), chain_of_two(TRUTH), np.full(2, 0.1))
    assert fit.values == pytest.approx(TRUTH, rel=1e-5)
    assert any("proves nothing" in warning for warning in fit.warnings)


def chain_of_two(values: np.ndarray) -> np.ndarray:
    return chain(values)[[0, 6]]


def test_a_temperature_is_sought_by_itself_not_by_its_logarithm():
    parameter = Parameter("ambient", 298.0, 198.0, 398.0, logarithmic=False)
    fit = fitted(lambda v: v[0] + np.array([1.0, 2.0, 3.0]), [parameter], np.array([304.1, 304.9, 306.0]))
    # The mean of the readings less 1, 2, 3, with t = 4.3027 for two degrees of freedom (tables; from memory).
    spread = np.std([303.1, 302.9, 303.0], ddof=1)
    assert fit.values[0] == pytest.approx(303.0, abs=1e-6)
    assert fit.high[0] - 303.0 == pytest.approx(4.3027 * spread / np.sqrt(3), rel=1e-4)


@pytest.mark.parametrize(("count", "stated"), [(1, True), (2, False)])
def test_too_few_readings_are_refused(count, stated):
    with pytest.raises(ValueError, match="readings are needed"):
        fitted(chain, parameters(1.0, 2.0), np.full(count, 300.0), np.ones(count) if stated else None)


def test_slopes_are_those_of_calculus():
    at = np.array([1.0, 2.0])
    found = slopes(lambda x: np.array([x[0] ** 2, x[0] * x[1]]), at, np.full(2, 1e-4), at - 1, at + 1)
    assert found == pytest.approx(np.array([[2.0, 0.0], [2.0, 1.0]]), abs=1e-8)


def test_the_condition_does_not_depend_on_units():
    jacobian = np.random.default_rng(0).standard_normal((6, 3))
    deviation, correlation, condition = covariance_of(jacobian)
    scaled, same, again = covariance_of(jacobian * [1e3, 1.0, 1e-3])
    assert condition == pytest.approx(again) and correlation == pytest.approx(same)
    assert scaled == pytest.approx(deviation / [1e3, 1.0, 1e-3])
    assert deviation**2 == pytest.approx(np.diag(np.linalg.inv(jacobian.T @ jacobian)))


def test_residuals_are_model_less_measured():
    off = Residuals(np.array([301.0, 302.0]), np.array([300.0, 305.0]), np.array([0.5, 1.0]))
    assert off.kelvin.tolist() == [1.0, -3.0] and off.largest == 1 and off.mean == -1.0
    assert off.root_mean_square == pytest.approx(np.sqrt(5.0))
    assert off.normalised is not None and off.normalised.tolist() == [2.0, -3.0]
