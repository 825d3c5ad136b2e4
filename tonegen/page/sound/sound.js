// Begin and end the sound, its level, where it is heard, and the meter.

import { ask, askSoon, hear } from "../static/wire.js";
import { close, isHere, notNeeded, open, prepare, rest } from "./here.js";
import { byId, follows, make, mark, say } from "../static/parts.js";

/** @type {import("../static/wire.js").Shows["view"] | null} */
let view = null;

const followLevel = follows(byId("level"));
let device = "machine";
const showOutlet = () => {
  byId("outlet").value = isHere() ? "page" : device;
};

// Where the machine has no device, the page in which the sound was begun plays it itself.
let beganHere = false;
export const toggleSound = () => {
  if (unheard()) {
    beganHere = true;
    open(showOutlet);
    return;
  }
  beganHere = !view.playing.sounding;
  if (beganHere && !isHere()) prepare();
  ask("sound", { on: beganHere });
};

byId("sound").addEventListener("click", toggleSound);
byId("mute").addEventListener("click", () => ask("mute", { on: !view.playing.muted }));
byId("level").addEventListener("input", ({ target }) => askSoon("level", { dbfs: Number(target.value) }));
byId("outlet").addEventListener("change", ({ target }) => {
  if (target.value === "page") {
    open(showOutlet);
    return;
  }
  if (isHere()) close(showOutlet);
  ask("device", { name: target.value.startsWith("on ") ? target.value.slice(3) : null });
});
byId("outlet").addEventListener("focus", () => ask("devices"));
hear("devices", ({ names, chosen }) => {
  const box = byId("outlet"),
    [machine, page] = box.querySelectorAll("[value=machine], [value=page]");
  box.replaceChildren(machine, ...names.map((name) => make("option", { value: `on ${name}` }, name)), page);
  device = names.includes(chosen) ? `on ${chosen}` : "machine";
  showOutlet();
});

// Trials are heard where the sound is; a touch lets the page play them itself if the machine has no device.
let trials = false,
  lesson = false,
  steady = false;
export const readyToHear = () => {
  beganHere = true;
  if (!isHere()) prepare();
};
const follow = () => {
  const sounds = view?.playing.sounding || trials || lesson || steady;
  rest(!sounds);
  if (beganHere && sounds && view?.outlet === "nowhere") open(showOutlet);
  if (view?.outlet.startsWith("on ")) notNeeded();
  clearTimeout(settling);
  if (unheard()) settling = setTimeout(showUnheard, SETTLED_MS);
  else showUnheard();
};

// The page that played the sound was closed or loaded again: say so, and one touch brings it back.
const unheard = () => (view?.playing.sounding || trials || lesson) && view.outlet === "nowhere" && !isHere();
const SETTLED_MS = 400;
let settling = null;
const showUnheard = () => {
  const hidden = !unheard();
  byId("unheard").hidden = hidden;
  if (!hidden) say(byId("sound"), "Hear it here");
  else if (view) say(byId("sound"), view.playing.sounding ? "Stop" : "Sound");
  mark(byId("sound"), "aria-pressed", hidden && view?.playing.sounding === true);
  if (!hidden) showPeak(-60);
};
hear("ears", ({ asked }) => {
  trials = asked !== null;
  follow();
});
hear("volume", (volume) => {
  steady = volume.steady;
  follow();
});
hear("lesson", ({ step }) => {
  lesson = step !== null;
  follow();
});

export const muteNow = () => ask("mute", { on: true });

hear("view", (next) => {
  view = next;
  const { sounding, muted, level_dbfs } = view.playing;
  mark(byId("mute"), "aria-pressed", muted);
  followLevel(level_dbfs);
  say(byId("level-words"), `${level_dbfs.toFixed(0)} dBFS`);
  mark(byId("level"), "aria-valuetext", `${level_dbfs.toFixed(0)} decibels under full scale`);
  mark(document.documentElement, "data-sounding", sounding && !muted);
  follow();
});

const meter = document.querySelector(".meter");
const bar = /** @type {HTMLElement} */ (meter.firstElementChild);
const showPeak = (peak_dbfs) => {
  const level = Math.round(Math.max(-60, Math.min(0, peak_dbfs)));
  if (meter.getAttribute("aria-valuenow") === String(level)) return; // a picture less for the browser
  mark(meter, "aria-valuenow", level);
  bar.style.transform = `scaleX(${(level + 60) / 60})`;
};
hear("moment", ({ peak_dbfs }) => showPeak(unheard() ? -60 : peak_dbfs));
hear("closed", () => close(showOutlet));
