// The engine's sound in this page: pieces come ahead of time and are started where the one before ends. The
// page says what it plays; what changes comes as a piece that takes the place of those in hand.

import { onTheServer, useLoudspeaker } from "./clock.js";
import { EMPTY, crossfade, placed } from "./pieces.js";

const LATENCY_SECONDS = 0.02; // the shortest, 10 ms, wakes the browser twice as often: 1.5 % of a core
const SOON_SECONDS = 0.012; // a piece cannot begin before the block that the browser works on now

/**
 * What plays here.
 * @typedef {import("./pieces.js").Piece & { source: AudioBufferSourceNode }} Started
 * @typedef {object} Speaker
 * @property {AudioContext} context
 * @property {AudioNode} node
 * @property {WebSocket} socket
 * @property {import("./pieces.js").Line} line
 * @property {Started[]} started
 */
/** @type {Speaker | null} */
let speaker = null;
/** @type {AudioContext | null} */
let ready = null;

// Some browsers let a page sound only if it asked during a touch: ask then, in case it will be needed.
export const prepare = () => {
  ready ??= new AudioContext({ latencyHint: LATENCY_SECONDS });
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
  const socket = new WebSocket(`ws://${location.host}/sound?rate=${context.sampleRate}`);
  socket.binaryType = "arraybuffer";
  /** @type {Speaker} */
  const mine = { context, node: context.createGain(), socket, line: EMPTY, started: [] };
  speaker = mine;
  mine.node.connect(context.destination);
  socket.onopen = () => report(mine);
  socket.onmessage = ({ data }) => start(mine, data);
  socket.onclose = () => {
    if (speaker === mine) close(changed);
  }; // the sound moved elsewhere
  useLoudspeaker((now) => heard(mine, now));
  await context.resume();
  dispatchEvent(new CustomEvent("loudspeaker", { detail: mine }));
  changed();
};

// Browsers without worklets on pages that come over a network have these nodes too, so there is one way.
const start = (mine, data) => {
  const { context, line } = mine;
  const rate = context.sampleRate;
  const [first, channels] = new Float64Array(data, 0, 2);
  const sound = new Float32Array(data, 16);
  const frames = sound.length / channels;
  const left = sound.subarray(0, frames),
    right = channels === 1 ? left : sound.subarray(frames);
  const soonest = Math.ceil((context.currentTime + SOON_SECONDS) * rate);
  const { begin, skip, replaces, line: next } = placed(line, { first, frames }, soonest);
  const source = new AudioBufferSourceNode(context);
  const piece = { first, left, right, source };
  mine.line = next;
  if (replaces) {
    crossfade(piece, mine.started, skip, rate);
    const kept = ({ first: other, left: { length } }) => other + length <= first + skip;
    for (const other of mine.started.filter((one) => !kept(one))) {
      other.source.onended = null;
      other.source.stop(begin / rate);
    }
    mine.started = mine.started.filter(kept);
  }
  mine.started.push(piece);
  source.buffer = filled(context, [...new Set([piece.left, piece.right])]);
  source.onended = () => {
    mine.started = mine.started.filter((one) => one !== piece);
    report(mine);
  };
  source.connect(mine.node);
  source.start(begin / rate, skip / rate);
};

// The browser gives both ears what has but one side.
const filled = (context, sides) => {
  const buffer = context.createBuffer(sides.length, sides[0].length, context.sampleRate);
  for (const [at, side] of sides.entries()) buffer.copyToChannel(side, at);
  return buffer;
};

const report = (mine) => {
  const { context, socket, line } = mine;
  if (socket.readyState !== WebSocket.OPEN) return;
  const now = performance.now();
  const { frame, at } = heard(mine, now) ?? { frame: 0, at: now };
  const next = line.shift === null ? line.end : context.currentTime * context.sampleRate - line.shift;
  socket.send(
    JSON.stringify({
      next_frame: Math.min(next, line.end),
      heard_frame: frame,
      heard_at_ms: onTheServer(at),
    }),
  );
};

// A silent loudspeaker rests: it forgets what it has in hand, and nothing comes until it is needed again.
let resting = null;
export const rest = (silent) => {
  clearTimeout(resting);
  if (!speaker) return;
  if (silent) resting = setTimeout(() => fallSilent(speaker), 1500);
  else if (speaker.context.state === "suspended") speaker.context.resume();
};
const fallSilent = (mine) => {
  if (!mine) return;
  for (const { source } of mine.started) {
    source.onended = null;
    source.stop();
  }
  mine.started = [];
  mine.line = { ...mine.line, shift: null };
  mine.context.suspend();
};

export const close = (changed) => {
  speaker?.socket.close();
  speaker?.context.close();
  speaker = null;
  useLoudspeaker(null);
  changed();
};

// The frame that leaves the loudspeaker at a moment of the page, by the browser's own word on its delay.
const heard = ({ context, line }, now) => {
  if (line.shift === null) return null;
  const stamp = context.getOutputTimestamp?.() ?? { performanceTime: 0 };
  const known = stamp.performanceTime > 0;
  const contextTime = known
    ? stamp.contextTime
    : context.currentTime - (context.outputLatency || context.baseLatency || 0);
  const frame = contextTime * context.sampleRate - line.shift;
  return { frame, at: known ? stamp.performanceTime : now, rate: context.sampleRate };
};
