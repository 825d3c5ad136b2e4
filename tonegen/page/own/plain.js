// Scenes, drop profiles and receivers that are being made: fields and rows.

import { ask } from "../static/wire.js";
import { make, tableHead } from "../static/parts.js";
import { addButton, button, choice, field, places, rowButtons, rowsOf } from "./form.js";

/** @typedef {import("./form.js").OwnView} OwnView */
/**
 * What the page knows beside it: names of presets.
 * @typedef {{ named: (kind: string) => string[][] }} Around
 */

const number = { inputmode: "decimal" };

/** @param {OwnView} view @param {string} rows @param {string} add @param {string} one */
const listOf = (view, rows, add, one, fieldsOf) => {
  const count = view.rows[rows] ?? 0;
  return [
    rowsOf(view, rows, (row, at) => [...fieldsOf(row), rowButtons(rows, at, `${one} ${at + 1}`, count)]),
    addButton(rows, add),
  ];
};
const more = (words, ...children) => make("details", {}, make("summary", {}, words), ...children);
const where = (name) => [
  field(`${name}.string`, "String", { inputmode: "numeric" }),
  field(`${name}.changes`, "With", { placeholder: "A, B" }),
  field(`${name}.travels`, "Half engaged", { placeholder: "DD=0.5" }),
];

/** The steel's own grips, each in the scene or out of it by a touch. @param {OwnView} view */
const gripChips = (view) => {
  const there = new Map(places(view, "grips").map((at) => [view.fields[`grips[${at}].name`], at]));
  return make(
    "div",
    { class: "own-several own-chips", role: "group", "aria-label": "Grips of the steel" },
    ...view.steel.grips.map((name) =>
      button(
        name,
        () =>
          there.has(name)
            ? ask("takeownout", { row: `grips[${there.get(name)}]` })
            : ask("addown", { rows: "grips", named: name }),
        { id: `own-chip-${name}`, "aria-pressed": there.has(name) },
      ),
    ),
  );
};

/** @param {OwnView} view @param {Around} around */
export const scene = (view, { named }) => [
  make("h3", {}, "The scene"),
  make(
    "div",
    { class: "own-fields" },
    field("title", "Title"),
    choice("instrument", "Steel", named("instruments")),
    choice("drop", "Cabinet drop", [["", "not said"], ...named("drops")]),
    choice("before", "Tuned until now to", [["", "not said"], ...named("temperaments")]),
    field("reference_hz", "A4 in Hz", { ...number, placeholder: "440" }),
    field("within_cents", "Every note within, cents", number),
    field("pull", "Pull towards equal", { ...number, placeholder: "0" }),
    field("source", "Where it is from"),
  ),
  make("h3", {}, "Grips"),
  make("p", { class: "hint" }, "Touch the grips of the steel that you play; or add one of your own below."),
  gripChips(view),
  ...listOf(view, "grips", "Add a grip", "grip", (name) => [
    field(`${name}.name`, "Name"),
    field(`${name}.weight`, "Weight", { ...number, placeholder: "1" }),
    field(`${name}.frets`, "Frets", { placeholder: "0, 3, 8" }),
    more(
      "A grip of your own",
      field(`${name}.root`, "Root"),
      field(`${name}.roles`, "Degrees by string", { placeholder: "7=1 5=3 4=b7" }),
      field(`${name}.strings`, "Or just strings", { placeholder: "3, 4, 5" }),
      field(`${name}.changes`, "With", { placeholder: "A, B" }),
      field(`${name}.travels`, "Half engaged", { placeholder: "DD=0.5" }),
      field(`${name}.ratios`, "Ratios by string", { placeholder: "6=16:9" }),
      field(`${name}.within_cents`, "Within, cents", number),
    ),
  ]),
  make("h3", {}, "Pins"),
  make("p", { class: "hint" }, "What must stay where it is while the rest is tempered."),
  ...listOf(view, "pins", "Add a pin", "pin", (name) => [
    ...where(name),
    field(`${name}.cents`, "At, cents", number),
  ]),
  make("h3", {}, "Limits"),
  ...listOf(view, "limits", "Add a limit", "limit", (name) => [
    ...where(name),
    field(`${name}.from_cents`, "From, cents", number),
    field(`${name}.to_cents`, "To, cents", number),
  ]),
  make("h3", {}, "The band"),
  ...listOf(view, "band", "Add a player", "player", (name) => [
    field(`${name}.name`, "Name"),
    choice(`${name}.plays`, "Plays", [
      ["root", "the root, as a bass"],
      ["notes", "the same notes, as keys"],
    ]),
    field(`${name}.weight`, "Weight", { ...number, placeholder: "1" }),
    more(
      "More of this player",
      choice(`${name}.temperament`, "Tuned to", [["", "not said"], ...named("temperaments")]),
      field(`${name}.temperament_root`, "On root", { placeholder: "C" }),
      field(`${name}.lowest`, "Lowest note", { placeholder: "E1" }),
      field(`${name}.strings`, "Only these strings", { placeholder: "4, 8" }),
      field(`${name}.grips`, "Only in these grips, separated by ;"),
    ),
  ]),
];

