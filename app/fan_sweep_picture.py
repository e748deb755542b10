"""Picture of fans over speed: rise per watt and worst peak against sound, with the speeds that were sought marked."""

from collections.abc import Callable, Sequence

import numpy as np

from plancha.app.charts import Canvas, Colour, add_mark, page
from plancha.app.colours import COOL, WARM, colours
from plancha.app.fan_sweep import Comparison, FanSweep, Speed
from plancha.app.fan_tables import fans_words
from plancha.app.fields import ZERO_CELSIUS
from plancha.app.graph_panel import ASIDE, Entry, Panel, Ruler, add_curve, add_key, add_panel, room_around
from plancha.app.label_places import GAP, Box
from plancha.app.plan_drawing import DARK, MIDDLE, TEXT, Picture
from plancha.app.plan_page import LINE, TICK

WIDE, TALL = 1080, 400  # of a panel [px]
BETWEEN = TALL + 4 * LINE + TICK  # from one panel's bottom to the next one's
SIZE = 12  # of a mark [px]
POINTS = 200  # along each curve
EDGE_RIGHT = 190.0  # room right of the panels for the limits [px]
EXTRA = 0.25  # of the peaks' span: a limit that lies further away is not drawn
PALETTE: tuple[Colour, ...] = tuple(
    tuple(float(c) / 255 for c in colours(family)[at])  # type: ignore[misc]
    for family, at in ((COOL, 80), (WARM, 140), (COOL, 170), (WARM, 60), (COOL, 20), (WARM, 185))
)
MARKS = (("as written", 24, 0.0), ("noise limit", 4, 0.0), ("least speed that holds all limits", 4, np.pi / 4))


def fan_sweep_picture(found: Comparison) -> Picture:
    """Two panels over one scale: above the rise per watt of the worst peak, below the peak itself."""
    by_sound = all(np.isfinite(sweep.written.level) for sweep in found.sweeps)
    ruler = Ruler("sound of all fans [dB(A)]") if by_sound else Ruler("speed [% of that in the study]")

    def across(speed: Speed) -> float:
        return speed.level if by_sound else 100 * speed.ratio

    shown = [(sweep, _known(sweep)) for sweep in found.sweeps]
    every = [across(speed) for _, speeds in shown for speed in speeds]
    span = room_around(every, 0.04)
    upper = Panel(Box(0, BETWEEN, WIDE, BETWEEN + TALL), span, _span(shown, _rise))
    lower = Panel(Box(0, 0, WIDE, TALL), span, _peak_span(shown))
    canvas = Canvas()
    add_panel(canvas, upper, ruler, Ruler("rise of the worst peak over all power [K/W]"))
    add_panel(canvas, lower, ruler, Ruler("worst peak [°C]"))
    _add_limits(canvas, lower, found.sweeps)
    if by_sound and found.noise is not None and span[0] < found.noise < span[1]:
        for panel in (upper, lower):
            x = float(panel.pixels(np.array([found.noise]), np.array([panel.up[0]]))[0, 0])
            canvas.strokes([[[x, panel.box.bottom], [x, panel.box.top]]], MIDDLE, 2.0)
    for number, (sweep, speeds) in enumerate(shown):
        for panel, value in ((upper, _rise), (lower, _peak)):
            _add_sweep(canvas, panel, sweep, speeds, across, value, PALETTE[number % len(PALETTE)])
    low = add_key(canvas, _key(found), 0.0, WIDE, lower.box.bottom - TICK - 2 * LINE - GAP, SIZE)
    whole = Box(-ASIDE, low, WIDE + EDGE_RIGHT, upper.box.top + LINE + TEXT)
    title = found.sweeps[0].label if len(found.sweeps) == 1 else "Fans of several studies"
    cases = dict.fromkeys(sweep.case for sweep in found.sweeps)
    subtitle = f"All fans together, slower and faster – case: {', '.join(cases)}"
    return page(canvas, whole, title, subtitle, _caption(found, by_sound))


def _rise(speed: Speed) -> float:
    return speed.resistance


def _peak(speed: Speed) -> float:
    return speed.peak - ZERO_CELSIUS


def _known(sweep: FanSweep) -> list[Speed]:
    """All speeds that have values, those that were sought included, the slowest first."""
    sought = [each.speed for each in (sweep.at_noise, sweep.at_limit, sweep.at_equal) if each is not None]
    found = [speed for speed in [*sweep.speeds, *sought] if speed is not None and not speed.failure]
    return sorted({speed.ratio: speed for speed in found}.values(), key=lambda speed: speed.ratio)


