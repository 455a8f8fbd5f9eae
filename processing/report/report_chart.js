// One chart: draws a panel, zooms, and says what lies under the pointer or the keyboard's mark.

const NEAR_PIXELS = 12; // a dot or bar so near is meant before any curve
let clips = 0;

class Chart {
  constructor(host, panel, isTile) {
    Object.assign(this, { host, panel, isTile, curve: 0, at: null });
    this.svg = element("svg", isTile ? { "aria-hidden": "true" } : {
      tabindex: 0, role: "application", "aria-roledescription": "chart", "aria-describedby": "how-to-read",
      "aria-label": `${panel.title}: ${panel.y.label} over ${panel.x.label || "the keys"}`,
    });
    host.append(this.svg);
    this.clip = `clip-${(clips += 1)}`;
    if (!isTile) {
      this.said = document.createElement("output");
      this.said.setAttribute("aria-live", "polite");
      host.append(this.said);
      this.listen();
    }
    this.showAll();
  }

  showAll() {
    const { x, y } = this.panel;
    this.view = { x: [x.low, x.high], y: [y.low, y.high] };
    this.draw();
  }

  isZoomed() {
    const { x, y } = this.panel;
    return this.view.x[0] !== x.low || this.view.x[1] !== x.high || this.view.y[0] !== y.low || this.view.y[1] !== y.high;
  }

  // Room for what is written beside the axes: as wide as the widest word there.
  room() {
    if (this.isTile) return { left: 1, right: 1, top: 1, bottom: 1 };
    const words = (this.panel.y.ticks || []).map(([, text]) => text.length);
    const wide = words.length ? Math.min(7 * Math.max(...words) + 12, this.width() * 0.4) : 44;
    return { left: wide + (this.panel.y.label ? 18 : 0), right: 10, top: 22, bottom: this.panel.x.label ? 38 : 22 };
  }

  width() { return this.svg.clientWidth || this.host.clientWidth || 600; }

  height() { return this.svg.clientHeight || 300; }

  draw() {
    const room = this.room(), width = this.width(), height = this.height();
    const { x, y } = this.view;
    const bottom = height - room.bottom;
    this.box = { left: room.left, right: width - room.right, top: room.top, bottom };
    this.x = new Scale(x[0], x[1], room.left, width - room.right);
    this.y = this.panel.y.downward ? new Scale(y[0], y[1], room.top, bottom) : new Scale(y[0], y[1], bottom, room.top);
    this.svg.setAttribute("viewBox", `0 0 ${width} ${height}`);
    this.svg.replaceChildren(this.clipping());
    if (!this.isTile) this.drawAxes();
    const plot = element("g", { "clip-path": `url(#${this.clip})` });
    this.svg.append(plot);
    for (const line of this.panel.lines) this.drawLine(plot, line);
    if (!this.isTile) {
      for (const bars of this.panel.bars) this.drawBars(plot, bars);
      for (const dots of this.panel.dots) this.drawDots(plot, dots);
      for (const note of this.panel.notes) this.drawNote(plot, note);
    }
    this.drawTitle();
    this.pointer = element("g", { "pointer-events": "none" });
    this.svg.append(this.pointer);
  }

  clipping() {
    const { left, right, top, bottom } = this.box;
    const clip = element("clipPath", { id: this.clip });
    clip.append(element("rect", { x: left, y: top, width: Math.max(0, right - left), height: Math.max(0, bottom - top) }));
    return clip;
  }

  drawTitle() {
    const { left } = this.box;
    const inside = this.isTile ? { x: left + 4, y: 13, "font-size": 11 } : { x: left, y: 14, "font-size": 13 };
    const title = element("text", { ...inside, "font-weight": 600, fill: "#222" }, this.panel.title);
    this.svg.append(title);
    this.fit(title, inside);
    if (this.panel.empty) {
      this.svg.append(element("text", { x: this.width() / 2, y: this.height() / 2, "text-anchor": "middle", "font-size": this.isTile ? 9 : 13, fill: "#5b6168" }, this.panel.empty));
    }
  }

  // A title that is too wide begins at the edge, and is smaller if need be: none is cut.
  fit(title, { x, "font-size": size }) {
    const long = title.getComputedTextLength(), width = this.width() - 4;
    if (long <= width - x) return;
    title.setAttribute("x", Math.max(2, width - long));
    if (long > width - 2) title.setAttribute("font-size", size * (width - 2) / long);
  }