const sagOf = (string, one) => field(`cents.${one}.${string}`, `String ${string} with ${one}`, number);
/** @param {OwnView} view @param {Around} around */
export const drop = (view, { named }) => {
  const { name, strings, changes } = view.steel;
  const steel = make(
    "select",
    { id: "own-steel", onchange: () => ask("takeinstrument", { name: steel.value }) },
    ...named("instruments").map(([value, title]) => make("option", { value }, title)),
  );
  if (![...steel.options].some((one) => one.value === name))
    steel.append(make("option", { value: name }, name));
  steel.value = name;
  const said = Object.keys(view.fields).flatMap((name) => /^cents\.([^.]+)\./.exec(name)?.[1] ?? []);
  const columns = [...new Set([...changes, ...said])];
  return [
    make("h3", {}, "How far each string sags"),
    make("p", { class: "hint" }, "In cents, below zero where it sags."),
    make("label", { class: "own-field own-notes" }, "Strings and pedals of", steel),
    make(
      "div",
      { class: "own-scroll", role: "region", "aria-label": "How far each string sags" },
      make(
        "table",
        { class: "own-chart" },
        tableHead(["String", ...columns]),
        make(
          "tbody",
          {},
          ...strings.map((string) =>
            make(
              "tr",
              {},
              make("th", { scope: "row" }, String(string)),
              ...columns.map((one) => make("td", {}, ...sagOf(string, one).children)),
            ),
          ),
        ),
      ),
    ),
    make("h3", {}, "Several at once"),
    make(
      "p",
      { class: "hint" },
      "Where you measured pedals together: 1=−1.4 2=−1.7 is string 1 and string 2.",
    ),
    ...listOf(view, "combinations", "Add what you measured", "row", (name) => [
      field(`${name}.changes`, "Together", { placeholder: "A, B" }),
      field(`${name}.cents`, "Cents by string", { placeholder: "1=-1.4 2=-1.7" }),
    ]),
    make("h3", {}, "The whole"),
    make("div", { class: "own-fields" }, field("title", "Title"), field("source", "Where it is from")),
  ];
};

const BENDS = {
  bend_range_semitones: "Bend range, semitones",
  rest_bend_range_semitones: "Put back to, semitones",
  wheel_range_semitones: "Your wheel, semitones",
  bend_scale: "How much of a bend it makes",
  untouched: "Channels left alone",
};
const RINGS = { release_seconds: "Notes ring on, seconds" };
const CHANNELS = { channels: "Channels" };
const OF_MEANS = {
  "bend per pitch class": { ...CHANNELS, ...BENDS },
  "bend per note": { ...CHANNELS, manager: "MPE manager, 1 or 16", ...RINGS, ...BENDS },
  "channel tuning": { ...CHANNELS, untouched: BENDS.untouched },
  "key tuning": {
    message: "",
    program: "Tuning program",
    bank: "Bank",
    programs: "Programs kept",
    select: "Channels that use it",
    ...RINGS,
  },
  "octave tuning": { bytes: "", real_time: "", ...CHANNELS, ...RINGS },
  osc: {
    each: "",
    address: "Address",
    arguments: "Arguments, separated by commas",
    off_address: "Address that ends a note",
    off_arguments: "Its arguments",
  },
};
const CHOICES = {
  message: choice.bind(null, "message", "Sent as", [
    ["single note", "single note changes"],
    ["dump", "a dump"],
  ]),
  bytes: choice.bind(null, "bytes", "Bytes for an offset", [
    ["", "two"],
    ["1", "one"],
    ["2", "two"],
  ]),
  real_time: choice.bind(null, "real_time", "Real time", [
    ["", "yes"],
    ["yes", "yes"],
    ["no", "no"],
  ]),
  each: choice.bind(null, "each", "A message for each", [
    ["key", "key"],
    ["class", "pitch class"],
    ["note", "note played"],
  ]),
};

/** @param {OwnView} view */
export const receiver = (view) => [
  make("h3", {}, "How it is tuned"),
  make(
    "div",
    { class: "own-fields" },
    choice(
      "means",
      "By",
      Object.keys(OF_MEANS).map((one) => [one, one]),
    ),
    ...Object.entries(OF_MEANS[view.fields.means] ?? {}).map(
      ([name, words]) => CHOICES[name]?.() ?? field(name, words),
    ),
  ),
  make("h3", {}, "The receiver"),
  make(
    "div",
    { class: "own-fields" },
    field("title", "Title"),
    field("reference_hz", "Its A4 in Hz", { ...number, placeholder: "440" }),
    field("resolution_cents", "Its finest step, cents", { ...number, placeholder: "0" }),
    choice("rounding", "Rounds", [
      ["", "to the nearest"],
      ["nearest", "to the nearest"],
      ["down", "down"],
    ]),
    field("sysex_seconds", "Time after system exclusive, seconds", number),
    field("reset", "What puts it back, in hex"),
    field("source", "Where it is from"),
  ),
];
