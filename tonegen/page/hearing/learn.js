// Each string alone, twice: how far it is learned, which it was where two play one note, and keeping it.

import { ask, hear } from "../static/wire.js";
import { byId, make, refill } from "../static/parts.js";
import { earFor } from "./ear.js";

const ear = earFor("learn", "drop", "Learn my strings");
const rows = make("div");

byId("readings").append(
  make(
    "details",
    { class: "learn" },
    make("summary", {}, "Have your strings heard better"),
    make(
      "p",
      { class: "hint" },
      "Each string has its own way of ringing. Picked alone, twice, at fret 0, it is learned and kept with " +
        "the instrument. Learn a string again when it is new.",
    ),
    make("div", { class: "buttons" }, ear.button),
    ear.says,
    ear.where,
    rows,
  ),
);

hear("learned", ({ rows: strings, which, keeps }) => {
  refill(
    rows,
    make(
      "div",
      { class: "buttons" },
      ...which.map((string) =>
        make("button", { onclick: () => ask("picked", { string }) }, `It was string ${string}`),
      ),
    ),
    make(
      "ul",
      {},
      ...strings.map(({ string, note, words }) => make("li", {}, `${string}, ${note}: ${words}`)),
    ),
    ...(keeps
      ? [
          make(
            "button",
            { id: "keep-learned", class: "primary", onclick: () => ask("keeplearned") },
            `Keep ${keeps} ${keeps === 1 ? "string" : "strings"} with the instrument`,
          ),
        ]
      : []),
  );
});
