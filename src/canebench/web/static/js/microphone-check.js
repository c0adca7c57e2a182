// <microphone-check>: what device, what rate, how loud, how quiet, and what the browser does to the sound.
import { Microphone, processing, whyNot } from "./microphone.js";

const PLACES = `
  <div class="lines"><div class="field"><label for="check-device">Microphone</label><select id="check-device" data-place="device"><option value="">the usual one</option></select></div>
  <div class="field"><label for="check-tone">A tone of known pitch, if you play one <span class="unit">Hz</span></label><input id="check-tone" inputmode="decimal" autocomplete="off" aria-describedby="check-tone-hint" data-place="tone"><p class="hint" id="check-tone-hint">Checks the sound card’s clock: play it steadily for four seconds. The clock of a telephone is itself only good to some 20 millionths, 0.035 cents.</p></div></div>
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
    <dt>Clock</dt><dd data-place="clock"></dd>
  </dl>
  <ul data-place="doubts"></ul>`;

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
    this.concluded = false;
    this.places.doubts.replaceChildren();
    this.microphone = new Microphone({
      address: `/live?${new URLSearchParams({ check: "yes", tone: this.places.tone.value })}`,
      heard: (told) => this.show(told),
      ended: (why) => this.end([why]),
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
    if (own && own !== opened.rate)
      this.doubts.push("The browser changes the sample rate; pitches stay right, to some millionths.");
    await this.list();
  }

  async list() {
    const devices = (await navigator.mediaDevices.enumerateDevices()).filter(
      ({ kind }) => kind === "audioinput",
    );
    const chosen = this.places.device.value;
    this.places.device.replaceChildren(
      new Option("the usual one", ""),
      ...devices.map(({ label, deviceId }) => new Option(label || "a microphone", deviceId)),
    );
    this.places.device.value = chosen;
  }

  show({ wrong, level, breaksSaid, check }) {
    if (wrong) this.end([wrong]);
    if (!check) return;
    this.places.bar.style.setProperty("width", `${100 * level}%`);
    this.places.gaps.textContent = breaksSaid;
    for (const place of ["level", "quiet", "clipped", "heard", "clock"])
      this.places[place].textContent = check[place];
    if (check.wrong && !this.concluded) this.conclude([...this.doubts, ...check.wrong]);
  }

  conclude(found) {
    this.concluded = true;
    this.places.said.textContent = found.length ? "To look at:" : "All is well: this microphone will do.";
    this.places.doubts.replaceChildren(
      ...found.map((said) => Object.assign(document.createElement("li"), { textContent: said })),
    );
  }

  end(found) {
    this.microphone.leave();
    if (found) this.conclude(found);
    this.places.end.hidden = true;
    this.places.begin.disabled = false;
    this.places.begin.focus();
  }
}

customElements.define("microphone-check", MicrophoneCheck);
