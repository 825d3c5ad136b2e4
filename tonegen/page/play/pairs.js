// Each pair of the grip: its strands, its interval, its rate and direction. A touch leaves only what beats.

import { ask, hear } from "../static/wire.js";
import { turnsAt, turnsPerSecond } from "../sound/clock.js";
import { draw, repaint, strands } from "../static/strands.js";
import { byId, make, mark, say } from "../static/parts.js";
import { oneStop } from "../static/stops.js";

const MOST_CARDS = 6; // more pairs are rows
const rows = new Map();
/** @type {import("../static/wire.js").Shows["view"] | null} */
let view = null;

// A card to touch with a picture of its beat; of a pair that is filled in.
const cardOf = (toggle) => {
  const strand = strands();
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
    strand,
    make("span", { class: "how" }, part.rate, part.direction, part.counts, part.cents, part.listen),
  );
  return { element, strand, part, pair: null };
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

// The strands move by themselves; now and then they are set right.
const picture = () => {
  const at = performance.now();
  for (const { strand, pair } of [...rows.values(), ...staying]) {
    if (!pair) continue;
    const turns = view.playing.sounding ? turnsAt(pair.low, pair.high, at) : null;
    const quiet = turns === null;
    const perSecond = quiet ? pair.beats_per_second : turnsPerSecond(pair.low, pair.high);
    draw(strand, { turns: turns ?? 0, at, perSecond }, { rough: pair.audible === "roughness", quiet });
  }
};
let waits = false;
const redraw = () => {
  if (waits || !view) return;
  waits = true;
  requestAnimationFrame(() => {
    waits = false;
    picture();
  });
};

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
  mark(box, "data-rows", view.pairs.length > MOST_CARDS);
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
  redraw();
};

oneStop(byId("pairs"), { name: "Pairs" });
addEventListener("look", () => {
  repaint();
  redraw();
});
hear("moment", () => view && !waits && picture());
hear("view", show);
