// The chart, drawn as players draw it: strings as rows, changes as columns, a bead where a change stops a
// string.

import { ask, askSoon, hear } from "../static/wire.js";
import { byId, follows, make, mark, say } from "../static/parts.js";
import { part as partOfPage } from "../static/nav.js";
import { choose, chosen, dragsOffset } from "./string.js";

/** @type {import("../static/wire.js").Shows["view"] | null} */
let view = null;
let shape = "";
let heads = new Map();
let rows = new Map();

export const toggleChange = (name) => {
  const change = view?.changes.find((one) => one.name === name);
  if (change) ask("engage", { change: name, travel: change.travel > 0 ? 0 : 1 });
};
export const changeOfKey = (key) => view?.changes.find((change) => change.key === key)?.name;

export const toggleString = (number) => {
  const strings = view.playing.strings;
  choose(number);
  ask("strings", {
    strings: strings.includes(number) ? strings.filter((one) => one !== number) : [...strings, number],
  });
};

// A half-stop can be felt under a knee; here the slider catches beside it, half-way where there is none.
const felt = (name, travel) => {
  const halves = view.changes.find((change) => change.name === name).half_stops;
  return (halves.length ? halves : [0.5]).find((half) => Math.abs(travel - half) < 0.04) ?? travel;
};

const changeControls = (change) => {
  const button = make(
    "button",
    {
      class: "change",
      "aria-pressed": "false",
      "data-change": change.name,
      "aria-keyshortcuts": change.key,
      onclick: () => toggleChange(change.name),
    },
    make("b", {}, change.name),
    make("small", {}, change.place),
    make("kbd", {}, change.key),
  );
  const travel = make("input", {
    type: "range",
    min: 0,
    max: 1,
    step: 0.01,
    class: "travel",
    "data-travel": change.name,
    "aria-label": `Travel of ${change.name}, ${change.place}`,
    title: "Slide for a half-stop",
    oninput: () =>
      askSoon("engage", { change: change.name, travel: felt(change.name, Number(travel.value)) }),
  });
  return { button, travel, follow: follows(travel) };
};

const build = () => {
  heads = new Map(view.changes.map((change) => [change.name, []]));
  const head = (column) => {
    const single = !column.half && view.changes.find((change) => change.name === column.name);
    if (!single) return make("th", { scope: "col", class: "plain" }, column.name);
    const controls = changeControls(single);
    heads.get(single.name).push(controls);
    return make("th", { scope: "col" }, controls.button, controls.travel);
  };
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
        make("i", { class: "aim" }),
        make("i", { class: "bead" }),
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
  byId("board").replaceChildren(
    ...view.changes.map((change) => {
      const controls = changeControls(change);
      heads.get(change.name).push(controls);
      return make("div", {}, controls.button, controls.travel);
    }),
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

const place = (element, cents) => {
  element.style.left = `${50 + cents}%`;
};

export const show = (next) => {
  view = next;
  const nextShape = JSON.stringify([
    view.title,
    view.columns,
    view.strings.length,
    view.changes.map((one) => one.key),
  ]);
  if (shape !== nextShape) {
    shape = nextShape;
    build();
  }
  for (const change of view.changes) {
    for (const { button, travel, follow } of heads.get(change.name)) {
      mark(button, "aria-pressed", change.travel > 0);
      mark(button, "data-half", change.travel > 0 && change.travel < 1);
      follow(change.travel);
      travel.style.setProperty("--way", change.travel);
    }
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
    const asked = cell.asked ? "" : ", not asked";
    mark(bead, "title", cell.asked ? "" : "Not asked by any grip: left as it was");
    bead.onclick = () => touch(cell);
    const pinning = partOfPage() === "temper";
    bead.tabIndex = pinning ? 0 : -1;
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
    const [aim, bead] = part.rail.children;
    place(aim, string.target_cents);
    place(bead, string.offset_cents);
  }
};

hear("view", show);
addEventListener("chosen", () => view && show(view));
addEventListener("part", () => view && show(view));
