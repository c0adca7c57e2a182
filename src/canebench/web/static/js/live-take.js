// <live-take>: listen by microphone, see the note that sounds and the beam so far, stop and measure.
import { Microphone, processing, whyNot } from "./microphone.js";
import { draw, lines, placesOf } from "./places.js";

class LiveTake extends HTMLElement {
  connectedCallback() {
    this.places = placesOf(this);
    this.places.listen.addEventListener("click", () => this.listen());
    this.places.stop.addEventListener("click", () => this.stop());
    this.places.away.addEventListener("click", () => this.throwAway());
    this.leaving = () => this.microphone?.leave();
    window.addEventListener("pagehide", this.leaving);
  }

  disconnectedCallback() {
    window.removeEventListener("pagehide", this.leaving);
    this.microphone?.leave();
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
    this.reveal({ listening: true });
    this.places.stop.focus();
  }

  reveal({ listening }) {
    this.places.listen.hidden = listening;
    this.places.stop.hidden = this.places.away.hidden = !listening;
    this.places.now.hidden = !listening;
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
    const { note, cents, way, level, bar, time, gaps, skipped } = this.places;
    // A note stays for a moment, so that digits can be read between two breaths.
    if (told.note) {
      note.textContent = told.note;
      cents.textContent = told.cents === null ? `${told.hz} Hz` : `${told.cents} cents`;
      way.textContent = told.way ?? "";
      this.seen = told.seconds;
    } else if (told.seconds - (this.seen ?? 0) > 0.6) {
      note.textContent = "–";
      cents.textContent = way.textContent = "";
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

  beam({ drawn, height, tilt, left, notes }) {
    for (const shape of ["wide", "narrow"]) draw(this.places[shape], drawn[shape]);
    this.places.beam.hidden = this.places.three.hidden = false;
    for (const [name, said] of Object.entries({ height, tilt, left })) this.places[name].textContent = said;
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
    const form = this.closest("form");
    form.elements.recording.value = recording;
    const how = document.createElement("input");
    Object.assign(how, { type: "hidden", name: "how", value: "recording" });
    form.append(how);
    form.requestSubmit();
  }

  throwAway() {
    if (!window.confirm("Throw this recording away? It cannot be brought back.")) return;
    this.microphone.throwAway();
    this.reveal({ listening: false });
    this.places.listen.disabled = false;
    this.places.beam.hidden = this.places.three.hidden = true;
    this.places.listen.focus();
  }

  say(said) {
    this.places.said.textContent = said;
  }
}

customElements.define("live-take", LiveTake);
