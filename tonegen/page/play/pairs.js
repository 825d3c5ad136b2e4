// Each pair of the grip: its strands, its interval, its rate and direction. A touch leaves only what beats.

import { ask, hear } from "../static/wire.js";
import { turnsAt, turnsPerSecond } from "../sound/clock.js";
import { draw, repaint } from "../static/strands.js";
import { byId, make, mark, say } from "../static/parts.js";

const still = matchMedia("(prefers-reduced-motion: reduce)");
const rows = new Map();
/** @type {import("../static/wire.js").Shows["view"] | null} */
let view = null;
let drawnLook = 0;
const drawn = new WeakMap();
let running = false;

// A card to touch with a picture of its beat; of a pair that is filled in.
const cardOf = (toggle) => {
  const canvas = make("canvas", { "aria-hidden": "true" });
  const part = Object.fromEntries(
    ["names", "ratio", "interval", "rate", "direction", "counts", "listen", "cents"].map((name) => [
      name,
      make("span", { class: name }),
    ]),
  );
  const element = make(
    "button",
    { class: "pair", "aria-pressed": "false", onclick: toggle },
    make("span", { class: "what" }, part.names, part.ratio, part.interval),
    canvas,
    make("span", { class: "how" }, part.rate, part.direction, part.counts, part.cents, part.listen),
  );
  return { element, canvas, part, pair: null };
};

const fill = (card, pair, only, who) => {
  card.pair = pair;
  mark(card.element, "aria-pressed", only);
  mark(card.element, "data-direction", pair.direction);
  mark(
    card.element,
    "aria-label",
    `${who}: ${pair.ratio} ${pair.interval}, ` +
      `${pair.rate} ${pair.rate === "pure" ? "" : pair.direction}, ${pair.counts}. Hear only its beat`,
  );
  say(card.part.names, pair.names);
  say(card.part.ratio, pair.ratio);
  say(card.part.interval, pair.interval);
  say(card.part.rate, pair.rate);
  say(card.part.direction, pair.rate === "pure" ? "" : pair.direction);
  say(card.part.counts, pair.counts);
  say(card.part.cents, `${pair.cents} c`);
  say(card.part.listen, pair.plays ? `near ${pair.listen}` : "not in this timbre");
};

// A card that stays, beside those of the grip.
const staying = [];
export const stayingCard = (toggle) => {
  const card = cardOf(toggle);
  staying.push(card);
  return {
    element: card.element,
    fill: (...what) => {
      fill(card, ...what);
      redraw();
    },
  };
};
export const redraw = () => view && picture(performance.now());

const rowOf = (pair) => {
  const key = `${pair.low} ${pair.high}`;
  if (!rows.has(key))
    rows.set(
      key,
      cardOf(() => {
        const only = view.playing.only?.join() === `${pair.low},${pair.high}`;
        ask("only", only ? {} : { low: pair.low, high: pair.high });
      }),
    );
  return rows.get(key);
};

export const show = (next) => {
  view = next;
  const box = byId("pairs");
  const shown = view.pairs.map((pair) => {
    const row = rowOf(pair);
    const only = view.playing.only?.join() === `${pair.low},${pair.high}`;
    mark(row.element, "data-pair", `${pair.low}-${pair.high}`);
    fill(row, pair, only, `Strings ${pair.strings}, ${pair.names}`);
    return row.element;
  });
  if (shown.length !== box.children.length || shown.some((element, at) => box.children[at] !== element)) {
    box.replaceChildren(...shown);
    if (!shown.length) box.append(make("p", { class: "hint" }, "Tap two strings to see how they beat."));
  }
  const kept = new Set(view.pairs.map((pair) => `${pair.low} ${pair.high}`));
  for (const key of rows.keys()) if (!kept.has(key)) rows.delete(key);
  picture(performance.now());
  run();
};

const picture = (now) => {
  for (const { canvas, pair } of [...rows.values(), ...staying]) {
    if (!pair || !canvas.clientWidth) continue;
    const turns = view.playing.sounding ? turnsAt(pair.low, pair.high, now) : null;
    const perSecond = turns === null ? pair.beats_per_second : turnsPerSecond(pair.low, pair.high);
    const rough = pair.audible === "roughness",
      quiet = turns === null;
    // What does not move need not be drawn again.
    const stays = rough || quiet || pair.rate === "pure";
    const seen =
      stays &&
      [rough, quiet, perSecond, rough ? 0 : (turns ?? 0).toFixed(2), canvas.clientWidth, drawnLook].join(" ");
    if (stays && drawn.get(canvas) === seen) continue;
    drawn.set(canvas, seen);
    draw(canvas, turns ?? 0, perSecond, { rough, quiet });
  }
};

// Some 20 pictures a second: enough for 15 beats, and little work for a tablet.
const run = () => {
  if (running || !view?.playing.sounding || document.hidden) return;
  running = true;
  setTimeout(() => requestAnimationFrame(frame), still.matches ? 480 : 34);
};

const frame = () => {
  running = false;
  picture(performance.now());
  run();
};

document.addEventListener("visibilitychange", run);
addEventListener("resize", redraw);
addEventListener("part", redraw);
addEventListener("look", () => {
  repaint();
  drawnLook += 1;
  redraw();
});
hear("view", show);
