// <play-clock>: the clock of a session. It runs on through a reload; stopped, it writes the minutes down, or
// puts them into the form for its strength to be told with them: until that is sent, a reload finds it running.
import { placesOf } from "./places.js";

class PlayClock extends HTMLElement {
  connectedCallback() {
    this.places = placesOf(this);
    this.form = this.closest("form");
    this.key = `canebench-clock-${this.dataset.reed}`;
    this.places.start.addEventListener("click", () => this.begin());
    this.places.stop.addEventListener("click", () => this.stop());
    this.places.read.addEventListener("click", () => this.read());
    this.places.drop.addEventListener("click", () => this.drop());
    this.form.addEventListener("submit", () => {
      if (this.stopped) localStorage.removeItem(this.key);
    });
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
    this.stopped = false;
    localStorage.setItem(this.key, Date.now());
    this.show();
    this.places.stop.focus();
  }

  stop() {
    if (this.fill()) this.form.requestSubmit();
  }

  read() {
    if (this.fill()) this.form.elements.playing.focus();
  }

  // Minutes to a half, as sessions are logged; a session is longer than nothing.
  fill() {
    const { since } = this;
    if (since !== null) {
      const minutes = Math.max(0.5, Math.round((Date.now() - since) / 30000) / 2);
      this.form.elements.minutes.value = String(minutes);
      this.stopped = true;
    }
    this.show();
    return since !== null;
  }

  drop() {
    localStorage.removeItem(this.key);
    this.show();
    this.places.start.focus();
  }

  show() {
    const since = this.stopped ? null : this.since;
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
