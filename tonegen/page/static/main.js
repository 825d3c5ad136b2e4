// Begin: every part listens for what it shows, then the page connects.

import { ask, connect, hear, pingEvery } from "./wire.js";
import "../sound/clock.js";
import "../play/string.js";
import "../play/chart.js";
import "../play/pads.js";
import "../play/pairs.js";
import "../play/neck.js";
import "../count/tap.js";
import "../tones/tones.js";
import "../play/grips.js";
import "../play/setlist.js";
import "../sound/render.js";
import "../play/rig.js";
import "../play/printed.js";
import "../sound/sound.js";
import "./keyboard.js";
import "../drop/meter.js";
import "../hearing/learn.js";
import "../temper/temper.js";
import "../compare/compare.js";
import "../tunings/tunings.js";
import "../order/order.js";
import "../keys/keys.js";
import "../measure/measure.js";
import "../evening/evening.js";
import "../evening/rig.js";
import "../evening/changing.js";
import "../own/own.js";
import "../ears/ears.js";
import "../classroom/class.js";
import "../ears/lesson.js";
import "../notices/notices.js";
import "./tablets.js";
import { openPart } from "./nav.js";
import { byId, make, mark, say } from "./parts.js";
import { oneStop } from "./stops.js";

const undo = make(
  "button",
  {
    id: "undo",
    disabled: true,
    "aria-label": "Undo",
    "aria-keyshortcuts": "Control+Z",
    onclick: () => ask("undo"),
  },
  "↶",
);
const redo = make(
  "button",
  {
    id: "redo",
    disabled: true,
    "aria-label": "Redo",
    "aria-keyshortcuts": "Control+Shift+Z",
    onclick: () => ask("redo"),
  },
  "↷",
);
byId("back").append(undo, redo);
oneStop(byId("back"), { name: "Steps back" });
oneStop(document.querySelector(".work"), { of: ".rig > summary, .rig > details > summary", down: true });
oneStop(document.querySelector(".ear"), { of: ":is(#tones, #file) > details > summary", down: true });
openPart();

const back = (button, words) => {
  button.disabled = !words;
  mark(button, "title", words);
};
hear("view", (view) => {
  say(byId("title"), view.title);
  const pedals = view.state === "open" ? "No pedals" : view.state;
  say(byId("state"), `${pedals} · ${view.bar === "open" ? "open strings" : view.bar}`);
  back(undo, view.undo);
  back(redo, view.redo);
  byId("cautions").replaceChildren(...view.cautions.map((words) => make("p", { class: "caution" }, words)));
  document.documentElement.dataset.ready = "yes";
});

// The caution about hearing is read once; then an icon brings it back.
const caution = byId("caution"),
  hearing = byId("hearing");
const showCaution = (shown) => {
  caution.hidden = !shown;
  hearing.hidden = shown;
};
const READ = "hearing-caution";
try {
  showCaution(localStorage.getItem(READ) !== "read");
} catch {
  showCaution(true); // a private window keeps nothing
}
hear("choices", ({ hearing_caution }) => say(caution.firstElementChild, hearing_caution));
caution.lastElementChild.addEventListener("click", () => {
  showCaution(false);
  try {
    localStorage.setItem(READ, "read");
  } catch {
    /* then it is read again next time */
  }
  hearing.focus();
});
hearing.addEventListener("click", () => showCaution(true));

oneStop(document.querySelector(".sound"), { of: "button, input, select", name: "Sound" });

// Where the head has no room for them, level and outlet unfold from a button.
const more = byId("more");
more.addEventListener("click", () => {
  const open = more.getAttribute("aria-expanded") !== "true";
  mark(more, "aria-expanded", open);
});

const fault = byId("fault");
const complain = (text) => {
  fault.hidden = false;
  say(fault.firstElementChild, text);
};
fault.lastElementChild.addEventListener("click", () => {
  fault.hidden = true;
});
hear("fault", ({ text }) => complain(text));

// What was done, over the page and out of the way of the hand, until the next is.
const told = byId("told");
const TOLD_MS = 7000;
let goesAway = 0;
hear("told", ({ text }) => {
  say(told, text);
  mark(told, "data-shown", true);
  clearTimeout(goesAway);
  goesAway = setTimeout(() => mark(told, "data-shown", false), TOLD_MS);
});
// The server's own word for a page too many; one that is not let in is only told so where it asks for a file.
const TOO_MANY = 4429;
let shut = false;
hear("closed", async ({ code, reason }) => {
  shut = true;
  document.documentElement.dataset.ready = "no";
  if (code === TOO_MANY) return complain(reason);
  const answer = await fetch("/static/icon.svg", { cache: "no-store" }).catch(() => null);
  if (!shut) return;
  complain(
    answer?.status === 401
      ? "This link no longer works. Scan the code that tonegen shows now, or open its new link."
      : "Lost the laptop; reconnecting…",
  );
});
hear("choices", () => {
  if (shut) fault.hidden = true;
  shut = false;
});

// A field is there to be written over: what it holds is selected when it is come to, by a touch as by Tab.
const TEXT = "input[type=text], input[type=number]";
let comingTo = null;
addEventListener("pointerdown", ({ target }) => {
  comingTo = target instanceof HTMLInputElement && target !== document.activeElement ? target : null;
});
addEventListener("focusin", ({ target }) => {
  if (target instanceof HTMLInputElement && target.matches(TEXT)) target.select();
});
addEventListener("click", ({ target }) => {
  if (target === comingTo && comingTo.matches(TEXT)) comingTo.select();
  comingTo = null;
});

pingEvery(5);
connect();
