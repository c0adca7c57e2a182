// Runs in the audio thread: gathers 64 ms at a time (whole blocks of 128), with the number of the first.
class Recorder extends AudioWorkletProcessor {
  constructor() {
    super();
    this.size = 128 * Math.floor((0.064 * sampleRate) / 128);
    this.block = new Float32Array(this.size);
    this.filled = 0;
    this.first = 0;
    this.next = -1;
    this.origin = -1;
  }

  process(inputs) {
    const channel = inputs[0]?.[0];
    if (!channel) return true;
    if (this.origin < 0) this.origin = currentFrame;
    const at = currentFrame - this.origin;
    // Where the audio thread itself left something out, the block ends: the counter tells the rest.
    if (this.next >= 0 && at !== this.next && this.filled) this.send();
    this.next = at + channel.length;
    let from = 0;
    while (from < channel.length) {
      if (!this.filled) this.first = at + from;
      const count = Math.min(channel.length - from, this.size - this.filled);
      this.block.set(channel.subarray(from, from + count), this.filled);
      this.filled += count;
      from += count;
      if (this.filled === this.size) this.send();
    }
    return true;
  }

  send() {
    const samples = this.block.slice(0, this.filled);
    this.port.postMessage({ first: this.first, samples }, [samples.buffer]);
    this.filled = 0;
  }
}

registerProcessor("recorder", Recorder);
