// What is asked of the server, and when: one quick question at a time, the newest next; the full solve when the hand rests.

import { clearFaults, placeFaults } from "./controls.js";
import { showNumbers } from "./numbers.js";
import { numberText } from "./scale.js";
import { askJson, askPicture, Refused } from "./server.js";
import { showPictures } from "./sight.js";
import { $, paragraph, say, state } from "./state.js";

const REST = 400; // ms after which a hand is taken to rest

export const question = () => ({
  design: state.design, edits: [...state.edits].map(([path, value]) => [JSON.parse(path), value]),
  case: state.case, view: state.view, component: state.component, known: [...state.geometry.keys()],
});

const line = { wanted: false, busy: false, timer: 0, fullBusy: false };

export function changed() {
  state.version++;
  document.body.dataset.version = state.version;
  say("solving…", "waiting");
  state.caseRows.clear();
  line.wanted = true;
  clearTimeout(line.timer);
  pump();
}

// The same design once more: another view, or another component's budget.
export function again() {
  line.wanted = true;
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
      showNumbers(again);
    } catch (error) {
      if (version === state.version && !(error instanceof Refused)) throw error;
      state.caseRows.set(name, { case: name, limiting: "no answer", margin_K: null, factor: null, margins: [] });
    }
  }
}

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

export function layerOf(about, number, arrays) {
  const values = arrays[`${number} values`];
  if (about.kind === "rectangles") return { kind: "rectangles", boxes: arrays[`${number} boxes`], values };
  if (arrays[`${number} nodes`]) {
    state.geometry.set(about.key, { nodes: arrays[`${number} nodes`], elements: arrays[`${number} elements`] });
    while (state.geometry.size > 1500) state.geometry.delete(state.geometry.keys().next().value);
  }
  return { kind: "triangles", key: about.key, ...state.geometry.get(about.key), values };
}

export function show() {
  showPictures();
  showNumbers(again);
}

export function complain(error) {
  if (!(error instanceof Refused)) throw error;
  state.refused = true;
  const isOpen = !$("desk").hidden;
  const rest = isOpen ? placeFaults(state.fields, error.faults) : error.faults;
  const texts = [...(error.failure ? [error.failure] : []), ...rest.map((each) => each.text)];
  const box = $("faults");
  box.replaceChildren(...texts.map(paragraph));
  box.hidden = texts.length === 0;
  document.body.dataset.complaint = state.version;
  if (isOpen) say("not solved; the picture shows the last sound design", "wrong");
}

export function hideFaults() {
  $("faults").hidden = true;
  $("faults").replaceChildren();
  clearFaults(state.fields);
}
