// Fields of a preset that is being made: typed, sent while they are typed, with what is wrong beside them.
// A field goes by its name in the preset, such as "changes[2].moves.5".

import { ask } from "../static/wire.js";
import { make, mark, say } from "../static/parts.js";
import { oneStop } from "../static/stops.js";

/** @typedef {import("../static/wire.js").Shows["own"]} OwnView */

const RESTS_MS = 250;

/** @type {Map<string, { timer: number, typed: string }>} */
const waiting = new Map();
/** @param {string} field */
const flush = (field) => {
  const there = waiting.get(field);
  if (!there) return;
  clearTimeout(there.timer);
  waiting.delete(field);
  ask("putown", { field, typed: there.typed });
};
/** What is typed is never more than a moment from being kept. */
export const flushAll = () => {
  for (const field of [...waiting.keys()]) flush(field);
};
addEventListener("pagehide", flushAll);
addEventListener("visibilitychange", flushAll);

/** @param {string} field @param {string} typed */
export const put = (field, typed) => {
  flushAll();
  ask("putown", { field, typed });
};
const putSoon = (field, typed) => {
  clearTimeout(waiting.get(field)?.timer);
  waiting.set(field, { typed, timer: setTimeout(flush, RESTS_MS, field) });
};

/** @param {string} name @param {string} words @param {Record<string, any>} attributes */
export const field = (name, words, attributes = {}) => {
  const input = make("input", {
    type: "text",
    id: `own-${name}`,
    "data-field": name,
    "aria-label": words,
    autocomplete: "off",
    autocapitalize: "off",
    spellcheck: "false",
    oninput: () => putSoon(name, input.value),
    onchange: () => flush(name),
    ...attributes,
  });
  return make(
    "label",
    { class: `own-field of-${name.split(/[.[]/).at(-1)}` },
    words,
    input,
    make("small", { class: "wrong" }),
  );
};

/** @param {string} name @param {string} words @param {string[][]} options */
export const choice = (name, words, options) => {
  const select = make(
    "select",
    { id: `own-${name}`, "data-field": name, "aria-label": words, onchange: () => put(name, select.value) },
    ...options.map(([value, said]) => make("option", { value }, said)),
  );
  return make("label", { class: "own-field" }, words, select, make("small", { class: "wrong" }));
};

/** @param {string} name @param {string} words */
export const tick = (name, words) => {
  const box = make("input", {
    type: "checkbox",
    id: `own-${name}`,
    "data-field": name,
    onchange: () => put(name, box.checked ? "yes" : ""),
  });
  return make("label", { class: "own-field own-tick" }, box, words, make("small", { class: "wrong" }));
};

/** Several of what there is, each on or off by a touch. @param {string} name @param {string} words */
export const several = (name, words, options) => {
  const group = make(
    "div",
    { class: "own-several", role: "group", "aria-label": words, "data-several": name, tabindex: -1 },
    make("span", {}, words),
    ...options.map((one) =>
      make(
        "button",
        {
          type: "button",
          id: `own-${name}-${one}`,
          "data-one": one,
          "aria-pressed": false,
          onclick: (event) => {
            const group = event.currentTarget.parentElement;
            const on = [...group.querySelectorAll("[aria-pressed=true]")].map(({ dataset }) => dataset.one);
            const next = on.includes(one) ? on.filter((other) => other !== one) : [...on, one];
            put(name, next.join(", "));
          },
        },
        one,
      ),
    ),
    make("small", { class: "wrong" }),
  );
  oneStop(group, { of: "[data-one]" });
  return group;
};

export const button = (words, act, attributes = {}) =>
  make(
    "button",
    {
      type: "button",
      onclick: () => {
        flushAll();
        act();
      },
      ...attributes,
    },
    words,
  );

/** Up, down and out for a row. @param {string} rows @param {number} at @param {string} words */
export const rowButtons = (rows, at, words, count) =>
  make(
    "span",
    { class: "own-row-buttons" },
    button("↑", () => ask("moveown", { row: `${rows}[${at}]`, to: at - 1 }), {
      disabled: at === 0,
      "aria-label": `Move ${words} up`,
    }),
    button("↓", () => ask("moveown", { row: `${rows}[${at}]`, to: at + 1 }), {
      disabled: at === count - 1,
      "aria-label": `Move ${words} down`,
    }),
    outButton(`${rows}[${at}]`, words),
  );
