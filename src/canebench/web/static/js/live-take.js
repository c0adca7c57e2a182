// <live-take>: listen by microphone, see the beam fill up and which notes are missing, stop and measure.
import { Microphone, processing, whyNot } from "./microphone.js";
import { draw, lines, placesOf } from "./places.js";

// What has its own use for Enter, the one key that listens and stops.
const TAKES_ENTER = "a, button, summary, select, textarea, input:not([type=radio], [type=checkbox])";

class LiveTake extends HTMLElement {
  connectedCallback() {
    this.places = placesOf(this);
    // The way past the rooms leads to what one presses.
    this.places.listen.id = "listening";
    this.places.listen.addEventListener("click", () => this.listen());
    this.places.stop.addEventListener("click", () => this.stop());
    this.places.measure.addEventListener("click", () => this.measure());
    this.places.away.addEventListener("click", () => this.throwAway());
    this.unplayed = ["wide", "narrow"].map((shape) => [shape, this.places[shape].firstElementChild]);
    this.nothingHeard = this.places.missing.textContent;
    this.leaving = () => this.microphone?.leave();
    this.pressed = (event) => this.key(event);
    window.addEventListener("pagehide", this.leaving);
    document.addEventListener("keydown", this.pressed);
  }

  disconnectedCallback() {
    window.removeEventListener("pagehide", this.leaving);
    document.removeEventListener("keydown", this.pressed);
    this.microphone?.leave();
  }

  key(event) {
    const held = event.repeat || event.ctrlKey || event.altKey || event.metaKey || event.shiftKey;
    if (event.key !== "Enter" || held || event.target.closest(TAKES_ENTER)) return;
    event.preventDefault();
    const { listen, stop, measure } = this.places;
    [measure, stop, listen].find((button) => !button.hidden)?.click();
  }

  async listen() {
    const query = new URLSearchParams({ scale: this.dataset.scale, reference: this.dataset.reference });
    this.microphone = new Microphone({
      address: `/live?${query}`,
      heard: (told) => this.show(told),
      ended: (said) => this.say(said),
    });
    this.places.listen.disabled = true;
    this.say("Opening the microphone …");
    try {
      await this.microphone.open();
    } catch (error) {
      this.microphone.leave();
      this.places.listen.disabled = false;
      this.say(whyNot(error));
      return;
    }
    const doubts = processing(this.microphone.track);
    this.say(
      doubts.length
        ? `${doubts.join(" ")} That bends steady tones: turn it off if you can.`
        : "Listening. Play.",
    );
    this.empty();
    this.reveal({ listening: true });
    // It is in sight already: nothing moves under one's eyes.
    this.places.stop.focus({ preventScroll: true });
  }

  // The beam before the first note.
  empty() {
    for (const [shape, drawn] of this.unplayed) this.places[shape].replaceChildren(drawn);
    this.places.missing.textContent = this.nothingHeard;
    this.places.three.hidden = true;
    delete this.dataset.notes;
  }

  reveal({ listening }) {
    this.places.listen.hidden = listening;
    this.places.stop.hidden = !listening;
    this.places.stop.disabled = this.places.away.disabled = false;
    this.places.now.hidden = this.places.beam.hidden = !listening;
  }

  show(told) {
    if (told.wrong) {
      this.microphone.leave();
      this.places.listen.disabled = false;
      this.reveal({ listening: false });
      this.say(told.wrong);
    } else if (told.recording) {
      this.finish(told);
    } else if (told.away) {
      this.say("Thrown away. Nothing is kept of it.");
    } else if (told.blind) {
      this.say(told.blind);
    } else {
      this.now(told);
      if (told.beam) this.beam(told.beam);
    }
  }

  now(told) {
    const { note, level, bar, time, gaps, skipped } = this.places;
    // A note stays for a moment, so that it can be read between two breaths.
    if (told.note) {
      note.textContent = told.note;
      this.seen = told.seconds;
    } else if (told.seconds - (this.seen ?? 0) > 0.6) {
      note.textContent = "–";
    }
    level.textContent = `Level ${told.levelSaid}`;
    bar.style.setProperty("width", `${100 * told.level}%`);
    time.textContent = told.timeSaid;
    gaps.textContent = told.breaksSaid;
    skipped.textContent = told.skippedSaid;
    this.remark(told.remarks);
    this.dataset.estimates = String(Number(this.dataset.estimates ?? 0) + 1);
  }

  // What seems to be done to the sound on its way; told anew only where it changes.
  remark(said) {
    if (said.join() === (this.remarked ?? "")) return;
    this.remarked = said.join();
    this.places.remarks.replaceChildren(...lines(said));
  }

  beam({ drawn, height, tilt, left, notes, missing }) {
    for (const shape of ["wide", "narrow"]) draw(this.places[shape], drawn[shape]);
    this.places.three.hidden = false;
    for (const [name, said] of Object.entries({ height, tilt, left, missing })) {
      // Told anew only where it changes: it is read out.
      if (this.places[name].textContent !== said) this.places[name].textContent = said;
    }
    this.dataset.notes = notes.join(",");
  }

  stop() {
    this.places.stop.disabled = this.places.away.disabled = true;
    this.say("Measuring the recording …");
    this.microphone.stop();
  }

  finish({ recording, full }) {
    this.microphone.leave();
    if (full) this.say("A quarter of an hour is full. Measuring the recording …");
    this.closest("form").elements.recording.value = recording;
    this.measure();
  }

  // What was recorded goes to be measured, once the form says what was done since.
  measure() {
    const form = this.closest("form");
    const { measure, now, stop } = this.places;
    if (form.checkValidity()) {
      const how = document.createElement("input");
      Object.assign(how, { type: "hidden", name: "how", value: "recording" });
      form.append(how);
      form.requestSubmit();
      return;
    }
    this.say("It is recorded. Say what was done since the last take, then measure it.");
    stop.hidden = now.hidden = true;
    measure.hidden = false;
    // What is asked for must not lie under the control.
    this.dataset.asking = "";
    form.reportValidity();
  }

  throwAway() {
    if (!window.confirm("Throw this recording away? It cannot be brought back.")) return;
    this.microphone.throwAway();
    this.reveal({ listening: false });
    this.places.listen.disabled = false;
    this.places.listen.focus();
  }

  say(said) {
    this.places.said.textContent = said;
  }
}

customElements.define("live-take", LiveTake);
