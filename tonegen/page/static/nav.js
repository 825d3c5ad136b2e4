// The parts of the page, one shown at a time; the address remembers which.

import { byId, make, mark } from "./parts.js";

const PARTS = {
  play: "Play",
  drop: "Drop",
  temper: "Temper",
  order: "Order",
  keys: "Keys",
  evening: "Set",
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
byId("parts").append(...buttons);

export const part = () => document.documentElement.dataset.part;

export const openPart = () => {
  const wanted = location.hash.slice(1);
  document.documentElement.dataset.part = wanted in PARTS ? wanted : "play";
  for (const button of buttons)
    mark(button, "aria-current", button.dataset.part === part() ? "page" : "false");
  dispatchEvent(new Event("part"));
};
addEventListener("hashchange", openPart);
