// Each pair of the grip: its strands, its interval, its rate and direction. A touch leaves only what beats.

import { ask, hear } from "./wire.js";
import { turnsAt, turnsPerSecond } from "./clock.js";
import { draw, repaint } from "./strands.js";
import { byId, make, mark, say } from "./parts.js";

const still = matchMedia("(prefers-reduced-motion: reduce)");
const rows = new Map();
let view = null;
let drawnLook = 0;
const drawn = new WeakMap();
let running = false;

const rowOf = (pair) => {
  const key = `${pair.low} ${pair.high}`;
  if (rows.has(key)) return rows.get(key);
  const canvas = make("canvas", { "aria-hidden": "true" });
  const part = Object.fromEntries(["names", "ratio", "interval", "rate", "direction", "counts", "listen", "cents"]
    .map((name) => [name, make("span", { class: name })]));
  const toggle = () => {
    const only = view.playing.only?.join() === `${pair.low},${pair.high}`;
    ask("only", only ? {} : { low: pair.low, high: pair.high });
  };
  const button = make("button", { class: "pair", "aria-pressed": "false", onclick: toggle },
    make("span", { class: "what" }, part.names, part.ratio, part.interval), canvas,
    make("span", { class: "how" }, part.rate, part.direction, part.counts, part.cents, part.listen));
  const row = { element: button, canvas, part, pair };
  rows.set(key, row);
  return row;
};

export const show = (next) => {
  view = next;
  const box = byId("pairs");
  const shown = view.pairs.map((pair) => {
    const row = rowOf(pair);
    row.pair = pair;
    const only = view.playing.only?.join() === `${pair.low},${pair.high}`;
    mark(row.element, "aria-pressed", only);
    mark(row.element, "data-direction", pair.direction);
    mark(row.element, "data-pair", `${pair.low}-${pair.high}`);
    mark(row.element, "aria-label", `Strings ${pair.strings}, ${pair.names}: ${pair.ratio} ${pair.interval}, ` +
      `${pair.rate} ${pair.rate === "pure" ? "" : pair.direction}, ${pair.counts}. Hear only its beat`);
    say(row.part.names, pair.names);
    say(row.part.ratio, pair.ratio);
    say(row.part.interval, pair.interval);
    say(row.part.rate, pair.rate);
    say(row.part.direction, pair.rate === "pure" ? "" : pair.direction);
    say(row.part.counts, pair.counts);
    say(row.part.cents, `${pair.cents} c`);
    say(row.part.listen, pair.plays ? `near ${pair.listen}` : "not in this timbre");
    return row.element;
  });
  if (shown.length !== box.children.length || shown.some((element, at) => box.children[at] !== element)) {
    box.replaceChildren(...shown);
    if (!shown.length) box.append(make("p", { class: "hint" }, "Touch two strings to see how they beat."));
  }
  const kept = new Set(view.pairs.map((pair) => `${pair.low} ${pair.high}`));
  for (const key of rows.keys()) if (!kept.has(key)) rows.delete(key);
  picture(performance.now());
  run();
};

const picture = (now) => {
  for (const { canvas, pair } of rows.values()) {
    const turns = view.playing.sounding ? turnsAt(pair.low, pair.high, now) : null;
    const perSecond = turns === null ? pair.beats_per_second : turnsPerSecond(pair.low, pair.high);
    const rough = pair.audible === "roughness", quiet = turns === null;
    // What does not move need not be drawn again.
    const stays = rough || quiet || pair.rate === "pure";
    const seen = stays && `${rough} ${quiet} ${perSecond} ${rough ? 0 : (turns ?? 0).toFixed(2)} ${canvas.clientWidth} ${drawnLook}`;
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
addEventListener("resize", () => view && picture(performance.now()));
addEventListener("part", () => view && picture(performance.now()));
addEventListener("look", () => { repaint(); drawnLook += 1; if (view) picture(performance.now()); });
hear("view", show);
