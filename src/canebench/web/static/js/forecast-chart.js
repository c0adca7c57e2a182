// <forecast-chart>: what a reed played at, and what it will, with the interval. The table beside it says the same.
import uPlot from "../vendor/uplot-1.6.32.js";

const HEIGHT = 260;

class ForecastChart extends HTMLElement {
  connectedCallback() {
    const told = JSON.parse(this.querySelector("script").textContent);
    const at = (rows) => rows.map(({ minutes }) => minutes);
    const of = (rows, name) => rows.map((row) => row[name]);
    const { past, ahead } = told;
    const lines = ["low", "middle", "high"].map((name) => [at(ahead), of(ahead, name)]);
    const read = [...past].sort((one, other) => one.minutes - other.minutes);
    this.data = uPlot.join([[at(read), of(read, "value")], ...lines]);
    this.unit = told.unit;
    this.place = document.createElement("div");
    this.place.setAttribute("aria-hidden", "true");
    this.append(this.place);
    this.draw();
    this.watch = new ResizeObserver(() =>
      this.chart.setSize({ width: this.place.clientWidth, height: HEIGHT }),
    );
    this.watch.observe(this.place);
    this.look = matchMedia("(prefers-color-scheme: dark)");
    this.look.addEventListener("change", this);
  }

  disconnectedCallback() {
    this.watch?.disconnect();
    this.look?.removeEventListener("change", this);
    this.chart?.destroy();
  }

  handleEvent() {
    this.draw();
  }

  draw() {
    this.chart?.destroy();
    const style = getComputedStyle(this);
    const colour = (name) => style.getPropertyValue(`--${name}`).trim();
    const font = `12px ${colour("sans")}`;
    const axis = {
      stroke: colour("quiet"),
      ticks: { stroke: colour("rule"), width: 1 },
      grid: { show: true, stroke: colour("rule"), width: 1 },
      font,
      labelFont: font,
      labelSize: 18,
    };
    const edge = { stroke: colour("mark"), width: 1, dash: [3, 4], spanGaps: true, points: { show: false } };
    const options = {
      width: this.place.clientWidth,
      height: HEIGHT,
      scales: { x: { time: false } },
      legend: { live: false },
      cursor: { show: false },
      axes: [
        { ...axis, label: "minutes played" },
        { ...axis, label: this.unit },
      ],
      bands: [{ series: [4, 2], fill: colour("wash") }],
      series: [
        { label: "Minutes" },
        {
          label: "Read",
          stroke: colour("ink"),
          width: 2,
          paths: () => null,
          points: { show: true, size: 8, fill: colour("ink") },
        },
        { label: "Four times in five above", ...edge },
        {
          label: "Foretold",
          stroke: colour("mark"),
          width: 2,
          spanGaps: true,
          points: { show: true, size: 6, fill: colour("sheet") },
        },
        { label: "and below", ...edge },
      ],
    };
    this.chart = new uPlot(options, this.data, this.place);
  }
}

customElements.define("forecast-chart", ForecastChart);
