// The page: opening designs, keeping one for comparison, and what its buttons do.

import { again, changed, complain, hideFaults, layerOf, question, show } from "./asking.js";
import { buildControls } from "./controls.js";
import { showExports } from "./exports.js";
import { placeOf } from "./figure.js";
import { tableOf as coloursOf } from "./scale.js";
import { ask, askJson, askPicture, Refused, upload } from "./server.js";
import { probeAt, probeByKey, showPictures } from "./sight.js";
import { $, figures, paragraph, say, state } from "./state.js";

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

function wire() {
  $("view").addEventListener("change", () => {
    state.view = $("view").value;
    refreshA();
    again();
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
