// The figures: frame, values, marks and captions of what is shown, of design A and of the difference; and the probe.

import { draw, drawMarks, evaluate, frameFor, valueAt } from "./figure.js";
import { differenceScale, digitsOf, numberText, rangeFor, rangeOf, scaleOf } from "./scale.js";
import { $, figures, state } from "./state.js";

function frameBox() {
  const pair = [state.shown, ...(comparable() ? [state.a] : [])];
  if (CLOSE.test(state.shown.view.key)) return closeBox(pair.flatMap((each) => each.layers));
  const boxes = pair.map((each) => each.marks.frame);
  const pick = (n, choose) => choose(...boxes.map((box) => box[n]));
  const box = [pick(0, Math.min), pick(1, Math.min), pick(2, Math.max), pick(3, Math.max)];
  const all = state.shown.layers.filter((each) => each.kind === "rectangles").flatMap((each) => extentOf(each.boxes));
  for (let n = 0; n < all.length; n += 4) {
    box[0] = Math.min(box[0], all[n]), box[1] = Math.min(box[1], all[n + 1]);
    box[2] = Math.max(box[2], all[n + 2]), box[3] = Math.max(box[3], all[n + 3]);
  }
  return box;
}

const CLOSE = /^(face|power)/; // views that show no more than what they colour

function closeBox(layers) {
  const found = layers.map((each) => (each.kind === "rectangles" ? extentOf(each.boxes) : extentOf(each.nodes, 2)));
  const box = [0, 1, 2, 3].map((n) => (n < 2 ? Math.min : Math.max)(...found.map((each) => each[n])));
  const border = 0.05 * Math.max(box[2] - box[0], box[3] - box[1]);
  return [box[0] - border, box[1] - border, box[2] + border, box[3] + border];
}

// Extent of boxes (left, bottom, right, top) or of points (x, y).
function extentOf(numbers, size = 4) {
  const found = [Infinity, Infinity, -Infinity, -Infinity];
  for (let n = 0; n < numbers.length; n++) {
    const axis = n % 2;
    if (size === 2 || n % 4 < 2) found[axis] = Math.min(found[axis], numbers[n]);
    if (size === 2 || n % 4 > 1) found[axis + 2] = Math.max(found[axis + 2], numbers[n]);
  }
  return found;
}

export const comparable = () => state.a !== null && state.a.view.key === state.shown.view.key;

export function showPictures() {
  const { shown, a } = state, isPair = comparable();
  $("figure-a").hidden = $("figure-difference").hidden = !isPair;
  $("figures").classList.toggle("pair", isPair);
  const narrow = window.innerWidth < 760;
  const frame = frameFor(figures.now, frameBox(), isPair ? 460 : narrow ? 420 : Math.max(320, window.innerHeight - 260));
  const values = evaluate(figures.now, frame, shown.layers);
  const ranges = shown.layers.map((each) => each.values);
  if (isPair) ranges.push(...a.layers.map((each) => each.values));
  const isHeld = $("hold").checked && state.scale && state.scale.key === shown.view.key;
  if (!isHeld) state.scale = { ...scaleOf(rangeFor(shown.view, ranges), shown.view), key: shown.view.key };
  const table = state.colours[state.scale.colours];
  draw(figures.now, frame, values, figures.now.raster.layerOf, state.scale, table);
  drawMarks(figures.now, shown.marks, spotOf(shown), state.place, shown.confirmed);
  figures.now.content = { layers: shown.layers, marks: shown.marks, spot: spotOf(shown) };
  describe(figures.now, shown, "");
  caption("figure-now", isPair ? `Now: ${shown.view.title}` : shown.view.title, shown);
  if (isPair) showPair(frame, table);
  showProbe();
}

