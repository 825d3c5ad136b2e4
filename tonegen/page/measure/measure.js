// Plays the keys of the chosen receiver, hears what it plays off by itself, and saves that.

import { ask, hear } from "../static/wire.js";
import { byId, make, mark, refill, say, tableHead } from "../static/parts.js";
import { inputChooser } from "../hearing/ear.js";
import { where } from "../keys/keys.js";

let plays = false;

const text = (id, value, words) =>
  make("input", {
    type: "text",
    id,
    value,
    placeholder: words,
    maxlength: 60,
    autocomplete: "off",
    spellcheck: "false",
    required: true,
  });
const keys = text("measure-keys", "C3-C5", "C3-C5");
const go = make("button", { type: "submit", id: "measure", class: "primary" }, "Play and hear it");
const bar = make("progress", {
  id: "measure-bar",
  "aria-label": "Keys heard",
  value: 0,
  max: 1,
  hidden: true,
});
const words = make("p", { class: "status", id: "measure-words", role: "status" });
const rows = make("div");
const name = text("measure-name", "", "my-keyboard");
const save = make(
  "form",
  {
    class: "save",
    hidden: true,
    onsubmit: (event) => {
      event.preventDefault();
      if (name.value.trim()) ask("savemeasured", { name: name.value.trim() });
    },
  },
  make("label", { for: "measure-name" }, "Save this receiver as"),
  name,
  make("button", { type: "submit", id: "measure-save" }, "Save"),
);

byId("keys").append(
  make(
    "details",
    { class: "measure" },
    make("summary", {}, "Measure what it plays off by itself"),
    make(
      "p",
      { class: "hint" },
      "It plays the keys of the receiver chosen above three times, some six seconds for each key, and " +
        "hears them. Lead its sound to the input by a cable, turned down in the room. Choose a plain sound " +
        "that lasts, without chorus, vibrato and reverb.",
    ),
    make(
      "form",
      {
        class: "fields",
        onsubmit: (event) => {
          event.preventDefault();
          if (plays) ask("stopmeasuring");
          else ask("measure", { where: where(), keys: keys.value.trim() });
        },
      },
      make("label", {}, "Keys", keys),
      make("div", { class: "buttons" }, go),
    ),
    inputChooser("measure"),
    words,
    bar,
    rows,
    save,
  ),
);

hear("measuring", (heard) => {
  plays = heard.plays;
  say(go, plays ? "Stop and put it back" : "Play and hear it");
  mark(go, "aria-pressed", plays);
  say(words, heard.words);
  bar.hidden = !plays;
  bar.max = Math.max(heard.whole, 1);
  bar.value = heard.done;
  save.hidden = !heard.found;
  refill(
    rows,
    ...heard.to_know.map((one) => make("p", { class: "to-know" }, one)),
    ...(heard.rows.length
      ? [
          make(
            "div",
            { class: "scroll", tabindex: "0", role: "region", "aria-label": "What it plays off equal" },
            make(
              "table",
              { class: "offsets" },
              make("caption", {}, "What it plays off equal temperament, in cents"),
              tableHead(["key", "by itself", "give or take", "left"]),
              make(
                "tbody",
                {},
                ...heard.rows.map((row) =>
                  make(
                    "tr",
                    {},
                    make("th", { scope: "row" }, row.note),
                    make("td", {}, row.own),
                    make("td", {}, row.within),
                    make("td", {}, row.left),
                  ),
                ),
              ),
            ),
          ),
        ]
      : []),
  );
});
