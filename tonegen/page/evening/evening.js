// The set on the stage: the next song as large as the screen is wide, and how it is gone on. Nothing here
// moves by itself: a press that is held for a moment, or the space bar, goes on.

import { ask, hear } from "../static/wire.js";
import { byId, make, mark, refill, say } from "../static/parts.js";
import { part } from "../static/nav.js";
import { stageButton } from "../static/stage.js";
import { oneStop } from "../static/stops.js";

const HOLD_MS = 300;
const GAP_EMS = 0.5; // between name and key
const SPARE = 1.03; // letters are set a little wider than they are
/** @type {import("../static/wire.js").Shows["evening"]} */
let evening = { name: "", title: "", songs: [], now: 0, next: 0, words: "", rig: "" };

const now = make("p", { id: "song-now" });
const name = make("span", {});
const key = make("span", { class: "key" });
const next = make("h2", { id: "song-next" }, name, " ", key);
const fret = make("p", { id: "song-fret" });
const line = make("p", { id: "song-line" });
const words = make("p", { id: "set-words", role: "status" });
const songs = make("ol", { id: "set-songs" });

// A press that ends too early, or slides away, does nothing: feet, sleeves and wires touch a screen as well.
const held = (button, action) => {
  let timer = null;
  const let_go = () => {
    clearTimeout(timer);
    timer = null;
    delete button.dataset.held;
  };
  button.addEventListener("pointerdown", ({ button: which }) => {
    if (which || button.disabled) return;
    button.dataset.held = "yes";
    timer = setTimeout(() => {
      let_go();
      ask(action);
    }, HOLD_MS);
  });
  for (const end of ["pointerup", "pointercancel", "pointerleave"]) button.addEventListener(end, let_go);
  button.addEventListener("contextmenu", (event) => event.preventDefault());
  // From a keyboard, or who reads the screen to its user: there nothing is pressed by mistake for so short.
  button.addEventListener("click", ({ detail }) => detail || ask(action));
  return button;
};
const previous = held(
  make("button", { id: "set-previous", "aria-keyshortcuts": "ArrowLeft" }, "Back"),
  "previoussong",
);
const on = held(
  make("button", { id: "set-next", "aria-keyshortcuts": "Space ArrowRight" }, "Hold to go on"),
  "nextsong",
);

const choice = make("select", {
  id: "set-choice",
  onchange: () => ask("openset", { name: choice.value }),
});
// Whoever goes down the list by keyboard is not taken back to the set that was opened a moment ago.
const showChoice = () => {
  if (document.activeElement !== choice) choice.value = evening.name;
};
choice.addEventListener("blur", () => {
  choice.value = evening.name;
});
const rig = make("p", { id: "set-rig" });
const takeRig = make("button", { id: "take-rig", onclick: () => ask("takerig") }, "Use the set's rig");
byId("evening").append(
  make("div", { class: "count-of" }, now, stageButton()),
  make(
    "article",
    { class: "ahead", "aria-live": "polite", "aria-atomic": "true" },
    next,
    make("div", { class: "below" }, fret, line),
  ),
  make("div", { class: "go", role: "group", "aria-label": "From song to song" }, previous, on),
  words,
  make("h3", {}, "Songs"),
  songs,
  make(
    "div",
    { class: "buttons" },
    make("label", {}, "Set ", choice),
    make("button", { id: "open-again", onclick: () => ask("openset", { name: evening.name }) }, "Reload it"),
  ),
  make("div", { class: "buttons" }, rig, takeRig),
);

oneStop(songs, { down: true });

const inWords = (song) => [song.name, song.key, song.fret && `fret ${song.fret}`].filter(Boolean).join(", ");

const showSongs = () => {
  const shape = JSON.stringify(evening.songs);
  if (songs.dataset.shape !== shape) {
    songs.dataset.shape = shape;
    refill(
      songs,
      ...evening.songs.map((song) =>
        make(
          "li",
          {},
          make(
            "button",
            { "data-number": song.number, onclick: () => ask("shownext", { number: song.number }) },
            `${song.number}  ${inWords(song)}`,
          ),
        ),
      ),
    );
  }
  for (const [at, song] of evening.songs.entries()) {
    const button = songs.children[at].firstElementChild;
    mark(button, "data-now", song.number === evening.now);
    mark(button, "aria-current", song.number === evening.next ? "step" : "false");
  }
};

// How wide the words are, in ems: on one line with the key, and where the screen is narrow broken once.
const pen = document.createElement("canvas").getContext("2d");
const emsOf = (text) => pen.measureText(text).width / 100;
const fit = (title, itsKey) => {
  pen.font = `500 100px ${getComputedStyle(next).fontFamily}`;
  const besideIt = itsKey ? GAP_EMS + emsOf(itsKey) : 0;
  const parts = title.split(" ");
  const broken = parts.map((_, at) =>
    Math.max(emsOf(parts.slice(0, at).join(" ")), emsOf(parts.slice(at).join(" "))),
  );
  const box = next.parentElement.style;
  box.setProperty("--ems", String(SPARE * (emsOf(title) + besideIt)));
  box.setProperty("--broken-ems", String(SPARE * (Math.min(...broken) + besideIt)));
};

const show = () => {
  const song = evening.songs.find(({ number }) => number === evening.now);
  const ahead = evening.songs.find(({ number }) => number === evening.next);
  say(now, song ? `Now: ${inWords(song)}` : evening.songs.length ? "Before the first song" : "");
  const nothing = evening.songs.length ? "That was the last song" : "No songs yet";
  say(name, ahead?.name ?? nothing);
  say(key, ahead?.key ?? "");
  say(fret, ahead?.fret ?? "");
  const empty = "Add songs under “Change the set”, or choose another set below.";
  say(line, ahead?.line ?? (evening.songs.length ? "" : empty));
  fret.hidden = !ahead?.fret;
  if (ahead?.fret) mark(fret, "aria-label", `fret ${ahead.fret}`);
  fit(name.textContent, key.textContent);
  on.disabled = !ahead;
  previous.disabled = !evening.songs.length || evening.songs[0].number === evening.now || !evening.now;
  say(words, evening.words);
  rig.parentElement.hidden = !evening.rig;
  say(rig, evening.rig && `The page is set up differently. This set uses: ${evening.rig}.`);
  showChoice();
  showSongs();
};

hear("choices", ({ presets }) => {
  choice.replaceChildren(
    ...presets.sets.map((set) => make("option", { value: set.name }, set.title || set.name)),
  );
  showChoice();
});
hear("evening", (message) => {
  evening = message;
  show();
});

// The keys of the stage, wherever nothing else has them: also right after the part was opened by its button.
const theirs = (target) =>
  target !== document.body && target !== on && !target.matches("#main, [data-part=evening]");
addEventListener("keydown", (event) => {
  if (part() !== "evening" || event.repeat || event.ctrlKey || event.metaKey || event.altKey) return;
  const target = /** @type {Element} */ (event.target);
  if (event.key === " " && !theirs(target)) {
    event.preventDefault();
    ask("nextsong");
  }
  if (target.matches("input, select, textarea")) return;
  if (event.key === "ArrowRight") ask("nextsong");
  if (event.key === "ArrowLeft") ask("previoussong");
});
