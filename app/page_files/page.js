// The page: what is open, what was changed, what is shown; and the order in which it is asked for.

import { ask, askJson, askPicture, Refused, upload } from "./server.js";
import { buildControls, clearFaults, placeFaults } from "./controls.js";
import { draw, drawMarks, evaluate, figureOf, frameFor, placeOf, valueAt } from "./figure.js";
import { differenceScale, digitsOf, numberText, rangeFor, rangeOf, scaleOf, tableOf as coloursOf } from "./scale.js";
import { showExports } from "./exports.js";
import * as tables from "./tables.js";

const REST = 400; // ms after which a hand is taken to rest
const $ = (id) => document.getElementById(id);

const state = {
  colours: {}, exports: [],
  design: "", title: "", case: "as written", cases: [], view: "temperature", views: [], groups: [], edits: new Map(),
  version: 0, // of the design: grows with every change
  shown: null, // the last picture that came: {numbers, layers, marks, view, confirmed, version}
  a: null, // the design kept for comparison, as `shown`, with what it was asked by
  geometry: new Map(), // of layers by their keys
  fields: [], open: new Map(), place: null, scale: null, component: "", caseRows: new Map(),
};
const figures = { a: figureOf($("figure-a")), now: figureOf($("figure-now")), difference: figureOf($("figure-difference")) };

// ---- asking -----------------------------------------------------------------------------------------------------------------

const question = () => ({
  design: state.design, edits: [...state.edits].map(([path, value]) => [JSON.parse(path), value]),
  case: state.case, view: state.view, component: state.component, known: [...state.geometry.keys()],
});

const line = { wanted: false, busy: false, timer: 0, fullBusy: false };

function changed() {
  state.version++;
  document.body.dataset.version = state.version;
  say("solving…", "waiting");
  state.caseRows.clear();
  line.wanted = true;
  clearTimeout(line.timer);
  pump();
}

// One quick question at a time; what was wanted meanwhile is asked next, and only the newest of it.
async function pump() {
  if (line.busy) return;
  line.busy = true;
  while (line.wanted) {
    line.wanted = false;
    const version = state.version, asked = question();
    try {
      accept(await askPicture("/api/quick", asked), version, asked);
    } catch (error) {
      if (version === state.version) complain(error);
      else if (!(error instanceof Refused)) throw error;
    }
  }
  line.busy = false;
  clearTimeout(line.timer);
  line.timer = setTimeout(confirm, REST);
}

// When the hand rests: the full solve, which says how far the preview was off.
async function confirm() {
  if (line.fullBusy || state.shown === null || state.refused) return;
  line.fullBusy = true;
  const version = state.version, asked = question(), preview = state.shown;
  if (!(preview.confirmed && preview.version === version)) say("preview – the full solve is at work", "waiting");
  try {
    const reply = await askPicture("/api/full", asked);
    if (version === state.version && asked.view === state.view) {
      accept(reply, version, asked);
      say(confirmation(preview, state.shown), "confirmed");
      document.body.dataset.confirmed = version;
      solveCases();
    }
  } catch (error) {
    if (version === state.version) complain(error);
  }
  line.fullBusy = false;
  if (version !== state.version || asked.view !== state.view) line.timer = setTimeout(confirm, REST);
}

function confirmation(preview, full) {
  const off = differenceOf(preview.numbers, full.numbers);
  const { accuracy } = full.numbers;
  const error = accuracy ? `; numerical error at most ${(100 * accuracy.estimated).toPrecision(2)} % of the rise` : "";
  const missed = accuracy && accuracy.estimated > accuracy.wanted ? ` (not the ${(100 * accuracy.wanted).toPrecision(2)} % asked for)` : "";
  const words = off === null || preview.confirmed ? "" : `: the preview's peaks were off by ${off < 0.05 ? "less than 0.1" : numberText(off, 1)} K`;
  return `confirmed by the full solve${words}${error}${missed}`;
}

