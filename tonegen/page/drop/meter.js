// Drop from what a meter shows: string, changes and reading in, what they tell out, and what to read next.

import { ask, hear, tell } from "../static/wire.js";
import { byId, held, make, refill, say, tableHead } from "../static/parts.js";
import { oneStop } from "../static/stops.js";
import { choose, chosen } from "../play/string.js";
import { part } from "../static/nav.js";
import { earFor } from "../hearing/ear.js";

/** @typedef {import("../static/messages.js").Asks["read"]["unit"]} Unit */
/** @typedef {import("../static/messages.js").Asks["read"]["side"]} Side */

const MOST_BYTES = 60000; // of a message; a longer one would end the connection
/** @type {import("../static/wire.js").Shows["view"] | null} */
let view = null;
/** @type {import("../static/wire.js").Shows["readings"] | null} */
let told = null;
let columns = [];

const string = make("select", { id: "read-string", onchange: () => choose(Number(string.value)) });
const engaged = make("output", { id: "read-engaged" });
const value = make("input", {
  type: "text",
  id: "read-value",
  inputmode: "text",
  autocomplete: "off",
  maxlength: 20,
  required: true,
});
const unit = make(
  "select",
  {
    id: "read-unit",
    "aria-label": "Unit",
    onchange: () => {
      counting.hidden = unit.value !== "beats";
    },
  },
  ...[
    ["cents", "cents"],
    ["hz", "Hz"],
    ["beats", "beats"],
  ].map(([name, words]) => make("option", { value: name }, words)),
);
const against = make("input", {
  type: "text",
  id: "read-against",
  placeholder: "E4",
  autocomplete: "off",
  maxlength: 20,
});
const ratio = make("input", {
  type: "text",
  id: "read-ratio",
  placeholder: "1:1",
  autocomplete: "off",
  maxlength: 12,
});
const seconds = make("input", {
  type: "text",
  id: "read-seconds",
  inputmode: "decimal",
  placeholder: "1",
  autocomplete: "off",
  maxlength: 8,
});
const side = make(
  "select",
  { id: "read-side" },
  make("option", { value: "" }, "not known"),
  make("option", { value: "wide" }, "wide, or string higher"),
  make("option", { value: "narrow" }, "narrow, or string lower"),
);
const good = make("input", {
  type: "number",
  id: "meter-cents",
  min: 0.01,
  max: 100,
  step: "any",
  onchange: () => {
    if (good.checkValidity()) ask("meter", { cents: Number(good.value) });
  },
});
const counting = make(
  "div",
  { class: "fields counting", hidden: true },
  make("label", {}, "Seconds", seconds),
  make("label", {}, "Counted against", against),
  make("label", {}, "Stands for", ratio),
  make("label", {}, "The interval is", side),
);

// A string that is played fills the field; the player still says whether it is taken.
let picks = 0;
const ear = earFor("drop", "drop", "Fill in by listening");
// Strings that play one note cannot be told apart by their sound: the player says which it was.
const which = make("div", { class: "buttons", id: "read-which", hidden: true });
const fill = (number, cents) => {
  which.hidden = true;
  choose(number);
  unit.value = "cents";
  counting.hidden = true;
  value.value = cents;
};
const askWhich = (strings, cents) => {
  value.value = "";
  which.hidden = false;
  which.replaceChildren(
    make("p", {}, "Which one was it?"),
    ...strings.map((number) =>
      make(
        "button",
        {
          type: "button",
          onclick: () => {
            fill(number, cents);
            value.focus();
          },
        },
        `String ${number}`,
      ),
    ),
  );
};

const form = make(
  "form",
  {
    class: "read",
    onsubmit: (event) => {
      event.preventDefault();
      const typed = value.value.trim(),
        beats = unit.value === "beats";
      if (!typed) return;
      ask("read", {
        string: Number(string.value),
        unit: /** @type {Unit} */ (unit.value),
        value: typed,
        ...(beats
          ? {
              seconds: seconds.value.trim(),
              side: /** @type {Side} */ (side.value),
              against: against.value.trim(),
              ratio: ratio.value.trim(),
            }
          : {}),
      });
      value.value = "";
      value.focus();
    },
  },
  make("div", { class: "where-read" }, make("label", {}, "String", string), make("p", {}, engaged)),
  make(
    "div",
    { class: "shows" },
    make("label", { for: "read-value" }, "The meter shows"),
    value,
    unit,
    make("button", { type: "submit", class: "primary" }, "Add reading"),
  ),
  counting,
  make("div", { class: "buttons" }, ear.button),
  ear.says,
  which,
  ear.where,
  make("label", { class: "good" }, "Meter accurate to", good, "cents"),
);

