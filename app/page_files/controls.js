// The form: a control for every value of the study that may be changed, made from what the server says of it.

const LOG_SPAN = Math.log(4); // a slider reaches from a quarter to four times the value as opened
const STEPS = 200;
const KELVINS = 40;
const TEMPERATURES = ["degC", "K", "degF"];

// Build the form. `change(path, value)` is called with every new value, `settled()` when a hand lets go.
export function buildControls(form, groups, edits, open, change) {
  form.replaceChildren();
  const fields = [];
  const kinds = new Set();
  for (const group of groups) {
    const box = document.createElement("details");
    box.className = "group";
    const key = `${group.kind} ${group.title}`;
    box.open = open.has(key) ? open.get(key) : !kinds.has(group.kind) && group.kind !== "probe";
    kinds.add(group.kind);
    box.addEventListener("toggle", () => open.set(key, box.open));
    const summary = document.createElement("summary");
    summary.textContent = group.title;
    box.append(summary);
    const main = group.controls.filter((each) => each.main), rest = group.controls.filter((each) => !each.main);
    for (const each of main) box.append(fieldOf(each, group, edits, change, fields));
    if (rest.length) box.append(moreOf(rest, group, edits, change, fields, open, key, main.length === 0));
    form.append(box);
  }
  return fields;
}

function moreOf(rest, group, edits, change, fields, open, key, isOnly) {
  const more = document.createElement("details");
  more.className = "more";
  more.open = open.get(`${key} more`) ?? isOnly;
  more.addEventListener("toggle", () => open.set(`${key} more`, more.open));
  const summary = document.createElement("summary");
  summary.textContent = isOnly ? "values" : "more";
  more.append(summary, ...rest.map((each) => fieldOf(each, group, edits, change, fields)));
  return more;
}

let count = 0;

function fieldOf(control, group, edits, change, fields) {
  const id = `control-${++count}`;
  const row = document.createElement("div");
  row.className = `field ${control.kind}`;
  const label = document.createElement("label");
  label.htmlFor = id;
  label.textContent = control.label;
  if (control.in_case) {
    const mark = document.createElement("span");
    mark.className = "mark";
    mark.textContent = "this case";
    label.append(" ", mark);
  }
  const key = JSON.stringify(control.path);
  const value = edits.has(key) ? edits.get(key) : control.value;
  const message = document.createElement("p");
  message.className = "message";
  message.id = `${id}-message`;
  message.hidden = true;
  const field = { control, key, row, message, inputs: [], group: group.title };
  MAKERS[control.kind](field, id, value, (next) => change(field, next));
  for (const input of field.inputs) {
    input.title = control.help;
    input.setAttribute("aria-describedby", message.id);
  }
  row.prepend(label);
  row.append(message);
  fields.push(field);
  return row;
}

const MAKERS = { quantity, number, choice, switch: toggle };

function quantity(field, id, value, change) {
  const { control, row } = field;
  const text = document.createElement("input");
  Object.assign(text, { id, type: "text", value: String(value), spellcheck: false });
  text.setAttribute("autocapitalize", "off");
  row.append(text);
  field.inputs.push(text);
  const slider = sliderOf(control);
  text.addEventListener("input", () => {
    if (slider) slider.follow(text.value);
    change(text.value);
  });
  if (!slider) return;
  slider.input.setAttribute("aria-label", `${field.group}, ${control.label}`);
  slider.follow(String(value));
  slider.input.addEventListener("input", () => {
    text.value = slider.text();
    slider.speak();
    change(text.value);
  });
  row.append(slider.input);
  field.inputs.push(slider.input);
}

// A slider around the value as opened; none where that is no positive number.
function sliderOf(control) {
  const { number: middle, unit } = control;
  const isTemperature = control.dimension === "temperature" && TEMPERATURES.includes(unit);
  if (middle === null || middle === undefined || (!isTemperature && !(middle > 0))) return null;
  const input = document.createElement("input");
  Object.assign(input, { type: "range", min: 0, max: STEPS, step: 1 });
  const valueAt = (place) =>
    isTemperature ? middle + (place / STEPS - 0.5) * 2 * KELVINS : middle * Math.exp((place / STEPS - 0.5) * 2 * LOG_SPAN);
  const placeAt = (value) =>
    isTemperature ? ((value - middle) / (2 * KELVINS) + 0.5) * STEPS : (Math.log(value / middle) / (2 * LOG_SPAN) + 0.5) * STEPS;
  const text = () => {
    const value = Number(input.value) === STEPS / 2 ? middle : valueAt(Number(input.value));
    return `${isTemperature ? Number(value.toFixed(1)) : Number(value.toPrecision(3))} ${unit}`;
  };
  const speak = () => input.setAttribute("aria-valuetext", text());
  const follow = (written) => {
    const value = parseFloat(written);
    if (written.trim().endsWith(unit) && Number.isFinite(value) && (isTemperature || value > 0)) {
      input.value = Math.max(0, Math.min(STEPS, Math.round(placeAt(value))));
      input.setAttribute("aria-valuetext", written);
    }
  };
  return { input, text, follow, speak };
}

function number(field, id, value, change) {
  const input = document.createElement("input");
  Object.assign(input, { id, type: "number", step: "any", value: String(value) });
  input.addEventListener("input", () => {
    const next = input.valueAsNumber;
    change(Number.isFinite(next) ? next : input.value);
  });
  field.row.append(input);
  field.inputs.push(input);
}

function choice(field, id, value, change) {
  const select = document.createElement("select");
  select.id = id;
  const { choices } = field.control;
  for (const each of choices.includes(value) ? choices : [value, ...choices]) {
    const option = document.createElement("option");
    option.textContent = each;
    select.append(option);
  }
  select.value = value;
  select.addEventListener("input", () => change(select.value));
  field.row.append(select);
  field.inputs.push(select);
}

function toggle(field, id, value, change) {
  const input = document.createElement("input");
  Object.assign(input, { id, type: "checkbox", checked: Boolean(value) });
  input.addEventListener("input", () => change(input.checked));
  field.row.append(input);
  field.inputs.push(input);
}

// Say each fault beside the control that it points to; what points to none is given back.
export function placeFaults(fields, faults) {
  clearFaults(fields);
  const homeless = [];
  for (const fault of faults) {
    const field = fieldAt(fields, fault.path);
    if (!field) {
      homeless.push(fault);
      continue;
    }
    field.message.hidden = false;
    field.message.textContent += (field.message.textContent ? "\n" : "") + fault.text;
    field.row.classList.add("wrong");
    for (let box = field.row.closest("details"); box; box = box.parentElement.closest("details")) box.open = true;
    for (const input of field.inputs) input.setAttribute("aria-invalid", "true");
  }
  return homeless;
}

function fieldAt(fields, path) {
  if (!path.length) return null;
  const wanted = JSON.stringify(path);
  return fields.find((each) => JSON.stringify(each.control.place) === wanted || each.key === wanted) || null;
}

export function clearFaults(fields) {
  for (const field of fields) {
    field.message.hidden = true;
    field.message.textContent = "";
    field.row.classList.remove("wrong");
    for (const input of field.inputs) input.removeAttribute("aria-invalid");
  }
}
