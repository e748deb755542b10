"""All fans of a study scaled in speed together: what each speed gives in flow, sound and temperature, and which speeds just do."""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from plancha.app.kept import users_keep
from plancha.fem.air_flow import law_density, sound_of
from plancha.fem.components import component_states, limiting
from plancha.fem.fans import DECIBELS_PER_DECADE, speed_for_level
from plancha.fem.findings import Solved, solve_with_estimate
from plancha.geometry.air import Fan, Flow
from plancha.geometry.bodies import Stack
from plancha.geometry.faults import Failure, Fault, StudyError
from plancha.geometry.quantity import Quantity, read_quantity
from plancha.geometry.study_file import Case, read_study
from plancha.geometry.units import UnitFault, show

RATIOS = (0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0, 1.15, 1.3)  # speeds over those of the study that are tried
AS_WRITTEN = 1.0
CLOSE = 0.01  # K of margin within which a speed just holds all limits
TRIALS = 40  # of speeds, to come that close
NOISE = Quantity("sound level", at_least=0.0, at_most=150.0)
SLOW = 0.5  # of the test speed, below which a real fan gives less than the fan laws say
Progress = Callable[[str], None]


@dataclass(frozen=True)
class Draught:
    """One driven flow at one speed: rate [m3/s] at the inlet, pressure [Pa], air power [W], and whether its fans are stalled."""

    rate: float
    pressure: float
    power: float
    stalled: bool


@dataclass(frozen=True)
class Speed:
    """What all fans at ``ratio`` of the study's speeds come to.

    ``draughts`` belong to the driven flows in their order; ``level`` [dB(A)] is the sound of all fans, NaN where one's is unknown;
    ``limits`` the component that limits, ``peak`` [K] and ``margin`` [K] its own (of the hottest, None, where nothing has a limit);
    ``resistance`` [K/W] its peak's rise over all power. Where the fans cannot run so, ``failure`` says why and the rest is empty.
    """

    ratio: float
    level: float
    draughts: tuple[Draught, ...] = ()
    limits: str = ""
    peak: float = math.nan
    margin: float | None = None
    resistance: float = math.nan
    failure: str = ""


@dataclass(frozen=True)
class Found:
    """A speed that was sought, or in ``words`` why there is none."""

    speed: Speed | None
    words: str


@dataclass(frozen=True)
class FanSweep:
    """One study's fans over speed.

    ``driven`` are the flows that fans drive, ``fans`` those that run, each once. ``at_noise``: at the fans' own noise limit;
    ``at_limit``: the least speed at which all temperature limits hold; ``at_equal``: at the noise all studies are compared at.
    ``limit`` [K] is the temperature limit of the component that limits at the written speed; ``mesh_error`` [K] is that of its peak.
    """

    label: str
    case: str
    driven: tuple[str, ...]
    fans: tuple[Fan, ...]
    speeds: tuple[Speed, ...]
    written: Speed
    at_noise: Found
    at_limit: Found
    at_equal: Found | None
    limit: float | None
    mesh_error: float
    remarks: tuple[str, ...]


@dataclass(frozen=True)
class Comparison:
    """All studies' sweeps, and the sound [dB(A)] they are compared at with where it comes from; None where there is none."""

    sweeps: tuple[FanSweep, ...]
    noise: float | None
    noise_from: str


def fan_speeds_of(
    paths: Sequence[Path], case_name: str | None, noise: str | None, progress: Progress = lambda words: None
) -> Comparison:
    """Sweep the fans of one or more studies.

    Parameters
    ----------
    paths : sequence of path
        Study files.
    case_name : str, optional
        The load case of every study; as written if left out.
    noise : str, optional
        Sound level with its unit at which the studies are compared; else the lowest total that a study has at its fans' noise limit.
    progress : function of str
        Told what is solved.

    Raises
    ------
    StudyError
        With all that is wrong with all studies, the case and the level.
    Failure
        If the fans of a study cannot run as written.
    """
    faults: list[Fault] = []
    level = _level(noise, faults)
    cases = [case for case in (_case(path, case_name, faults) for path in paths) if case is not None]
    if faults:
        raise StudyError(faults)
    labels = _labels(paths, cases)
    benches = [_Bench(label, case.stack, progress) for label, case in zip(labels, cases)]
    level, source = (level, "--noise") if level is not None else _lowest_limit(benches)
    if level is None and len(benches) > 1:
        level, source = _lowest_level(benches)
    sweeps = tuple(_sweep(bench, case.name, level) for bench, case in zip(benches, cases))
    return Comparison(sweeps, level, source)


def _level(text: str | None, faults: list[Fault]) -> float | None:
    if text is None:
        return None
    try:
        return read_quantity(text, NOISE)
    except UnitFault as error:
        faults.append(Fault("--noise", error.message, None, error.allowed, error.hint))
        return None