const says = make("p", { class: "hint", id: "read-says", role: "status" });
const next = make("div", { class: "next" });
const drops = make("div", { class: "drops" });
const name = make("input", {
  type: "text",
  id: "drop-name",
  maxlength: 60,
  placeholder: "my-cabinet",
  autocomplete: "off",
});
const keep = make(
  "form",
  {
    class: "save",
    onsubmit: (event) => {
      event.preventDefault();
      if (name.value.trim()) ask("keepdrop", { name: name.value.trim() });
    },
  },
  make("label", { for: "drop-name" }, "Save this drop as"),
  name,
  make("button", { type: "submit" }, "Save and use"),
);
const list = make("ol", { class: "taken", reversed: true });
const heading = make("h3");
const all = make("button", { id: "unread-all", onclick: () => ask("unread", { at: null }) }, "Remove all");

const take = (text) => {
  if (new Blob([JSON.stringify(text)]).size > MOST_BYTES)
    tell("fault", { text: "That list is larger than 60 kB; add it in parts." });
  else if (text.trim()) ask("readlist", { text });
};
const lines = make("textarea", {
  id: "read-lines",
  rows: 5,
  spellcheck: "false",
  placeholder: "string,changes,cents\n8,,3.0\n8,A,0.8",
});
const file = make("input", {
  type: "file",
  id: "read-file",
  accept: ".csv,.txt,text/csv,text/plain",
  onchange: async () => {
    if (file.files[0]) take(await file.files[0].text());
    file.value = "";
  },
});
const many = make(
  "details",
  {},
  make("summary", {}, "Add a whole list"),
  make(
    "div",
    { class: "many" },
    make("label", { for: "read-lines" }, "Paste a table, with its heading"),
    lines,
    make(
      "div",
      { class: "buttons" },
      make(
        "button",
        {
          id: "read-many",
          onclick: () => {
            take(lines.value);
            lines.value = "";
          },
        },
        "Add them all",
      ),
      make("label", { for: "read-file", class: "hidden" }, "A CSV file"),
      file,
    ),
  ),
);

byId("readings").append(
  make("h2", {}, "Drop, from a meter"),
  make(
    "p",
    { class: "hint" },
    "Read a string open, and again with changes that do not move it. Leave the tuning alone while you " +
      "take readings.",
  ),
  form,
  says,
  drops,
  keep,
  next,
  heading,
  list,
  make("div", { class: "buttons" }, all),
  many,
);

oneStop(next);
oneStop(list, { down: true });

const showWhere = () => {
  const options = JSON.stringify(view.strings.map(({ number, note }) => [number, note]));
  if (string.dataset.options !== options) {
    string.dataset.options = options;
    string.replaceChildren(
      ...view.strings.map(({ number, note }) => make("option", { value: number }, `${number}, ${note}`)),
    );
  }
  string.value = String(chosen());
  say(engaged, view.state === "open" ? "open" : `with ${view.state}`);
};

const table = () => {
  const cells = new Map(told.drops.map((one) => [`${one.string} ${one.change}`, one]));
  const strings = [...new Set(told.drops.map((one) => one.string))];
  const changes = columns.filter((change) => told.drops.some((one) => one.change === change));
  return make(
    "div",
    { class: "scroll", tabindex: "0", role: "region", "aria-label": "Drop of each string" },
    make(
      "table",
      { class: "sag" },
      tableHead(["string", ...changes]),
      make(
        "tbody",
        {},
        ...strings.map((number) =>
          make(
            "tr",
            {},
            make("th", { scope: "row" }, String(number)),
            ...changes.map((change) => {
              const one = cells.get(`${number} ${change}`);
              return make(
                "td",
                {},
                ...(one ? [make("b", {}, one.cents), " ", make("small", {}, `± ${one.give_or_take}`)] : []),
              );
            }),
          ),
        ),
      ),
    ),
  );
};

