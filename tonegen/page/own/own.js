// Presets of one's own: what to begin with, the form of what is being made, and its name to save it under.

import { ask, hear } from "../static/wire.js";
import { byId, make, refill, say } from "../static/parts.js";
import { oneRow, oneStop } from "../static/stops.js";
import { button, field, fill, flushAll } from "./form.js";
import { drop, receiver, scene } from "./plain.js";
import { nextFocus, showCell, steel } from "./steel.js";

/** @typedef {import("./form.js").OwnView} OwnView */
/** @typedef {import("../static/messages.js").Asks["startown"]["kind"]} Kind */
/** @typedef {import("./plain.js").Around} Around */

/**
 * @typedef {{ one: string, form: (view: OwnView, around: Around) => Node[], show?: (view: OwnView) => void,
 *   use: (name: string) => void }} OneKind
 */
/** @type {Record<string, OneKind>} */
const KINDS = {
  instruments: {
    one: "A steel",
    form: steel,
    show: showCell,
    use: (name) => ask("choose", { instrument: name }),
  },
  scenes: { one: "A scene", form: scene, use: (name) => ask("scene", { name }) },
  drops: { one: "A cabinet's drop", form: drop, use: (name) => ask("choose", { drop: name }) },
  receivers: {
    one: "A receiver",
    form: receiver,
    use: (name) => ask("receiver", { name, policy: "grip first", follow: false }),
  },
};

/** @type {import("../static/wire.js").Shows["ownchoices"]} */
let there = { all: {}, yours: {} };
/** @type {OwnView | null} */
let view = null;
let kind = "instruments";
let shape = "";
/** @type {Around} */
const around = { named: () => [] };

const kinds = make("div", { class: "own-kinds", role: "group", "aria-label": "What to make" });
const like = make("select", { id: "own-like", onchange: () => sayStart() });
const start = button("", () => ask("startown", { kind: /** @type {Kind} */ (kind), like: like.value }), {
  id: "own-start",
});
const sayStart = () => say(start, like.value ? "Make one like it" : "Start from scratch");
const yours = make("select", { id: "own-yours" });
const yoursBox = make(
  "div",
  { class: "own-begin" },
  make("label", { class: "own-field" }, "Yours", yours),
  button("Change it", () => ask("openown", { kind: /** @type {Kind} */ (kind), name: yours.value }), {
    id: "own-open",
  }),
);
const begin = make(
  "div",
  { id: "own-begin" },
  kinds,
  make("div", { class: "own-begin" }, make("label", { class: "own-field" }, "Like", like), start),
  yoursBox,
);
const form = make("form", { id: "own-form", onsubmit: (event) => event.preventDefault() });
const words = make("p", { id: "own-words", role: "status" });
const outside = make(
  "p",
  { class: "caution", id: "own-outside" },
  "Its file has been changed somewhere else. ",
  button("Reload it and drop what you changed here", () => ask("readown"), { id: "own-read" }),
);
const rest = make("p", { class: "wrong", id: "own-rest" });
const save = button("Save", () => ask("saveown"), { class: "primary", id: "own-save" });
const use = button("Use it now", () => view && KINDS[view.kind].use(view.name), { id: "own-use" });
const first = button("", () => toFirst(), { id: "own-first" });
const dock = make(
  "div",
  { class: "own-dock" },
  outside,
  rest,
  make("div", { class: "own-said" }, words, first),
  make("div", { class: "own-save" }, field("name", "Save as", { maxlength: 60 }), save, use),
);
const away = button("Put it away", () => ask("forgetown"), { id: "own-forget" });
new ResizeObserver(() => {
  document.documentElement.style.setProperty("--own-dock", `${dock.offsetHeight}px`);
}).observe(dock);
// A form is long: its headings at hand.
const headings = make("div", { class: "chips", id: "own-headings" });
oneStop(headings, { name: "Headings of this form" });
const showHeadings = () => {
  const found = /** @type {HTMLElement[]} */ ([...form.querySelectorAll("h3"), dock]);
  headings.replaceChildren(
    ...found.map((heading) =>
      button(heading === dock ? "Save" : heading.textContent, () => {
        heading.closest("details")?.setAttribute("open", "");
        heading.tabIndex = -1;
        heading.focus();
        if (heading !== dock) heading.scrollIntoView();
      }),
    ),
  );
};
const box = make("div", { class: "own-box" }, begin, headings, form, dock);
byId("own").append(make("div", { class: "own-head" }, make("h2", {}, "Make your own"), away), box);

oneStop(kinds, { name: "What to make" });
oneRow(form, ".own-rows > li, tr:has(input)");
oneStop(form, { of: "[data-cell]" });

