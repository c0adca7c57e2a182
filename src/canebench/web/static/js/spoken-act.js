// <spoken-act>: the next act in the browser's own voice, for hands and eyes that are at the chanter. Off at first.
// Only voices of this machine: another's would send what is said over the network.
import { placesOf } from "./places.js";

const KEPT = "canebench-speak";
// The take that stood here when another was sent: a page with a newer one has come from it.
const SENT = "canebench-take-sent";
const LISTEN = "[data-place=listen]";
const LISTENING = ".live-now:not([hidden])";
// What voices say wrongly, or not at all.
const IN_WORDS = [
  [/(?<![\d.])1\s?mm\b/g, "1 millimetre"],
  [/(?<=\d\s?)mm\b/g, "millimetres"],
  [/\s?±\s?/g, " plus or minus "],
  [/−(?=\d)/g, "minus "],
];
const ENGLISH = /^en\b/i;

// A heading ends as a sentence does, so that there is a pause.
function sentence({ textContent }) {
  const words = textContent.trim().replace(/\s+/g, " ");
  return /\p{L}$/u.test(words) ? `${words}.` : words;
}

class SpokenAct extends HTMLElement {
  connectedCallback() {
    this.places = placesOf(this);
    this.synthesis = window.speechSynthesis;
    this.form = document.querySelector("#take");
    this.places.speak.addEventListener("click", () => this.turn(!this.on));
    this.pressed = (event) => this.key(event);
    this.leaving = () => this.silence();
    // What one hears would be heard by the microphone too.
    this.listening = ({ target }) => {
      if (target.closest(LISTEN)) this.silence();
    };
    this.keyed = () => this.asked();
    this.come = () => this.voices();
    this.sending = () => window.sessionStorage.setItem(SENT, this.dataset.take);
    document.addEventListener("keydown", this.pressed);
    window.addEventListener("pagehide", this.leaving);
    // The voices come a while after the page.
    this.synthesis?.addEventListener("voiceschanged", this.come);
    this.form?.addEventListener("submit", this.sending);
    this.form?.addEventListener("click", this.listening);
    this.addEventListener("keyed", this.keyed);
    this.due = this.measured();
    this.voices();
  }

  disconnectedCallback() {
    document.removeEventListener("keydown", this.pressed);
    window.removeEventListener("pagehide", this.leaving);
    this.synthesis?.removeEventListener("voiceschanged", this.come);
    this.form?.removeEventListener("submit", this.sending);
    this.form?.removeEventListener("click", this.listening);
    this.removeEventListener("keyed", this.keyed);
    this.silence();
  }

  get on() {
    return window.localStorage.getItem(KEPT) === "on";
  }

  // Whether this page is the answer to a take that was sent from here; told once.
  measured() {
    const before = window.sessionStorage.getItem(SENT);
    window.sessionStorage.removeItem(SENT);
    return before !== null && before !== this.dataset.take;
  }

  voices() {
    const all = this.synthesis?.getVoices() ?? [];
    this.voice = all.find((one) => one.localService && ENGLISH.test(one.lang));
    const { none, speak } = this.places;
    speak.hidden = !this.voice;
    speak.setAttribute("aria-pressed", String(this.on));
    // Who never asked for it is not told that it is not there.
    none.hidden = Boolean(this.voice) || !this.on;
    if (this.voice && this.on && this.due) this.speak();
  }

  turn(on) {
    window.localStorage.setItem(KEPT, on ? "on" : "off");
    this.places.speak.setAttribute("aria-pressed", String(on));
    this.places.blocked.hidden = true;
    if (on) this.speak();
    else this.silence();
  }

  key(event) {
    if (event.key === "Escape") this.silence();
  }

  // By the key where there is no button to press.
  asked() {
    if (this.voice) this.turn(!this.on);
    else this.places.none.hidden = false;
  }

  speak() {
    this.due = false;
    this.silence();
    if (document.querySelector(LISTENING)) return;
    const said = Array.from(this.parentElement.querySelectorAll("[data-spoken]"), sentence).filter(Boolean);
    const words = IN_WORDS.reduce((text, [sign, word]) => text.replace(sign, word), said.join(" "));
    const utterance = new SpeechSynthesisUtterance(words);
    utterance.voice = this.voice;
    utterance.lang = this.voice.lang;
    utterance.addEventListener("error", ({ error }) => {
      // A browser may want a press on each page before it makes a sound.
      if (error === "not-allowed") this.places.blocked.hidden = false;
    });
    this.synthesis.speak(utterance);
  }

  silence() {
    this.synthesis?.cancel();
  }
}

customElements.define("spoken-act", SpokenAct);
