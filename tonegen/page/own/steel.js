// A steel that is being made: its strings, its pedals and levers, and a chart of what they do.

import { ask } from "../static/wire.js";
import { byId, make, mark, say } from "../static/parts.js";
import { oneStop } from "../static/stops.js";
import {
  addButton,
  fill,
  button,
  choice,
  field,
  outButton,
  places,
  put,
  rowButtons,
  rowsOf,
  several,
  tick,
} from "./form.js";

/** @typedef {import("./form.js").OwnView} OwnView */

/** @type {string[]} */
const PLACES = [
  ...Array.from({ length: 10 }, (_, at) => `pedal ${at + 1}`),
  ...["left", "right"].flatMap((knee) => ["left", "right", "up"].map((way) => `${knee} knee ${way}`)),
];
const ROOTS = ["C", "C#", "Db", "D", "D#", "Eb", "E", "F", "F#", "Gb", "G", "G#", "Ab", "A", "A#", "Bb", "B"];
const STEPS = [-3, -2, -1, 1, 2, 3];

let cell = "changes[0].moves.1";
let focusNext = "";

/** Which field to go to once the form is there again. */
export const nextFocus = () => {
  const next = focusNext;
  focusNext = "";
  return next;
};

const toNext = (rows, at, count) => (event) => {
  if (event.key !== "Enter") return;
  event.preventDefault();
  if (at + 1 < count) {
    byId(`own-${rows}[${at + 1}].open`).focus();
    return;
  }
  focusNext = `${rows}[${count}].open`;
  event.target.dispatchEvent(new Event("change"));
  ask("addown", { rows });
};

const stringRow = (at, count) => {
  const name = `strings[${at}]`;
  const step = (by, said) =>
    button(said, () => put(`${name}.open`, by), {
      class: "step",
      "aria-label": `String ${at + 1} a half step ${by === "+1" ? "higher" : "lower"}`,
    });
  return make(
    "li",
    { "data-row": name },
    make("b", { class: "number" }, String(at + 1)),
    step("-1", "−"),
    field(`${name}.open`, "Note", { size: 4, onkeydown: toNext("strings", at, count) }),
    step("+1", "+"),
    field(`${name}.gauge_inches`, "Gauge, inches", { inputmode: "decimal", size: 6 }),
    tick(`${name}.wound`, "Wound"),
    rowButtons("strings", at, `string ${at + 1}`, count),
    make(
      "details",
      {},
      make("summary", {}, "More of this string"),
      field(`${name}.core_inches`, "Core, inches", { inputmode: "decimal" }),
      field(`${name}.stiffness`, "Stiffness B", { inputmode: "decimal" }),
      field(`${name}.begins_at_fret`, "Begins at fret", { inputmode: "numeric" }),
    ),
    make("small", { class: "wrong" }),
  );
};

const changeRow = (at, count) => {
  const name = `changes[${at}]`;
  return make(
    "li",
    { "data-row": name },
    field(`${name}.name`, "Name", { size: 6 }),
    choice(`${name}.place`, "Moved by", [["", "not said"], ...PLACES.map((one) => [one, one])]),
    rowButtons("changes", at, `the pedal or lever in row ${at + 1}`, count),
    make("small", { class: "wrong" }),
  );
};

const columns = (view) => [
  ...places(view, "changes").map((at) => ({ way: `changes[${at}]`, head: `changes[${at}].name` })),
  ...places(view, "splits").map((at) => ({ way: `splits[${at}]`, head: `splits[${at}].changes` })),
];

const chart = (view) =>
  make(
    "div",
    { class: "own-scroll", role: "region", "aria-label": "What each pedal and lever does" },
    make(
      "table",
      { class: "own-chart" },
      make(
        "thead",
        {},
        make(
          "tr",
          {},
          make("th", { scope: "col" }, "String"),
          ...columns(view).map(({ head }) =>
            make("th", { scope: "col", "data-says": head, "data-otherwise": "?" }),
          ),
        ),
      ),
      make(
        "tbody",
        {},
        ...places(view, "strings").map((at) =>
          make(
            "tr",
            {},
            make("th", { scope: "row" }, `${at + 1} `, make("span", { "data-says": `strings[${at}].open` })),
            ...columns(view).map(({ way }) =>
              make(
                "td",
                {},
                make("button", {
                  type: "button",
                  id: `own-cell-${way}.moves.${at + 1}`,
                  "data-cell": `${way}.moves.${at + 1}`,
                  onclick: (event) => {
                    cell = event.currentTarget.dataset.cell;
                    showCell(latest);
                  },
                }),
              ),
            ),
          ),
        ),
      ),
    ),
  );

