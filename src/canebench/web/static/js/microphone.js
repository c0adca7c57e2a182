// Opens the microphone as it is, without what browsers do to speech, and streams it to the bench.

const WANTED = { echoCancellation: false, noiseSuppression: false, autoGainControl: false, channelCount: 1 };
const NAMES = {
  echoCancellation: "echo cancellation",
  noiseSuppression: "noise suppression",
  autoGainControl: "automatic gain",
};
// More than this waiting in the socket, and the newest block is left out: the counter tells the bench.
const MOST_WAITING = 2 ** 20;
// From one asking for held sound to the next.
const ASK_MS = 250;

const NONE = "No microphone was found. Plug one in, and try again.";
// What anyone can do whose browser does not record: the fold of this name is on every fitting's page.
const OTHERWISE = "Or record with any device, and give the sound at the fitting, under “From a file”.";

function reason(error, chosen) {
  if (!window.isSecureContext) {
    return "This page may not use a microphone. Open it by the link that canebench serve shows, on this machine.";
  }
  if (!navigator.mediaDevices) {
    return "This browser gives pages no microphone. Take another browser.";
  }
  return (
    {
      NotAllowedError:
        "The browser was not allowed to use the microphone. Allow it for this page, and try again.",
      NotFoundError: NONE,
      NotReadableError: "The microphone is there, but another program holds it. Close that, and try again.",
      // WebKit says so too where there is none at all.
      OverconstrainedError: chosen ? "That microphone is gone. Choose another." : NONE,
    }[error.name] ?? `The microphone did not open (${error.name}).`
  );
}

// Why a microphone does not open, and what to do instead; `chosen` is the one that was asked for, if any.
export function whyNot(error, chosen) {
  return `${reason(error, chosen)} ${OTHERWISE}`;
}

// What the browser still does to the sound although it was asked not to; empty where it does nothing.
export function processing(track) {
  const settings = track.getSettings();
  return Object.keys(NAMES).flatMap((key) => {
    if (settings[key] === false) return [];
    const verb = settings[key] === undefined ? "does not say whether it uses" : "still uses";
    return [`The browser ${verb} ${NAMES[key]}.`];
  });
}

export class Microphone {
  // `heard` gets each message of the bench, `ended` a sentence when the sound stops coming.
  constructor({ address, heard, ended }) {
    this.address = address;
    this.heard = heard;
    this.ended = ended;
    this.dropped = 0;
    // Frames by which the counter runs ahead: while the system held the sound, none were counted.
    this.ahead = 0;
  }

  async open(deviceId) {
    if (!navigator.mediaDevices) throw new DOMException("none", "NotAllowedError");
    const audio = deviceId ? { ...WANTED, deviceId: { exact: deviceId } } : WANTED;
    this.media = await navigator.mediaDevices.getUserMedia({ audio });
    this.track = this.media.getAudioTracks()[0];
    this.context = new AudioContext({ latencyHint: "interactive" });
    await this.context.resume();
    this.context.addEventListener("statechange", () => this.held());
    const worklet = new URL("./recorder-worklet.js", import.meta.url);
    await this.context.audioWorklet.addModule(worklet);
    await this.connect();
    this.node = new AudioWorkletNode(this.context, "recorder", { numberOfOutputs: 0 });
    this.node.port.onmessage = (event) => this.send(event.data);
    this.context.createMediaStreamSource(this.media).connect(this.node);
    this.track.addEventListener("ended", () => this.unplugged());
    // Some systems tell of a device that is gone only here.
    this.changed = () => this.track.readyState === "ended" && this.unplugged();
    navigator.mediaDevices.addEventListener("devicechange", this.changed);
    return { rate: this.context.sampleRate, settings: this.track.getSettings(), label: this.track.label };
  }

  async connect() {
    const url = new URL(this.address, location.href);
    url.protocol = "ws:";
    url.searchParams.set("rate", String(Math.round(this.context.sampleRate)));
    this.socket = new WebSocket(url);
    this.socket.binaryType = "arraybuffer";
    this.socket.addEventListener("message", (event) => this.heard(JSON.parse(event.data)));
    await new Promise((done, failed) => {
      this.socket.addEventListener("open", done, { once: true });
      this.socket.addEventListener("error", () => failed(new Error("the bench does not answer")), {
        once: true,
      });
    });
    this.socket.addEventListener("close", () => {
      this.lost(
        "The bench has stopped listening; what was recorded is kept there, under Recordings that were not finished.",
      );
    });
  }

  send({ first, samples }) {
    if (this.socket.readyState !== WebSocket.OPEN || this.stopping) return;
    if (this.socket.bufferedAmount > MOST_WAITING) {
      this.dropped += samples.length;
      return;
    }
    const frame = new ArrayBuffer(16 + samples.byteLength);
    const header = new DataView(frame);
    header.setUint32(0, 0x636e6231);
    header.setUint32(4, this.dropped, true);
    header.setBigUint64(8, BigInt(first + this.ahead), true);
    new Float32Array(frame, 16).set(samples);
    this.socket.send(frame);
  }

  // The system may hold the sound for a while, for a call or asleep: that is a gap of its length.
  held() {
    if (this.stopping) return;
    if (this.context.state === "running") {
      if (this.heldAt)
        this.ahead += Math.round(((performance.now() - this.heldAt) / 1000) * this.context.sampleRate);
      this.heldAt = 0;
    } else if (this.context.state !== "closed") {
      this.heldAt ||= performance.now();
      this.wake();
    }
  }

  // While a call lasts the system refuses, and asked once it may forget: ask until the sound is back.
  wake() {
    clearTimeout(this.waking);
    if (this.stopping || !this.heldAt) return;
    if (this.context.state === "running") {
      this.held();
      return;
    }
    this.context.resume().catch(() => undefined);
    this.waking = setTimeout(() => this.wake(), ASK_MS);
  }

  unplugged() {
    this.lost("The microphone is gone; what was recorded is kept.");
  }

  // The last frames go out, then the bench is told that the take is over and answers with its name.
  stop() {
    this.stopping = true;
    this.release();
    if (this.socket?.readyState === WebSocket.OPEN) this.socket.send('{"stop":true}');
  }

  // The page goes; the bench keeps what it has.
  leave() {
    this.stopping = true;
    this.release();
    this.socket?.close();
  }

  // What was recorded is not wanted; the bench closes when it has thrown it away.
  throwAway() {
    this.stopping = true;
    this.release();
    if (this.socket?.readyState === WebSocket.OPEN) this.socket.send('{"away":true}');
  }

  lost(said) {
    if (this.stopping) return;
    this.stop();
    this.ended(said);
  }

  release() {
    navigator.mediaDevices?.removeEventListener("devicechange", this.changed);
    this.node?.port.close();
    this.media?.getTracks().forEach((track) => track.stop());
    this.context?.close();
    this.context = undefined;
  }
}