export const outButton = (row, words) =>
  button("Remove", () => ask("takeownout", { row }), { class: "out", "aria-label": `Remove ${words}` });

/**
 * A list of rows, each with what is wrong with it.
 * @param {OwnView} view @param {string} rows @param {(row: string, at: number) => Node[]} contentOf
 */
export const rowsOf = (view, rows, contentOf) =>
  make(
    "ol",
    { class: "own-rows" },
    ...places(view, rows).map((at) =>
      make(
        "li",
        { "data-row": `${rows}[${at}]` },
        ...contentOf(`${rows}[${at}]`, at),
        make("small", { class: "wrong" }),
      ),
    ),
  );

export const addButton = (rows, words, next = () => {}) =>
  button(
    words,
    () => {
      next();
      ask("addown", { rows });
    },
    { class: "add", id: `own-add-${rows}` },
  );

/**
 * The same form with what is typed now, and what is wrong with it.
 * @param {HTMLElement} form
 * @param {OwnView} view
 */
export const fill = (form, view) => {
  const typed = (name) => view.fields[name] ?? (name === "name" ? view.name : "");
  for (const input of /** @type {NodeListOf<any>} */ (form.querySelectorAll("[data-field]"))) {
    const value = typed(input.dataset.field);
    if (input.type === "checkbox") input.checked = value === "yes";
    else if (document.activeElement === input && input.type === "text") continue;
    else if (input.tagName === "SELECT" && ![...input.options].some((one) => one.value === value))
      input.append(make("option", { value }, value || "not said"));
    if (input.type !== "checkbox" && input.value !== value) input.value = value;
  }
  for (const group of /** @type {NodeListOf<HTMLElement>} */ (form.querySelectorAll("[data-several]"))) {
    const on = typed(group.dataset.several).split(", ");
    for (const one of /** @type {NodeListOf<HTMLElement>} */ (group.querySelectorAll("[data-one]")))
      mark(one, "aria-pressed", on.includes(one.dataset.one ?? ""));
  }
  for (const one of /** @type {NodeListOf<HTMLElement>} */ (form.querySelectorAll("[data-says]")))
    say(one, typed(one.dataset.says) || one.dataset.otherwise || "");
  return faults(form, view);
};

const PLACES = "[data-field], [data-several], [data-cell], [data-row]";
const nameOf = ({ dataset }) => dataset.field ?? dataset.several ?? dataset.cell ?? dataset.row;
/** What is wrong, at its field or at the nearest that holds it; the rest is given back. */
const faults = (form, view) => {
  for (const small of form.querySelectorAll(".wrong")) say(small, "");
  for (const one of form.querySelectorAll("[aria-invalid]")) {
    one.removeAttribute("aria-invalid");
    one.removeAttribute("aria-describedby");
  }
  for (const one of form.querySelectorAll("[data-wrong]")) delete one.dataset.wrong;
  const places = [...form.querySelectorAll(PLACES)];
  const elsewhere = [];
  for (const { field: name, why } of view.faults) {
    const place = places
      .filter(
        (one) =>
          name === nameOf(one) || name.startsWith(`${nameOf(one)}.`) || name.startsWith(`${nameOf(one)}[`),
      )
      .sort((one, other) => nameOf(other).length - nameOf(one).length)[0];
    if (!place) {
      elsewhere.push(`${name}: ${why}`.replace(/^: /, ""));
      continue;
    }
    place.dataset.wrong = why;
    const small =
      place.querySelector?.(":scope > .wrong") ?? place.parentElement.querySelector(":scope > .wrong");
    if (place.matches("[data-field]")) place.setAttribute("aria-invalid", "true");
    if (small) {
      small.id ||= `why-${nameOf(place)}`;
      place.setAttribute("aria-describedby", small.id);
      say(small, [small.textContent, why].filter(Boolean).join(" "));
    }
  }
  return elsewhere;
};

/** The names of rows, such as strings[0], strings[1]. @param {OwnView} view @param {string} rows */
export const places = (view, rows) => Array.from({ length: view.rows[rows] ?? 0 }, (_, at) => at);
