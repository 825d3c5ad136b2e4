// A set changed on the page: order by drag or by the arrow keys on a row's handle, fields as written.
// Nothing is written before Save, and then all of it or nothing; what is wrong stands at its field.

import { ask, hear } from "../static/wire.js";
import { byId, make, say } from "../static/parts.js";

/** @type {import("../static/wire.js").Shows["setrows"] | null} */
let shown = null;
const SONG = { name: "Name", key: "Key", fret: "Fret", line: "Line to remember", grips: "Grips" };
const OF_PAGE = { name: "Name", key: "Key" };
const RECEIVER = {
  name: "Name",
  receiver: "Receiver",
  door: "Reached by",
  where: "Where",
  from_channels: "From channels",
  from_keys: "From keys",
  transpose: "Semitones moved",
  follows: "Follows",
};
const DOORS = { port: "MIDI port", virtual_port: "a port made for it", to: "OSC, host:port" };

// Another tablet's rows are none of ours: what is typed here stays, and Save says that the set was changed.
const by = String(Math.random());
/** @returns {any} */
const within = (row, selector) => row.querySelector(selector);

const title = make("input", { type: "text", id: "set-title", maxlength: 200, autocomplete: "off" });
const titled = make("label", {}, "Title of the set", title);
const songs = make("ol", { id: "song-rows", class: "rows" });
const receivers = make("ol", { id: "receiver-rows", class: "rows" });
const rig = make("div", {}, make("h4", {}, "Receivers"), receivers);
const wrong = make("p", { id: "set-wrong", role: "status" });
const copyName = make("input", {
  type: "text",
  id: "copy-name",
  maxlength: 60,
  autocomplete: "off",
  placeholder: "my-evening",
});
const copy = make(
  "form",
  {
    class: "save",
    onsubmit: (event) => {
      event.preventDefault();
      ask("copyset", { name: copyName.value.trim(), by });
    },
  },
  make("label", { for: "copy-name" }, "Make a set of your own from this, called"),
  copyName,
  make("button", { type: "submit", id: "copy-set" }, "Make it"),
);

// A handle moves its row: the rows that it passes make way, so that the finger never loses it.
const handleOf = (row) => {
  const handle = make(
    "button",
    { type: "button", class: "handle", "aria-label": "Move this row: drag, or arrow keys" },
    "↕",
  );
  let dragged = false;
  const passed = (y) => {
    const above = row.previousElementSibling,
      below = row.nextElementSibling;
    const middle = (other) => other.getBoundingClientRect().top + other.offsetHeight / 2;
    if (above && y < middle(above)) row.after(above);
    else if (below && y > middle(below)) row.before(below);
    else return;
    numbered();
  };
  handle.addEventListener("pointerdown", (event) => {
    dragged = true;
    handle.setPointerCapture(event.pointerId);
  });
  handle.addEventListener("pointermove", ({ clientY }) => dragged && passed(clientY));
  for (const end of ["pointerup", "pointercancel"])
    handle.addEventListener(end, () => {
      dragged = false;
    });
  handle.addEventListener("keydown", (event) => {
    const other = { ArrowUp: row.previousElementSibling, ArrowDown: row.nextElementSibling }[event.key];
    if (!other) return;
    event.preventDefault();
    if (event.key === "ArrowUp") row.after(other);
    else row.before(other);
    numbered();
  });
  return handle;
};

const field = (name, words, value) => {
  const choices =
    name === "door"
      ? Object.entries(DOORS)
      : name === "receiver"
        ? shown.presets.map((one) => [one, one])
        : null;
  const input = choices
    ? make(
        "select",
        { "data-field": name },
        ...choices.map(([one, said]) => make("option", { value: one }, said)),
      )
    : make("input", { type: "text", "data-field": name, autocomplete: "off" });
  input.value = value;
  return make("label", { class: `of-${name}` }, words, input, make("small", { class: "wrong" }));
};

const rowOf = (kind, fields, given) => {
  const row = make("li", { "data-was": given.was });
  row.append(
    handleOf(row),
    ...Object.entries(fields).map(([name, words]) => field(name, words, given[name] ?? "")),
    make(
      "button",
      {
        type: "button",
        class: "out",
        onclick: () => {
          const next = row.nextElementSibling ?? row.previousElementSibling;
          row.remove();
          numbered();
          ((next && within(next, ".out")) ?? byId(`add-${kind}`)).focus();
        },
      },
      "Remove",
    ),
  );
  return row;
};
const numbered = () => {
  for (const row of [...songs.children, ...receivers.children]) {
    const name = within(row, "[data-field=name]").value || "this row";
    row.querySelector(".handle").setAttribute("aria-label", `Move ${name}: drag, or arrow keys`);
    row.querySelector(".out").setAttribute("aria-label", `Remove ${name}`);
  }
};

