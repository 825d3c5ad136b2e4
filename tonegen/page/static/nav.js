// The parts of the page, one shown at a time; the address remembers which.

import { byId, make, mark } from "./parts.js";
import { oneStop } from "./stops.js";

const PARTS = {
  play: "Play",
  drop: "Drop",
  temper: "Temper",
  order: "Order",
  keys: "Keys",
  evening: "Set",
  own: "My own",
  ears: "Ears",
};
const buttons = Object.entries(PARTS).map(([part, words]) =>
  make(
    "button",
    {
      "data-part": part,
      onclick: () => {
        location.hash = part;
      },
    },
    words,
  ),
);
const bar = make("div", { class: "parts" }, ...buttons);
byId("parts").append(bar);
oneStop(bar, { name: "Parts of the page" });

export const part = () => document.documentElement.dataset.part;

export const openPart = () => {
  const wanted = location.hash.slice(1);
  document.documentElement.dataset.part = wanted in PARTS ? wanted : "play";
  for (const button of buttons)
    mark(button, "aria-current", button.dataset.part === part() ? "page" : "false");
  dispatchEvent(new Event("part"));
};
addEventListener("hashchange", openPart);
