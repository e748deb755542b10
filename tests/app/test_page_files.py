"""The page's own modules, one by one in a browser: fields as pixels, scales, isolines."""

import math

import pytest

IMPORTED = """const done = arguments[arguments.length - 1], given = arguments;
import("/files/%s").then((module) => { %s }).catch((error) => done(String(error)));"""


def called(browser, file, script, *arguments):
    """What a script makes of a module of the page; it calls `done`."""
    browser.start()
    return browser.driver.execute_async_script(IMPORTED % (file, script), *arguments)


def test_pixels_of_quadratic_triangles_have_the_exact_values_of_a_quadratic_field(browser):
    # Two triangles make the rectangle 0..3 x 0..2 mm; f is any polynomial of degree two.
    script = """
    const f = (x, y) => 1 + 2 * x - 3 * y + 0.5 * x * x - 0.7 * x * y + 0.25 * y * y;
    const corners = [[0, 0], [3, 0], [3, 2], [0, 2]];
    const nodes = [...corners, [1.5, 0], [3, 1], [1.5, 1], [1.5, 2], [0, 1]];
    const elements = Uint32Array.from([0, 1, 2, 4, 5, 6, 2, 0, 3, 6, 8, 7]);
    const layer = {kind: "triangles", nodes: Float32Array.from(nodes.flat()), elements,
                   values: Float32Array.from(nodes.map(([x, y]) => f(x, y)))};
    const frame = module.frameOf([0, 0, 3, 2], 90, 70, 5);
    const values = module.valuesOf(module.rasterOf(frame, [layer]), [layer]);
    let worst = 0, inside = 0, outside = 0;
    for (let at = 0; at < values.length; at++) {
      const [x, y] = module.toPlan(frame, (at % frame.width) + 0.5, Math.floor(at / frame.width) + 0.5);
      const isIn = x >= 0 && x <= 3 && y >= 0 && y <= 2;
      if (isIn) { inside++; worst = Math.max(worst, Math.abs(values[at] - f(x, y))); }
      else if (!Number.isNaN(values[at])) outside++;
    }
    done([worst, inside, outside, frame.scale]);"""
    worst, inside, outside, scale = called(browser, "raster.js", script)
    assert worst < 1e-5 and outside == 0  # float32 of values up to 10
    assert inside == pytest.approx(6 * scale**2, rel=0.03)


def test_later_layers_and_rectangles_lie_over_earlier_ones(browser):
    script = """
    const square = (x, y, side, value) => ({kind: "triangles", elements: Uint32Array.from([0, 1, 2, 4, 5, 6, 0, 2, 3, 6, 7, 8]),
      nodes: Float32Array.from([x, y, x + side, y, x + side, y + side, x, y + side, x + side / 2, y, x + side, y + side / 2,
                                x + side / 2, y + side / 2, x + side / 2, y + side, x, y + side / 2]),
      values: new Float32Array(9).fill(value)});
    const layers = [square(0, 0, 10, 1), square(2, 2, 4, 2),
                    {kind: "rectangles", boxes: Float32Array.from([3, 3, 4, 4]), values: Float32Array.from([3])}];
    const frame = module.frameOf([0, 0, 10, 10], 100, 100, 0);
    const values = module.valuesOf(module.rasterOf(frame, layers.map((e) => e.kind === "triangles" ? e : null)), layers);
    const at = (x, y) => { const [px, py] = module.toPixel(frame, x, y); return values[Math.floor(py) * 100 + Math.floor(px)]; };
    done([at(1, 1), at(5, 5), at(3.5, 3.5), at(9, 3.5)]);"""
    assert called(browser, "raster.js", script) == [1, 2, 3, 1]


@pytest.mark.parametrize("span", [0.0037, 0.9, 1.0, 7.3, 55.0, 99.9, 4200.0])
def test_isolines_stand_at_round_steps_and_the_bar_holds_all_values(browser, span):
    script = """const view = {key: "temperature", unit: "", colours: "warm", isolines: "isotherms"};
    const scale = module.scaleOf([20, 20 + given[0]], view);
    done([scale.low, scale.high, scale.step, module.ticksOf(scale).map((each) => Number(each.text.replace("−", "-")))]);"""
    low, high, step, ticks = called(browser, "scale.js", script, span)
    mantissa = step / 10 ** math.floor(math.log10(step) + 1e-9)
    assert min(abs(mantissa - each) for each in (1, 2, 2.5, 5)) < 1e-9
    assert low <= 20 and high >= 20 + span and high - low < span + 2.01 * step and 4 <= span / step <= 14.01
    assert ticks == pytest.approx([low + n * step for n in range(len(ticks))], abs=step / 20)


def test_isolines_are_drawn_where_the_field_has_their_value_and_nowhere_else(browser):
    # A ramp of one unit every ten pixels: lines at every step of 2 are twenty pixels apart.
    script = """const width = 200, values = new Float32Array(width * 3).map((_, at) => (at % width) / 10 + 0.05);
    const layers = new Int16Array(width * 3), pixels = new Uint32Array(width * 3), grey = new Uint32Array(256).fill(0xff808080);
    module.paint(pixels, values, layers, width, {low: 0, high: 20, step: 2, lines: true}, grey, 1);
    const row = [...pixels.subarray(width, 2 * width - 1)];
    done(row.map((each, at) => each >>> 0 === 0xff808080 ? -1 : at).filter((at) => at >= 0));"""
    marked = called(browser, "scale.js", script)
    centres = {round((at + 0.5) / 20) * 20 for at in marked}
    assert centres == {20 * n for n in range(10)} - ({0} if 0 not in centres else set())
    assert all(min(abs(at + 0.5 - centre) for centre in centres) <= 1.01 for at in marked)
