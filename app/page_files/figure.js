// One figure: a canvas of pixels, one of marks over it, and the colour bar beside.

import { frameOf, rasterOf, toPixel, toPlan, valuesOf } from "./raster.js";
import { numberText, digitsOf, paint, ticksOf } from "./scale.js";

const MOST_PIXELS = 900_000; // of one figure
const BORDER = 10; // px around the plan
const INK = "#1b2328", HALO = "rgba(255, 255, 255, 0.85)";
const FONT = "system-ui, 'Segoe UI', 'Noto Sans', 'DejaVu Sans', sans-serif";

export function figureOf(element) {
  const holder = element.querySelector(".canvases");
  const field = document.createElement("canvas"), marks = document.createElement("canvas");
  const bar = document.createElement("canvas");
  field.className = "field";
  marks.className = "marks";
  bar.className = "bar";
  field.setAttribute("aria-hidden", "true");
  bar.setAttribute("aria-hidden", "true");
  marks.setAttribute("role", "img");
  marks.tabIndex = 0;
  const plan = document.createElement("div");
  plan.className = "plan";
  plan.append(field, marks);
  holder.append(plan, bar);
  return { element, plan, field, marks, bar, raster: null, key: "", values: null, scale: null, image: null };
}

// The frame of a box [mm] on a figure's width: as high as the box asks, within bounds.
export function frameFor(figure, box, mostHeight) {
  const ratio = window.devicePixelRatio || 1;
  const width = Math.max(120, figure.plan.clientWidth);
  const aspect = (box[3] - box[1]) / (box[2] - box[0]);
  const height = Math.max(90, Math.min(mostHeight, (width - 2 * BORDER) * aspect + 2 * BORDER));
  const shrink = Math.min(1, Math.sqrt(MOST_PIXELS / (width * height * ratio * ratio)));
  const w = Math.round(width * ratio * shrink), h = Math.round(height * ratio * shrink);
  return { ...frameOf(box, w, h, BORDER * ratio * shrink), css: [width, height], ratio: ratio * shrink };
}

// Values of layers at a figure's pixels; the raster is made anew only where frame or geometry changed.
export function evaluate(figure, frame, layers) {
  const key = [frame.width, frame.height, frame.left, frame.top, frame.scale, ...layers.map((each) => each.key || each.kind)].join(" ");
  if (key !== figure.key) {
    figure.raster = rasterOf(frame, layers.map((each) => (each.kind === "triangles" ? each : null)));
    figure.key = key;
  }
  figure.values = valuesOf(figure.raster, layers);
  return figure.values;
}

export function draw(figure, frame, values, layerOf, scale, table) {
  const { field } = figure;
  if (field.width !== frame.width || field.height !== frame.height || !figure.image) {
    for (const canvas of [field, figure.marks]) {
      canvas.width = frame.width;
      canvas.height = frame.height;
    }
    figure.plan.style.height = `${frame.css[1]}px`;
    figure.image = new ImageData(frame.width, frame.height);
    figure.pixels = new Uint32Array(figure.image.data.buffer);
  }
  paint(figure.pixels, values, layerOf, frame.width, scale, table, 0.95 * Math.max(1, frame.ratio));
  field.getContext("2d").putImageData(figure.image, 0, 0);
  Object.assign(figure, { frame, values, scale, layerOf });
  drawBar(figure, scale, table);
}

function drawBar(figure, scale, table) {
  const { bar } = figure;
  const ratio = window.devicePixelRatio || 1;
  const key = [scale.low, scale.high, scale.unit, scale.colours, figure.frame.css[1], ratio].join(" ");
  if (figure.barKey === key) return;
  figure.barKey = key;
  const width = 78, height = figure.frame.css[1];
  bar.width = width * ratio;
  bar.height = height * ratio;
  bar.style.height = `${height}px`;
  const pen = bar.getContext("2d");
  pen.scale(ratio, ratio);
  barOnto(pen, 2, 26, height - 34, scale, table);
}

