// The picture of a beat: the two partials as two strands along time, which meet where the sound is loud and
// part where it is faint. Time flows to the left, past the moment that is heard now.
//
// A steady beat repeats itself every two turns. Its strands are drawn once, that much too wide; what moves
// them and the beads on them is an animation of the browser's own, begun at the moment that puts them where
// the sound is. So they move at the screen's rate, and no script runs.

import { make, mark } from "./parts.js";

const SECONDS = 5;
const NOW = 0.3; // where the style sheet has the line of now
const REACH = 0.36;
const PURE = 0.001; // beats a second: so slow a pair lies together, in one braid that is this wide
const BRAID = 0.1;
const SLOWEST = 0.02; // a slower one is drawn anew when the engine says where it is
const CORRECTED_MS = 2;
const WIDEST = 4096;
const SHADES = 12; // from where they part to where they meet
const BEADS = 32; // places of a bead along two turns
const SIDES = /** @type {const} */ ([
  [1, "low"],
  [-1, "high"],
]);

const colours = () => {
  const style = getComputedStyle(document.documentElement);
  const of = (name) => style.getPropertyValue(name).trim();
  return { low: of("--low"), high: of("--high"), meet: of("--ink") };
};
let palette = null;
export const repaint = () => {
  palette = null;
};

export const strands = () =>
  make(
    "span",
    { class: "strands", "aria-hidden": "true" },
    make("canvas"),
    ...["now", "low", "high", "meet"].map((name) => make("i", { class: name })),
  );

const still = matchMedia("(prefers-reduced-motion: reduce)");
const moving = new WeakMap(); // of each picture: its shape, its animations, and how long two turns take

// What each picture shows, and how large it is. The browser tells that when it has laid out the page: to ask
// for it makes the browser lay it out at once, at every moment that the engine tells of.
const shown = new WeakMap();
const sizes = new WeakMap();
const resized = new ResizeObserver((entries) => {
  for (const { target, contentRect } of entries) {
    sizes.set(target, contentRect);
    drawAgain(target);
  }
});

/**
 * Show a beat that has turned so far `at` a moment of the page, in ms, and goes on `perSecond`.
 * @param {HTMLElement} picture
 * @param {{ turns: number, at: number, perSecond: number }} beat
 * @param {{ rough: boolean, quiet: boolean }} how
 *   rough: faster than anyone can count; quiet: nothing sounds, so it stands
 */
export const draw = (picture, beat, how) => {
  if (!shown.has(picture)) {
    sizes.set(picture, picture.getBoundingClientRect());
    resized.observe(picture);
  }
  shown.set(picture, { beat, how });
  drawAgain(picture);
};

const drawAgain = (picture) => {
  palette ??= colours();
  const { turns, at, perSecond } = shown.get(picture).beat,
    { rough, quiet } = shown.get(picture).how,
    { width, height } = sizes.get(picture);
  if (!width || !height) {
    rest(picture); // the browser would go on moving what nobody sees
    return;
  }
  const scale = Math.min(devicePixelRatio || 1, 2);
  const pure = Math.abs(perSecond) < PURE;
  const stands = rough || pure || quiet || Math.abs(perSecond) < SLOWEST;
  const where = stands && !rough && !pure ? turns.toFixed(2) : "";
  const shape = JSON.stringify([width, height, scale, perSecond, where, rough, quiet, palette]);
  let known = moving.get(picture);
  if (known?.shape !== shape) {
    rest(picture);
    mark(picture, "data-quiet", quiet);
    mark(picture, "data-rough", rough);
    known = { shape, animations: [], lasts: 0 };
    moving.set(picture, known);
    const period = stands ? 0 : (2 * width) / (SECONDS * Math.abs(perSecond));
    const pen = penOn(picture.querySelector("canvas"), width + period, height, scale);
    const turnsPerPixel = (perSecond * SECONDS) / width;
    const turned = (x) => (stands ? turns : 0) + turnsPerPixel * (x - NOW * width);
    if (rough) drawRough(pen, width, height);
    else drawStrands(pen, width + period, height, pure ? null : turned, turnsPerPixel);
    if (stands) placeBeads(picture, pure ? 0 : turns, height);
    else animate(picture, known, period, perSecond, height);
  }
  if (known.lasts) keepTime(known, at - (1000 * turns) / perSecond, at);
};

const rest = (picture) => {
  for (const one of moving.get(picture)?.animations ?? []) one.cancel();
  moving.delete(picture);
};