  drawAxes() {
    const { left, right, top, bottom } = this.box;
    const group = element("g", { "font-size": 11, fill: "#222" });
    for (const [at, text] of ticks(this.panel.x, ...this.view.x, (right - left) / 70)) {
      const place = this.x.pixel(at);
      group.append(element("path", { d: `M${place},${top}V${bottom}`, stroke: "#e6e8eb" }));
      group.append(element("text", { x: place, y: bottom + 14, "text-anchor": "middle" }, text));
    }
    for (const [at, text] of ticks(this.panel.y, ...this.view.y, (bottom - top) / 34)) {
      const place = this.y.pixel(at);
      group.append(element("path", { d: `M${left},${place}H${right}`, stroke: "#e6e8eb" }));
      group.append(element("text", { x: left - 5, y: place + 4, "text-anchor": "end" }, text));
    }
    group.append(element("path", { d: `M${left},${top}V${bottom}H${right}`, stroke: "#222", fill: "none" }));
    const below = element("text", { x: (left + right) / 2, y: bottom + 31, "text-anchor": "middle" }, this.panel.x.label);
    group.append(below);
    group.append(element("text", { transform: `translate(12,${(top + bottom) / 2}) rotate(-90)`, "text-anchor": "middle" }, this.panel.y.label));
    this.svg.append(group);
    this.narrow(below, 2 * Math.min((left + right) / 2, this.width() - (left + right) / 2));
  }

  // Words that are wider than their room are made smaller.
  narrow(words, room) {
    const long = words.getComputedTextLength();
    if (long > room) words.setAttribute("font-size", 11 * room / long);
  }

  // Points of a line in view, thinned to about two a pixel.
  pointsInView(line) {
    const x = values(line.x), y = values(line.y);
    let first = 0, last = x.length - 1;
    if (x.length > 8) {
      while (first < last && x[first + 1] < this.view.x[0]) first += 1;
      while (last > first && x[last - 1] > this.view.x[1]) last -= 1;
    }
    const step = Math.max(1, Math.floor((last - first) / (2 * Math.max(60, this.box.right - this.box.left))));
    const chosen = [];
    for (let index = first; index < last; index += step) chosen.push(index);
    chosen.push(last);
    return { x, y, chosen };
  }

  drawLine(plot, line) {
    const { x, y, chosen } = this.pointsInView(line);
    if (!x.length) return;
    const at = (index, level) => `${this.x.pixel(x[index]).toFixed(1)},${this.y.pixel(level).toFixed(1)}`;
    if (line.band !== undefined && !this.isTile) {
      const band = values(line.band);
      const upper = chosen.map((index) => at(index, y[index] + band[index]));
      const lower = chosen.map((index) => at(index, y[index] - band[index])).reverse();
      plot.append(element("path", { d: `M${upper.concat(lower).join("L")}z`, fill: LOOKS[line.look].colour, "fill-opacity": 0.22 }));
    }
    plot.append(element("path", { d: `M${chosen.map((index) => at(index, y[index])).join("L")}`, ...stroke(LOOKS[line.look]) }));
  }

  drawDots(plot, dots) {
    const look = LOOKS[dots.look], x = values(dots.x), y = values(dots.y);
    const bar = dots.bar === undefined ? null : values(dots.bar);
    for (let index = 0; index < x.length; index += 1) {
      const across = this.x.pixel(x[index]);
      if (bar) plot.append(element("path", { d: `M${across},${this.y.pixel(y[index] - bar[index])}V${this.y.pixel(y[index] + bar[index])}`, stroke: look.colour }));
      plot.append(mark(look, across, this.y.pixel(y[index])));
    }
  }

  // A bar as a rectangle in pixels.
  rectangle(bars, index) {
    const at = values(bars.at)[index], low = values(bars.low)[index], high = values(bars.high)[index];
    const along = bars.lying ? this.x : this.y, across = bars.lying ? this.y : this.x;
    const [a, b] = [along.pixel(low), along.pixel(high)].sort((one, other) => one - other);
    const [c, d] = [across.pixel(at - bars.thick / 2), across.pixel(at + bars.thick / 2)].sort((one, other) => one - other);
    return bars.lying ? { x: a, y: c, width: b - a, height: d - c } : { x: c, y: a, width: d - c, height: b - a };
  }

  drawBars(plot, bars) {
    const fill = filling(LOOKS[bars.look], plot);
    for (let index = 0; index < values(bars.at).length; index += 1) plot.append(element("rect", { ...this.rectangle(bars, index), fill }));
  }

  drawNote(plot, [x, y, words]) {
    const at = this.x.pixel(x), wide = 6.5 * words.length;
    const fits = at + wide < this.box.right || at - wide < this.box.left;
    plot.append(element("text", { x: fits ? at + 9 : at - 9, y: this.y.pixel(y) - 4, "text-anchor": fits ? "start" : "end", "font-size": 11, fill: "#222", stroke: "#fff", "stroke-width": 3, "paint-order": "stroke" }, words));
  }

