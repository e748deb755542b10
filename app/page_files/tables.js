// The numbers beside the picture, as tables; with a design A beside the present one where there is one.

import { numberText } from "./scale.js";

const one = (value, digits = 1) => (value === null || value === undefined ? "–" : numberText(value, digits));
const signed = (value, digits = 1) =>
  value === null || value === undefined ? "–" : (value > 0 ? "+" : "") + numberText(value, digits);

function element(name, text, className) {
  const made = document.createElement(name);
  if (text !== undefined) made.textContent = text;
  if (className) made.className = className;
  return made;
}

// A table: caption, heads, rows of texts or elements; the first cell of a row is its head.
export function tableOf(caption, heads, rows, note) {
  const holder = element("div", undefined, "table");
  holder.tabIndex = 0;
  holder.setAttribute("role", "region");
  holder.setAttribute("aria-label", caption);
  const table = element("table");
  table.append(element("caption", caption));
  const top = element("tr");
  for (const head of heads) {
    const cell = element("th", head);
    cell.scope = "col";
    top.append(cell);
  }
  const head = element("thead");
  head.append(top);
  const body = element("tbody");
  for (const row of rows) body.append(rowOf(row));
  table.append(head, body);
  holder.append(table);
  if (note) holder.append(element("p", note, "quiet"));
  return holder;
}

function rowOf(row) {
  const made = element("tr", undefined, row.className);
  (row.cells || row).forEach((cell, number) => {
    const box = element(number ? "td" : "th");
    if (!number) box.scope = "row";
    else if (typeof cell === "string" && cell.length > 24) box.className = "words";
    box.append(cell instanceof Node ? cell : document.createTextNode(cell));
    made.append(box);
  });
  return made;
}

const MANY = 8, WORST = 6; // components: of more than so many only the worst are listed, until all are asked for

// The components in their order; of many those with the least margins, the worst first.
function listed(numbers, isWhole) {
  const all = numbers.components;
  if (isWhole || all.length <= MANY) return all;
  const worse = (a, b) => (a.margin_K ?? Infinity) - (b.margin_K ?? Infinity) || b.peak_degC - a.peak_degC;
  return [...all].sort(worse).slice(0, WORST);
}

export const isMany = (numbers) => numbers.components.length > MANY;

export function marginsTable(numbers, other, isWhole) {
  const byName = new Map((other?.components || []).map((each) => [each.name, each]));
  // Beside another design only what is compared.
  const hasError = !other && numbers.components.some((each) => each.error_K !== null);
  const heads = ["component", ...(other ? [] : ["W"]), "peak °C", ...(hasError ? ["± K"] : []), "limit", "margin K", ...(other ? ["A: K", "gain K"] : [])];
  const shown = listed(numbers, isWhole), left = numbers.components.length - shown.length;
  const rows = shown.map((each) => {
    const before = byName.get(each.name);
    const gain = before && each.margin_K !== null && before.margin_K !== null ? each.margin_K - before.margin_K : null;
    const cells = [each.name, ...(other ? [] : [powerText(each.power_W)]), one(each.peak_degC), ...(hasError ? [errorText(each.error_K)] : []), one(each.limit_degC), marginCell(each.margin_K)];
    if (other) cells.push(before ? marginCell(before.margin_K) : "–", signed(gain));
    return { cells, className: each.name === numbers.limiting ? "limiting" : "" };
  });
  const others = left ? `The other ${left} have more margin. ` : "";
  const note = numbers.limiting ? `Limits: ${numbers.limiting}. ` : "No component has a limit. ";
  return tableOf("Peaks and margins", heads, rows, `${others}${note}Rises count from the ${numbers.reference.name}, ${one(numbers.reference.degC)} °C.`);
}

const powerText = (watts) => String(Number(watts.toPrecision(4)));
const errorText = (error) => (error === null ? "–" : error < 0.05 ? "<0.1" : numberText(error, 1));

function marginCell(margin) {
  const text = signed(margin);
  if (margin === null || margin >= 0) return document.createTextNode(text);
  return element("strong", `${text} over`, "over");
}