// Two turns later all is where it was.
const animate = (picture, known, period, perSecond, height) => {
  known.lasts = 2000 / Math.abs(perSecond);
  const timing = { duration: known.lasts, iterations: Number.POSITIVE_INFINITY };
  const along = Array.from({ length: BEADS + 1 }, (_, n) => (2 * n * Math.sign(perSecond)) / BEADS);
  const [, low, high, meet] = picture.querySelectorAll("i");
  known.animations = [
    picture
      .querySelector("canvas")
      .animate([{ transform: "none" }, { transform: `translateX(${-period}px)` }], timing),
    low.animate(
      along.map((turns) => bead(turns, 1, height)),
      timing,
    ),
    high.animate(
      along.map((turns) => bead(turns, -1, height)),
      timing,
    ),
    meet.animate(along.map(meeting), timing),
  ];
};

const placeBeads = (picture, turns, height) => {
  const [, low, high, meet] = picture.querySelectorAll("i");
  Object.assign(low.style, bead(turns, 1, height));
  Object.assign(high.style, bead(turns, -1, height));
  Object.assign(meet.style, meeting(turns));
};
const bead = (turns, side, height) => ({
  transform: `translateY(${side * height * REACH * Math.sin(Math.PI * turns)}px)`,
});
const meeting = (turns) => {
  const together = Math.abs(Math.cos(Math.PI * turns));
  return { transform: `scale(${(3 + 4 * together) / 7})`, opacity: together ** 3 };
};

// An animation that is at most a little off is left alone: to set it right costs more than anyone sees.
const keepTime = (known, start, at) => {
  const { animations, lasts } = known;
  if (still.matches) {
    for (const one of animations) {
      one.pause();
      one.currentTime = (((at - start) % lasts) + lasts) % lasts;
    }
    known.start = null;
    return;
  }
  const off = known.start == null ? lasts : (start - known.start) / lasts;
  if (Math.abs(off - Math.round(off)) * lasts < CORRECTED_MS && known.start != null) return;
  // An animation waits for its start: take one that has been.
  known.start = start - lasts * Math.ceil(Math.max(start - at, 0) / lasts);
  for (const one of animations) {
    if (one.playState === "paused") one.play();
    one.startTime = known.start;
  }
};

const penOn = (canvas, width, height, scale) => {
  canvas.style.width = `${width}px`;
  canvas.width = Math.min(Math.ceil(width * scale), WIDEST);
  canvas.height = Math.round(height * scale);
  const pen = canvas.getContext("2d");
  pen.scale(canvas.width / width, canvas.height / height);
  return pen;
};

// Bright where they meet. Without turns they are one braid that lies together.
const drawStrands = (pen, width, height, turnsAt, turnsPerPixel) => {
  const lens = turnsAt ? 1 / Math.max(Math.abs(turnsPerPixel), 1e-9) : 16;
  const step = Math.max(0.5, Math.min(lens / 14, 6));
  const braid = (x) => BRAID * Math.sin((Math.PI * x) / lens);
  const apart = turnsAt ? (x) => Math.sin(Math.PI * turnsAt(x)) : braid;
  pen.lineWidth = lens < 12 ? 1.1 : 2;
  for (const [side, name] of SIDES) {
    pen.strokeStyle = palette[name];
    pen.beginPath();
    for (let x = 0; x <= width + step; x += step)
      pen.lineTo(x, height / 2 + side * height * REACH * apart(x));
    pen.stroke();
  }
  if (lens < 12) return; // there the crossings lie so close that all of it would be bright
  pen.strokeStyle = palette.meet;
  const shades = Array.from({ length: SHADES + 1 }, () => new Path2D());
  for (let x = 0; x <= width; x += step) {
    const near = Math.max(0, Math.min(1, 1.3 - 3 * Math.abs(apart(x + step / 2))));
    const shade = shades[Math.round(SHADES * (turnsAt ? near ** 2 : 0.5))];
    for (const [side] of SIDES) {
      shade.moveTo(x, height / 2 + side * height * REACH * apart(x));
      shade.lineTo(x + step, height / 2 + side * height * REACH * apart(x + step));
    }
  }
  for (const [dark, shade] of shades.entries()) {
    if (dark === 0) continue;
    pen.globalAlpha = dark / SHADES;
    pen.stroke(shade);
  }
  pen.globalAlpha = 1;
};

// Faster than anyone can count: a rough cord that does not move, for flicker tells nothing and can do harm.
const drawRough = (pen, width, height) => {
  const gap = 5,
    reach = 0.6 * height * REACH;
  pen.lineWidth = 1.6;
  for (let x = gap / 2, turn = 0; x < width; x += gap, turn += 1) {
    pen.strokeStyle = turn % 2 ? palette.low : palette.high;
    pen.beginPath();
    pen.moveTo(x - gap * 0.6, height / 2 + reach);
    pen.lineTo(x + gap * 0.6, height / 2 - reach);
    pen.stroke();
  }
};
