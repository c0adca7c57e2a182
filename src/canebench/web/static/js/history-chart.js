// <history-chart>: tilt, height and strength over time. The tables beside it say the same.
import uPlot from "../vendor/uplot-1.6.32.js";

const LINES = [
  { key: "tilt", label: "Tilt, cents", scale: "cents", dash: [], point: "square" },
  { key: "height", label: "Height, cents", scale: "cents", dash: [8, 5], point: "diamond" },
  { key: "strength", label: "Plays at, inH2O", scale: "inches", dash: [2, 4], point: "circle" },
];
const HEIGHT = 260;

class HistoryChart extends HTMLElement {
  connectedCallback() {
    this.data = JSON.parse(this.querySelector("script").textContent);
    this.place = document.createElement("div");
    this.place.setAttribute("aria-hidden", "true");
    this.append(this.place);
    this.draw();
    new ResizeObserver(() => this.chart?.setSize({ width: this.clientWidth, height: HEIGHT })).observe(this);
  }

  draw() {
    const used = LINES.filter(({ key }) => this.data[key].some(({ value }) => value !== null));
    if (!used.length) return;
    const tables = used.map(({ key }) => {
      const known = this.data[key].filter(({ value }) => value !== null);
      return [known.map(({ at }) => Date.parse(at) / 1000), known.map(({ value }) => value)];
    });
    const style = getComputedStyle(this);
    const colour = (name) => style.getPropertyValue(`--${name}`).trim();
    const strokes = { tilt: colour("mark"), height: colour("ink"), strength: colour("stem") };
    const axis = (scale, side, label) => ({ scale, side, label, stroke: colour("quiet"), grid: { stroke: colour("rule"), width: 1 } });
    const axes = [axis("x", 2)];
    if (used.some(({ scale }) => scale === "cents")) axes.push(axis("cents", 3, "cents"));
    if (used.some(({ scale }) => scale === "inches")) axes.push(axis("inches", 1, "inH2O"));
    this.chart = new uPlot(
      {
        width: this.clientWidth,
        height: HEIGHT,
        scales: { x: { time: true } },
        axes,
        series: [
          {},
          ...used.map(({ key, label, scale, dash }) => ({ label, scale, dash, stroke: strokes[key], width: 2, spanGaps: true, points: { show: true, size: 7 } })),
        ],
      },
      uPlot.join(tables),
      this.place,
    );
  }
}

customElements.define("history-chart", HistoryChart);
