// The chart, drawn as players draw it: strings as rows, changes as columns, a bead where a change stops a
// string.

import { ask, hear } from "../static/wire.js";
import { byId, make, mark, say } from "../static/parts.js";
import { part as partOfPage } from "../static/nav.js";
import { oneStop } from "../static/stops.js";
import { choose, chosen, dragsOffset } from "./string.js";

/** @type {import("../static/wire.js").Shows["view"] | null} */
let view = null;
let shape = "";
let rows = new Map();

export const toggleString = (number) => {
  const strings = view.playing.strings;
  choose(number);
  ask("strings", {
    strings: strings.includes(number) ? strings.filter((one) => one !== number) : [...strings, number],
  });
};

const build = () => {
  const head = (column) => make("th", { scope: "col", class: "plain" }, column.name);
  rows = new Map();
  const body = view.strings.map((string) => {
    const part = {
      button: make(
        "button",
        {
          class: "pick",
          "aria-pressed": "false",
          "data-string": string.number,
          onclick: () => toggleString(string.number),
        },
        make("b", {}, String(string.number)),
      ),
      note: make("button", { class: "note", "aria-pressed": "false", onclick: () => choose(string.number) }),
      cents: make("span", { class: "cents" }),
      hz: make("span", { class: "hz" }),
      drop: make("span", { class: "drop" }),
      role: make("span", { class: "role" }),
      rail: make(
        "div",
        { class: "rail", "aria-hidden": "true", title: "Drag along the string to move its offset" },
        make("i", { class: "notch" }),
        make("i", { class: "wire" }),
      ),
    };
    dragsOffset(part.rail, () => string.number);
    const cells = new Map(view.columns.map((column) => [column.name, make("td", { class: "stop" })]));
    rows.set(string.number, { part, cells });
    const element = make(
      "tr",
      { "data-string": string.number },
      make("th", { scope: "row" }, part.button),
      ...cells.values(),
      make(
        "td",
        { class: "now" },
        make("div", {}, part.note, part.cents, part.hz, part.drop, part.role),
        part.rail,
      ),
    );
    rows.get(string.number).element = element;
    return element;
  });
  const now = make("th", { scope: "col", class: "plain now" }, "now");
  byId("copedent").replaceChildren(
    make("caption", {}, view.title),
    make(
      "thead",
      {},
      make(
        "tr",
        {},
        make("th", { scope: "col", class: "plain" }, make("span", { class: "hidden" }, "string")),
        ...view.columns.map(head),
        now,
      ),
    ),
    make("tbody", {}, ...body),
  );
};

// While tempering a touch holds a bead where it is; otherwise it engages what leads there.
const touch = (cell) => {
  if (partOfPage() === "temper")
    ask("pin", { string: cell.string, changes: cell.changes, travel: cell.travel });
  else {
    choose(cell.string);
    const whole = cell.changes.every(
      (name) => view.changes.find((change) => change.name === name).travel === cell.travel,
    );
    for (const change of cell.changes) ask("engage", { change, travel: whole ? 0 : cell.travel });
  }
};

// The wire lies in the notch where the string stands at its target; sharp it runs above it, flat below.
const CLEAR_PIXELS = 2.5;
const lay = (rail, string) => {
  const off = Math.round(10 * (string.offset_cents - string.target_cents)) / 10;
  const rise = Math.sign(off) * Math.min(CLEAR_PIXELS + Math.abs(off), 9);
  mark(rail, "data-lies", off === 0);
  rail.style.setProperty("--rise", `${rise}px`);
};

export const show = (next) => {
  view = next;
  const nextShape = JSON.stringify([view.title, view.columns, view.strings.length]);
  if (shape !== nextShape) {
    shape = nextShape;
    build();
  }
  for (const cell of view.cells) {
    const { cells } = rows.get(cell.string);
    const element = cells.get(cell.column);
    const text = `${cell.note} ${cell.offset} ${cell.hz}`;
    mark(
      element,
      "class",
      ["stop has", cell.stands && "stands", cell.moved && "moved", cell.pinned && "pinned"]
        .filter(Boolean)
        .join(" "),
    );
    const bead = element.firstElementChild ?? element.appendChild(make("button", { class: "bead" }));
    if (bead.dataset.text !== text) {
      bead.dataset.text = text;
      bead.replaceChildren(
        make("b", {}, cell.note),
        make("small", {}, cell.offset),
        make("small", { class: "hz" }, cell.hz),
      );
    }
    const asked = cell.asked ? "" : ", in none of your grips";
    mark(bead, "title", cell.asked ? "" : "Not in the grips you picked: left as it was");
    bead.onclick = () => touch(cell);
    const pinning = partOfPage() === "temper";
    mark(
      bead,
      "aria-label",
      `String ${cell.string} ${cell.column}, ${cell.note} ${cell.offset}${asked}: ` +
        (pinning ? "pin it" : "select it"),
    );
    if (pinning) mark(bead, "aria-pressed", cell.pinned);
    else bead.removeAttribute("aria-pressed");
  }
  for (const string of view.strings) {
    const { part, element } = rows.get(string.number);
    mark(element, "data-in", string.in_grip);
    mark(element, "data-chosen", string.number === chosen());
    mark(part.button, "aria-pressed", string.in_grip);
    mark(part.button, "aria-label", `String ${string.number}, ${string.note}: play it`);
    mark(part.note, "aria-pressed", string.number === chosen());
    mark(part.note, "aria-label", `Set string ${string.number}, ${string.note}`);
    say(part.note, string.note);
    say(part.cents, `${string.cents} c`);
    say(part.hz, `${string.hz} Hz`);
    say(part.drop, string.drop ? `drop ${string.drop}` : "");
    say(part.role, string.role);
    lay(part.rail, string);
  }
};

oneStop(byId("copedent"));
hear("view", show);
addEventListener("chosen", () => view && show(view));
addEventListener("part", () => view && show(view));