// A colour bar with its unit above and round numbers beside.
export function barOnto(pen, x, y, height, scale, table) {
  const width = 16;
  for (let row = 0; row < height; row++) {
    const colour = table[Math.min(table.length - 1, Math.floor(((height - row - 0.5) / height) * table.length))];
    pen.fillStyle = `rgb(${colour & 255}, ${(colour >> 8) & 255}, ${(colour >> 16) & 255})`;
    pen.fillRect(x, y + row, width, 1.5);
  }
  pen.strokeStyle = INK;
  pen.lineWidth = 1;
  pen.strokeRect(x + 0.5, y + 0.5, width - 1, height - 1);
  pen.fillStyle = INK;
  pen.textAlign = "left";
  pen.textBaseline = "middle";
  pen.font = `13px ${FONT}`;
  pen.fillText(scale.unit, x, y - 13);
  let ticks = ticksOf(scale);
  while (ticks.length * 16 > height && ticks.length > 2) ticks = ticks.filter((_, n) => n % 2 === 0);
  for (const { value, text } of ticks) {
    const at = y + height * (1 - (value - scale.low) / (scale.high - scale.low));
    pen.fillRect(x + width, at - 0.5, 5, 1);
    pen.fillText(text, x + width + 8, Math.max(y + 5, Math.min(y + height - 5, at)));
  }
}

// Outlines, names, corner marks, probes, the hot spot and isolines' values over a figure.
export function drawMarks(figure, marks, spot, place, isRested) {
  const pen = figure.marks.getContext("2d"), { frame } = figure;
  pen.clearRect(0, 0, frame.width, frame.height);
  figure.named = marksOnto(pen, frame, marks, spot, place);
  if (isRested && figure.scale.lines) labelsOnto(pen, figure, spot);
}

// Where names were written is given back.
export function marksOnto(pen, frame, marks, spot, place) {
  const unit = frame.ratio, named = [];
  pen.lineJoin = "round";
  for (const body of marks.bodies) ringsOnto(pen, frame, body.rings, (body.plate ? 1.8 : 1) * unit);
  for (const each of marks.components) {
    ringsOnto(pen, frame, each.rings, 1 * unit);
    const at = nameOnto(pen, frame, each, spot);
    if (at) named.push(at);
  }
  for (const corner of marks.corners) cornerOnto(pen, frame, corner);
  for (const probe of marks.probes) {
    const [x, y] = toPixel(frame, ...probe.at);
    pen.beginPath();
    pen.arc(x, y, 3.5 * unit, 0, 2 * Math.PI);
    pen.fillStyle = "#ffffff";
    pen.fill();
    pen.lineWidth = 1.5 * unit;
    pen.strokeStyle = INK;
    pen.stroke();
  }
  if (spot) spotOnto(pen, frame, spot);
  if (place) crossOnto(pen, frame, place);
  return named;
}

function ringsOnto(pen, frame, rings, width) {
  pen.beginPath();
  for (const ring of rings) {
    ring.forEach((point, n) => pen[n ? "lineTo" : "moveTo"](...toPixel(frame, ...point)));
    pen.closePath();
  }
  pen.strokeStyle = HALO;
  pen.lineWidth = width + 1.6 * frame.ratio;
  pen.stroke();
  pen.strokeStyle = INK;
  pen.lineWidth = width;
  pen.stroke();
}

function boxOf(frame, rings) {
  const points = rings[0].map((point) => toPixel(frame, ...point));
  const xs = points.map((p) => p[0]), ys = points.map((p) => p[1]);
  return [Math.min(...xs), Math.min(...ys), Math.max(...xs), Math.max(...ys)];
}

export function textOnto(pen, text, x, y, size, align = "center", bold = false) {
  pen.font = `${bold ? "600 " : ""}${size}px ${FONT}`;
  pen.textAlign = align;
  pen.textBaseline = "middle";
  pen.lineJoin = "round";
  pen.strokeStyle = HALO;
  pen.lineWidth = 0.3 * size;
  pen.strokeText(text, x, y);
  pen.fillStyle = INK;
  pen.fillText(text, x, y);
}

function nameOnto(pen, frame, each, spot) {
  const [left, top, right, bottom] = boxOf(frame, each.rings);
  let size = 12.5 * frame.ratio;
  pen.font = `${size}px ${FONT}`;
  const room = right - left - 4 * frame.ratio, width = pen.measureText(each.name).width;
  if (width > room) size *= room / width;
  if (size < 7 * frame.ratio || bottom - top < 1.4 * size) return null;
  // At the side of the footprint that is farther from the hot spot.
  const isLow = spot && toPixel(frame, ...spot.at)[1] < (top + bottom) / 2;
  const at = [(left + right) / 2, isLow ? bottom - 0.8 * size : top + 0.8 * size];
  textOnto(pen, each.name, ...at, size);
  return at;
}

function cornerOnto(pen, frame, corner) {
  const [left, bottom, right, top] = corner.box;
  const [x, y] = toPixel(frame, corner.x ? right : left, corner.y ? top : bottom);
  const side = Math.min(14 * frame.ratio, ((right - left) * frame.scale) / 3);
  pen.beginPath();
  pen.moveTo(x, y);
  pen.lineTo(x + (corner.x ? -side : side), y);
  pen.lineTo(x, y + (corner.y ? side : -side));
  pen.closePath();
  pen.fillStyle = "#ffffff";
  pen.fill();
  pen.strokeStyle = INK;
  pen.lineWidth = 1.5 * frame.ratio;
  pen.stroke();
}