  // --- reading off ---

  curves() { return this.panel.lines.filter((line) => !line.guide); }

  series() { return [...this.curves().map((line) => ({ line })), ...this.panel.dots.map((dots) => ({ dots })), ...this.panel.bars.map((bars) => ({ bars }))]; }

  level(line, at, of = line.y) {
    const x = values(line.x), y = values(of);
    let low = 0, high = x.length - 1;
    if (!x.length || at < x[0] || at > x[high]) return null;
    while (high - low > 1) {
      const middle = (low + high) >> 1;
      if (x[middle] <= at) low = middle; else high = middle;
    }
    const share = x[high] > x[low] ? (at - x[low]) / (x[high] - x[low]) : 0;
    return y[low] + share * (y[high] - y[low]);
  }

  // What lies nearest to a place in pixels.
  nearest(px, py) {
    for (const bars of this.panel.bars) {
      for (let index = 0; index < values(bars.at).length; index += 1) {
        const { x, y, width, height } = this.rectangle(bars, index);
        if (px >= x && px <= x + width && py >= y && py <= y + height && !this.nearDot(px, py)) return { bars, index };
      }
    }
    return this.nearDot(px, py) || this.nearCurve(px, py);
  }

  nearDot(px, py) {
    let found = null, best = NEAR_PIXELS;
    for (const dots of this.panel.dots) {
      const x = values(dots.x), y = values(dots.y);
      for (let index = 0; index < x.length; index += 1) {
        const off = Math.hypot(this.x.pixel(x[index]) - px, this.y.pixel(y[index]) - py);
        if (off < best) { best = off; found = { dots, index }; }
      }
    }
    return found;
  }

  nearCurve(px, py) {
    const at = this.x.value(px);
    let found = null, best = Infinity;
    for (const line of this.curves()) {
      const level = this.level(line, at);
      const off = level === null ? Infinity : Math.abs(this.y.pixel(level) - py);
      if (off < best) { best = off; found = { line, at }; }
    }
    return found;
  }

  // Say what was found and mark where it is.
  tell(found) {
    this.pointer.replaceChildren();
    if (!found) { this.said.textContent = ""; return; }
    const { words, x, y } = this.inWords(found);
    this.said.textContent = words;
    const { left, right, top, bottom } = this.box;
    this.pointer.append(element("path", { d: `M${x},${top}V${bottom}M${left},${y}H${right}`, stroke: "#222", "stroke-dasharray": "2 3", "stroke-opacity": 0.6 }));
    this.pointer.append(element("circle", { cx: x, cy: y, r: 4, fill: "#fff", stroke: "#222", "stroke-width": 2 }));
  }

  inWords(found) {
    if (found.dots) {
      const x = values(found.dots.x)[found.index], y = values(found.dots.y)[found.index];
      return { words: found.dots.said[found.index], x: this.x.pixel(x), y: this.y.pixel(y) };
    }
    if (found.bars) {
      const box = this.rectangle(found.bars, found.index);
      return { words: found.bars.said[found.index], x: box.x + box.width / 2, y: box.y + box.height / 2 };
    }
    const { line, at } = found, { x, y } = this.panel;
    const level = this.level(line, at);
    const sure = line.band === undefined ? "" : ` ± ${this.level(line, at, line.band).toFixed(line.decimals)}`;
    const words = `${line.label}${line.label ? " at " : ""}${at.toFixed(x.decimals)} ${x.unit}: ${level.toFixed(line.decimals)}${sure} ${y.unit}`;
    return { words, x: this.x.pixel(at), y: this.y.pixel(level) };
  }

  // --- hand and keyboard ---

  listen() {
    this.svg.addEventListener("pointermove", (event) => this.moved(event));
    this.svg.addEventListener("pointerleave", () => { if (!this.drag && document.activeElement !== this.svg) this.tell(null); });
    this.svg.addEventListener("pointerdown", (event) => this.pressed(event));
    this.svg.addEventListener("pointerup", (event) => this.released(event));
    this.svg.addEventListener("pointercancel", () => this.endDrag());
    this.svg.addEventListener("dblclick", () => this.showAll());
    this.svg.addEventListener("wheel", (event) => this.wheeled(event), { passive: false });
    this.svg.addEventListener("keydown", (event) => this.keyed(event));
  }

  place(event) {
    const frame = this.svg.getBoundingClientRect();
    return [event.clientX - frame.left, event.clientY - frame.top];
  }

  moved(event) {
    const [px, py] = this.place(event);
    if (this.drag) this.dragged(px, py, event.shiftKey);
    else this.tell(this.nearest(px, py));
  }

