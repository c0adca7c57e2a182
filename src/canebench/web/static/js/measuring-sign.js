// <measuring-sign>: that a take is on its way and measured, from when its form is sent, and the way to give it up.
import { placesOf } from "./places.js";

class MeasuringSign extends HTMLElement {
  connectedCallback() {
    this.places = placesOf(this);
    this.form = this.closest("form");
    this.attempt = this.form.elements.attempt;
    this.places.giveUp.addEventListener("click", () => this.giveUp());
    // Escape is another way to press the button.
    this.places.sign.addEventListener("cancel", (event) => {
      event.preventDefault();
      this.giveUp();
    });
    this.form.addEventListener("submit", (event) => this.sent(event));
    // A page that comes back from the browser's memory measures nothing.
    window.addEventListener("pageshow", () => this.close());
  }

  sent(event) {
    if (event.defaultPrevented || event.submitter?.hasAttribute("formaction")) return;
    this.attempt.value = crypto.randomUUID();
    this.places.giveUp.disabled = false;
    this.places.after.hidden = true;
    this.since = Date.now();
    this.tell();
    this.ticking = window.setInterval(() => this.tell(), 1000);
    this.places.sign.showModal();
  }

  tell() {
    const { elapsed, file: named } = this.places;
    elapsed.textContent = `${Math.round((Date.now() - this.since) / 1000)} s`;
    const file = this.form.elements.file?.files?.[0];
    named.hidden = !file;
    if (file) named.textContent = `${file.name}, ${(file.size / 1e6).toFixed(1)} MB`;
  }

  async giveUp() {
    this.places.giveUp.disabled = true;
    window.stop();
    let kept = true;
    try {
      const answer = await fetch(`/fit/give-up/${this.attempt.value}`, { method: "POST" });
      ({ kept } = await answer.json());
    } catch {
      // The bench itself has gone: the page anew says so, and what there is.
    }
    // It was kept a moment before, or a recording waits to be measured later: the page anew tells of it.
    if (kept || this.form.elements.recording.value) {
      window.location.assign(window.location.pathname + window.location.search);
      return;
    }
    delete this.form.dataset.sent;
    this.close();
    this.places.after.hidden = false;
    this.places.after.focus();
  }

  close() {
    window.clearInterval(this.ticking);
    if (this.places.sign.open) this.places.sign.close();
  }
}

customElements.define("measuring-sign", MeasuringSign);
