// Which frame of the engine is heard at a moment of this page, and so where each beat is at that moment.
//
// The engine says how far each beat has turned at a frame; nothing here runs beside it. Moments of the page
// are milliseconds of performance.now(). Between two words of the engine a beat goes on evenly, as its sound
// does.

import { hear } from "../static/wire.js";
import { Trips } from "./trips.js";

const JUMP_SECONDS = 0.25;
const SMOOTH = 0.4;
const SLEW_MS = 90;

let trips = new Trips();
/**
 * A frame, and when it is heard.
 * @typedef {{ frame: number, at: number, rate: number, stream?: number }} Known
 */
/** Of what plays elsewhere, on the server's clock. @type {Known | null} */
let relation = null;
/** Tells of what this page itself plays. @type {((now: number) => Known | null) | null} */
let ownLoudspeaker = null;
const beats = new Map();

export const pairKey = (low, high) => `${low} ${high}`;

hear("open", () => {
  trips = new Trips();
  relation = null;
});
hear("pong", ({ sent_ms, clock_ms }) => trips.add(sent_ms, clock_ms, performance.now()));

/** A moment of this page on the server's clock; null before that is known. @param {number} at */
export const onTheServer = (at) => (trips.ahead === null ? null : at + trips.ahead);

export const useLoudspeaker = (frameNow) => {
  ownLoudspeaker = frameNow;
  relation = null;
};

const frameOf = ({ frame, at, rate }, moment) => frame + ((moment - at) * rate) / 1000;
const anchor = (stream, frame, at, rate) => {
  const known = relation?.stream === stream && relation.rate === rate;
  const off = known ? frame - frameOf(relation, at) : Infinity;
  const near = Math.abs(off) < JUMP_SECONDS * rate;
  relation = { stream, frame: near ? frame - (1 - SMOOTH) * off : frame, at, rate };
};

const known = (at) => Boolean(ownLoudspeaker?.(at) ?? (relation && trips.ahead !== null));
export const frameAt = (at) => {
  const own = ownLoudspeaker?.(at); // a page's own loudspeaker knows to the frame
  if (own) return frameOf(own, at);
  return known(at) ? frameOf(relation, at + trips.ahead) : 0;
};

hear("moment", (moment) => {
  const now = performance.now();
  const { stream, heard_frame, heard_at_ms, sample_rate } = moment;
  if (heard_at_ms) anchor(stream, heard_frame, heard_at_ms, sample_rate);
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
    if (shown === null) continue;
    const off = shown - turnsAt(low, high, now);
    beat.turns += Math.round(off); // it is told within one turn
    beat.late = off - Math.round(off);
  }
  for (const key of gone) beats.delete(key);
});

// How far the beat of a pair has turned, loudest at whole turns; null when it does not sound.
export const turnsAt = (low, high, at) => {
  const beat = beats.get(pairKey(low, high));
  if (!beat || !known(at)) return null;
  const passed = (frameAt(at) - beat.frame) / beat.rate;
  const late = beat.late * Math.exp(-Math.max(at - beat.lateAt, 0) / SLEW_MS);
  return beat.turns + beat.turnsPerSecond * passed + late;
};

export const turnsPerSecond = (low, high) => beats.get(pairKey(low, high))?.turnsPerSecond ?? 0;
