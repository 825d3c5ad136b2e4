// Tap along with a beat that is heard on the steel itself, or type what was counted: how fast it is, and how
// far from pure that can be.

import { ask, hear } from "../static/wire.js";
import { byId, held, make, offers, say } from "../static/parts.js";
import { oneStop } from "../static/stops.js";
import { earFor } from "../hearing/ear.js";

const FORGET_MS = 4000;
let taps = [];

const pair = make("select", { id: "tap-pair", "aria-label": "Which pair beats" });
const offerPairs = offers(pair);
const button = make("button", { id: "tap-here" }, "Tap on each beat");
const words = make("output", { class: "counted", "aria-live": "polite" });
const number = (id, label, value) =>
  make("input", { type: "number", id, "aria-label": label, min: 0.1, step: "any", value, required: true });
const beats = number("count-beats", "Beats counted", ""),
  seconds = number("count-seconds", "Seconds counted for", 10);
/** Of pure, as it was heard; a count that is typed tells none. @type {"" | "wide" | "narrow"} */
let side = "";
beats.addEventListener("input", () => {
  side = "";
});
const done = make("button", { type: "submit", id: "count-done" }, "Work it out");
const form = make(
  "form",
  {
    class: "typed-count",
    onsubmit: (event) => {
      event.preventDefault();
      taps = [];
      ask("counted", { ...chosen(), beats: Number(beats.value), seconds: Number(seconds.value), side });
    },
  },
  "or",
  beats,
  "beats in",
  seconds,
  "seconds",
  done,
);
const ear = earFor("count", "play", "Count by listening", () => chosen());
byId("tap").append(
  pair,
  button,
  form,
  make("div", { class: "listening" }, ear.button, ear.where),
  ear.says,
  words,
);
oneStop(byId("tap"), { of: "#tap-pair, #tap-here" });

const chosen = () => {
  const [low, high] = pair.value.split(" ");
  return { low, high };
};

const tap = (at) => {
  if (taps.length && at - taps.at(-1) > FORGET_MS) taps = [];
  taps = [...taps, at].slice(-400);
  if (taps.length < 3) {
    say(words, `${taps.length} ${taps.length === 1 ? "tap" : "taps"}; you need at least 3`);
    return;
  }
  ask("tapped", { ...chosen(), times_ms: taps });
};
button.addEventListener("pointerdown", ({ timeStamp }) => tap(timeStamp));
button.addEventListener("keydown", (event) => {
  if ((event.key === " " || event.key === "Enter") && !event.repeat) tap(event.timeStamp);
});
pair.addEventListener("change", () => {
  taps = [];
  if (ear.listens()) ask("listen", { what: "count", ...chosen() });
});
hear("hearing", (heard) => {
  if (heard.what !== "count" || !heard.beats_per_second || held() === beats) return;
  beats.value = (10 * heard.beats_per_second).toFixed(1);
  seconds.value = "10";
  side = /** @type {typeof side} */ (heard.side);
});

hear("view", ({ pairs }) => {
  button.disabled = pair.disabled = done.disabled = !pairs.length;
  offerPairs(pairs.map(({ low, high, names }) => [`${low} ${high}`, names]));
});
hear("count", (count) => {
  const where = [count.wide, count.narrow].filter(Boolean).join("; ");
  say(words, `${count.rate}, ${count.surely}: ${where}`);
});
