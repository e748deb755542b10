"""Fans over speed as tables for the terminal."""

import math

from rich.console import Console
from rich.text import Text

from plancha.app.fan_sweep import Comparison, FanSweep, Found, Speed
from plancha.app.fields import ZERO_CELSIUS
from plancha.app.flow_tables import FAN_CAUTION
from plancha.app.graph_panel import CUBIC_FEET, PER_HOUR
from plancha.app.sections import Section, section
from plancha.geometry.units import show

MOST_FAILURES = 3  # that are told; of more, how many
QUOTIENT = "K/W: rise of that peak above the reference over the power of all components, a quotient that must not be put in series"


def print_fan_speeds(console: Console, found: Comparison) -> None:
    """Print each study's speeds and what was sought, then all studies at equal noise."""
    for sweep in found.sweeps:
        console.print(Text(sweep.label, style="bold"))
        console.print(Text(f"Case: {sweep.case}. {fans_words(sweep)}."))
        console.print(speeds_table(sweep), sought_table(sweep, found))
        failures = [f"At {100 * each.ratio:.3g} %: {each.failure}" for each in sweep.speeds if each.failure]
        more = [f"... and {len(failures) - MOST_FAILURES} more"] if len(failures) > MOST_FAILURES else []
        lines = [
            *failures[:MOST_FAILURES],
            *more,
            *(f"Note: {remark}." for remark in sweep.remarks),
            *study_lines(sweep),
        ]
        console.print(Text("\n".join(["", *lines])))
    if len(found.sweeps) > 1:
        console.print(equal_table(found))
    console.print(Text(f"\nCaution: {FAN_CAUTION}"))


def fans_words(sweep: FanSweep) -> str:
    """The fans and their speeds as written."""
    each = [
        f"{f'{fan.count} x ' if fan.count > 1 else ''}{fan.name} at {show(fan.speed, 'speed of rotation')}"
        for fan in sweep.fans
    ]
    return f"100 % is {', '.join(each)}"


def speeds_table(sweep: FanSweep) -> Section:
    """What each speed gives."""
    several = len(sweep.driven) > 1
    heads = [f"{name}: " if several else "" for name in sweep.driven]
    columns = ["speed", "dB(A)"]
    for head in heads:
        columns += [f"{head}CFM", "m3/h", "Pa"]
    columns += ["air W", "limits", "peak degC", "margin K", "K/W"]
    rows = [_row(sweep, speed) for speed in sweep.speeds]
    bold = sweep.speeds.index(sweep.written)
    error = f"numerical error of the peak {max(sweep.mesh_error, 0.1):.1f} K, the mesh kept for all speeds"
    return section("All fans together, slower and faster", columns, rows, QUOTIENT, error, bold=bold)


def _row(sweep: FanSweep, speed: Speed) -> tuple[str, ...]:
    head = f"{100 * speed.ratio:.0f} %" + (" s" if any(draught.stalled for draught in speed.draughts) else "")
    if speed.failure:
        return (head, level_text(speed.level), *["-"] * (3 * len(sweep.driven) + 5))
    flows: list[str] = []
    for draught in speed.draughts:
        flows += [f"{draught.rate * CUBIC_FEET:.2f}", f"{draught.rate * PER_HOUR:.2f}", f"{draught.pressure:.1f}"]
    power = sum(draught.power for draught in speed.draughts)
    return (head, level_text(speed.level), *flows, f"{power:.3g}", *_heat(speed))


def _heat(speed: Speed) -> tuple[str, ...]:
    return speed.limits, f"{speed.peak - ZERO_CELSIUS:.1f}", margin_text(speed), f"{speed.resistance:.4f}"


def level_text(level: float) -> str:
    """A sound level [dB(A)], or a dash where it is not known."""
    return "-" if math.isnan(level) else f"{level:.1f}"


def margin_text(speed: Speed) -> str:
    """A margin [K] with its sign, or a dash where nothing has a limit."""
    return "-" if speed.margin is None else f"{speed.margin:+.1f}".replace("-0.0", "0.0").replace("+0.0", "0.0")


def sought_table(sweep: FanSweep, found: Comparison) -> Section:
    """The speeds that were sought, each with what it comes to, or why there is none."""
    names = [("noise limit of the fans", sweep.at_noise), ("least speed that holds all limits", sweep.at_limit)]
    if sweep.at_equal is not None and found.noise is not None and found.noise_from == "--noise":
        names.append((f"{found.noise:.1f} dB(A)", sweep.at_equal))
    rows = [(name, *_sought(each)) for name, each in names if each.speed is not None]
    missing = [f"{name[0].upper()}{name[1:]}: {each.words}." for name, each in names if each.words]
    if not rows:
        return Section("", remarks=("", *missing))
    columns = ("at", "speed", "dB(A)", "limits", "peak degC", "margin K", "K/W")
    return section("Speeds sought", columns, rows, *missing)


def _sought(found: Found) -> tuple[str, ...]:
    speed = found.speed
    assert speed is not None
    return (f"{100 * speed.ratio:.1f} %", level_text(speed.level), *_heat(speed))


def equal_table(found: Comparison) -> Section:
    """All studies at one sound level: the one with most margin first, or, where one has no limit, with the least rise per watt."""
    if found.noise is None:
        return Section("", remarks=("\nThe studies cannot be compared at equal noise: no fan's sound is known.",))
    known = [(sweep, sweep.at_equal.speed) for sweep in found.sweeps if sweep.at_equal and sweep.at_equal.speed]
    have_limits = all(speed.margin is not None for _, speed in known)
    known.sort(key=lambda pair: -(pair[1].margin or 0.0) if have_limits else pair[1].resistance)
    rows = [(sweep.label, f"{100 * speed.ratio:.1f} %", _flows(speed), *_heat(speed)) for sweep, speed in known]
    missing = [
        f"{sweep.label}: {sweep.at_equal.words}."
        for sweep in found.sweeps
        if sweep.at_equal is not None and sweep.at_equal.speed is None
    ]
    title = f"At equal noise, {found.noise:.1f} dB(A): {found.noise_from}"
    columns = ("study", "speed", "CFM", "limits", "peak degC", "margin K", "K/W")
    return section(title, columns, rows, *missing, bold=0 if rows else -1)


def _flows(speed: Speed) -> str:
    return ", ".join(f"{draught.rate * CUBIC_FEET:.2f}" for draught in speed.draughts)


def study_lines(sweep: FanSweep) -> list[str]:
    """The sought speeds as a load case would write them."""
    found = [
        (name, each.speed)
        for name, each in (("noise limit", sweep.at_noise), ("least speed", sweep.at_limit))
        if each.speed
    ]
    lines = ["For a [[case]] of the study:"] if found else []
    for name, speed in found:
        for fan in sweep.fans:
            lines.append(f'    "{fan.name}".speed = "{show(fan.speed * speed.ratio, "speed of rotation")}"    # {name}')
    return lines