/** @type {OwnView} */
let latest;
const about = make("b", { "aria-live": "polite" });
const steps = make("div", { class: "own-steps", role: "group", "aria-label": "How far, in half steps" });
const halvesHead = make("summary", {}, "Half-stops");
const halvesIn = make("div", { class: "own-halves" });
const halves = make("details", { class: "own-fold" }, halvesHead, halvesIn);
const cellWrong = make("small", { class: "wrong" });
const far = field("cell", "Other", { inputmode: "numeric", size: 3 });
const farInput = far.querySelector("input");
farInput.removeAttribute("data-field");
farInput.oninput = null;
farInput.addEventListener("change", () => put(cell, farInput.value));
steps.append(
  ...STEPS.map((by) =>
    button(`${by < 0 ? "−" : "+"}${Math.abs(by)}`, () => put(cell, String(by)), {
      "data-by": by,
      "aria-label": `${Math.abs(by)} ${by < 0 ? "lower" : "higher"}`,
    }),
  ),
  button("None", () => put(cell, ""), { "data-by": "" }),
  far,
);
oneStop(steps, { of: "[data-by]" });
const panel = make(
  "div",
  { class: "own-cell", role: "group", "aria-label": "One string of one pedal" },
  about,
  steps,
  cellWrong,
  halves,
);

const signed = (text) => (/^\d/.test(text) && text !== "0" ? `+${text}` : text.replace("-", "−"));

/** What each cell says, and what the chosen one is set to. @param {OwnView} view */
export const showCell = (view) => {
  latest = view;
  const cells = /** @type {HTMLElement[]} */ ([...document.querySelectorAll("#own [data-cell]")]);
  if (!cells.some((one) => one.dataset.cell === cell)) cell = cells[0]?.dataset.cell ?? cell;
  for (const one of cells) {
    const name = one.dataset.cell ?? "";
    const half = view.rows[name.replace(".moves.", ".half_stops.")] ? " ½" : "";
    say(one, signed(view.fields[name] ?? "") + half || "·");
    mark(one, "aria-pressed", name === cell);
    mark(one, "aria-label", wordsOf(view, name));
  }
  panel.hidden = cells.length === 0;
  say(about, wordsOf(view, cell));
  const by = view.fields[cell] ?? "";
  for (const one of /** @type {NodeListOf<HTMLElement>} */ (steps.querySelectorAll("[data-by]")))
    mark(one, "aria-pressed", one.dataset.by === by);
  if (document.activeElement !== farInput) farInput.value = by;
  const wrong = cells.find((one) => one.dataset.cell === cell)?.dataset.wrong ?? "";
  say(cellWrong, wrong);
  showHalves(view);
};

const wordsOf = (view, name) => {
  const [, rows, at, string] = /^(changes|splits)\[(\d+)\]\.moves\.(\d+)$/.exec(name) ?? [];
  if (!rows) return "";
  const who = view.fields[`${rows}[${at}].${rows === "changes" ? "name" : "changes"}`] || "?";
  const by = view.fields[name];
  const how = by ? `, ${signed(by)}` : "";
  return `String ${string} with ${who.replaceAll(", ", "+")}${how}`;
};

let halvesOf = "";
const showHalves = (view) => {
  const way = cell.replace(".moves.", ".half_stops.");
  const count = view.rows[way] ?? 0;
  const can = cell.startsWith("changes") && Number(view.fields[cell]) !== 0 && view.fields[cell];
  const shape = `${way} ${count} ${can}`;
  if (shape === halvesOf) return;
  halvesOf = shape;
  halves.hidden = !can && count === 0;
  say(halvesHead, count ? `Half-stops: ${count}` : "Half-stops");
  halvesIn.replaceChildren(
    ...Array.from({ length: count }, (_, at) =>
      make(
        "div",
        { class: "own-half", "data-row": `${way}[${at}]` },
        field(`${way}[${at}][0]`, "Half-stop at (0 to 1)", { inputmode: "decimal", size: 4 }),
        field(`${way}[${at}][1]`, "Cents from open", { inputmode: "decimal", size: 5 }),
        field(`${way}[${at}][2]`, "Stands for note", { size: 4 }),
        outButton(`${way}[${at}]`, "this half-stop"),
        make("small", { class: "wrong" }),
      ),
    ),
    ...(can ? [addButton(way, "Add a half-stop")] : []),
  );
  fill(halvesIn, view);
};