  pressed(event) {
    if (event.button !== 0) return;
    const [x, y] = this.place(event);
    this.drag = { x, y, view: this.view, box: null, moves: event.shiftKey };
    if (event.isTrusted) this.svg.setPointerCapture(event.pointerId);
  }

  dragged(px, py) {
    const { x, y, view, moves } = this.drag;
    if (moves) {
      this.view = { x: view.x.map((end) => end + this.x.value(x) - this.x.value(px)), y: view.y.map((end) => end + this.y.value(y) - this.y.value(py)) };
      this.draw();
      return;
    }
    const inside = (value, low, high) => Math.min(Math.max(value, low), high);
    const { left, right, top, bottom } = this.box;
    const [toX, toY] = [inside(px, left, right), inside(py, top, bottom)];
    this.drag.box = Math.abs(px - x) > 6 && Math.abs(py - y) > 6 ? [x, y, toX, toY] : null;
    this.pointer.replaceChildren();
    if (this.drag.box) this.pointer.append(element("rect", { x: Math.min(x, toX), y: Math.min(y, toY), width: Math.abs(toX - x), height: Math.abs(toY - y), fill: "#0072b2", "fill-opacity": 0.12, stroke: "#0072b2" }));
  }

  released() {
    const box = this.drag && this.drag.box;
    if (box) this.show([this.x.value(box[0]), this.x.value(box[2])], [this.y.value(box[1]), this.y.value(box[3])]);
    this.endDrag();
  }

  endDrag() { this.drag = null; }

  show(x, y) {
    const rising = (ends) => [Math.min(...ends), Math.max(...ends)];
    const [newX, newY] = [rising(x), rising(y)];
    if (newX[1] - newX[0] < 1e-6 || newY[1] - newY[0] < 1e-9) return;
    this.view = { x: newX, y: newY };
    this.draw();
  }

  // Zoom by a factor about a place in pixels; never further out than everything.
  zoom(factor, px, py) {
    const { x, y } = this.panel;
    const about = (ends, value, low, high) => [Math.max(low, value + (ends[0] - value) * factor), Math.min(high, value + (ends[1] - value) * factor)];
    this.show(about(this.view.x, this.x.value(px), x.low, x.high), about(this.view.y, this.y.value(py), y.low, y.high));
  }

  wheeled(event) {
    if (document.activeElement !== this.svg && !event.ctrlKey) return; // the page scrolls over a picture nobody has chosen
    event.preventDefault();
    this.zoom(event.deltaY < 0 ? 0.8 : 1.25, ...this.place(event));
  }

  keyed(event) {
    const far = event.shiftKey ? 10 : 1;
    const actions = {
      ArrowRight: () => this.step(far), ArrowLeft: () => this.step(-far), ArrowUp: () => this.change(1), ArrowDown: () => this.change(-1),
      "+": () => this.zoomAtMark(0.8), "=": () => this.zoomAtMark(0.8), "-": () => this.zoomAtMark(1.25), "0": () => this.showAll(),
    };
    if (event.key === "Escape" && this.isZoomed()) actions.Escape = actions["0"];
    const action = actions[event.key];
    if (!action || event.ctrlKey || event.metaKey || event.altKey) return;
    event.preventDefault();
    action();
    this.tellMark();
  }

  step(count) {
    const one = this.series()[this.curve];
    if (!one) return;
    if (one.line) {
      const [low, high] = this.view.x, middle = (low + high) / 2;
      const x = values(one.line.x);
      const next = (this.at === null ? middle : this.at) + (count * (high - low)) / 100;
      this.at = Math.min(Math.max(next, x[0]), x[x.length - 1]);
    } else {
      const length = (one.dots || one.bars).said.length;
      this.index = Math.min(Math.max((this.index === undefined ? -1 : this.index) + count, 0), length - 1);
    }
  }

  change(count) {
    const all = this.series().length;
    this.curve = all ? (this.curve + count + all) % all : 0;
    this.index = 0;
  }

  markFound() {
    const one = this.series()[this.curve];
    if (!one) return null;
    if (!one.line) return { ...one, index: Math.min(this.index || 0, (one.dots || one.bars).said.length - 1) };
    const at = this.at === null ? (this.view.x[0] + this.view.x[1]) / 2 : this.at;
    return this.level(one.line, at) === null ? null : { ...one, at };
  }

  tellMark() { this.tell(this.markFound()); }

  zoomAtMark(factor) {
    const found = this.markFound();
    const { x, y } = found ? this.inWords(found) : { x: (this.box.left + this.box.right) / 2, y: (this.box.top + this.box.bottom) / 2 };
    this.zoom(factor, x, y);
  }
}
