// <key-help>: `?` lists the keys, a letter leads to a room or is told to what bears it on the page; off in fields,
// while one listens, and where switched off.
import { placesOf } from "./places.js";

const KEPT = "canebench-keys";
// Where a letter is typed, or must not lead away.
const TAKES_LETTERS = "input, select, textarea, [contenteditable]";
const BUSY = "dialog[open], .live-now:not([hidden])";

class KeyHelp extends HTMLElement {
  connectedCallback() {
    this.places = placesOf(this);
    this.places.on.checked = window.localStorage.getItem(KEPT) !== "off";
    this.places.on.addEventListener("change", () => {
      window.localStorage.setItem(KEPT, this.places.on.checked ? "on" : "off");
    });
    this.places.close.addEventListener("click", () => this.places.keys.close());
    for (const link of document.querySelectorAll("a[data-keys]")) {
      link.addEventListener("click", (event) => {
        event.preventDefault();
        this.places.keys.showModal();
      });
    }
    this.pressed = (event) => this.key(event);
    document.addEventListener("keydown", this.pressed);
  }

  disconnectedCallback() {
    document.removeEventListener("keydown", this.pressed);
  }

  key(event) {
    const held = event.repeat || event.ctrlKey || event.altKey || event.metaKey;
    if (held || !this.places.on.checked || event.target.closest(TAKES_LETTERS)) return;
    if (document.querySelector(BUSY)) return;
    if (event.key === "?") {
      event.preventDefault();
      this.places.keys.showModal();
      return;
    }
    if (event.shiftKey) return;
    const bears = `[data-key="${CSS.escape(event.key)}"]`;
    const link = this.querySelector(`a${bears}`);
    if (link) window.location.assign(link.href);
    else document.querySelector(`main ${bears}`)?.dispatchEvent(new Event("keyed"));
  }
}

customElements.define("key-help", KeyHelp);
