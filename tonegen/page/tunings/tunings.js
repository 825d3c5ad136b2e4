// The library of tunings: a list that is searched, strings that are drawn, heard and explained by touch.

import { ask, hear } from "../static/wire.js";
import { readyToHear } from "../sound/sound.js";
import { byId, make, refill, tableHead } from "../static/parts.js";
import { oneStop } from "../static/stops.js";

/** @type {import("../static/wire.js").Shows["tunings"] | null} */
let tunings = null;
let touched = -1;

const find = () => ask("findtunings", { text: search.value.trim() });
const search = make("input", {
  type: "search",
  id: "tunings-search",
  maxlength: 120,
  autocomplete: "off",
  spellcheck: "false",
  placeholder: "banjo, open G, or D A D",
  oninput: find,
});
const list = make("div", { class: "tuning-list", role: "region", "aria-label": "Tunings" });
const sheet = make("div", { class: "tuning-sheet", "aria-live": "polite" });
const fold = make(
  "details",
  {
    ontoggle: () => {
      if (fold.open && !tunings?.rows.length) find();
    },
  },
  make("summary", {}, "Library of tunings"),
  make("label", {}, "Find by words, or by the notes of neighbouring strings", search),
  list,
  sheet,
);
byId("tunings").append(fold);
oneStop(list);
oneStop(sheet);

const sounded = (place) => {
  readyToHear();
  ask("heartuning", { place });
};
const row = ({ name, title, notes, transposed }) =>
  make(
    "button",
    {
      "data-tuning": name,
      "aria-pressed": name === tunings.shown?.name,
      onclick: () => {
        touched = -1;
        ask("opentuning", { name });
      },
    },
    make("b", {}, title),
    " ",
    make("small", {}, notes, transposed && `, ${transposed}`),
  );
// A string as it lies: the lower the thicker, and to the side as far as it is off equal.
const line = (each, at) => {
  const drawn = make("i", { "aria-hidden": "true" });
  drawn.style.setProperty("--thick", `${1 + at * 0.5}px`);
  drawn.style.setProperty("--off", String(Math.max(-50, Math.min(50, each.cents))));
  return drawn;
};
const string = (each, at) =>
  make(
    "button",
    {
      class: "tuning-string",
      "data-place": each.place,
      "aria-pressed": each.place === touched,
      onclick: () => {
        touched = each.place;
        sounded(each.place);
        show();
      },
    },
    make("span", {}, each.called),
    line(each, at),
    make("output", {}, each.offset),
  );
const why = (each) => [
  make("h3", {}, `${each.called} stands at ${each.offset} cents`),
  make(
    "table",
    {},
    tableHead(["asked by", "for", "wants", "share", "then beats"]),
    make(
      "tbody",
      {},
      ...each.wishes.map((wish) =>
        make(
          "tr",
          {},
          make("th", { scope: "row" }, wish.who),
          ...[wish.why, wish.wished, `${Math.round(wish.share * 100)} %`, wish.rate].map((words) =>
            make("td", {}, words),
          ),
        ),
      ),
    ),
  ),
  ...(each.clash ? [make("p", { class: "to-know" }, each.clash)] : []),
];

const show = () => {
  refill(list, ...(tunings.rows.length ? tunings.rows.map(row) : [make("p", {}, "No tuning fits.")]));
  const shown = tunings.shown;
  if (!shown) return sheet.replaceChildren();
  const chosen = shown.strings.find((each) => each.place === touched);
  refill(
    sheet,
    make("h3", {}, shown.title),
    make("p", {}, `${shown.rule}. ${shown.purity}`),
    make("div", { class: "tuning-strings" }, ...shown.strings.map(string)),
    make(
      "div",
      { class: "buttons" },
      make("button", { id: "tuning-hear", onclick: () => sounded(-1) }, "Hear all"),
      make(
        "button",
        {
          id: "tuning-take",
          hidden: !shown.can_be_taken,
          onclick: () => ask("taketuning", { name: shown.name }),
        },
        "Make it my instrument",
      ),
    ),
    ...(chosen ? why(chosen) : [make("p", {}, "Touch a string to hear it and see why it stands there.")]),
    make("small", {}, `Source: ${shown.source}`),
  );
};

hear("tunings", (next) => {
  tunings = next;
  if (fold.open) show();
});
