// <history-chart>: tilt, height and strength over time.
import "./page-language.js";
import uPlot from "../vendor/uplot-1.6.32.js";
import { ReedChart } from "./reed-chart.js";

const LINES = [
  { key: "tilt", label: "Tilt, cents", scale: "cents", dash: [], mark: "solid", colour: "mark" },
  { key: "height", label: "Height, cents", scale: "cents", dash: [8, 5], mark: "dashed", colour: "ink" },
  {
    key: "strength",
    label: "Plays at, inH2O",
    scale: "inches",
    dash: [2, 4],
    mark: "dotted",
    colour: "stem",
  },
];
const DAY_S = 86400;
// Times as the tables write them, by the clock of the page's zone, else of this machine: sv-SE has ISO's form.
const clock = (zone) => {
  const parts = { dateStyle: "short", timeStyle: "short", timeZone: zone };
  const local = new Intl.DateTimeFormat("sv-SE", parts);
  return (time) => local.format(new Date(1000 * time));
};
const days = (said) => (chart, times, axis, space, step) =>
  times.map((time) => (step < DAY_S ? said(time).slice(11, 16) : said(time).slice(0, 10)));

class HistoryChart extends ReedChart {
  read(data) {
    this.zone = this.getAttribute("zone") ?? undefined;
    this.used = LINES.filter(({ key }) => data[key].some(({ value }) => value !== null));
    const tables = this.used.map(({ key }) => {
      const known = data[key].filter(({ value }) => value !== null);
      return [known.map(({ at }) => Date.parse(at) / 1000), known.map(({ value }) => value)];
    });
    this.data = tables.length ? uPlot.join(tables) : [[]];
    // One moment is no course of time: the tables tell it.
    this.hidden = this.data[0].length < 2;
  }

  here(moment) {
    return this.zone ? uPlot.tzDate(moment, this.zone) : moment;
  }

  options(colour, axis) {
    const has = (scale) => this.used.some((line) => line.scale === scale);
    const axes = [{ ...axis, scale: "x", values: days(clock(this.zone)), space: 90 }];
    if (has("cents")) axes.push({ ...axis, scale: "cents", side: 3, label: "cents" });
    if (has("inches"))
      axes.push({
        ...axis,
        scale: "inches",
        side: has("cents") ? 1 : 3,
        label: "inH2O",
        grid: has("cents") ? { show: false } : axis.grid,
      });
    const lines = this.used.map(({ label, scale, dash, colour: name }) => ({
      label,
      scale,
      dash,
      stroke: colour(name),
      width: 2,
      spanGaps: true,
      points: { show: true, size: 7, fill: colour("sheet") },
    }));
    return {
      tzDate: (time) => this.here(new Date(1000 * time)),
      scales: { x: { time: true } },
      legend: {
        live: false,
        markers: { width: 3, dash: (chart, place) => this.used[place - 1]?.mark ?? "solid" },
      },
      axes,
      series: [{ label: "Day" }, ...lines],
    };
  }
}

customElements.define("history-chart", HistoryChart);
