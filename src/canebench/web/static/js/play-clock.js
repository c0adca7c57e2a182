// <play-clock>: the clock of a session. It runs on through a reload; stopped, it writes the minutes down.
import { placesOf } from "./places.js";

class PlayClock extends HTMLElement {
  connectedCallback() {
    this.places = placesOf(this);
    this.form = this.closest("form");
    this.key = `canebench-clock-${this.dataset.reed}`;
    this.places.start.addEventListener("click", () => this.begin());
    this.places.stop.addEventListener("click", () => this.stop());
    this.places.drop.addEventListener("click", () => this.drop());
    // Another tab of the same reed shows the same clock.
    window.addEventListener("storage", () => this.show());
    this.show();
  }

  disconnectedCallback() {
    window.clearInterval(this.ticking);
  }

  get since() {
    const since = Number(localStorage.getItem(this.key));
    return since > 0 && since <= Date.now() ? since : null;
  }

  begin() {
    localStorage.setItem(this.key, Date.now());
    this.show();
    this.places.stop.focus();
  }

  // Minutes to a half, as sessions are logged; a session is longer than nothing.
  stop() {
    const { since } = this;
    if (since === null) {
      this.show();
      return;
    }
    const minutes = Math.max(0.5, Math.round((Date.now() - since) / 30000) / 2);
    this.form.elements.minutes.value = String(minutes);
    localStorage.removeItem(this.key);
    this.show();
    this.form.requestSubmit();
  }

  drop() {
    localStorage.removeItem(this.key);
    this.show();
    this.places.start.focus();
  }

  show() {
    const { since } = this;
    window.clearInterval(this.ticking);
    this.places.start.hidden = since !== null;
    this.places.running.hidden = since === null;
    if (since === null) return;
    this.closest("details").open = true;
    this.tell(since);
    this.ticking = window.setInterval(() => this.tell(since), 1000);
  }

  tell(since) {
    const seconds = Math.floor((Date.now() - since) / 1000);
    const two = (part) => String(part).padStart(2, "0");
    this.places.elapsed.textContent = `${Math.floor(seconds / 60)}:${two(seconds % 60)}`;
  }
}

customElements.define("play-clock", PlayClock);
