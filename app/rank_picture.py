"""Picture of a ranking: a bar per candidate from aged to new, whiskers for its spread."""

import numpy as np

from plancha.app.charts import Axis, Canvas, Colour, add_axis, add_mark, axis_over, page
from plancha.app.colours import COOL, WARM, colours
from plancha.app.fields import ZERO_CELSIUS
from plancha.app.label_places import GAP, Box
from plancha.app.plan_drawing import DARK, MIDDLE, TEXT, Patch, Picture, text_size, wrapped
from plancha.app.plan_page import LINE
from plancha.app.rank import Ranked, Ranking, State
from plancha.app.rank_tables import MARKS, clamp_words, marks

MOST_ROWS = 20  # candidates that are drawn
ROW = 56  # height of one [px]
NAMES, PANEL, NUMBERS = 560, 860, 150  # widths [px]
HALF = 12  # of a bar's height
SIZE = 10  # of a mark
CAP = 9  # half of a whisker's end
FAR = 1.6  # times the best ten's extent that the axis shows; what lies beyond is cut off at the frame
LEAST_SHOWN = 20.0  # K
BEST = 10
FILL: Colour = tuple(float(c) / 255 for c in colours(COOL)[200])  # type: ignore[assignment]
NEW_COLOUR: Colour = tuple(float(c) / 255 for c in colours(COOL)[70])  # type: ignore[assignment]
AGED_COLOUR: Colour = tuple(float(c) / 255 for c in colours(WARM)[120])  # type: ignore[assignment]


def rank_picture(found: Ranking) -> Picture:
    """One row per candidate, the best at the top: margin of the component that limits, or its peak where nothing has a limit."""
    shown = found.ranked[:MOST_ROWS]
    box = Box(NAMES + 2 * GAP, 0, NAMES + 2 * GAP + PANEL, ROW * len(shown))
    has_limits = shown[0].aged[1].margin is not None
    axis, canvas = _axis(shown, box), Canvas()
    add_axis(canvas, axis, "margin of the component that limits [K]" if has_limits else "peak [°C]")
    if has_limits and axis.limits[0] < 0 < axis.limits[1]:
        canvas.strokes([[[axis.pixel(0), box.bottom], [axis.pixel(0), box.top]]], DARK, 2.5)
    for row, each in enumerate(shown):
        _add_row(canvas, axis, each, row + 1, box.top - (row + 0.5) * ROW)
    canvas.text("aged [K]" if has_limits else "aged [°C]", box.right + NUMBERS, box.top + TEXT, 1.0, bold=True)
    low = -3 * LINE - GAP
    _add_key(canvas, low)
    whole = Box(0, low - LINE, box.right + NUMBERS, box.top + 2 * TEXT)
    subtitle = f"Candidates for {found.joint} – case: {found.case}; {clamp_words(found)}"
    return page(canvas, whole, found.title, subtitle, [_caption(found, shown)])


def value_of(state: State) -> float:
    """What is drawn of a state: margin [K], or peak [degC] where nothing has a limit."""
    return state.peak - ZERO_CELSIUS if state.margin is None else state.margin


def _axis(shown: tuple[Ranked, ...], box: Box) -> Axis:
    """An axis over the best ten, whiskers included, and a little of the others."""
    best = np.array([[value_of(state) for state in (*each.new, *each.aged)] for each in shown[:BEST]])
    typical = np.array([[value_of(each.new[1]), value_of(each.aged[1])] for each in shown[:BEST]])
    reach = max(FAR * float(np.ptp(typical)), LEAST_SHOWN)
    low, high = float(best.min()), float(best.max())
    if shown[0].aged[1].margin is None:
        return axis_over(np.array([low, min(high, float(typical.min()) + reach)]), box)
    return axis_over(np.array([max(low, float(typical.max()) - reach), high]), box)


def _add_row(canvas: Canvas, axis: Axis, each: Ranked, number: int, y: float) -> None:
    letters = marks(each)
    name = f"{number}  {each.candidate.name}" + (f"  ({letters})" if letters else "")
    canvas.text(wrapped(name, NAMES)[0], NAMES, y, 1.0)
    box = axis.box

    def inside(value: float) -> float:
        """A value's place, kept within the panel [px]."""
        return min(max(axis.pixel(value), box.left), box.right)

    new, aged = value_of(each.new[1]), value_of(each.aged[1])
    ends = [value_of(each.aged[2]), value_of(each.new[0])]
    left, right = sorted((inside(new), inside(aged)))
    canvas.parts.append(
        Patch(np.array([[left, y - HALF], [right, y - HALF], [right, y + HALF], [left, y + HALF]]), FILL)
    )
    places = [inside(end) for end in ends]
    canvas.strokes([[[min(places), y], [max(places), y]]], DARK, 2.0)
    caps = [[[x, y - CAP], [x, y + CAP]] for x, end in zip(places, ends) if x == axis.pixel(end)]
    canvas.strokes(caps, DARK, 2.0)
    drawn = [
        (value, corners, colour, axis.pixel(value))
        for value, corners, colour in ((new, 24, NEW_COLOUR), (aged, 4, AGED_COLOUR))
    ]
    for value, _, _, x in drawn:
        if not box.left <= x <= box.right:
            _add_arrow(canvas, inside(value), y, x < box.left)
    for _, corners, colour, x in drawn:
        if box.left <= x <= box.right:
            add_mark(canvas, x, y, corners, SIZE, colour)
    sign = "+" if each.aged[1].margin is not None else ""
    canvas.text(f"{aged:{sign}.1f}", box.right + NUMBERS, y, 1.0)


def _add_arrow(canvas: Canvas, x: float, y: float, to_left: bool) -> None:
    """A mark at the frame: the value lies beyond it."""
    inward = SIZE * 1.5 if to_left else -SIZE * 1.5
    canvas.parts.append(Patch(np.array([[x, y], [x + inward, y - SIZE], [x + inward, y + SIZE]]), MIDDLE))


def _add_key(canvas: Canvas, y: float) -> None:
    x = float(NAMES + 2 * GAP)
    for text, corners, colour in (("new", 24, NEW_COLOUR), ("end of life", 4, AGED_COLOUR)):
        add_mark(canvas, x + SIZE, y, corners, SIZE, colour)
        canvas.text(text, x + 3 * SIZE, y)
        x += 3 * SIZE + text_size(text)[0] + 40
    canvas.strokes(
        [[[x, y], [x + 50, y]], [[x, y - CAP], [x, y + CAP]], [[x + 50, y - CAP], [x + 50, y + CAP]]], DARK, 2.0
    )
    canvas.text("aged at high impedance to new at low", x + 66, y)


def _caption(found: Ranking, shown: tuple[Ranked, ...]) -> str:
    used = set("".join(marks(each) for each in shown))
    letters = "; ".join(f"{mark}: {words}" for mark, words in MARKS.items() if mark in used)
    few = f" {len(shown)} of {len(found.ranked)} candidates, the best." if len(shown) < len(found.ranked) else ""
    out = f" Excluded: {', '.join(candidate.name for candidate, _ in found.excluded[:6])}." if found.excluded else ""
    cut = " An arrow at the frame: beyond it."
    off = f" Interpolated between {len(found.response.impedances)} solves, the first three solved."
    return f"{letters[:1].upper()}{letters[1:]}{'.' if letters else ''}{few}{out}{cut}{off}"