const show = () => {
  if (document.activeElement !== good) good.value = String(told.meter_cents);
  say(says, told.words);
  refill(
    drops,
    ...(told.drops.length
      ? [make("h3", {}, "How far each string sags, in cents, with the standard error"), table()]
      : []),
    ...told.together.map((one) =>
      make(
        "p",
        { class: "together" },
        `String ${one.string} with ${one.changes.join("+")}: ${one.cents} (±${one.give_or_take}), ` +
          `not the sum of ${one.sum}`,
      ),
    ),
    ...told.drops
      .filter((one) => one.doubt)
      .map((one) =>
        make(
          "p",
          { class: "to-know doubted" },
          `String ${one.string} with ${one.change} would rise by ${one.cents}: ${one.doubt}`,
        ),
      ),
    ...told.readings
      .filter((one) => one.doubt)
      .slice(0, 3)
      .map((one) => make("p", { class: "to-know doubted" }, `${one.where}, ${one.read}: ${one.doubt}`)),
    ...(told.scatter ? [make("p", { class: "hint" }, `Readings scatter by cents: ${told.scatter}.`)] : []),
    ...(told.undecided.length
      ? [make("p", { class: "to-know" }, `Not known yet: ${told.undecided.join("; ")}`)]
      : []),
  );
  keep.hidden = !told.drops.length;
  refill(
    next,
    ...(told.next.length ? [make("h3", {}, "What to read next")] : []),
    make(
      "div",
      { class: "chips" },
      ...told.next.map((one) =>
        make(
          "button",
          {
            class: one.again ? "next-one again" : "next-one",
            onclick: () => {
              ask("stand", { changes: one.changes });
              choose(one.string);
              value.focus();
            },
          },
          make("b", {}, one.where),
          " ",
          make("small", {}, one.why),
        ),
      ),
    ),
  );
  const count = told.readings.length;
  say(heading, `${count} ${count === 1 ? "reading" : "readings"}, latest first`);
  heading.hidden = all.hidden = !count;
  const focused = list.contains(held()) ? held().dataset.unread : null;
  list.replaceChildren(
    ...told.readings
      .map((one, at) =>
        make(
          "li",
          {},
          make("span", { class: "of" }, one.where),
          make("span", { class: "typed" }, one.read),
          make(
            "span",
            { class: "cents" },
            one.cents && !one.read.endsWith(" cents") ? `${one.cents} cents` : "",
          ),
          make(
            "button",
            {
              class: "forget",
              "data-unread": at,
              "aria-label": `Remove the reading of ${one.where}: ${one.read}`,
              onclick: () => ask("unread", { at }),
            },
            "×",
          ),
          ...(one.doubt ? [make("p", { class: "doubt" }, one.doubt)] : []),
        ),
      )
      .reverse(),
  );
  if (focused !== null)
    /** @type {HTMLElement} */ (
      list.querySelector(`[data-unread="${Math.min(Number(focused), count - 1)}"]`) ?? value
    ).focus();
};

hear("view", (next) => {
  view = next;
  columns = view.changes.map((change) => change.name);
  showWhere();
});
hear("hearing", (heard) => {
  if (heard.what !== "drop") which.hidden = true;
  if (heard.what !== "drop" || heard.pick <= picks || !heard.strings.length) {
    picks = heard.pick;
    return;
  }
  picks = heard.pick;
  if (heard.strings.length > 1) askWhich(heard.strings, heard.cents);
  else fill(heard.strings[0], heard.cents);
});
hear("readings", (next) => {
  told = next;
  show();
});
// Who touches a string has its figure to type next; a key or a mouse goes on where it is.
let touched = false;
addEventListener("pointerdown", ({ pointerType }) => (touched = pointerType === "touch"), true);
addEventListener("keydown", () => (touched = false), true);
addEventListener("chosen", () => {
  if (!view) return;
  showWhere();
  if (touched && part() === "drop") value.focus();
});