def _case(path: Path, name: str | None, faults: list[Fault]) -> Case | None:
    try:
        study = read_study(path)
    except StudyError as error:
        faults += error.faults
        return None
    names = [case.name for case in study.cases]
    if name is not None and name not in names:
        faults.append(Fault("--case", "no load case has this name", name, ", ".join(names[:20]), file=str(path)))
        return None
    case = study.cases[names.index(name) if name else 0]
    if not driven_flows(case.stack):
        allowed = 'a [[fan]] with its curve, and fans = "its name" in a [[flow]]'
        faults.append(Fault("fans", "no running fan of this study drives a flow", None, allowed, file=str(path)))
    if not case.stack.sources:
        faults.append(Fault("fans", "the study has no component, so no speed is hot or cold", file=str(path)))
    return case


def _labels(paths: Sequence[Path], cases: Sequence[Case]) -> list[str]:
    """Titles of the studies, with their files where two are called alike."""
    titles = [case.stack.title for case in cases]
    return [title if titles.count(title) == 1 else f"{title}, {path}" for title, path in zip(titles, paths)]


def driven_flows(stack: Stack) -> list[Flow]:
    """The flows that fans drive."""
    return [flow for flow in stack.flows if flow.rate is None and any(fan.is_running for fan in flow.fans)]


def running_fans(stack: Stack) -> tuple[Fan, ...]:
    """The fans that run, each once."""
    found = {fan.name: fan for flow in driven_flows(stack) for fan in flow.fans if fan.is_running}
    return tuple(found.values())


def at_ratio(stack: Stack, ratio: float) -> Stack:
    """The stack with all running fans at ``ratio`` of their speeds."""

    def scaled(fan: Fan) -> Fan:
        return replace(fan, speed=fan.speed * ratio) if fan.is_running else fan

    flows = tuple(replace(flow, fans=tuple(scaled(fan) for fan in flow.fans)) for flow in stack.flows)
    return replace(stack, flows=flows)


def ratio_at_limits(fans: Sequence[Fan]) -> float | None:
    """The largest ratio of the study's speeds at which every fan table keeps its own noise limit; None where none has one.

    Source: the fan law of sound, exact for that law: 50 log10 of the speed ratio (common practice, no source).
    """
    ratios = [
        speed_for_level(fan.level, fan.noise_limit, fan.count) * fan.test_speed / fan.speed
        for fan in fans
        if math.isfinite(fan.noise_limit)
    ]
    return min(ratios, default=None)


def ratio_at_level(written: float, level: float) -> float:
    """The ratio of speeds at which all fans together, ``written`` [dB(A)] loud as the study has them, are ``level`` [dB(A)] loud."""
    return float(10 ** ((level - written) / DECIBELS_PER_DECADE))


class _Bench:
    """Solves of one study at several speeds: the first, as written, decides the mesh; all others share it."""

    def __init__(self, label: str, stack: Stack, progress: Progress):
        self.label, self.stack, self.progress = label, stack, progress
        self.fans = running_fans(stack)
        self.first: Solved | None = None
        self.level = sound_of(self.fans)

    def speed(self, ratio: float) -> Speed:
        """What a ratio of the study's speeds comes to; its failure where the fans cannot run so."""
        self.progress(f"{self.label}: fans at {100 * ratio:.3g} % of their speed")
        level = self.level + DECIBELS_PER_DECADE * math.log10(ratio)
        try:
            return self._solved(ratio, level)
        except Failure as failure:
            if self.first is None:
                raise
            return Speed(ratio, level, failure=str(failure))

    def _solved(self, ratio: float, level: float) -> Speed:
        stack = at_ratio(self.stack, ratio)
        if (
            self.first is not None
        ):  # what each flow takes up hardly moves: it only sets the mean temperature of its properties
            heats = [flow.heat for flow in self.first.solution.sheets.stack.flows]
            stack = replace(stack, flows=tuple(replace(flow, heat=heat) for flow, heat in zip(stack.flows, heats)))
        solved = solve_with_estimate(stack, self.first, users_keep())
        self.first = self.first or solved
        states = component_states(solved.solution)
        state = limiting(states) or max(states, key=lambda each: each.peak.value)
        points = [each.point for each in solved.solution.sheets.states]
        draughts = tuple(Draught(p.flow, p.pressure, p.air_power, p.stalled) for p in points if p is not None)
        power = float(solved.solution.powers.sum())
        rise = state.peak.value - stack.reference
        resistance = rise / power if power > 0 else math.nan
        return Speed(ratio, level, draughts, state.name, state.peak.value, state.margin, resistance)

    def mesh_error(self) -> float:
        """Estimated numerical error [K] of the worst peak, as written."""
        assert self.first is not None
        return float(self.first.estimate.total[:, 0].max(initial=0.0))


def _lowest_limit(benches: Sequence[_Bench]) -> tuple[float | None, str]:
    """The lowest total sound [dB(A)] that the studies have at their fans' noise limits."""
    found = []
    for bench in benches:
        ratio = ratio_at_limits(bench.fans)
        if ratio is not None and math.isfinite(bench.level):
            found.append((bench.level + DECIBELS_PER_DECADE * math.log10(ratio), f"the noise limit of {bench.label}"))
    return min(found, default=(None, ""))


def _lowest_level(benches: Sequence[_Bench]) -> tuple[float | None, str]:
    known = [
        (bench.level, f"{bench.label} as written, the quietest") for bench in benches if math.isfinite(bench.level)
    ]
    return min(known, default=(None, ""))