function differenceOf(one, other) {
  const peaks = new Map(one.components.map((each) => [each.name, each.peak_degC]));
  const off = other.components.filter((each) => peaks.has(each.name)).map((each) => Math.abs(each.peak_degC - peaks.get(each.name)));
  return off.length ? Math.max(...off) : null;
}

// The other load cases' margins, one after the other while nothing else is wanted.
async function solveCases() {
  if (state.cases.length < 2) return;
  const version = state.version;
  for (const name of state.cases) {
    if (version !== state.version || line.wanted) return;
    if (state.caseRows.has(name)) continue;
    try {
      const row = await askJson("/api/case", { ...question(), case: name });
      if (version !== state.version) return;
      state.caseRows.set(name, row);
      showNumbers();
    } catch (error) {
      if (version === state.version && !(error instanceof Refused)) throw error;
      state.caseRows.set(name, { case: name, limiting: "no answer", margin_K: null, factor: null, margins: [] });
    }
  }
}

// ---- what comes -------------------------------------------------------------------------------------------------------------

function accept({ header, arrays }, version, asked) {
  const layers = header.layers.map((each, number) => layerOf(each, number, arrays));
  state.shown = { ...header, layers, version, asked };
  if (header.confirmed) state.full = header.numbers;
  state.refused = false;
  hideFaults();
  if (asked.view === state.view && header.view.key !== state.view) {
    state.view = header.view.key;
    $("view").value = state.view;
  }
  show();
  document.body.dataset.nodes = header.numbers.plan_nodes;
  if (!header.confirmed) {
    say(header.coarse ? "preview, on a coarse mesh" : "preview", "waiting");
    document.body.dataset.preview = version;
  }
}

function layerOf(about, number, arrays) {
  const values = arrays[`${number} values`];
  if (about.kind === "rectangles") return { kind: "rectangles", boxes: arrays[`${number} boxes`], values };
  if (arrays[`${number} nodes`]) {
    state.geometry.set(about.key, { nodes: arrays[`${number} nodes`], elements: arrays[`${number} elements`] });
    while (state.geometry.size > 1500) state.geometry.delete(state.geometry.keys().next().value);
  }
  return { kind: "triangles", key: about.key, ...state.geometry.get(about.key), values };
}

// ---- showing ----------------------------------------------------------------------------------------------------------------

function show() {
  showPictures();
  showNumbers();
}

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

const comparable = () => state.a !== null && state.a.view.key === state.shown.view.key;