function spotOnto(pen, frame, spot) {
  const [x, y] = toPixel(frame, ...spot.at), arm = 8 * frame.ratio;
  for (const [colour, width] of [["#ffffff", 4.5], [INK, 1.8]]) {
    pen.strokeStyle = colour;
    pen.lineWidth = width * frame.ratio;
    pen.beginPath();
    pen.moveTo(x - arm, y);
    pen.lineTo(x + arm, y);
    pen.moveTo(x, y - arm);
    pen.lineTo(x, y + arm);
    pen.stroke();
  }
  const words = spotWords(pen, frame, spot);
  textOnto(pen, spot.text, words.x, words.y, words.size, words.side > 0 ? "left" : "right", true);
}

// Where the hot spot's words stand: beside its cross, to the side (1 right, -1 left) where there is room.
function spotWords(pen, frame, spot) {
  const [x, y] = toPixel(frame, ...spot.at), size = 13.5 * frame.ratio, gap = 11 * frame.ratio;
  pen.font = `600 ${size}px ${FONT}`;
  const width = pen.measureText(spot.text).width;
  const side = x + gap + width + 5 * frame.ratio > frame.width ? -1 : 1;
  return { x: x + side * gap, y: y - 0.9 * size, size, side, width };
}

function crossOnto(pen, frame, place) {
  const [x, y] = toPixel(frame, ...place);
  pen.beginPath();
  pen.arc(x, y, 6 * frame.ratio, 0, 2 * Math.PI);
  pen.moveTo(x, y - 10 * frame.ratio);
  pen.lineTo(x, y + 10 * frame.ratio);
  pen.moveTo(x - 10 * frame.ratio, y);
  pen.lineTo(x + 10 * frame.ratio, y);
  pen.strokeStyle = HALO;
  pen.lineWidth = 3.5 * frame.ratio;
  pen.stroke();
  pen.strokeStyle = INK;
  pen.lineWidth = 1.2 * frame.ratio;
  pen.stroke();
}

// A value on each isoline where there is room: places on a coarse lattice of scan lines, apart from each other and from edges.
export function labelsOnto(pen, figure, spot) {
  const { frame, values, scale, layerOf } = figure;
  const apart = 64 * frame.ratio, taken = [...figure.named], done = new Map();
  if (spot) {
    const words = spotWords(pen, frame, spot);
    for (const share of [0, 0.5, 1]) taken.push([words.x + words.side * share * words.width, words.y]);
  }
  const digits = digitsOf(scale.step), clear = Math.round(16 * frame.ratio);
  const every = Math.max(7, Math.round(11 * frame.ratio));
  for (let py = clear; py < frame.height - clear; py += every) {
    for (let px = clear; px < frame.width - clear; px++) {
      const at = py * frame.width + px, value = values[at], next = values[at + 1];
      if (value !== value || next !== next) continue;
      const level = Math.floor(value / scale.step), other = Math.floor(next / scale.step);
      if (level === other || layerOf[at] !== layerOf[at + 1]) continue;
      const crossed = Math.max(level, other);
      if ((done.get(crossed) || 0) >= 2 || !isClear(layerOf, at, frame.width, clear)) continue;
      if (taken.some(([x, y]) => Math.hypot(x - px, 1.6 * (y - py)) < apart)) continue;
      taken.push([px, py]);
      done.set(crossed, (done.get(crossed) || 0) + 1);
      textOnto(pen, numberText(crossed * scale.step, digits), px, py, 10.5 * frame.ratio);
    }
  }
}

function isClear(layerOf, at, width, clear) {
  const own = layerOf[at];
  return [-clear, clear, -clear * width, clear * width].every((step) => layerOf[at + step] === own);
}

// The value [plan mm] -> number, or NaN beside the bodies.
export function valueAt(figure, place) {
  if (!figure.values) return NaN;
  const [x, y] = toPixel(figure.frame, ...place).map(Math.floor);
  const { width, height } = figure.frame;
  return x >= 0 && y >= 0 && x < width && y < height ? figure.values[y * width + x] : NaN;
}

export function placeOf(figure, event) {
  const box = figure.marks.getBoundingClientRect();
  const px = ((event.clientX - box.left) / box.width) * figure.frame.width;
  const py = ((event.clientY - box.top) / box.height) * figure.frame.height;
  return toPlan(figure.frame, px, py);
}