// The budget of a component beside the lumped chain and, where there is one, beside design A's.
export function budgetTable(numbers, name, other) {
  const budget = numbers.budgets.find((each) => each.component === name);
  if (!budget) return element("p", "No power is asked of this component: it has no budget.", "quiet");
  const { chain } = numbers;
  const before = other?.budgets.find((each) => each.component === name);
  const old = new Map((before?.steps || []).map((step) => [step.name, step.K]));
  const most = Math.max(...budget.steps.map((step) => Math.abs(step.K)), 1e-9);
  const heads = ["step", "K", "size", "W", "lumped K", ...(before ? ["A: K"] : [])];
  const rows = budget.steps.map((step) => [
    step.name + (step.shared ? " *" : ""), one(step.K), barOf(step.K / most), String(Number(step.heat_W.toPrecision(3))),
    step.name in chain ? one(chain[step.name]) : "–", ...(before ? [old.has(step.name) ? one(old.get(step.name)) : "–"] : []),
  ]);
  const lumped = Object.values(chain).reduce((sum, each) => sum + each, 0);
  rows.push({ cells: ["sum", one(budget.total_K), "", "", one(lumped), ...(before ? [one(before.total_K)] : [])], className: "sum" });
  const note = budget.steps.some((step) => step.shared) ? "* other components' heat takes part in this step" : "";
  return tableOf(`Budget of ${name}: from the hot spot to the reference`, heads, rows, note);
}

function barOf(share) {
  const bar = element("span", undefined, "measure");
  const inner = element("span");
  inner.style.width = `${Math.max(0, 100 * share)}%`;
  bar.append(inner);
  return bar;
}

// Tables that only a full solve fills; while a preview is shown they are those of the last one, and say so.
const ofWhich = (isOld) => (isOld ? " – of the last full solve" : "");

export function estimatesTable(full, name, isOld) {
  const lumped = full?.lumped.find((each) => each.component === name);
  const peak = full?.components.find((each) => each.name === name)?.peak_degC;
  if (!lumped || peak === undefined) return null;
  const solved = peak - full.reference.degC;
  const rows = lumped.estimates.map((each) => [
    each.name, one(each.rise_K), each.rise_K === null ? "–" : signed(each.rise_K - solved), each.reason,
  ]);
  rows.push({ cells: ["solved peak", one(solved), "", ""], className: "sum" });
  return tableOf(`Lumped estimates of ${name}'s rise${ofWhich(isOld)}`, ["estimate", "K", "less solved", "mind"], rows);
}

export function ladderTable(full, name, isOld) {
  const ladder = full?.ladders.find((each) => each.component === name);
  if (!ladder) return null;
  const rows = ladder.rungs.map((rung) => [rung.name, one(rung.rise_K), rung.change_K === null ? "" : signed(rung.change_K)]);
  return tableOf(`From the lumped estimate to the solution, one assumption replaced at a time${ofWhich(isOld)}`, ["now with", "rise K", "change K"], rows);
}

export function spreadingTable(full, isOld) {
  if (!full?.spreading.length) return null;
  const rows = full.spreading.map((each) => [each.component, each.body, one(each.maximum_K_per_W, 4), one(each.mean_K_per_W, 4)]);
  return tableOf(`Spreading resistance, each component's heat alone${ofWhich(isOld)}`, ["component", "in", "max K/W", "mean K/W"], rows);
}

export function sustainableText(full, isOld) {
  const found = full?.sustainable;
  if (!found) return "";
  const words = found.factor === null ? "no limit is ever met, however much the power grows"
    : found.factor === 0 ? `${found.limiting} is beyond its limit even without power`
      : `${numberText(found.power, 1)} W together, ${numberText(found.factor, 3)} of what is asked; ${found.limiting} limits`;
  return `Sustainable power: ${words}${ofWhich(isOld)}.`;
}

export function probesTable(numbers, other) {
  if (!numbers.probes.length) return null;
  const old = new Map((other?.probes || []).map((each) => [each.name, each.degC]));
  const rows = numbers.probes.map((each) => [each.name, one(each.degC), ...(other ? [old.has(each.name) ? one(old.get(each.name)) : "–"] : [])]);
  return tableOf("Probes", ["probe", "°C", ...(other ? ["A: °C"] : [])], rows);
}

export function flowsTable(numbers) {
  if (!numbers.flows.length) return null;
  const rows = numbers.flows.map((each) => [each.name, each.fluid, one(each.grams_per_s, 2), one(each.in_degC), one(each.out_degC), powerText(each.heat_W)]);
  return tableOf("Flows", ["flow", "of", "g/s", "in °C", "out °C", "takes W"], rows);
}

export function casesTable(rows, chosen) {
  const least = Math.min(...rows.map((each) => each.margin_K ?? Infinity));
  const made = rows.map((each) => ({
    cells: [each.case + (each.case === chosen ? " (shown)" : ""), each.limiting || "–", marginCell(each.margin_K ?? null), each.factor === null ? "–" : one(each.factor, 3)],
    className: each.margin_K === least ? "limiting" : "",
  }));
  return tableOf("Load cases", ["case", "limits", "margin K", "power ×"], made, "power ×: by how much all power may change until the first limit is met.");
}