function showPictures() {
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

function showNumbers() {
  const { shown } = state, { numbers } = shown, other = state.a?.numbers;
  const names = numbers.components.map((each) => each.name);
  const name = numbers.shown;
  const parts = [tables.marginsTable(numbers, other, state.isWhole)];
  if (tables.isMany(numbers)) parts.push(wholeButton());
  const isOld = !shown.confirmed, full = isOld ? state.full : numbers;
  if (name) parts.push(chooser(names, name), tables.budgetTable(numbers, name, other));
  if (state.caseRows.size) parts.push(tables.casesTable([...state.caseRows.values()], shown.case));
  if (name) parts.push(tables.estimatesTable(full, name, isOld), tables.ladderTable(full, name, isOld));
  const words = tables.sustainableText(full, isOld);
  if (words) parts.push(paragraph(words, "sustainable"));
  parts.push(tables.flowsTable(numbers), tables.probesTable(numbers, other), tables.spreadingTable(full, isOld));
  const at = $("tables"), focused = document.activeElement?.id;
  at.replaceChildren(...parts.filter(Boolean));
  if (["component", "whole"].includes(focused)) $(focused)?.focus();
  const notes = full?.notes || [];
  $("notes").replaceChildren(...[...new Set([...notes, ...state.cautions.map((each) => `Caution: ${each}`)])].map(paragraph));
}

function chooser(names, name) {
  const label = document.createElement("label"), select = document.createElement("select");
  label.className = "inline";
  select.id = "component";
  for (const each of names) select.append(new Option(each, each, false, each === name));
  select.addEventListener("change", () => {
    state.component = select.value;
    line.wanted = true;
    pump();
  });
  label.append("Budget of ", select);
  return label;
}

function wholeButton() {
  const button = document.createElement("button");
  Object.assign(button, { id: "whole", type: "button", className: "plain", textContent: state.isWhole ? "the worst alone" : "all components" });
  button.addEventListener("click", () => {
    state.isWhole = !state.isWhole;
    showNumbers();
  });
  return button;
}

function paragraph(text, className) {
  const made = document.createElement("p");
  made.textContent = text;
  if (typeof className === "string") made.className = className;
  return made;
}

// ---- saying -----------------------------------------------------------------------------------------------------------------

function say(words, kind) {
  $("status").textContent = words;
  $("status").dataset.kind = kind || "";
}

function complain(error) {
  if (!(error instanceof Refused)) throw error;
  state.refused = true;
  const isOpen = Boolean(state.design);
  const rest = isOpen ? placeFaults(state.fields, error.faults) : error.faults;
  const texts = [...(error.failure ? [error.failure] : []), ...rest.map((each) => each.text)];
  const box = $("faults");
  box.replaceChildren(...texts.map(paragraph));
  box.hidden = texts.length === 0;
  document.body.dataset.complaint = state.version;
  if (isOpen) say("not solved; the picture shows the last sound design", "wrong");
}

function hideFaults() {
  $("faults").hidden = true;
  $("faults").replaceChildren();
  clearFaults(state.fields);
}

// ---- opening ----------------------------------------------------------------------------------------------------------------

async function open(request) {
  say("opening…", "waiting");
  hideFaults();
  try {
    begin(await request());
  } catch (error) {
    state.design ||= "";
    say("", "");
    complain(error);
  }
}

function begin(about) {
  Object.assign(state, {
    design: about.design, title: about.title, cases: about.cases, case: about.case, cautions: about.cautions,
    edits: new Map(), view: "temperature", shown: null, full: null, component: "", place: null, scale: null, refused: false,
  });
  state.open.clear();
  document.title = `${about.title} – Plancha`;
  $("title").textContent = about.title;
  $("start").hidden = true;
  $("desk").hidden = $("tools").hidden = false;
  $("assumed").hidden = !about.assumed.length;
  $("assumed").replaceChildren(...about.assumed.map(paragraph));
  $("case").replaceChildren(...about.cases.map((each) => new Option(each, each)));
  $("case-choice").hidden = about.cases.length < 2;
  take(about);
  changed();
}

// Views and controls of the case that is shown.
function take(about) {
  state.views = about.views;
  state.groups = about.groups;
  const select = $("view");
  const groups = [["", (key) => !key.includes("/")], ["Spreading, coefficients, coolants", (key) => /^(spreading|coefficient|coolant|film)\//.test(key)], ["Faces of bodies", (key) => key.startsWith("face/")]];
  select.replaceChildren();
  for (const [title, belongs] of groups) {
    const options = about.views.filter((each) => belongs(each.key)).map((each) => new Option(each.title, each.key));
    if (!title) select.append(...options);
    else if (options.length) {
      const group = document.createElement("optgroup");
      group.label = title;
      group.append(...options);
      select.append(group);
    }
  }
  select.value = state.view;
  state.fields = buildControls($("controls"), about.groups, state.edits, state.open, edited);
  $("undo").disabled = state.edits.size === 0;
}

function edited(field, value) {
  state.edits.set(field.key, value);
  $("undo").disabled = state.edits.size === 0;
  changed();
}

async function takeCase() {
  try {
    take(await askJson("/api/check", question()));
    changed();
  } catch (error) {
    complain(error);
  }
}

// ---- comparing --------------------------------------------------------------------------------------------------------------

function keep() {
  state.a = { ...state.shown, title: state.title };
  $("drop-a").hidden = false;
  $("keep").textContent = "Keep as A again";
  show();
  say("kept as A: change something and see both", "");
}

async function refreshA() {
  if (!state.a || state.a.view.key === state.view) return;
  const asked = { ...state.a.asked, view: state.view, known: [...state.geometry.keys()] };
  try {
    const { header, arrays } = await askPicture("/api/full", asked);
    const layers = header.layers.map((each, number) => layerOf(each, number, arrays));
    state.a = { ...state.a, ...header, layers };
    if (state.shown) show();
  } catch (error) {
    if (!(error instanceof Refused)) throw error;
  }
}

function dropA() {
  state.a = null;
  $("drop-a").hidden = true;
  $("keep").textContent = "Keep as A";
  show();
}

// ---- the probe --------------------------------------------------------------------------------------------------------------

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

function probeAt(place) {
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

function probeByKey(event) {
  const way = ARROWS[event.key];
  if (!way || !state.shown) return;
  event.preventDefault();
  const [left, bottom, right, top] = state.shown.marks.frame;
  const from = state.place || [(left + right) / 2, (bottom + top) / 2], step = (event.shiftKey ? 0.05 : 0.01) * (right - left);
  probeAt([from[0] + way[0] * step, from[1] + way[1] * step]);
}

// ---- wiring -----------------------------------------------------------------------------------------------------------------

function wire() {
  $("view").addEventListener("change", () => {
    state.view = $("view").value;
    refreshA();
    line.wanted = true;
    pump();
  });
  $("case").addEventListener("change", () => {
    state.case = $("case").value;
    takeCase();
  });
  $("undo").addEventListener("click", () => {
    state.edits.clear();
    takeCase();
  });
  $("hold").addEventListener("change", () => state.shown && showPictures());
  $("keep").addEventListener("click", () => state.shown && keep());
  $("drop-a").addEventListener("click", dropA);
  $("another").addEventListener("click", () => {
    $("start").hidden = false;
    $("desk").hidden = true;
    $("title").textContent = "See a study, change it, compare it";
    say("", "");
    hideFaults();
  });
  $("controls").addEventListener("submit", (event) => event.preventDefault());
  $("probe").addEventListener("submit", (event) => event.preventDefault());
  for (const id of ["probe-x", "probe-y"]) {
    $(id).addEventListener("input", () => {
      const place = [$("probe-x").valueAsNumber, $("probe-y").valueAsNumber];
      if (place.every(Number.isFinite)) probeAt(place);
    });
  }
  for (const figure of Object.values(figures)) {
    figure.marks.addEventListener("pointermove", (event) => state.shown && probeAt(placeOf(figure, event)));
    figure.marks.addEventListener("keydown", probeByKey);
  }
  new ResizeObserver(() => state.shown && requestAnimationFrame(showPictures)).observe($("figures"));
  wireFiles();
}

function wireFiles() {
  const take = (files) => files.length && open(() => upload(files));
  $("files").addEventListener("change", () => {
    take([...$("files").files]);
    $("files").value = "";
  });
  document.addEventListener("dragover", (event) => {
    event.preventDefault();
    document.body.classList.add("dragging");
  });
  document.addEventListener("dragleave", (event) => event.relatedTarget || document.body.classList.remove("dragging"));
  document.addEventListener("drop", (event) => {
    event.preventDefault();
    document.body.classList.remove("dragging");
    take([...event.dataTransfer.files]);
  });
}

async function start() {
  state.cautions = [];
  wire();
  const about = await askJson("/api/start", {});
  $("version").textContent = about.version;
  for (const [name, flat] of Object.entries(about.colours)) state.colours[name] = coloursOf(flat);
  state.exports = about.exports;
  showExports(state, figures, { ask, question, complain, say });
  for (const each of about.examples) {
    const item = document.createElement("li"), button = document.createElement("button");
    button.type = "button";
    button.textContent = each.title;
    button.dataset.example = each.key;
    button.addEventListener("click", () => open(() => askJson("/api/open", { example: each.key })));
    item.append(button);
    $("examples").append(item);
  }
  if (about.first) open(() => askJson("/api/open", { design: about.first }));
  document.body.dataset.ready = "yes";
}

start();
