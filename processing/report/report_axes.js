"use strict";
// Scales, ticks, marks: what all charts are drawn with. Everything is plain SVG.

const SVG = "http://www.w3.org/2000/svg";
const REPORT = JSON.parse(document.getElementById("data").textContent);
const LOOKS = REPORT.looks;
const POINT = 96 / 72; // CSS pixels of a printer's point

function element(name, attributes, text) {
  const made = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, value);
  if (text !== undefined) made.textContent = text;
  return made;
}

const unpacked = new Map();

// An array of a chart: short ones stand there themselves, long ones are numbers of the pool.
function values(place) {
  if (Array.isArray(place)) return place;
  if (!unpacked.has(place)) unpacked.set(place, unpack(REPORT.pool[place]));
  return unpacked.get(place);
}

function unpack(entry) {
  if (entry.steps === undefined) {
    const step = (entry.to - entry.from) / (entry.count - 1);
    return Float64Array.from({ length: entry.count }, (_, index) => entry.from + index * step);
  }
  const bytes = Uint8Array.from(atob(entry.steps), (letter) => letter.charCodeAt(0));
  const view = new DataView(bytes.buffer);
  const step = (entry.high - entry.low) / 65534;
  return Float64Array.from({ length: bytes.length / 2 }, (_, index) => entry.low + step * view.getUint16(2 * index, true));
}

// From values to pixels and back, linear.
class Scale {
  constructor(low, high, from, to) {
    Object.assign(this, { low, high, from, to });
  }
  pixel(value) {
    return this.from + ((value - this.low) / (this.high - this.low)) * (this.to - this.from);
  }
  value(pixel) {
    return this.low + ((pixel - this.from) / (this.to - this.from)) * (this.high - this.low);
  }
}

// Round numbers between two values, about so many; each with its text.
function ticks(axis, low, high, about) {
  for (const given of [axis.fine, axis.ticks]) {
    const inside = (given || []).filter(([at]) => at >= low && at <= high);
    if (given && (given === axis.ticks || inside.length <= 2.5 * about)) return inside;
  }
  const rough = (high - low) / Math.max(1, about);
  const power = 10 ** Math.floor(Math.log10(rough));
  const step = power * [1, 2, 5, 10].find((factor) => factor * power >= rough);
  const decimals = Math.max(0, -Math.floor(Math.log10(step) + 1e-9));
  const found = [];
  for (let count = Math.ceil(low / step - 1e-9); count * step <= high + 1e-9 * step; count += 1) {
    found.push([count * step, (count * step).toFixed(decimals).replace(/^-(0\.?0*)$/, "$1")]);
  }
  return found;
}

const SHAPES = {
  "o": (r) => `M${-r},0a${r},${r} 0 1,0 ${2 * r},0a${r},${r} 0 1,0 ${-2 * r},0`,
  "s": (r) => `M${-r},${-r}h${2 * r}v${2 * r}h${-2 * r}z`,
  "D": (r) => `M0,${-1.3 * r}L${1.3 * r},0L0,${1.3 * r}L${-1.3 * r},0z`,
  "^": (r) => `M0,${-1.1 * r}L${1.1 * r},${r}H${-1.1 * r}z`,
  "v": (r) => `M0,${1.1 * r}L${1.1 * r},${-r}H${-1.1 * r}z`,
  "<": (r) => `M${-1.1 * r},0L${r},${-1.1 * r}V${1.1 * r}z`,
  ">": (r) => `M${1.1 * r},0L${-r},${-1.1 * r}V${1.1 * r}z`,
  "p": (r) => `M0,${-1.2 * r}L${1.14 * r},${-0.37 * r}L${0.7 * r},${0.97 * r}H${-0.7 * r}L${-1.14 * r},${-0.37 * r}z`,
  "x": (r) => `M${-r},${-r}L${r},${r}M${-r},${r}L${r},${-r}`,
  "|": (r) => `M0,${-r}V${r}`,
};

function mark(look, x, y) {
  const radius = (look.size / 2) * POINT;
  const fill = look.filled ? look.colour : look.size > 8 ? "none" : "#fff";
  return element("path", {
    d: SHAPES[look.marker](radius), transform: `translate(${x.toFixed(1)},${y.toFixed(1)})`,
    fill, stroke: look.colour, "stroke-width": 1.3,
  });
}

function stroke(look) {
  const dash = look.dash.map((length) => length * look.width * POINT).join(" ");
  return { fill: "none", stroke: look.colour, "stroke-width": look.width * POINT, "stroke-dasharray": dash, "stroke-opacity": look.opacity, "stroke-linejoin": "round" };
}

let hatches = 0;

// A fill for bars: plain, or hatched so that it differs in grey too.
function filling(look, into) {
  if (!look.hatched) return look.colour;
  const id = `hatch-${(hatches += 1)}`;
  const pattern = element("pattern", { id, width: 5, height: 5, patternUnits: "userSpaceOnUse", patternTransform: "rotate(45)" });
  pattern.append(element("rect", { width: 5, height: 5, fill: look.colour }), element("rect", { width: 1.2, height: 5, fill: "#fff" }));
  into.append(pattern);
  return `url(#${id})`;
}

// What stands before a word of the legend.
function swatch(look, isBar) {
  const svg = element("svg", { width: 26, height: 14, "aria-hidden": "true" });
  if (isBar) svg.append(element("rect", { x: 3, y: 2, width: 20, height: 10, fill: filling(look, svg) }));
  else if (look.marker) svg.append(mark(look, 13, 7));
  else svg.append(element("path", { d: "M1,7H25", ...stroke(look) }));
  return svg;
}
