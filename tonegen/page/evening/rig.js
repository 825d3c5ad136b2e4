// The receivers of the set: how each stands while it is played, and what they are played from.

import { ask, hear } from "../static/wire.js";
import { byId, make, mark, refill, say } from "../static/parts.js";

const OWN_INPUT = ["virtual tonegen in", "its own port, tonegen in"];
/** @type {import("../static/wire.js").Shows["setrig"]} */
let rig = { status: "", receivers: [], inputs: [] };
let looked = false;

// How each stands, where the player looks.
const bar = make("ul", { id: "set-receivers", "aria-label": "Receivers", "aria-live": "polite" });
const inWords = ({ state, waits_for }) =>
  state === "going"
    ? waits_for.length
      ? `waits for ${waits_for.join(" ")}`
      : "on its way"
    : { ready: "ready", gone: "gone", "": "left out" }[state];
const showBar = () => {
  bar.hidden = rig.status !== "played";
  const there = rig.receivers;
  if (bar.children.length !== there.length)
    bar.replaceChildren(...there.map(() => make("li", {}, make("b", {}), " ", make("span", {}))));
  for (const [at, one] of there.entries()) {
    const [name, words] = bar.children[at].children;
    mark(bar.children[at], "data-state", one.state);
    say(name, one.name);
    say(words, inWords(one));
  }
};

// What is played with what.
const ticked = (value, words, checked) =>
  make("label", {}, make("input", { type: "checkbox", value, checked }), words);
const boxes = (list) => /** @type {HTMLInputElement[]} */ ([...list.querySelectorAll("input")]);
const chosen = (list, wanted) =>
  boxes(list)
    .filter(({ checked }) => checked === wanted)
    .map(({ value }) => value);
const receivers = make("div");
const inputs = make("div");
const offer = (list, options, isChosen) => {
  const shape = JSON.stringify(options);
  if (list.dataset.shape === shape) return;
  list.dataset.shape = shape;
  refill(list, ...options.map(([value, words]) => ticked(value, words, isChosen(value))));
};

const play = make(
  "button",
  {
    class: "primary",
    id: "play-set",
    onclick: () => ask("playset", { without: chosen(receivers, false), keyboards: chosen(inputs, true) }),
  },
  "Tune them and play",
);
const back = make("button", { id: "put-set-back", onclick: () => ask("putsetback") }, "Put them all back");
const hush = make("button", { id: "hush-set", onclick: () => ask("panicset") }, "All notes off");
const ports = make("button", { id: "set-inputs", onclick: () => ask("findinputs") }, "Look for ports");
const status = make("p", { id: "rig-status", role: "status" });
const choices = make(
  "div",
  {},
  make("fieldset", {}, make("legend", {}, "Receivers that play"), receivers),
  make("fieldset", {}, make("legend", {}, "You play on"), inputs),
);
const box = make(
  "details",
  {
    id: "rig-of-set",
    ontoggle: () => {
      if (!box.open || looked) return;
      looked = true;
      ask("findinputs");
    },
  },
  make("summary", {}, "Receivers of this set"),
  choices,
  make("div", { class: "buttons" }, play, back, hush, ports),
  status,
);
byId("set-words").parentElement.querySelector(".go").before(bar);
byId("set-choice").closest(".buttons").before(box);

const STATUS = {
  "": "Not tuned yet.",
  begins: "Tuning them…",
  played: "They follow you from song to song. What you play comes through here.",
  ends: "Putting them back…",
};
const show = () => {
  showBar();
  offer(
    receivers,
    rig.receivers.map(({ name, receiver, where }) => [name, `${name}: ${receiver} at ${where}`]),
    () => true,
  );
  const before = chosen(inputs, true);
  offer(
    inputs,
    [OWN_INPUT, ...rig.inputs.map((name) => [name, name])],
    (value) => before.includes(value) || (!inputs.children.length && value === OWN_INPUT[0]),
  );
  const still = !rig.receivers.length;
  const focus = document.activeElement;
  choices.hidden = still || rig.status !== "";
  play.hidden = ports.hidden = choices.hidden;
  back.hidden = hush.hidden = rig.status !== "played";
  if (focus === play && play.hidden) box.querySelector("summary").focus();
  if (focus === back && back.hidden) box.querySelector("summary").focus();
  say(
    status,
    still
      ? "This set has no receivers. To have keyboards follow, add them under “Change the set”."
      : STATUS[rig.status],
  );
};
hear("setrig", (next) => {
  rig = next;
  show();
});
hear("open", () => {
  looked = false;
});
