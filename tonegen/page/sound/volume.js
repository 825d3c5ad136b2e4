// The volume, set on a steady tone before the first trial or lesson is heard; whoever moved the level has
// set it.

import { ask, hear } from "../static/wire.js";
import { part } from "../static/nav.js";
import { byId, make } from "../static/parts.js";
import { readyToHear } from "./sound.js";

let isSet = false,
  sounds = false,
  next = null,
  from = null;

const comfortable = () => {
  const then = next;
  ask("steady", { on: false, comfortable: true });
  close();
  then();
};
const notNow = () => {
  ask("steady", { on: false });
  close();
  from?.focus();
};

const panel = make(
  "section",
  { id: "volume", class: "shown", "aria-labelledby": "volume-title", hidden: true },
  make("h2", { id: "volume-title", tabindex: "-1" }, "Set the volume"),
  make(
    "p",
    {},
    "A steady tone sounds. Turn up your headphones, your amplifier or the level until it is " +
      "comfortable, and no louder. Nothing that follows is louder.",
  ),
  make(
    "div",
    { class: "buttons" },
    make(
      "button",
      { id: "volume-comfortable", class: "primary", onclick: comfortable },
      "That's comfortable",
    ),
    make("button", { id: "volume-not-now", onclick: notNow }, "Not now"),
  ),
);
byId("ears").prepend(panel);

const close = () => {
  panel.hidden = true;
  next = null;
};

// Do what sounds, at once where the volume was set, else when the player says that it is comfortable.
export const whenComfortable = (action) => {
  readyToHear();
  if (isSet) {
    action();
    return;
  }
  next = action;
  from = document.activeElement;
  panel.hidden = false;
  ask("steady", { on: true });
  byId("volume-title").focus();
};

hear("volume", ({ steady, is_set }) => {
  if (sounds && !steady) close();
  sounds = steady;
  isSet = is_set;
});
addEventListener("part", () => {
  if (part() !== "ears" && !panel.hidden) {
    ask("steady", { on: false });
    close();
  }
});
