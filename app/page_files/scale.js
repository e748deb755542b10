// From values to colours: round steps, the bar, and pixels with isolines.

const STEPS = [1, 2, 2.5, 5, 10];
const LINES = 14; // isolines over the whole span, at most

export function niceStep(span, count = LINES) {
  if (!(span > 0)) return 1;
  const power = 10 ** Math.floor(Math.log10(span / count));
  return power * STEPS.find((each) => each * power * count >= span);
}

export function rangeOf(arrays) {
  let low = Infinity, high = -Infinity;
  for (const values of arrays) {
    for (let n = 0; n < values.length; n++) {
      if (values[n] < low) low = values[n];
      if (values[n] > high) high = values[n];
    }
  }
  return low <= high ? [low, high] : [0, 1];
}

// Where a few cells at an inlet lie far above all others, colours end below them.
const FEW = 0.08, STEEP = 1.3, LEAST = 1.25;

export function rangeFor(view, arrays) {
  const [low, high] = rangeOf(arrays);
  if (view.key === "power") return [0, high];
  if (!view.key.startsWith("coefficient/")) return [low, high];
  const all = Float32Array.from(arrays.flatMap((each) => [...each])).sort();
  const usual = Math.max(all[Math.floor((1 - FEW) * (all.length - 1))], LEAST * all[all.length >> 1]);
  return [low, high > STEEP * usual ? usual : high];
}

export function scaleOf([low, high], view) {
  const least = 1e-6 * Math.max(Math.abs(low), Math.abs(high), 1e-9);
  if (high - low < least) [low, high] = [low - least, high + least];
  const step = niceStep(high - low);
  return { low: Math.floor(low / step + 1e-9) * step, high: Math.ceil(high / step - 1e-9) * step, step, unit: view.unit, colours: view.colours,
           lines: Boolean(view.isolines) };
}

export function differenceScale(most, unit, lines) {
  const step = niceStep(2 * Math.max(most, 1e-9));
  const end = Math.max(step, Math.ceil(most / step - 1e-9) * step);
  return { low: -end, high: end, step, unit, colours: "difference", lines };
}

// Digits after the point with which steps are told apart; a quarter step needs one more.
export function digitsOf(step) {
  const power = Math.floor(Math.log10(step) + 1e-9);
  const isQuarter = Math.abs(step / 10 ** power - 2.5) < 1e-6;
  return Math.max(0, Math.min(6, -power + (isQuarter ? 1 : 0)));
}

export const numberText = (value, digits) => value.toFixed(digits).replace(/^-(?=0(\.0*)?$)/, "").replace("-", "−");

export function ticksOf(scale) {
  const digits = digitsOf(scale.step), ticks = [];
  for (let n = Math.round(scale.low / scale.step); n * scale.step <= scale.high + 1e-9 * scale.step; n++) {
    ticks.push({ value: n * scale.step, text: numberText(n * scale.step, digits) });
  }
  return ticks;
}

// Colours as little-endian RGBA words.
export function tableOf(flat) {
  const table = new Uint32Array(flat.length / 3);
  for (let n = 0; n < table.length; n++) {
    table[n] = (255 << 24) | (flat[3 * n + 2] << 16) | (flat[3 * n + 1] << 8) | flat[3 * n];
  }
  return table;
}

// Paint values into pixels (Uint32Array over an ImageData's buffer); isolines one pixel wide, smooth, never across layers' edges.
export function paint(pixels, values, layerOf, width, scale, table, weight) {
  const count = table.length, factor = count / (scale.high - scale.low), last = values.length - width;
  for (let at = 0; at < values.length; at++) {
    const value = values[at];
    if (value !== value) { pixels[at] = 0; continue; }
    const index = Math.max(0, Math.min(count - 1, ((value - scale.low) * factor) | 0));
    let colour = table[index];
    if (scale.lines && at < last) {
      const right = layerOf[at + 1] === layerOf[at] ? values[at + 1] - value : 0;
      const below = layerOf[at + width] === layerOf[at] ? values[at + width] - value : 0;
      const slope = Math.sqrt(right * right + below * below) * weight;
      const off = Math.abs(value - Math.round(value / scale.step) * scale.step);
      if (off < slope) colour = mixed(colour, (1 - off / slope) * 0.75);
    }
    pixels[at] = colour;
  }
}

// Towards white on dark colours, towards ink on light ones.
function mixed(colour, share) {
  const r = colour & 255, g = (colour >> 8) & 255, b = (colour >> 16) & 255;
  const goal = 0.3 * r + 0.6 * g + 0.1 * b < 125 ? 245 : 25;
  const rest = 1 - share, add = share * goal;
  return (255 << 24) | ((b * rest + add) << 16) | ((g * rest + add) << 8) | (r * rest + add);
}
