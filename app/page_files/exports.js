// What can be taken away: the study, the picture, and the files of a full solve.

import { barOnto, textOnto } from "./figure.js";

const NAMES = { "study.toml": "Study (study.toml)", "fields.vtu": "Fields (fields.vtu)", "result.json": "Result (result.json)", "report.html": "Report (report.html)" };

export function showExports(state, figures, { ask, question, complain, say }) {
  const menu = document.getElementById("exports"), list = document.getElementById("export-list");
  const add = (name, title, make) => {
    const button = document.createElement("button");
    button.type = "button";
    button.textContent = title;
    button.dataset.export = name;
    button.addEventListener("click", async () => {
      menu.open = false;
      say(`making ${name}…`, "waiting");
      try {
        save(name, await make());
        say(`${name} is with your downloads`, "confirmed");
      } catch (error) {
        complain(error);
      }
    });
    list.append(button);
  };
  const fetched = (path) => async () => new Blob([await (await ask(path, question())).arrayBuffer()]);
  add("study.toml", NAMES["study.toml"], fetched("/api/study"));
  add("picture.png", "Picture (picture.png)", () => picture(state, figures));
  for (const name of state.exports) add(name, NAMES[name] || name, fetched(`/api/export/${name}`));
  document.addEventListener("click", (event) => menu.contains(event.target) || (menu.open = false));
  menu.addEventListener("keydown", (event) => {
    if (event.key !== "Escape") return;
    menu.open = false;
    menu.querySelector("summary").focus();
  });
}

function save(name, blob) {
  const link = document.createElement("a");
  link.href = URL.createObjectURL(blob);
  link.download = name;
  link.click();
  setTimeout(() => URL.revokeObjectURL(link.href), 10_000);
}

// The figures that are shown, with title, captions and bars, as one picture on white.
export function picture(state, figures) {
  const shown = Object.values(figures).filter((each) => !each.element.hidden);
  const { frame } = shown[0], unit = frame.ratio, gap = 16 * unit, bar = 84 * unit, head = 64 * unit, foot = 40 * unit;
  const canvas = document.createElement("canvas");
  canvas.width = shown.length * (frame.width + bar + gap) + gap;
  canvas.height = head + frame.height + foot;
  const pen = canvas.getContext("2d");
  pen.fillStyle = "#ffffff";
  pen.fillRect(0, 0, canvas.width, canvas.height);
  textOnto(pen, state.title, gap, 24 * unit, 18 * unit, "left", true);
  const kind = state.shown.confirmed ? "confirmed by the full solve" : "preview, not confirmed";
  textOnto(pen, `${state.shown.case}; ${kind}`, gap, 48 * unit, 13 * unit, "left");
  shown.forEach((figure, number) => {
    const x = gap + number * (frame.width + bar + gap);
    pen.drawImage(figure.field, x, head);
    pen.drawImage(figure.marks, x, head);
    pen.save();
    pen.translate(x + frame.width + 4 * unit, head);
    pen.scale(unit, unit);
    barOnto(pen, 0, 26, frame.height / unit - 40, figure.scale, state.colours[figure.scale.colours]);
    pen.restore();
    const words = figure.element.querySelector("figcaption").textContent;
    textOnto(pen, words, x, head + frame.height + 20 * unit, 12 * unit, "left");
  });
  return new Promise((resolve) => canvas.toBlob(resolve, "image/png"));
}
