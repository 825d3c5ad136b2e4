// Stage mode, for what is read from where one plays: no head, the whole screen, larger type for who wants it,
// and a screen that stays on, each where the browser can.

import { make, mark, say } from "./parts.js";
import { part } from "./nav.js";

const PARTS = ["order", "evening"];
const root = document.documentElement;
/** @type {WakeLockSentinel | null} */
let awake = null;

export const onStage = () => root.dataset.stage === "yes";

const stayAwake = async () => {
  if (!onStage() || document.hidden || (awake && !awake.released)) return;
  const asked = navigator.wakeLock?.request("screen");
  awake = (await asked?.catch(() => null)) ?? null; // refused, such as by a low battery
  if (!onStage()) awake?.release();
};
addEventListener("visibilitychange", stayAwake); // the browser lets go of it where another page is looked at

const words = () => (onStage() ? "Leave the stage" : "Stage");
const showButtons = () => {
  for (const button of document.querySelectorAll(".to-stage")) say(button, words());
};

const turn = (on) => {
  if (on === onStage()) return;
  mark(root, "data-stage", on ? "yes" : "no");
  if (on) {
    if (document.fullscreenEnabled) root.requestFullscreen().catch(() => {});
    stayAwake();
  } else {
    awake?.release();
    if (document.fullscreenElement) document.exitFullscreen();
  }
  showButtons();
  scrollTo(0, 0);
  dispatchEvent(new Event("resize"));
};
addEventListener("fullscreenchange", () => document.fullscreenElement || turn(false));
addEventListener("part", () => PARTS.includes(part()) || turn(false));

export const stageButton = () =>
  make("button", { type: "button", class: "to-stage", onclick: () => turn(!onStage()) }, words());
