// Pedals and levers as pads: down while a finger is on them, as many at once as there are fingers. The lock
// keeps them down. A slide up lets one rise, to its half-stop and on to rest. Mouse and keys latch.

import { ask, hear } from "../static/wire.js";
import { drags } from "../static/hands.js";
import { byId, make, mark, say } from "../static/parts.js";
import { oneStop } from "../static/stops.js";

const RISE_PIXELS = 100; // from the stop to rest
/** @type {import("../static/wire.js").Shows["view"] | null} */
let view = null;
let shape = "";
let pads = new Map();
const lock = make(
  "button",
  {
    id: "lock",
    "aria-pressed": "false",
    "aria-label": "Lock: pedals and levers stay where you put them",
    onclick: () => {
      mark(lock, "aria-pressed", !locked());
      if (!locked()) ask("release");
    },
  },
  "Lock",
);
const locked = () => lock.getAttribute("aria-pressed") === "true";

oneStop(byId("board"), { name: "Pedals and levers" });

const changeOf = (name) => view?.changes.find((one) => one.name === name);
export const toggleChange = (name) => {
  const change = changeOf(name);
  if (change) ask("engage", { change: name, travel: change.travel > 0 ? 0 : 1 });
};
export const changeOfKey = (key) => view?.changes.find((change) => change.key === key)?.name;

// A half-stop can be felt under a knee; here the finger catches beside it, half-way where there is none.
const felt = (name, travel) => {
  const halves = changeOf(name).half_stops;
  return (halves.length ? halves : [0.5]).find((half) => Math.abs(travel - half) < 0.06) ?? travel;
};

const padOf = (change) => {
  const where = make("small", { class: "at" });
  const pad = make(
    "button",
    {
      class: "change",
      "aria-pressed": "false",
      "aria-label": `${change.name}, ${change.place}`,
      "data-change": change.name,
      "aria-keyshortcuts": change.key,
    },
    make("b", {}, change.name),
    make("kbd", {}, change.key),
    make("small", { class: "place" }, change.place),
    where,
  );
  const go = (travel) => ask("engage", { change: change.name, travel });
  drags(pad, {
    begin: ({ pointerType }) => {
      const latches = locked() || pointerType === "mouse";
      const travel = latches && changeOf(change.name).travel > 0 ? 0 : 1;
      go(travel);
      return { latches, travel };
    },
    move: (begun, { y }) => {
      const travel = felt(change.name, Math.round(100 * Math.max(0, Math.min(1, 1 + y / RISE_PIXELS))) / 100);
      if (travel === begun.travel) return;
      begun.travel = travel;
      go(travel);
    },
    end: ({ latches }) => latches || go(0),
  });
  pad.addEventListener("click", ({ detail }) => {
    if (detail === 0) toggleChange(change.name); // by a key, or for a screen reader
  });
  pad.addEventListener("contextmenu", (event) => event.preventDefault());
  return { pad, where };
};

hear("view", (next) => {
  view = next;
  const nextShape = JSON.stringify(view.changes.map(({ name, place, key }) => [name, place, key]));
  if (shape !== nextShape) {
    shape = nextShape;
    pads = new Map(view.changes.map((change) => [change.name, padOf(change)]));
    const board = byId("board");
    board.hidden = !pads.size;
    board.style.setProperty("--pads", String(pads.size + 1));
    board.replaceChildren(...[...pads.values()].map(({ pad }) => pad), lock);
  }
  for (const { name, travel } of view.changes) {
    const { pad, where } = pads.get(name);
    const half = travel > 0 && travel < 1;
    mark(pad, "aria-pressed", travel > 0);
    mark(pad, "data-half", half);
    say(where, half ? `at ${travel}` : "");
  }
});
