// A set changed on the page: order by drag or by the arrow keys on a row's handle, fields as written.
// Nothing is written before Save, and then all of it or nothing; what is wrong stands at its field.

import { ask, hear } from "../static/wire.js";
import { byId, make, say } from "../static/parts.js";
import { oneRow } from "../static/stops.js";

/** @type {import("../static/wire.js").Shows["setrows"] | null} */
let shown = null;
const SONG = {
  name: "Name",
  key: "Key",
  fret: "Fret",
  follows: "Receivers follow",
  line: "Line to remember",
  grips: "Grips",
};
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
  follow: "Chords follow",
};
const CONTROL = {
  on: "Message",
  from_port: "From port",
  does: "Does",
  moves: "Or moves",
  channel: "Channel",
  device: "Device of Show Control",
};
const ACTIONS = {
  "": "–",
  next: "next song",
  previous: "song before",
  number: "song of that number",
  hold: "hold",
  panic: "all notes off",
};
const SUCH_AS = { "Receivers follow": "Organ: equal", Message: "control 80", "From keys": "C2 to B3" };
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
const controls = make("ol", { id: "control-rows", class: "rows" });
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
  make("label", { for: "copy-name" }, "Save a copy as"),
  copyName,
  make("button", { type: "submit", id: "copy-set" }, "Save the copy"),
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
        : name === "does"
          ? Object.entries(ACTIONS)
          : name === "follow"
            ? shown.leads.map((one) => [one, one])
            : null;
  const input = choices
    ? make(
        "select",
        { "data-field": name },
        ...choices.map(([one, said]) => make("option", { value: one }, said)),
      )
    : make("input", {
        type: "text",
        "data-field": name,
        autocomplete: "off",
        placeholder: SUCH_AS[words],
      });
  input.value = value;
  return make("label", { class: `of-${name}` }, words, input, make("small", { class: "wrong" }));
};

// A switch or pedal learnt by a press of it, one at a time; what was heard stands in its row until Save.
const LEARN = "Learn by a press",
  BEGINS = "A moment…",
  WAITING = "Press it now… (or stop)";
/** @type {{ row: HTMLElement, button: HTMLButtonElement } | null} */
let waiting = null;
const learned = make("p", { id: "press-learned", role: "status" });
const learns = (row) => {
  const button = make(
    "button",
    {
      type: "button",
      class: "learn",
      onclick: () => {
        if (waiting) return ask("stopwaiting");
        const does = within(row, "[data-field=does]").value || within(row, "[data-field=moves]").value.trim();
        if (!does) {
          say(learned, "Choose first what it does, then press it.");
          within(row, "[data-field=does]").focus();
          return;
        }
        waiting = { row, button };
        say(button, BEGINS);
        say(learned, "");
        ask("learnpress", { does, by });
      },
    },
    LEARN,
  );
  return button;
};

const rowOf = (kind, fields, given) => {
  const row = make("li", { "data-was": given.was });
  row.append(
    handleOf(row),
    ...Object.entries(fields).map(([name, words]) => field(name, words, given[name] ?? "")),
    ...(kind === "control" ? [learns(row)] : []),
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
  for (const row of [...songs.children, ...receivers.children, ...controls.children]) {
    const name = within(row, "[data-field=name], [data-field=on]").value || "this row";
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
        const row = rowOf(kind, fields(), { was: -1, door: "port", receiver: "mpe", follow: "off" });
        list().append(row);
        numbered();
        within(row, "[data-field=name], [data-field=on]").focus();
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
rig.append(
  make("h4", {}, "Foot board"),
  controls,
  adds(
    "control",
    "Add a switch or pedal",
    () => controls,
    () => CONTROL,
  ),
  learned,
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
  "Stop the sound first: you can change the set only while nothing plays.",
);
const rows = make(
  "fieldset",
  { id: "set-rows" },
  titled,
  make("h4", {}, "Songs in order"),
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
      "Discard changes",
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
        controls: typed(controls),
      });
    },
  },
  hint,
  rows,
  wrong,
);
// What would be typed before its rows have come would be lost with them.
const read = () => {
  form.hidden = true;
  ask("editset", { by });
};
const box = make(
  "details",
  {
    id: "set-change",
    ontoggle: () => {
      if (box.open) read();
    },
  },
  make("summary", {}, "Change the set"),
  form,
  copy,
);
byId("evening").append(box);
for (const list of [songs, receivers, controls]) oneRow(list, "li");

const build = () => {
  title.value = shown.title;
  titled.hidden = shown.may === "songs";
  rig.hidden = shown.may !== "all";
  form.hidden = shown.may === "copy";
  songs.replaceChildren(...shown.songs.map((song) => rowOf("song", fieldsOfSong(), song)));
  receivers.replaceChildren(...shown.receivers.map((one) => rowOf("receiver", RECEIVER, one)));
  controls.replaceChildren(...shown.controls.map((one) => rowOf("control", CONTROL, one)));
  numbered();
};

const mend = () => {
  for (const small of form.querySelectorAll(".wrong")) say(small, "");
  for (const input of form.querySelectorAll("[aria-invalid]")) input.removeAttribute("aria-invalid");
  const elsewhere = [];
  let first = null;
  for (const { field: place, why } of shown.faults) {
    const [, kind, at, name] = /^(songs|receivers|controls)\[(\d+)\]\.(\w+)$/.exec(place) ?? [];
    const row = kind && { songs, receivers, controls }[kind].children[Number(at)];
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
hear("presslearned", (press) => {
  if (press.by !== by || !waiting) return;
  const { row, button } = waiting;
  if (press.waits) return say(button, WAITING);
  waiting = null;
  say(button, LEARN);
  say(learned, press.words);
  if (!press.on) return;
  for (const name of ["on", "from_port", "channel"]) within(row, `[data-field=${name}]`).value = press[name];
  numbered();
});
hear("evening", ({ name }) => {
  if (box.open && shown && shown.name !== name) read();
});
hear("view", ({ playing }) => {
  rows.disabled = playing.sounding;
  hint.hidden = !playing.sounding;
});