/** @param {OwnView} view */
export const steel = (view) => {
  const count = (rows) => view.rows[rows] ?? 0;
  const names = places(view, "changes").map((at) => view.fields[`changes[${at}].name`]);
  halvesOf = "";
  const listed = (rows, words, one, within = "") =>
    rowsOf(view, rows, (row) => [several(row + within, one, names), outButton(row, words)]);
  return [
    make("h3", {}, "Strings"),
    make("p", { class: "hint" }, "String 1, the highest course, first. Enter goes on to the next string."),
    make(
      "label",
      { class: "own-field own-notes" },
      "All notes in one line",
      make("input", {
        type: "text",
        id: "own-notes",
        autocomplete: "off",
        placeholder: "F#4 D#4 G#4 E4 …",
        onchange: (event) => put("notes", event.target.value),
      }),
    ),
    make(
      "ol",
      { class: "own-rows own-strings" },
      ...places(view, "strings").map((at) => stringRow(at, count("strings"))),
    ),
    addButton("strings", "Add a string", () => {
      focusNext = `strings[${count("strings")}].open`;
    }),
    make("h3", {}, "Pedals and levers"),
    make("p", { class: "hint" }, "A foot holds one pedal, or two side by side; a knee moves one lever."),
    make(
      "ol",
      { class: "own-rows" },
      ...places(view, "changes").map((at) => changeRow(at, count("changes"))),
    ),
    addButton("changes", "Add a pedal or lever"),
    make("h3", {}, "What they do"),
    make("p", { class: "hint" }, "Touch a string under a pedal, then say how many half steps it moves."),
    chart(view),
    panel,
    make("h3", {}, "Splits"),
    make(
      "p",
      { class: "hint" },
      "Where two together bring a string to a note of its own. Each has a column in the chart.",
    ),
    listed("splits", "this split", "Together", ".changes"),
    ...(names.length > 1 ? [addButton("splits", "Add a split")] : []),
    make("h3", {}, "What goes together"),
    make("p", { class: "hint" }, "A foot or knee of yours that holds more than one at once:"),
    listed("body.together", "this", "Held at once"),
    ...(names.length > 1 ? [addButton("body.together", "Add what is held at once")] : []),
    make("p", { class: "hint" }, "Pressing one lets go of the other:"),
    listed("exclusive", "this", "Never at once"),
    ...(names.length > 1 ? [addButton("exclusive", "Add what never goes together")] : []),
    make(
      "details",
      { class: "own-fold" },
      make("summary", {}, make("h3", {}, `Grips: ${count("grips")}`)),
      make(
        "p",
        { class: "hint" },
        "The degree of each string: 3=3 4=1 5=5 is the third, the root and the fifth.",
      ),
      make(
        "ol",
        { class: "own-rows own-grips" },
        ...places(view, "grips").map((at) =>
          make(
            "li",
            { "data-row": `grips[${at}]` },
            field(`grips[${at}].name`, "Name"),
            choice(
              `grips[${at}].root`,
              "Root",
              ROOTS.map((one) => [one, one]),
            ),
            field(`grips[${at}].roles`, "Degrees by string"),
            several(`grips[${at}].changes`, "With", names),
            outButton(`grips[${at}]`, `grip ${at + 1}`),
            make("small", { class: "wrong" }),
          ),
        ),
      ),
      make(
        "div",
        { class: "buttons" },
        addButton("grips", "Add a grip"),
        button("Remove grips that don't fit", () => ask("takeownout", { row: "misfits" }), {
          id: "own-misfits",
        }),
      ),
    ),
    make("h3", {}, "The whole"),
    make(
      "div",
      { class: "own-fields" },
      field("title", "Title"),
      choice(
        "root",
        "Root",
        ROOTS.map((one) => [one, one]),
      ),
      field("scale_length_inches", "Scale length, inches", { inputmode: "decimal" }),
      field("frets", "Frets", { inputmode: "numeric", placeholder: "24" }),
      tick("flats", "Write flats, not sharps"),
      field("source", "Source"),
    ),
  ];
};