function showPair(frame, table) {
  const { a, shown } = state;
  const before = evaluate(figures.a, frame, a.layers), after = figures.now.values;
  draw(figures.a, frame, before, figures.a.raster.layerOf, state.scale, table);
  drawMarks(figures.a, a.marks, spotOf(a), state.place, true);
  figures.a.content = { layers: a.layers, marks: a.marks, spot: spotOf(a) };
  describe(figures.a, a, "Design A: ");
  caption("figure-a", `A: ${a.title}`, a);
  const difference = after.map((value, n) => value - before[n]);
  const [low, high] = rangeOf([difference]), most = Math.max(Math.abs(low), Math.abs(high));
  const isSame = most <= 1e-6 * Math.max(...rangeOf([after]).map(Math.abs));
  const unit = shown.view.unit === "°C" ? "K" : shown.view.unit;
  const scale = differenceScale(isSame ? 1 : most, unit, state.scale.lines);
  const marks = { ...shown.marks, corners: [], probes: [] };
  figures.difference.content = { less: [shown.layers, a.layers], marks, spot: null };
  draw(figures.difference, frame, difference, figures.now.raster.layerOf, scale, state.colours.difference);
  drawMarks(figures.difference, marks, null, state.place, !isSame);
  const digits = digitsOf(scale.step) + 1;
  const words = isSame ? "Now less A: no difference" : `Now less A: from ${numberText(low, digits)} to ${numberText(high, digits)} ${unit}`;
  $("figure-difference").querySelector("figcaption").textContent = words;
  figures.difference.marks.setAttribute("aria-label", words);
}

function caption(id, text, shown) {
  const step = state.scale.lines ? `; ${shown.view.isolines} every ${numberText(state.scale.step, digitsOf(state.scale.step))} ${state.scale.unit === "°C" ? "K" : state.scale.unit}` : "";
  const corner = shown.marks.corners.length && shown.view.key === "power" ? "; white triangle: the file's first cell (of a table of blocks: its origin)" : "";
  const [, most] = rangeOf(shown.layers.map((each) => each.values));
  const beyond = most > 1.02 * state.scale.high && !$("hold").checked ? `; colours end at ${numberText(state.scale.high, 0)}, next to the inlet it is up to ${numberText(most, 0)} ${state.scale.unit}` : "";
  $(id).querySelector("figcaption").textContent = `${text}${step}${corner}${beyond}`;
}

function spotOf(shown) {
  const { numbers, view } = shown;
  if (view.key !== "temperature") return null;
  const hot = numbers.components.find((each) => each.name === numbers.hottest);
  return hot ? { at: hot.peak_at_mm, text: `${numberText(hot.peak_degC, 1)} °C` } : null;
}

function describe(figure, shown, prefix) {
  const hot = shown.numbers.components.find((each) => each.name === shown.numbers.hottest);
  const [low, high] = rangeOf(shown.layers.map((each) => each.values));
  const digits = digitsOf(state.scale.step);
  const range = `from ${numberText(low, digits)} to ${numberText(high, digits)} ${shown.view.unit}`;
  const spot = hot ? `; hottest is ${hot.name} with ${numberText(hot.peak_degC, 1)} °C at x ${hot.peak_at_mm[0].toFixed(1)}, y ${hot.peak_at_mm[1].toFixed(1)} mm` : "";
  figure.marks.setAttribute("aria-label", `${prefix}${shown.view.title}, ${range}${spot}. Arrow keys move the probe.`);
}

function showProbe() {
  const output = $("probe-value");
  if (!state.place || !state.shown) return;
  const { unit } = state.shown.view, digits = digitsOf(state.scale.step) + 1;
  const word = (figure) => {
    const value = valueAt(figure, state.place);
    return Number.isNaN(value) ? "nothing here" : `${numberText(value, digits)} ${unit}`;
  };
  output.textContent = comparable() ? `A ${word(figures.a)}, now ${word(figures.now)}` : word(figures.now);
}

export function probeAt(place) {
  state.place = place;
  for (const [id, value] of [["probe-x", place[0]], ["probe-y", place[1]]]) {
    if (document.activeElement !== $(id)) $(id).value = value.toFixed(2);
  }
  const { shown } = state;
  drawMarks(figures.now, shown.marks, spotOf(shown), place, shown.confirmed);
  if (comparable()) {
    drawMarks(figures.a, state.a.marks, spotOf(state.a), place, true);
    drawMarks(figures.difference, { ...shown.marks, corners: [], probes: [] }, null, place, true);
  }
  showProbe();
}

const ARROWS = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] };

export function probeByKey(event) {
  const way = ARROWS[event.key];
  if (!way || !state.shown) return;
  event.preventDefault();
  const [left, bottom, right, top] = state.shown.marks.frame;
  const from = state.place || [(left + right) / 2, (bottom + top) / 2], step = (event.shiftKey ? 0.05 : 0.01) * (right - left);
  probeAt([from[0] + way[0] * step, from[1] + way[1] * step]);
}
