// The engine's sound in this page: a worker fetches it, a loudspeaker plays it and says which frame it plays
// when.

import { useLoudspeaker } from "./clock.js";

/**
 * What plays here: how it takes the feed's port, how many blocks it has in hand, and which frame it said it
 * plays when.
 * @typedef {object} Speaker
 * @property {AudioContext} context
 * @property {{ frame: number, time: number } | null} said
 * @property {AudioNode} [node]
 * @property {Worker} [feed]
 * @property {(port: MessagePort) => void} [take]
 * @property {number} [inHand]
 */
/** @type {Speaker | null} */
let speaker = null;
/** @type {AudioContext | null} */
let ready = null;

// Some browsers let a page sound only if it asked during a touch: ask then, in case it will be needed.
export const prepare = () => {
  ready ??= new AudioContext({ latencyHint: "balanced" });
  ready.resume();
};
export const notNeeded = () => {
  ready?.close();
  ready = null;
};

export const isHere = () => speaker !== null;

export const open = async (changed) => {
  if (speaker) return;
  prepare();
  const context = ready;
  ready = null;
  /** @type {Speaker} */
  const mine = { context, said: null };
  speaker = mine;
  // A browser gives worklets only to pages that it calls secure: this machine's, not those that come over a
  // network.
  mine.node = context.audioWorklet ? await worklet(mine) : scheduled(mine);
  if (speaker !== mine) return;
  mine.feed = new Worker(new URL("feed.js", import.meta.url));
  const between = new MessageChannel();
  mine.take(between.port1);
  const rate = context.sampleRate;
  mine.feed.postMessage(
    { url: `ws://${location.host}/sound?rate=${rate}`, node: between.port2, inHand: mine.inHand },
    [between.port2],
  );
  mine.feed.onmessage = () => {
    if (speaker === mine) close(changed);
  }; // the sound moved elsewhere
  mine.node.connect(context.destination);
  useLoudspeaker((now) => mine.said && heard(mine, now));
  await context.resume();
  dispatchEvent(new CustomEvent("loudspeaker", { detail: mine }));
  changed();
};

// A silent loudspeaker rests: nothing is fetched and nothing played until it is needed again.
let resting = null;
export const rest = (silent) => {
  clearTimeout(resting);
  if (!speaker) return;
  if (silent) resting = setTimeout(() => speaker?.context.suspend(), 1500);
  else if (speaker.context.state === "suspended") speaker.context.resume();
};

export const close = (changed) => {
  speaker?.feed?.terminate();
  speaker?.context.close();
  speaker = null;
  useLoudspeaker(null);
  changed();
};

// The frame that leaves the loudspeaker at a moment of the page, by the browser's own word on its delay.
const heard = ({ context, said }, now) => {
  const stamp = context.getOutputTimestamp?.() ?? { performanceTime: 0 };
  const known = stamp.performanceTime > 0;
  const contextTime = known
    ? stamp.contextTime
    : context.currentTime - (context.outputLatency || context.baseLatency || 0);
  const frame = said.frame + (contextTime - said.time) * context.sampleRate;
  return { frame, at: known ? stamp.performanceTime : now, rate: context.sampleRate };
};

const worklet = async (mine) => {
  await mine.context.audioWorklet.addModule(new URL("loudspeaker.js", import.meta.url));
  const node = new AudioWorkletNode(mine.context, "loudspeaker", {
    numberOfInputs: 0,
    outputChannelCount: [2],
  });
  node.port.onmessage = ({ data }) => {
    mine.said = data;
  };
  mine.take = (port) => node.port.postMessage({ feed: port }, [port]);
  mine.inHand = 5;
  return node;
};

// Without worklets each block is started where the one before it ends; more of them lie ready, for the page
// itself must keep up.
const scheduled = (mine) => {
  const { context } = mine;
  const node = context.createGain();
  let end = 0;
  mine.inHand = 16;
  mine.take = (port) => {
    port.onmessage = ({ data }) => {
      const first = new Float64Array(data, 0, 1)[0],
        sound = new Float32Array(data, 8);
      const frames = sound.length / 2;
      const block = context.createBuffer(2, frames, context.sampleRate);
      for (const side of [0, 1]) {
        const channel = block.getChannelData(side);
        for (let n = 0; n < frames; n += 1) channel[n] = sound[2 * n + side];
      }
      const now = Math.ceil(context.currentTime * context.sampleRate);
      if (end < now) end = now + Math.round(0.05 * context.sampleRate);
      const source = new AudioBufferSourceNode(context, { buffer: block });
      source.connect(node);
      source.start(end / context.sampleRate);
      source.onended = () => port.postMessage({ frames, heard: first + frames });
      mine.said = { frame: first, time: end / context.sampleRate };
      end += frames;
    };
  };
  return node;
};
