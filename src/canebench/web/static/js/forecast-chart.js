// <forecast-chart>: what a reed played at, and what it will, with the interval.
import uPlot from "../vendor/uplot-1.6.32.js";
import { ReedChart } from "./reed-chart.js";

class ForecastChart extends ReedChart {
  read({ unit, past, ahead }) {
    const table = (rows, name) => [rows.map(({ minutes }) => minutes), rows.map((row) => row[name])];
    const read = [...past].sort((one, other) => one.minutes - other.minutes);
    const lines = ["low", "middle", "high"].map((name) => table(ahead, name));
    this.data = uPlot.join([table(read, "value"), ...lines]);
    this.unit = unit;
  }

  options(colour, axis) {
    const edge = { stroke: colour("mark"), width: 1, dash: [3, 4], spanGaps: true, points: { show: false } };
    return {
      scales: { x: { time: false } },
      legend: { live: false },
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
  }
}

customElements.define("forecast-chart", ForecastChart);
