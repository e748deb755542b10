// The numbers beside the picture, laid out; the tables themselves are made in tables.js.

import { $, paragraph, state } from "./state.js";
import * as tables from "./tables.js";

// `again` asks once more when another component's budget is wanted.
export function showNumbers(again) {
  const { shown } = state, { numbers } = shown, other = state.a?.numbers;
  const names = numbers.components.map((each) => each.name);
  const name = numbers.shown;
  const parts = [tables.marginsTable(numbers, other, state.isWhole)];
  if (tables.isMany(numbers)) parts.push(wholeButton(again));
  const isOld = !shown.confirmed, full = isOld ? state.full : numbers;
  if (name) parts.push(chooser(names, name, again), tables.budgetTable(numbers, name, other));
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

function chooser(names, name, again) {
  const label = document.createElement("label"), select = document.createElement("select");
  label.className = "inline";
  select.id = "component";
  for (const each of names) select.append(new Option(each, each, false, each === name));
  select.addEventListener("change", () => {
    state.component = select.value;
    again();
  });
  label.append("Budget of ", select);
  return label;
}

function wholeButton(again) {
  const button = document.createElement("button");
  Object.assign(button, { id: "whole", type: "button", className: "plain", textContent: state.isWhole ? "the worst alone" : "all components" });
  button.addEventListener("click", () => {
    state.isWhole = !state.isWhole;
    showNumbers(again);
  });
  return button;
}
