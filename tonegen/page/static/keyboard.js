// Keys of the keyboard: a letter or digit engages its change, the space bar sounds, Escape mutes.

import { ask } from "./wire.js";
import { part } from "./nav.js";
import { changeOfKey, toggleChange } from "../play/pads.js";
import { muteNow, toggleSound } from "../sound/sound.js";

const takesText = (element) =>
  element.matches("input:not([type=range]):not([type=checkbox]), select, textarea");

addEventListener("keydown", (event) => {
  if (event.key === "Escape") {
    muteNow();
    return;
  }
  if (takesText(event.target)) return;
  if ((event.ctrlKey || event.metaKey) && event.key.toLowerCase() === "z") {
    event.preventDefault();
    ask(event.shiftKey ? "redo" : "undo");
    return;
  }
  if (event.ctrlKey || event.metaKey || event.altKey || event.repeat) return;
  if (event.key === " " && event.target === document.body && part() !== "evening") {
    event.preventDefault();
    toggleSound();
    return;
  }
  if (document.documentElement.dataset.letters === "off") return;
  const change = changeOfKey(event.key.toLowerCase());
  if (change) {
    event.preventDefault();
    toggleChange(change);
  }
});
