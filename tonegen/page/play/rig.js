// What the rig is made of, and how the page looks.

import { ask, hear } from "../static/wire.js";
import { byId, make } from "../static/parts.js";
import { oneStop } from "../static/stops.js";

/** @type {import("../static/wire.js").Shows["choices"] | null} */
let choices = null;
/** @type {import("../static/wire.js").Shows["view"] | null} */
let view = null;
let built = null;

const keep = (name, value) => {
  document.documentElement.dataset[name] = value;
  try {
    localStorage.setItem(name, value);
  } catch {
    /* a private window keeps nothing */
  }
  dispatchEvent(new Event("look"));
};

const select = (label, options, change) => {
  const element = make(
    "select",
    { "aria-label": label, onchange: () => change(element.value) },
    ...options.map(([value, text]) => make("option", { value }, text)),
  );
  return { element, field: make("label", {}, label, element) };
};
const text = (label, type, change, attributes = {}) => {
  const element = make("input", {
    type,
    ...attributes,
    "aria-label": label,
    onchange: () => change(element.value.trim()),
  });
  return { element, field: make("label", {}, label, element) };
};

const build = () => {
  const named = (kind) => choices.presets[kind].map(({ name, title }) => [name, title || name]);
  const parts = {
    instrument: select("Instrument", named("instruments"), (name) => ask("choose", { instrument: name })),
    temperament: select("My targets", named("temperaments"), (name) => ask("choose", { temperament: name })),
    root: select("Root", [[-1, "its own root"], ...choices.roots.map((name, at) => [at, name])], (root) =>
      ask("choose", { root: Number(root) }),
    ),
    drop: select("Cabinet drop", named("drops"), (name) => ask("choose", { drop: name })),
    timbre: select("Timbre", named("timbres"), (name) => ask("choose", { timbre: name })),
    reference_hz: text("A4 in Hz", "number", (hz) => ask("choose", { reference_hz: Number(hz) }), {
      min: 380,
      max: 500,
      step: 0.1,
    }),
    against: text("Bass note to hear it against", "text", (note) => ask("choose", { against: note }), {
      placeholder: "E2",
      maxlength: 20,
      autocomplete: "off",
    }),
  };
  const split = make("input", {
    type: "checkbox",
    id: "split",
    onchange: () => ask("split", { on: split.checked }),
  });
  const letters = make("input", {
    type: "checkbox",
    id: "letters",
    onchange: () => keep("letters", letters.checked ? "on" : "off"),
  });
  letters.checked = document.documentElement.dataset.letters !== "off";
  const look = (label, name, one, other) =>
    make(
      "button",
      {
        onclick: () => {
          keep(name, document.documentElement.dataset[name] === one ? other : one);
        },
        "data-look": name,
      },
      label,
    );
  const buttons = make(
    "div",
    { class: "buttons" },
    look("Light or dark", "theme", "dark", "light"),
    look("Large type", "size", "large", "usual"),
    make("button", { onclick: () => ask("targets") }, "Reset everything to its target"),
    make("button", { onclick: () => print() }, "Print the chart"),
  );
  oneStop(buttons, { name: "Look" });
  byId("rig").replaceChildren(
    ...Object.values(parts).map(({ field }) => field),
    make("label", { class: "check" }, split, "Lowest tone in the left ear, the rest in the right"),
    make("label", { class: "check" }, letters, "Letter keys work the pedals and levers"),
    buttons,
  );
  return { parts, split };
};

const show = () => {
  if (!choices || !view) return;
  built ??= build();
  const values = { ...view.setting, root: view.setting.root ?? -1 };
  for (const [name, { element }] of Object.entries(built.parts)) {
    if (document.activeElement === element) continue;
    element.value = values[name];
    // A tuning of the library is in no list: it is added while it is what is played.
    if (element instanceof HTMLSelectElement && element.value !== String(values[name])) {
      element.append(make("option", { value: values[name] }, String(values[name])));
      element.value = values[name];
    }
  }
  built.parts.root.element.disabled = !choices.presets.temperaments.length;
  built.split.checked = view.playing.split;
};

try {
  document.documentElement.dataset.letters = localStorage.getItem("letters") ?? "on";
} catch {
  /* keeps nothing */
}
hear("choices", (next) => {
  choices = next;
  built = null;
  show();
});
hear("view", (next) => {
  view = next;
  show();
});
