// Tap along with a beat that is heard on the steel itself, or type what was counted: how fast it is, and how
// far from pure that can be.

import { ask, hear } from "../static/wire.js";
import { byId, make, say } from "../static/parts.js";

const FORGET_MS = 4000;
let taps = [];

const pair = make("select", { id: "tap-pair", "aria-label": "Which pair beats" });
const button = make("button", { id: "tap-here" }, "Tap on each beat");
const words = make("output", { class: "counted", "aria-live": "polite" });
const number = (id, label, value) =>
  make("input", { type: "number", id, "aria-label": label, min: 0.1, step: "any", value, required: true });
const beats = number("count-beats", "Beats counted", ""),
  seconds = number("count-seconds", "Seconds counted for", 10);
const done = make("button", { type: "submit", id: "count-done" }, "Work it out");
const form = make(
  "form",
  {
    class: "typed-count",
    onsubmit: (event) => {
      event.preventDefault();
      taps = [];
      ask("counted", { ...chosen(), beats: Number(beats.value), seconds: Number(seconds.value) });
    },
  },
  "or",
  beats,
  "beats in",
  seconds,
  "seconds",
  done,
);
byId("tap").append(pair, button, form, words);

const chosen = () => {
  const [low, high] = pair.value.split(" ");
  return { low, high };
};

const tap = (at) => {
  if (taps.length && at - taps.at(-1) > FORGET_MS) taps = [];
  taps = [...taps, at].slice(-400);
  if (taps.length < 3) {
    say(words, `${taps.length} ${taps.length === 1 ? "tap" : "taps"}; at least 3 are needed`);
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
});

hear("view", ({ pairs }) => {
  const options = JSON.stringify(pairs.map(({ low, high, names }) => [low, high, names]));
  button.disabled = pair.disabled = done.disabled = !pairs.length;
  if (pair.dataset.options === options) return;
  const before = pair.value;
  pair.dataset.options = options;
  pair.replaceChildren(
    ...pairs.map(({ low, high, names }) => make("option", { value: `${low} ${high}` }, names)),
  );
  if (pairs.some(({ low, high }) => `${low} ${high}` === before)) pair.value = before;
});
hear("count", (count) => say(words, `${count.rate}, ${count.surely}: ${count.wide}; ${count.narrow}`));
