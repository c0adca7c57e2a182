// <forecast-chart>: what a reed played at, and what it will, with the interval.
import "./page-language.js";
import uPlot from "../vendor/uplot-1.6.32.js";
import { ReedChart } from "./reed-chart.js";

class ForecastChart extends ReedChart {
  read({ unit, past, ahead }) {
    const table = (rows, name) => [rows.map(({ minutes }) => minutes), rows.map((row) => row[name])];
    const read = [...past].sort((one, other) => one.minutes - other.minutes);
    // What is drawn later lies above: the band would hide the line and the readings.
    const lines = ["low", "high", "middle"].map((name) => table(ahead, name));
    this.data = uPlot.join([...lines, table(read, "value")]);
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
      bands: [{ series: [2, 1], fill: colour("wash") }],
      series: [
        { label: "Minutes" },
        { label: "Four times in five above", ...edge },
        { label: "and below", ...edge },
        {
          label: "Foretold",
          stroke: colour("mark"),
          width: 2,
          spanGaps: true,
          points: { show: true, size: 6, fill: colour("sheet") },
        },
        {
          label: "Read",
          stroke: colour("ink"),
          width: 2,
          paths: () => null,
          points: { show: true, size: 8, fill: colour("ink") },
        },
      ],
    };
  }
}

customElements.define("forecast-chart", ForecastChart);