const toFirst = () => {
  const wrong = /** @type {HTMLElement | null} */ (box.querySelector("[data-wrong]"));
  wrong?.closest("details")?.setAttribute("open", "");
  wrong?.focus();
  wrong?.scrollIntoView({ block: "center" });
};

const showKinds = () => {
  const names = there.all[kind] ?? [];
  kinds.hidden = Object.keys(KINDS).length < 2;
  kinds.replaceChildren(
    ...Object.entries(KINDS).map(([name, { one }]) =>
      button(
        one,
        () => {
          kind = name;
          showKinds();
        },
        { "aria-pressed": name === kind, "data-kind": name },
      ),
    ),
  );
  const kept = like.value;
  like.replaceChildren(
    make("option", { value: "" }, "nothing"),
    ...names.map((name) => make("option", { value: name }, name)),
  );
  if (names.includes(kept)) like.value = kept;
  sayStart();
  const own = there.yours[kind] ?? [];
  yours.replaceChildren(...own.map((name) => make("option", { value: name }, name)));
  yoursBox.hidden = own.length === 0;
};

const show = () => {
  if (!view) return;
  const making = view.kind !== "";
  begin.hidden = making;
  form.hidden = headings.hidden = !making;
  dock.hidden = !making;
  away.hidden = !making;
  if (!making) {
    shape = "";
    form.replaceChildren();
    return;
  }
  kind = view.kind;
  const names = Object.entries(view.fields).filter(([name]) => /^changes\[\d+\]\.name$|^means$/.test(name));
  const now = JSON.stringify([
    view.kind,
    Object.entries(view.rows).filter(([name]) => !name.includes("half_stops")),
    names,
    view.steel,
    view.steel.grips.length > 0 &&
      Object.entries(view.fields).filter(([name]) => /^grips\[\d+\]\.name$/.test(name)),
  ]);
  if (now !== shape) {
    shape = now;
    refill(form, ...KINDS[view.kind].form(view, around));
    showHeadings();
  }
  KINDS[view.kind].show?.(view);
  const elsewhere = fill(box, view);
  KINDS[view.kind].show?.(view);
  say(rest, elsewhere.join(" "));
  rest.hidden = !elsewhere.length;
  outside.hidden = !view.elsewhere;
  const saved = !view.changed && view.was === view.name;
  say(words, view.words || (saved ? `${view.name} is saved.` : "Not saved yet; what you typed is kept."));
  save.disabled = saved;
  use.hidden = !saved || view.faults.length > 0;
  const wrong = view.faults.length;
  first.hidden = wrong === 0;
  say(first, wrong === 1 ? "1 thing to fix" : `${wrong} things to fix`);
  const next = nextFocus();
  if (next) byId(`own-${next}`)?.focus();
};

hear("ownchoices", (next) => {
  there = next;
  showKinds();
});
hear("own", (next) => {
  view = next;
  show();
});
addEventListener("part", flushAll);
hear("choices", ({ presets }) => {
  around.named = (wanted) => (presets[wanted] ?? []).map(({ name, title }) => [name, title || name]);
  shape = "";
  show();
});

// Offsets that were moved on the page, kept under a name.
let asked = "";
let moved = 0;
const keepName = make("input", {
  type: "text",
  id: "keep-name",
  maxlength: 60,
  autocomplete: "off",
  placeholder: "my-targets",
});
const keepWrong = make("small", { class: "wrong", id: "keep-wrong" });
const keepSaid = make("p", { id: "keep-said", role: "status" });
const keeps = make(
  "form",
  {
    id: "own-keep",
    onsubmit: (event) => {
      event.preventDefault();
      asked = keepName.value.trim();
      say(keepWrong, "");
      ask("keep", { name: asked });
    },
  },
  make("h3", {}, "Your offsets"),
  keepSaid,
  make(
    "div",
    { class: "own-begin" },
    make("label", { class: "own-field" }, "Keep all offsets, as they are now, as", keepName, keepWrong),
    make("button", { type: "submit", id: "keep" }, "Keep"),
  ),
);
begin.append(keeps);
hear("fault", ({ text }) => {
  if (!asked) return;
  asked = "";
  say(keepWrong, text);
  keepName.focus();
});
hear("view", ({ setting }) => {
  moved = setting.moved.length;
  if (asked && setting.temperament === asked && !moved) {
    say(keepSaid, `Saved as ${asked}. In use.`);
    asked = "";
  } else if (moved || !keepSaid.textContent)
    say(
      keepSaid,
      moved
        ? `${moved} moved by hand from ${setting.temperament}.`
        : `None moved by hand; they are those of ${setting.temperament}.`,
    );
});
