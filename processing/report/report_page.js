// The page: fills every place with its charts and legend, opens tiles in large, draws anew when the width changes.

const drawn = [];

function place(host, panel) {
  const div = document.createElement("div");
  div.className = "chart";
  host.append(div);
  const chart = new Chart(div, panel, false);
  drawn.push(chart);
  return chart;
}

function tile(host, panel, number, charts) {
  const button = document.createElement("button");
  button.type = "button";
  button.className = "tile chart";
  button.setAttribute("aria-label", `${panel.title}, open in large`);
  button.addEventListener("click", () => openLarge(charts, number));
  host.append(button);
  drawn.push(new Chart(button, panel, true));
}

const large = document.getElementById("large");
let opened = { charts: null, number: 0, chart: null };

function openLarge(charts, number) {
  opened = { charts, number, chart: null };
  writeLegend(large.querySelector(".legend"), charts);
  if (!large.open) large.showModal();
  const host = large.querySelector(".panels");
  host.replaceChildren();
  const div = document.createElement("div");
  div.className = "chart";
  host.append(div);
  opened.chart = new Chart(div, charts.panels[number], false);
  opened.chart.svg.focus();
}

for (const button of large.querySelectorAll("[data-step]")) {
  button.addEventListener("click", () => {
    const next = opened.number + Number(button.dataset.step);
    if (next >= 0 && next < opened.charts.panels.length) openLarge(opened.charts, next);
    button.focus();
  });
}
large.querySelector("[data-close]").addEventListener("click", () => large.close());

for (const host of document.querySelectorAll("[data-charts]")) {
  const charts = REPORT.charts[Number(host.dataset.charts)];
  charts.panels.forEach((panel, number) => (charts.tiles ? tile(host, panel, number, charts) : place(host, panel)));
}

function writeLegend(host, charts) {
  host.replaceChildren();
  const bars = new Set(charts.panels.flatMap((panel) => panel.bars.map((one) => one.look)));
  for (const [look, words] of charts.legend) {
    const entry = document.createElement("span");
    entry.append(swatch(LOOKS[look], bars.has(look)), words);
    host.append(entry);
  }
}

for (const host of document.querySelectorAll("[data-legend]")) writeLegend(host, REPORT.charts[Number(host.dataset.legend)]);

function drawAnew() {
  for (const chart of drawn) chart.draw();
  if (opened.chart) opened.chart.draw();
}

let wide = window.innerWidth;
window.addEventListener("resize", () => {
  if (window.innerWidth === wide) return;
  wide = window.innerWidth;
  drawAnew();
});

// On paper pictures are as wide as a page: drawn for it, their words keep the size they have on a screen.
window.addEventListener("beforeprint", () => {
  document.body.classList.add("paper");
  drawAnew();
});
window.addEventListener("afterprint", () => {
  document.body.classList.remove("paper");
  drawAnew();
});
