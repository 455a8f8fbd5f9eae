// Put into a copy of a report by test_report_in_browser.py: drives the page as a hand or a keyboard would, writes down what it sees.
"use strict";
const faults = [];
window.addEventListener("error", (event) => faults.push(event.message));
window.addEventListener("securitypolicyviolation", (event) => faults.push(`forbidden: ${event.blockedURI}`));

function pointer(chart, kind, x, y, more = {}) {
  const frame = chart.svg.getBoundingClientRect();
  const where = { clientX: frame.left + x, clientY: frame.top + y, bubbles: true, cancelable: true, button: 0, pointerId: 1, ...more };
  chart.svg.dispatchEvent(kind === "wheel" ? new WheelEvent(kind, where) : kind.startsWith("pointer") ? new PointerEvent(kind, where) : new MouseEvent(kind, where));
}

function key(chart, name, more = {}) {
  chart.svg.dispatchEvent(new KeyboardEvent("keydown", { key: name, bubbles: true, cancelable: true, ...more }));
}

function drive() {
  const seen = {};
  const chart = drawn.find((one) => !one.isTile && one.panel.title === "E3");
  const whole = chart.view;
  const at = (x, y) => [chart.x.pixel(x), chart.y.pixel(y)];
  const span = () => [chart.view.x[1] - chart.view.x[0], chart.view.y[1] - chart.view.y[0]];
  seen.whole = span();

  const level = chart.level(chart.panel.lines[0], 5.0);
  pointer(chart, "pointermove", ...at(5.0, level + 1.0));
  seen.curve = chart.said.textContent;
  const peak = chart.panel.dots.find((dots) => dots.look === "peak");
  pointer(chart, "pointermove", ...at(peak.x[0], peak.y[0]));
  seen.mark = chart.said.textContent;

  pointer(chart, "wheel", ...at(5.0, level), { deltaY: -100 });
  seen.wheelUnchosen = span();
  chart.svg.focus();
  pointer(chart, "wheel", ...at(5.0, level), { deltaY: -100 });
  seen.wheel = span();
  pointer(chart, "dblclick", ...at(5.0, level));
  seen.back = span();

  pointer(chart, "pointerdown", ...at(4.0, 60.0));
  pointer(chart, "pointermove", ...at(6.0, 40.0));
  pointer(chart, "pointerup", ...at(6.0, 40.0));
  seen.box = [...chart.view.x, ...chart.view.y];
  pointer(chart, "pointerdown", ...at(5.0, 50.0), { shiftKey: true });
  pointer(chart, "pointermove", chart.x.pixel(5.0) + 50, chart.y.pixel(50.0), { shiftKey: true });
  pointer(chart, "pointerup", chart.x.pixel(5.0), chart.y.pixel(50.0), { shiftKey: true });
  seen.moved = [...chart.view.x];
  key(chart, "0");
  seen.zero = span();

  key(chart, "ArrowRight");
  seen.first = chart.said.textContent;
  key(chart, "ArrowRight", { shiftKey: true });
  seen.further = chart.said.textContent;
  key(chart, "ArrowUp");
  seen.other = chart.said.textContent;
  key(chart, "+");
  seen.plus = span();
  key(chart, "Escape");
  seen.escape = span();

  const strip = drawn.find((one) => one.panel.title === "Friction");
  strip.svg.focus();
  key(strip, "ArrowRight");
  key(strip, "ArrowRight");
  seen.dot = strip.said.textContent;

  const tiles = document.querySelectorAll(".tile");
  tiles[0].click();
  seen.large = [large.open, opened.chart.panel.title, document.activeElement === opened.chart.svg];
  large.querySelector('[data-step="1"]').click();
  seen.next = opened.chart.panel.title;
  large.querySelector("[data-close]").click();
  seen.closed = !large.open;

  seen.tiles = tiles.length;
  seen.reachable = drawn.filter((one) => !one.isTile).every((one) => one.svg.tabIndex === 0 && one.svg.getAttribute("aria-label"));
  seen.empty = drawn.filter((one) => one.svg.querySelectorAll("path").length === 0).map((one) => one.panel.title);
  seen.notNumbers = [...document.querySelectorAll("svg *")].filter((one) => [...one.attributes].some((has) => /NaN|undefined|Infinity/.test(has.value))).length;
  seen.tooWide = document.documentElement.scrollWidth - document.documentElement.clientWidth;
  seen.paper = onPaper();
  seen.fetched = performance.getEntriesByType("resource").length;
  return seen;
}

// The page as it is laid out on A4: its own rules for print taken as they stand, at the width of a sheet less its margins.
function onPaper() {
  const wide = 703;
  window.dispatchEvent(new Event("beforeprint"));
  const rules = [...document.styleSheets[0].cssRules].filter((rule) => rule.media && rule.media.mediaText === "print");
  const print = document.createElement("style");
  print.textContent = rules.flatMap((rule) => [...rule.cssRules].map((one) => one.cssText)).join("\n");
  document.head.append(print);
  document.body.style.width = `${wide}px`;
  for (const details of document.querySelectorAll("details")) details.open = true;
  const cells = [...document.querySelectorAll("td")].filter((cell) => /^[-+.\d]+$/.test(cell.textContent));
  const words = drawn.flatMap((one) => [...one.svg.querySelectorAll("text")].filter((text) => !text.getAttribute("transform")));
  const seen = {
    cells: cells.length,
    brokenNumbers: cells.filter((cell) => linesOf(cell) > 1).map((cell) => cell.textContent),
    tooWide: [...document.querySelectorAll("table")].filter((table) => table.offsetWidth > wide + 1).length,
    scrolled: [...document.querySelectorAll(".wide")].filter((one) => getComputedStyle(one).overflowX !== "visible").length,
    cut: words.filter((text) => text.getBBox().x < -1 || text.getBBox().x + text.getBBox().width > text.ownerSVGElement.viewBox.baseVal.width + 1).map((text) => text.textContent),
  };
  print.remove();
  document.body.style.width = "";
  window.dispatchEvent(new Event("afterprint"));
  return seen;
}

function linesOf(cell) {
  const range = document.createRange();
  range.selectNodeContents(cell);
  return new Set([...range.getClientRects()].map((line) => Math.round(line.top))).size;
}

window.addEventListener("load", () => {
  let seen = {};
  try { seen = drive(); } catch (fault) { faults.push(`${fault.message} ${fault.stack}`); }
  const told = document.createElement("pre");
  told.id = "seen";
  told.textContent = JSON.stringify({ ...seen, faults });
  document.body.append(told);
});
