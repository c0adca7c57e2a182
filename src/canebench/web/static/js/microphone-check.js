// <microphone-check>: what device, what rate, how loud, how quiet, and what the browser does to the sound.
import { Microphone, processing, whyNot } from "./microphone.js";

const PLACES = `
  <div class="lines"><div class="field"><label for="check-device">Microphone</label><select id="check-device" data-place="device"><option value="">the usual one</option></select></div>
  <div class="field"><label for="check-tone">A tone of known pitch, if you play one <span class="unit">Hz</span></label><input id="check-tone" inputmode="decimal" autocomplete="off" aria-describedby="check-tone-hint" data-place="tone"><p class="hint" id="check-tone-hint">Checks the sound card’s clock; the source’s own clock is only good to a few hundredths of a cent.</p></div></div>
  <p class="actions"><button type="button" class="main" data-place="begin">Check</button> <button type="button" data-place="end" hidden>End</button></p>
  <p role="status" data-place="said"></p>
  <dl class="facts" data-place="facts" hidden>
    <dt>Device</dt><dd data-place="label"></dd>
    <dt>Rate</dt><dd data-place="rate"></dd>
    <dt>Level</dt><dd><span class="live-bar" aria-hidden="true"><span data-place="bar"></span></span> <span data-place="level"></span></dd>
    <dt>Quietest</dt><dd data-place="quiet"></dd>
    <dt>Tops cut off</dt><dd data-place="clipped"></dd>
    <dt>Gaps</dt><dd data-place="gaps"></dd>
    <dt>Heard</dt><dd data-place="heard"></dd>
    <dt>Clock</dt><dd data-place="clock">no tone given</dd>
  </dl>
  <ul data-place="doubts"></ul>`;
const CHECK_S = 5;

class MicrophoneCheck extends HTMLElement {
  connectedCallback() {
    this.innerHTML = PLACES;
    this.places = {};
    for (const place of this.querySelectorAll("[data-place]")) this.places[place.dataset.place] = place;
    this.places.begin.addEventListener("click", () => this.begin());
    this.places.end.addEventListener("click", () => this.end());
    window.addEventListener("pagehide", () => this.microphone?.leave());
  }

  async begin() {
    const { begin, end, facts, said, label, rate } = this.places;
    this.doubts = [];
    this.pitches = [];
    this.microphone = new Microphone({
      address: "/live?check=yes",
      heard: (told) => this.show(told),
      ended: (why) => this.conclude([why]),
    });
    said.textContent = "Opening the microphone …";
    begin.disabled = true;
    let opened;
    try {
      opened = await this.microphone.open(this.places.device.value);
    } catch (error) {
      this.microphone.leave();
      begin.disabled = false;
      said.textContent = whyNot(error);
      return;
    }
    end.hidden = facts.hidden = false;
    said.textContent = "Keep quiet for two seconds, then play.";
    label.textContent = opened.label || "not named by the browser";
    const own = opened.settings.sampleRate;
    rate.textContent = `${opened.rate} Hz${own && own !== opened.rate ? `, turned from the device's ${own} Hz` : ""}`;
    this.doubts = processing(this.microphone.track);
    if (own && own !== opened.rate) this.doubts.push("The browser changes the sample rate; pitches stay right, to some millionths.");
    await this.list();
  }

  async list() {
    const devices = (await navigator.mediaDevices.enumerateDevices()).filter(({ kind }) => kind === "audioinput");
    const chosen = this.places.device.value;
    this.places.device.replaceChildren(new Option("the usual one", ""), ...devices.map(({ label, deviceId }) => new Option(label || "a microphone", deviceId)));
    this.places.device.value = chosen;
  }

  show(told) {
    if (told.wrong) return this.conclude([told.wrong]);
    if (told.levelDb === undefined) return;
    const { bar, level, quiet, clipped, gaps, heard } = this.places;
    bar.style.setProperty("width", `${100 * told.level}%`);
    level.textContent = `${told.levelDb.toFixed(0)} dB, ${told.levelSaid}`;
    quiet.textContent = told.quietestDb === null ? "…" : `${told.quietestDb.toFixed(0)} dB`;
    clipped.textContent = told.clipped ? `${told.clipped} times` : "none";
    gaps.textContent = told.breaksSaid;
    heard.textContent = told.note ? `${told.note}, ${told.hz} Hz` : "no steady note";
    this.clock(told);
    if (told.seconds >= CHECK_S && !this.concluded) this.conclude(this.words(told));
    this.concluded = told.seconds >= CHECK_S;
  }

  clock(told) {
    const known = Number(this.places.tone.value.replace(",", "."));
    if (!told.hz || !(known > 0)) return;
    this.pitches.push(told.exactHz);
    if (this.pitches.length < 20) return;
    const cents = this.pitches.map((hz) => 1200 * Math.log2(hz / known));
    const mean = cents.reduce((sum, one) => sum + one, 0) / cents.length;
    const spread = Math.sqrt(cents.reduce((sum, one) => sum + (one - mean) ** 2, 0) / cents.length);
    this.places.clock.textContent = `${mean >= 0 ? "+" : "−"}${Math.abs(mean).toFixed(2)} ± ${Math.max(0.01, spread / Math.sqrt(cents.length / 4)).toFixed(2)} cents against ${known} Hz`;
  }

  words(told) {
    const found = [...this.doubts];
    if (told.peakDb < -80) found.push("Nothing comes in at all: the microphone is muted, or another one is meant.");
    else if (told.levelSaid !== "good") found.push(`Level: ${told.levelSaid}`);
    if (told.clipped) found.push("Tops are cut off: such a take cannot be measured well.");
    if (told.quietestDb > -40) found.push("It is never quiet here: noise hides the softer partials. Turn off fans, or go elsewhere.");
    if (told.breaks) found.push("Sound is lost on the way: close other programs.");
    return found;
  }

  conclude(found) {
    this.places.said.textContent = found.length ? "To look at:" : "All is well: this microphone will do.";
    this.places.doubts.replaceChildren(
      ...found.map((said) => Object.assign(document.createElement("li"), { textContent: said })),
    );
  }

  end() {
    this.microphone.leave();
    this.places.end.hidden = true;
    this.places.begin.disabled = false;
    this.places.begin.focus();
  }
}

customElements.define("microphone-check", MicrophoneCheck);