def _span(shown: Sequence[tuple[FanSweep, list[Speed]]], value: Callable[[Speed], float]) -> tuple[float, float]:
    return room_around([value(speed) for _, speeds in shown for speed in speeds])


def _peak_span(shown: Sequence[tuple[FanSweep, list[Speed]]]) -> tuple[float, float]:
    peaks = np.array([_peak(speed) for _, speeds in shown for speed in speeds])
    reach = EXTRA * max(float(np.ptp(peaks)), 1.0)
    limits = [sweep.limit - ZERO_CELSIUS for sweep, _ in shown if sweep.limit is not None]
    near = [each for each in limits if peaks.min() - reach < each < peaks.max() + reach]
    return room_around(np.concatenate([peaks, near]))


def _add_limits(canvas: Canvas, panel: Panel, sweeps: Sequence[FanSweep]) -> None:
    lowest = -np.inf  # where the next label may begin
    for limit in sorted({sweep.limit - ZERO_CELSIUS for sweep in sweeps if sweep.limit is not None}):
        if panel.up[0] < limit < panel.up[1]:
            add_curve(canvas, panel, np.array(panel.across), np.array([limit, limit]), DARK, 2.0, dashed=True)
            x, y = panel.pixels(np.array([panel.across[1]]), np.array([limit]))[0]
            at = max(float(y), lowest + LINE / 2)
            canvas.text(f"limit {limit:.1f} °C", float(x) + GAP, at)
            lowest = at + LINE / 2


def _add_sweep(
    canvas: Canvas,
    panel: Panel,
    sweep: FanSweep,
    speeds: Sequence[Speed],
    across: Callable[[Speed], float],
    value: Callable[[Speed], float],
    colour: Colour,
) -> None:
    """A study's curve through all its speeds, monotone between them, and its marks."""
    x, first = np.unique([across(each) for each in speeds], return_index=True)  # found speeds may be those of the sweep
    y = np.array([value(each) for each in speeds])[first]
    if len(x) > 2:
        from scipy.interpolate import PchipInterpolator

        fine = np.linspace(x[0], x[-1], POINTS)
        add_curve(canvas, panel, fine, PchipInterpolator(x, y)(fine), colour)
    for at_x, at_y in panel.pixels(x, y):
        add_mark(canvas, at_x, at_y, 24, SIZE / 3, colour)
    for speed, (_, corners, turned) in zip((sweep.written, sweep.at_noise.speed, sweep.at_limit.speed), MARKS):
        if speed is not None:
            at_x, at_y = panel.pixels(np.array([across(speed)]), np.array([value(speed)]))[0]
            add_mark(canvas, at_x, at_y, corners, SIZE, colour, turned)


def _key(found: Comparison) -> list[Entry]:
    sweeps = found.sweeps
    several = (
        [Entry(sweep.label, PALETTE[n % len(PALETTE)]) for n, sweep in enumerate(sweeps)] if len(sweeps) > 1 else []
    )
    there = [[sweep.written, sweep.at_noise.speed, sweep.at_limit.speed] for sweep in sweeps]
    marks = [
        Entry(name, PALETTE[0] if len(sweeps) == 1 else DARK, corners, turned)
        for number, (name, corners, turned) in enumerate(MARKS)
        if any(each[number] is not None for each in there)
    ]
    return [*several, *marks]


def _caption(found: Comparison, by_sound: bool) -> list[str]:
    words = [f"{fans_words(found.sweeps[0])}. {_marked(found.sweeps[0])}"]
    if len(found.sweeps) > 1:
        words = [f"{sweep.label}: {fans_words(sweep)}. {_marked(sweep)}" for sweep in found.sweeps]
    line = ""
    if by_sound and found.noise is not None:
        where = "the noise limit" if len(found.sweeps) == 1 and found.noise_from != "--noise" else found.noise_from
        line = f"Upright line: {found.noise:.1f} dB(A), {where}. "
    sound = "Sound is relative: 50 log10 of the speed ratio. " if by_sound else ""
    return [*words, f"{line}{sound}Blades cut, also at low speed."]


def _marked(sweep: FanSweep) -> str:
    """What the marked speeds come to."""
    parts = []
    for name, each in (("Noise limit", sweep.at_noise), ("Least speed that holds all limits", sweep.at_limit)):
        if each.speed is None:
            parts.append(f"{name}: {each.words}.")
        else:
            speed = each.speed
            parts.append(f"{name}: {100 * speed.ratio:.1f} %{_loud(speed)}, {_peak(speed):.1f} °C.")
    return " ".join(parts)


def _loud(speed: Speed) -> str:
    return f", {speed.level:.1f} dB(A)" if np.isfinite(speed.level) else ""
