// <microphone-check>: what device, what rate, how loud, how quiet, and what the browser does to the sound.
import { Microphone, processing, whyNot } from "./microphone.js";
import { lines, placesOf } from "./places.js";

class MicrophoneCheck extends HTMLElement {
  connectedCallback() {
    this.places = placesOf(this);
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
      said.textContent = whyNot(error, this.places.device.value);
      return;
    }
    end.hidden = facts.hidden = false;
    said.textContent = "Keep quiet for two seconds, then play.";
    label.textContent = opened.label || "not named by the browser";
    const own = opened.settings.sampleRate;
    const turned = own && own !== opened.rate;
    rate.textContent = turned ? `${opened.rate} Hz, turned from the device's ${own} Hz` : `${opened.rate} Hz`;
    this.doubts = processing(this.microphone.track);
    if (turned)
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
    this.places.doubts.replaceChildren(...lines(found));
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
