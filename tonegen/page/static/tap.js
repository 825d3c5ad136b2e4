// Tap along with a beat that is heard on the steel itself: how fast it is, and how far from pure that can be.

import { ask, hear } from "./wire.js";
import { byId, make, say } from "./parts.js";

const FORGET_MS = 4000;
let taps = [];

const pair = make("select", { id: "tap-pair", "aria-label": "Which pair beats" });
const button = make("button", { id: "tap-here" }, "Tap on each beat");
const words = make("output", { class: "counted", "aria-live": "polite" });
byId("tap").append(pair, button, words);

const tap = (at) => {
  if (taps.length && at - taps.at(-1) > FORGET_MS) taps = [];
  taps = [...taps, at].slice(-400);
  if (taps.length < 3) { say(words, `${taps.length} of 3 taps at least`); return; }
  const [low, high] = pair.value.split(" ").map(Number);
  ask("tapped", { low, high, times_ms: taps });
};
button.addEventListener("pointerdown", ({ timeStamp }) => tap(timeStamp));
button.addEventListener("keydown", (event) => {
  if ((event.key === " " || event.key === "Enter") && !event.repeat) tap(event.timeStamp);
});
pair.addEventListener("change", () => { taps = []; });

hear("view", ({ pairs }) => {
  const options = JSON.stringify(pairs.map(({ low, high, names }) => [low, high, names]));
  button.disabled = pair.disabled = !pairs.length;
  if (pair.dataset.options === options) return;
  const before = pair.value;
  pair.dataset.options = options;
  pair.replaceChildren(...pairs.map(({ low, high, names }) => make("option", { value: `${low} ${high}` }, names)));
  if (pairs.some(({ low, high }) => `${low} ${high}` === before)) pair.value = before;
});
hear("count", (count) => say(words, `${count.rate}, ${count.surely}: ${count.wide}; ${count.narrow}`));
