// Fields as pixels: each pixel keeps its triangle and its place in it, so that new values are a few products each.

// The part of the plan that is shown [mm] on so many pixels, the same scale along x and y, y upward.
export function frameOf(box, width, height, border) {
  const [left, bottom, right, top] = box;
  const scale = Math.min((width - 2 * border) / (right - left), (height - 2 * border) / (top - bottom));
  return {
    width, height, scale,
    left: (left + right) / 2 - width / 2 / scale,
    top: (bottom + top) / 2 + height / 2 / scale,
  };
}

export const toPixel = (frame, x, y) => [(x - frame.left) * frame.scale, (frame.top - y) * frame.scale];
export const toPlan = (frame, px, py) => [frame.left + px / frame.scale, frame.top - py / frame.scale];

// Pixels of all triangles of layers of geometry {nodes, elements}: later layers lie over earlier ones.
export function rasterOf(frame, layers) {
  const { width, height } = frame;
  const owner = new Int32Array(width * height).fill(-1);
  const b = new Float32Array(width * height), c = new Float32Array(width * height);
  const layerOf = new Int16Array(width * height).fill(-1);
  const starts = [];
  let count = 0;
  layers.forEach((layer, number) => {
    starts.push(count);
    if (!layer) return;
    const triangles = layer.elements.length / 6;
    for (let t = 0; t < triangles; t++) {
      fill(frame, layer, t, count + t, number, owner, layerOf, b, c);
    }
    count += triangles;
  });
  return { frame, starts, count, layerOf, ...sorted(owner, count, b, c) };
}

function fill(frame, layer, t, mark, number, owner, layerOf, b, c) {
  const { nodes, elements } = layer;
  const corner = (k) => toPixel(frame, nodes[2 * elements[6 * t + k]], nodes[2 * elements[6 * t + k] + 1]);
  const [x0, y0] = corner(0), [x1, y1] = corner(1), [x2, y2] = corner(2);
  const ux = x1 - x0, uy = y1 - y0, vx = x2 - x0, vy = y2 - y0;
  const area = ux * vy - uy * vx;
  if (!area) return;
  const low = Math.max(0, Math.floor(Math.min(y0, y1, y2) - 0.5));
  const high = Math.min(frame.height - 1, Math.ceil(Math.max(y0, y1, y2) + 0.5));
  const left = Math.max(0, Math.floor(Math.min(x0, x1, x2) - 0.5));
  const right = Math.min(frame.width - 1, Math.ceil(Math.max(x0, x1, x2) + 0.5));
  const slack = 1e-6;
  for (let py = low; py <= high; py++) {
    const dy = py + 0.5 - y0;
    for (let px = left; px <= right; px++) {
      const dx = px + 0.5 - x0;
      const bb = (dx * vy - dy * vx) / area, cc = (ux * dy - uy * dx) / area;
      if (bb < -slack || cc < -slack || bb + cc > 1 + slack) continue;
      const at = py * frame.width + px;
      owner[at] = mark;
      layerOf[at] = number;
      b[at] = bb;
      c[at] = cc;
    }
  }
}

// Pixels in the order of their triangles, so that a triangle's six values are read once.
function sorted(owner, count, b, c) {
  const first = new Int32Array(count + 1);
  for (const mark of owner) if (mark >= 0) first[mark + 1]++;
  for (let t = 0; t < count; t++) first[t + 1] += first[t];
  const next = first.slice(0, count);
  const pixels = new Int32Array(first[count]);
  const places = new Float32Array(2 * first[count]);
  for (let at = 0; at < owner.length; at++) {
    if (owner[at] < 0) continue;
    const slot = next[owner[at]]++;
    pixels[slot] = at;
    places[2 * slot] = b[at];
    places[2 * slot + 1] = c[at];
  }
  return { first, pixels, places };
}

// Values at all pixels, NaN where nothing is. Nodes of a triangle: corners, then those between corners 01, 12, 02.
export function valuesOf(raster, layers) {
  const { frame, starts, first, pixels, places } = raster;
  const values = new Float32Array(frame.width * frame.height).fill(NaN);
  layers.forEach((layer, number) => {
    if (layer.kind === "rectangles") return;
    const { elements, values: nodal } = layer;
    for (let t = 0, e = 0; e < elements.length; t++, e += 6) {
      const begin = first[starts[number] + t], end = first[starts[number] + t + 1];
      if (begin === end) continue;
      const v0 = nodal[elements[e]], v1 = nodal[elements[e + 1]], v2 = nodal[elements[e + 2]];
      const v01 = nodal[elements[e + 3]], v12 = nodal[elements[e + 4]], v02 = nodal[elements[e + 5]];
      const kb = 4 * v01 - 3 * v0 - v1, kc = 4 * v02 - 3 * v0 - v2;
      const kbb = 2 * (v0 + v1 - 2 * v01), kcc = 2 * (v0 + v2 - 2 * v02);
      const kbc = 4 * (v0 + v12 - v01 - v02);
      for (let slot = begin; slot < end; slot++) {
        const b = places[2 * slot], c = places[2 * slot + 1];
        values[pixels[slot]] = v0 + b * (kb + kbb * b + kbc * c) + c * (kc + kcc * c);
      }
    }
  });
  layers.forEach((layer, number) => {
    if (layer.kind === "rectangles") fillBoxes(raster, layer, number, values);
  });
  return values;
}

function fillBoxes(raster, layer, number, values) {
  const { frame, layerOf } = raster;
  for (let n = 0; n < layer.values.length; n++) {
    const [x0, y1] = toPixel(frame, layer.boxes[4 * n], layer.boxes[4 * n + 1]);
    const [x1, y0] = toPixel(frame, layer.boxes[4 * n + 2], layer.boxes[4 * n + 3]);
    const left = Math.max(0, Math.round(x0)), right = Math.min(frame.width, Math.round(x1));
    const top = Math.max(0, Math.round(y0)), bottom = Math.min(frame.height, Math.round(y1));
    for (let py = top; py < bottom; py++) {
      values.fill(layer.values[n], py * frame.width + left, py * frame.width + right);
      layerOf.fill(number, py * frame.width + left, py * frame.width + right);
    }
  }
}