def _sweep(bench: _Bench, case: str, noise: float | None) -> FanSweep:
    written = bench.speed(AS_WRITTEN)
    speeds = [written if ratio == AS_WRITTEN else bench.speed(ratio) for ratio in RATIOS]
    limit = next((source.limit for source in bench.stack.sources if source.name == written.limits), None)
    return FanSweep(
        label=bench.label,
        case=case,
        driven=tuple(flow.name for flow in driven_flows(bench.stack)),
        fans=bench.fans,
        speeds=tuple(speeds),
        written=written,
        at_noise=_at_noise(bench),
        at_limit=_at_limit(bench, speeds),
        at_equal=None if noise is None else _at_equal(bench, noise),
        limit=limit,
        mesh_error=bench.mesh_error(),
        remarks=tuple(_remarks(bench, speeds)),
    )


def _at_noise(bench: _Bench) -> Found:
    ratio = ratio_at_limits(bench.fans)
    if ratio is None:
        return Found(None, "none is stated")
    return _at(bench, ratio)


def _at_equal(bench: _Bench, noise: float) -> Found:
    if not math.isfinite(bench.level):
        return Found(None, "the sound of one of its fans is not given")
    return _at(bench, ratio_at_level(bench.level, noise))


def _at(bench: _Bench, ratio: float) -> Found:
    speed = bench.speed(ratio)
    return Found(None, speed.failure) if speed.failure else Found(speed, "")


def _at_limit(bench: _Bench, speeds: Sequence[Speed]) -> Found:
    """The least speed at which every component keeps its limit, between two speeds that were tried."""
    known = [each for each in speeds if each.margin is not None]
    if not known:
        return Found(None, "no component has a limit")
    margins = [each.margin or 0.0 for each in known]
    first = next((number for number, margin in enumerate(margins) if margin >= 0), None)
    if first is None:
        best = max(known, key=lambda each: each.margin or 0.0)
        over, fast = -(best.margin or 0.0), 100 * best.ratio
        return Found(None, f"none up to {fast:.0f} %, where {best.limits} is still {over:.1f} K above its limit")
    if first == 0:
        slow, left = 100 * known[0].ratio, margins[0]
        return Found(
            None, f"all limits hold down to {slow:.0f} %, the slowest that was tried, with {left:.1f} K to spare"
        )
    return _narrowed(bench, known[first - 1], known[first])


def _narrowed(bench: _Bench, low: Speed, high: Speed) -> Found:
    """A speed between one that is too slow and one that holds, whose margin is nothing, by the secant kept inside the bracket."""
    weight_low = weight_high = 1.0
    for _ in range(TRIALS):
        under, over = weight_low * (low.margin or 0.0), weight_high * (high.margin or 0.0)
        share = under / (under - over)
        speed = bench.speed(low.ratio * (high.ratio / low.ratio) ** share)
        if speed.margin is None:
            return Found(None, speed.failure)
        if abs(speed.margin) < CLOSE:
            return Found(speed, "")
        # The end that stays counts half as much the next time (Illinois; from memory), or it might stay for ever.
        if speed.margin < 0:
            low, weight_low, weight_high = speed, 1.0, weight_high / 2
        else:
            high, weight_high, weight_low = speed, 1.0, weight_low / 2
    return Found(high, f"only to {abs(high.margin or 0.0):.2f} K of margin")


def _remarks(bench: _Bench, speeds: Sequence[Speed]) -> list[str]:
    stack = bench.stack
    slow = [fan for fan in bench.fans if min(RATIOS) * fan.speed < SLOW * fan.test_speed]
    fast = [fan for fan in bench.fans if max(RATIOS) * fan.speed > fan.test_speed * (1 + 1e-9)]
    unheard = [fan for fan in bench.fans if not math.isfinite(fan.level)]
    found = []
    if fast:
        found.append(f"{_names(fast)}: speeds above that of the test may be out of reach")
    if slow:
        found.append(f"{_names(slow)}: below half of the test speed a real fan gives less than the fan laws say")
    if unheard:
        found.append(f"{_names(unheard)}: the sound is not given, so the sound of all is not known")
    given = [flow.name for flow in stack.flows if flow.rate is not None]
    if given:
        found.append(f"at every speed the same: {', '.join(given)}, whose rate is given")
    dead = {fan.name for flow in stack.flows for fan in flow.fans if not fan.is_running}
    if dead:
        found.append(f"dead at every speed: {', '.join(sorted(dead))}")
    if any(draught.stalled for each in speeds for draught in each.draughts):
        found.append("at speeds marked s a fan runs left of the last maximum of its curve, where it hunts and is loud")
    if any(law_density(flow) < 0.9 * fan.test_density for flow in driven_flows(stack) for fan in flow.fans):
        found.append(
            "the air is thinner than where the fans were tested: their pressure falls with it, their sound is left as it is"
        )
    return found


def _names(fans: Sequence[Fan]) -> str:
    return ", ".join(f"{fan.name} ({show(fan.test_speed, 'speed of rotation')} at the test)" for fan in fans)
