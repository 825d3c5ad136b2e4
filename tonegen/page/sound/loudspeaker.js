// The AudioWorklet: plays the blocks that the feed brings, and says which frame it plays when.

const BLOCK = 1024;
const SAY_EVERY = 0.1;

class Loudspeaker extends AudioWorkletProcessor {
  constructor() {
    super();
    this.blocks = [];
    this.at = 0; // frames played of the first block
    this.owed = 0; // frames played and not yet asked for again
    this.frame = 0;
    this.said = -1;
    this.port.onmessage = ({ data }) => {
      this.feed = data.feed;
      this.feed.onmessage = ({ data: block }) =>
        this.blocks.push({
          frame: new Float64Array(block, 0, 1)[0],
          sound: new Float32Array(block, 8),
        });
    };
  }

  process(_, [[left, right]]) {
    let done = 0;
    while (done < left.length && this.blocks.length) {
      const { frame, sound } = this.blocks[0];
      const frames = Math.min(left.length - done, sound.length / 2 - this.at);
      for (let n = 0; n < frames; n += 1) {
        left[done + n] = sound[2 * (this.at + n)];
        right[done + n] = sound[2 * (this.at + n) + 1];
      }
      this.frame = frame + this.at - done; // the frame that this call began with
      done += frames;
      this.at += frames;
      if (2 * this.at >= sound.length) {
        this.blocks.shift();
        this.at = 0;
      }
    }
    this.owed += done;
    if (this.owed >= BLOCK) {
      this.feed.postMessage({ frames: BLOCK, heard: this.frame });
      this.owed -= BLOCK;
    }
    if (currentTime - this.said > SAY_EVERY && done) {
      this.said = currentTime;
      this.port.postMessage({ frame: this.frame, time: currentTime });
    }
    return true;
  }
}

registerProcessor("loudspeaker", Loudspeaker);