const fieldsOfSong = () => (shown.may === "songs" ? OF_PAGE : SONG);
const adds = (kind, words, list, fields) =>
  make(
    "button",
    {
      type: "button",
      id: `add-${kind}`,
      onclick: () => {
        const row = rowOf(kind, fields(), { was: -1, door: "port", receiver: "mpe" });
        list().append(row);
        numbered();
        within(row, "[data-field=name]").focus();
      },
    },
    words,
  );
rig.append(
  adds(
    "receiver",
    "Add a receiver",
    () => receivers,
    () => RECEIVER,
  ),
);

const typed = (list) =>
  [...list.children].map((row) => ({
    was: Number(row.dataset.was),
    ...Object.fromEntries(
      [...row.querySelectorAll("[data-field]")].map((one) => [one.dataset.field, one.value]),
    ),
  }));

const hint = make(
  "p",
  { class: "hint", id: "set-plays", hidden: true },
  "Stop the sound first: the set changes only while nothing plays.",
);
const rows = make(
  "fieldset",
  { id: "set-rows" },
  titled,
  make("h4", {}, "Songs in their order"),
  songs,
  adds("song", "Add a song", () => songs, fieldsOfSong),
  rig,
  make(
    "div",
    { class: "buttons" },
    make("button", { type: "submit", id: "save-set", class: "primary" }, "Save the set"),
    make(
      "button",
      { type: "button", id: "drop-changes", onclick: () => ask("editset", { by }) },
      "As it was",
    ),
  ),
);
const form = make(
  "form",
  {
    id: "set-form",
    onsubmit: (event) => {
      event.preventDefault();
      ask("saveset", {
        by,
        stamp: shown.stamp,
        title: title.value,
        songs: typed(songs),
        receivers: typed(receivers),
      });
    },
  },
  hint,
  rows,
  wrong,
);
const box = make(
  "details",
  {
    id: "set-change",
    ontoggle: () => {
      if (box.open) ask("editset", { by });
    },
  },
  make("summary", {}, "Change the set"),
  form,
  copy,
);
byId("evening").append(box);

const build = () => {
  title.value = shown.title;
  titled.hidden = shown.may === "songs";
  rig.hidden = shown.may !== "all";
  form.hidden = shown.may === "copy";
  songs.replaceChildren(...shown.songs.map((song) => rowOf("song", fieldsOfSong(), song)));
  receivers.replaceChildren(...shown.receivers.map((one) => rowOf("receiver", RECEIVER, one)));
  numbered();
};

const mend = () => {
  for (const small of form.querySelectorAll(".wrong")) say(small, "");
  for (const input of form.querySelectorAll("[aria-invalid]")) input.removeAttribute("aria-invalid");
  const elsewhere = [];
  let first = null;
  for (const { field: place, why } of shown.faults) {
    const [, kind, at, name] = /^(songs|receivers)\[(\d+)\]\.(\w+)$/.exec(place) ?? [];
    const row = kind && (kind === "songs" ? songs : receivers).children[Number(at)];
    const input = row?.querySelector(`[data-field="${name}"]`);
    if (!input) {
      elsewhere.push(`${place}: ${why}`.replace(/^: /, ""));
      continue;
    }
    input.setAttribute("aria-invalid", "true");
    say(input.nextElementSibling, why);
    first ??= input;
  }
  say(wrong, shown.faults.length ? ["Nothing was saved.", ...elsewhere].join(" ") : "");
  first?.focus();
};

hear("setrows", (next) => {
  if (next.by !== by) return;
  const typedAnew = next.faults.length > 0;
  shown = typedAnew ? { ...next, stamp: shown?.stamp ?? next.stamp } : next;
  if (!typedAnew) build();
  mend();
});
hear("evening", ({ name }) => {
  if (box.open && shown && shown.name !== name) ask("editset", { by });
});
hear("view", ({ playing }) => {
  rows.disabled = playing.sounding;
  hint.hidden = !playing.sounding;
});
