// What can be taken away: the study, the picture, and the files of a full solve.

import { barOnto, labelsOnto, marksOnto, textOnto } from "./figure.js";
import { frameOf, rasterOf, valuesOf } from "./raster.js";
import { paint } from "./scale.js";

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

const WIDTH = 900, BAR = 110, GAP = 28, LINE = 24; // px of the picture that is taken away
const RATIO = 1.6; // by which lines and words are larger in it than on the page

// The figures that are shown, drawn anew at a size of their own, with title, captions and bars, on white.
export function picture(state, figures) {
  const shown = Object.values(figures).filter((each) => !each.element.hidden);
  const box = boxOf(shown[0].frame);
  const height = Math.round(Math.min(WIDTH, (WIDTH * (box[3] - box[1])) / (box[2] - box[0])));
  const frame = { ...frameOf(box, WIDTH, height, 0), ratio: RATIO };
  const canvas = document.createElement("canvas");
  canvas.width = GAP + shown.length * (WIDTH + BAR + GAP);
  canvas.height = 110 + height + 4 * LINE;
  const pen = canvas.getContext("2d");
  pen.fillStyle = "#ffffff";
  pen.fillRect(0, 0, canvas.width, canvas.height);
  textOnto(pen, state.title, GAP, 36, 28, "left", true);
  const kind = state.shown.confirmed ? "confirmed by the full solve" : "preview, not confirmed";
  textOnto(pen, `Case: ${state.shown.case}; ${kind}`, GAP, 74, 20, "left");
  shown.forEach((figure, number) => {
    const x = GAP + number * (WIDTH + BAR + GAP);
    pen.drawImage(drawn(figure, frame, state.colours[figure.scale.colours]), x, 104);
    pen.save();
    pen.translate(x + WIDTH + 8, 100);
    pen.scale(RATIO, RATIO);
    barOnto(pen, 0, 26, height / RATIO - 26, figure.scale, state.colours[figure.scale.colours]);
    pen.restore();
    const words = figure.element.querySelector("figcaption").textContent;
    linesOf(pen, words, WIDTH + BAR - 10).forEach((line, n) => textOnto(pen, line, x, 104 + height + (n + 1) * LINE, 20, "left"));
  });
  return new Promise((resolve) => canvas.toBlob(resolve, "image/png"));
}

const boxOf = (frame) => [
  frame.left, frame.top - frame.height / frame.scale, frame.left + frame.width / frame.scale, frame.top,
];

function drawn(figure, frame, table) {
  const { layers, less, marks, spot } = figure.content;
  const [values, layerOf] = less ? differenceAt(frame, less) : valuesAt(frame, layers);
  const canvas = document.createElement("canvas");
  canvas.width = frame.width;
  canvas.height = frame.height;
  const pen = canvas.getContext("2d"), image = new ImageData(frame.width, frame.height);
  paint(new Uint32Array(image.data.buffer), values, layerOf, frame.width, figure.scale, table, 0.95 * RATIO);
  pen.putImageData(image, 0, 0);
  const named = marksOnto(pen, frame, marks, spot, null);
  if (figure.scale.lines) labelsOnto(pen, { frame, values, layerOf, scale: figure.scale, named }, spot);
  return canvas;
}

function valuesAt(frame, layers) {
  const raster = rasterOf(frame, layers.map((each) => (each.kind === "triangles" ? each : null)));
  return [valuesOf(raster, layers), raster.layerOf];
}

function differenceAt(frame, [after, before]) {
  const [values, layerOf] = valuesAt(frame, after), [others] = valuesAt(frame, before);
  return [values.map((value, n) => value - others[n]), layerOf];
}

// A text as lines of at most a width [px] in the font that `textOnto` uses at this size.
function linesOf(pen, text, width) {
  pen.font = "20px system-ui, 'Segoe UI', 'Noto Sans', 'DejaVu Sans', sans-serif";
  const lines = [""];
  for (const word of text.split(" ")) {
    const longer = `${lines.at(-1)} ${word}`.trim();
    if (pen.measureText(longer).width <= width) lines[lines.length - 1] = longer;
    else lines.push(word);
  }
  return lines.slice(0, 3);
}
