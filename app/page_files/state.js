// What the page knows, and the few things that all its parts say and do with it.

import { figureOf } from "./figure.js";

export const $ = (id) => document.getElementById(id);

export const state = {
  colours: {}, exports: [],
  design: "", title: "", case: "as written", cases: [], view: "temperature", views: [], groups: [], edits: new Map(),
  version: 0, // of the design: grows with every change
  shown: null, // the last picture that came: {numbers, layers, marks, view, confirmed, version}
  a: null, // the design kept for comparison, as `shown`, with what it was asked by
  geometry: new Map(), // of layers by their keys
  fields: [], open: new Map(), place: null, scale: null, component: "", caseRows: new Map(),
};

export const figures = { a: figureOf($("figure-a")), now: figureOf($("figure-now")), difference: figureOf($("figure-difference")) };

export function say(words, kind) {
  $("status").textContent = words;
  $("status").dataset.kind = kind || "";
}

export function paragraph(text, className) {
  const made = document.createElement("p");
  made.textContent = text;
  if (typeof className === "string") made.className = className;
  return made;
}
