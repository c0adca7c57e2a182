// What the charts of a reed share: where they stand, their axes, and that they are drawn anew with the window and
// the system's look. The tables beside them say the same.
import "./page-language.js";
import uPlot from "../vendor/uplot-1.6.32.js";

const HEIGHT = 260;

export class ReedChart extends HTMLElement {
  connectedCallback() {
    this.read(JSON.parse(this.querySelector("script").textContent));
    if (this.hidden) return;
    this.place = document.createElement("div");
    this.place.setAttribute("aria-hidden", "true");
    this.append(this.place);
    this.draw();
    // In the next frame: its words below may wrap, and then what is observed changes while it is told of.
    this.watch = new ResizeObserver(() => requestAnimationFrame(() => this.resized()));
    this.watch.observe(this.place);
    this.look = matchMedia("(prefers-color-scheme: dark)");
    this.look.addEventListener("change", this);
  }

  disconnectedCallback() {
    this.watch?.disconnect();
    this.look?.removeEventListener("change", this);
    this.chart?.destroy();
  }

  resized() {
    if (this.isConnected) this.chart.setSize({ width: this.place.clientWidth, height: HEIGHT });
  }

  handleEvent() {
    this.draw();
  }

  draw() {
    this.chart?.destroy();
    const style = getComputedStyle(this);
    const colour = (name) => style.getPropertyValue(`--${name}`).trim();
    const font = `12px ${colour("sans")}`;
    const grid = { show: true, stroke: colour("rule"), width: 1 };
    const axis = {
      stroke: colour("quiet"),
      ticks: { stroke: colour("rule"), width: 1 },
      grid,
      font,
      labelFont: font,
      labelSize: 18,
    };
    const options = {
      width: this.place.clientWidth,
      height: HEIGHT,
      cursor: { show: false },
      ...this.options(colour, axis),
    };
    this.chart = new uPlot(options, this.data, this.place);
  }
}
