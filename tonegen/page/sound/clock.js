// Which frame of the engine is heard at a moment of this page, and so where each beat is at that moment.
//
// The engine says how far each beat has turned at a frame; nothing here runs beside it. Moments of the page
// are milliseconds of performance.now(). Between two words of the engine a beat goes on evenly, as its sound
// does.

import { hear } from "../static/wire.js";

const JUMP_SECONDS = 0.25;
const SMOOTH = 0.4;
const SLEW_MS = 90;

/** Server's clock minus this page's, in ms. @type {number | null} */
let serverAhead = null;
let leastTrip = Infinity;
/**
 * A frame, and when it is heard.
 * @typedef {{ frame: number, at: number, rate: number, stream?: number }} Known
 */
/** @type {Known | null} */
let relation = null;
/** Tells of what this page itself plays. @type {((now: number) => Known | null) | null} */
let ownLoudspeaker = null;
const beats = new Map();

const wrapped = (turns) => turns - Math.round(turns);
export const pairKey = (low, high) => `${low} ${high}`;

hear("open", () => {
  leastTrip = Infinity;
  serverAhead = null;
  relation = null;
});
hear("pong", ({ sent_ms, clock_ms }) => {
  const now = performance.now();
  const trip = now - sent_ms;
  leastTrip += 0.5; // an old short trip counts less and less: clocks drift
  if (trip <= leastTrip || serverAhead === null) {
    leastTrip = trip;
    serverAhead = clock_ms - (sent_ms + now) / 2;
  }
});

export const useLoudspeaker = (frameNow) => {
  ownLoudspeaker = frameNow;
  relation = null;
};

const anchor = (stream, frame, at, rate) => {
  if (relation?.stream === stream && relation.rate === rate) {
    const off = frame - frameAt(at);
    if (Math.abs(off) < JUMP_SECONDS * rate) {
      relation = { stream, frame: frameAt(at) + SMOOTH * off, at, rate };
      return;
    }
  }
  relation = { stream, frame, at, rate };
};

export const frameAt = (at) => {
  const known = ownLoudspeaker?.(at) ?? relation; // a page's own loudspeaker knows to the frame
  return known ? known.frame + ((at - known.at) * known.rate) / 1000 : 0;
};

hear("moment", (moment) => {
  const now = performance.now();
  if (serverAhead !== null && moment.heard_at_ms) {
    anchor(moment.stream, moment.heard_frame, moment.heard_at_ms - serverAhead, moment.sample_rate);
  }
  const gone = new Set(beats.keys());
  for (const [low, high, turns, turnsPerSecond] of moment.beats) {
    const key = pairKey(low, high);
    gone.delete(key);
    const before = beats.get(key);
    const shown = before?.stream === moment.stream ? turnsAt(low, high, now) : null;
    const beat = {
      stream: moment.stream,
      frame: moment.frame,
      rate: moment.sample_rate,
      turns,
      turnsPerSecond,
      late: 0,
      lateAt: now,
    };
    beats.set(key, beat);
    if (shown !== null) beat.late = wrapped(shown - turnsAt(low, high, now));
  }
  for (const key of gone) beats.delete(key);
});

// How far the beat of a pair has turned, loudest at whole turns; null when it does not sound.
export const turnsAt = (low, high, at) => {
  const beat = beats.get(pairKey(low, high));
  if (!beat || !(relation || ownLoudspeaker?.(at))) return null;
  const passed = (frameAt(at) - beat.frame) / beat.rate;
  const late = beat.late * Math.exp(-Math.max(at - beat.lateAt, 0) / SLEW_MS);
  return beat.turns + beat.turnsPerSecond * passed + late;
};

export const turnsPerSecond = (low, high) => beats.get(pairKey(low, high))?.turnsPerSecond ?? 0;
