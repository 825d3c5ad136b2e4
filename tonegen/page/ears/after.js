// After an answer: what was heard once more, knowing which was which; then on, by touch or a key.

import { ask } from "../static/wire.js";
import { part } from "../static/nav.js";
import { byId, make, mark, say } from "../static/parts.js";
import { readyToHear } from "../sound/sound.js";
import { stop } from "./trial.js";

/** @type {import("../static/messages.js").Shows["ears"]["after"]} */
let after = null;

export const answered = make("div", { id: "ear-after", hidden: true });
export const isAnswered = () => after !== null;

const again = (at) => {
  readyToHear();
  ask("hear", { at });
};
const goOn = () => ask("nexttrial");

const open = () => {
  const several = after.sounds.length > 1;
  answered.replaceChildren(
    make("p", { class: "count-of" }, `${after.number + 1} of ${after.of}`),
    make("p", { class: "asks" }, after.question),
    make("h2", { id: "ear-verdict", class: "said", tabindex: "-1" }),
    make(
      "div",
      { class: "answers afterwards", role: "group", "aria-label": "Hear it again" },
      ...after.sounds.map((words, at) =>
        make(
          "button",
          { "data-hear": several ? at : -1, onclick: () => again(several ? at : -1) },
          make("span", { "aria-hidden": "true" }, "▸ "),
          make("span", { class: "hidden" }, "Hear "),
          make("span", {}, words),
        ),
      ),
      ...(several
        ? [make("button", { "data-hear": -1, onclick: () => again(-1) }, "All, one after another")]
        : []),
    ),
    make(
      "button",
      { id: "ear-on", class: "primary", onclick: goOn },
      after.last ? "What your answers say" : "Next",
    ),
    make("button", { id: "ear-after-stop", class: "quiet", onclick: stop }, "Stop for now"),
  );
};

export const showAfter = (ears) => {
  const before = after;
  after = ears.after;
  answered.hidden = !after;
  if (!after) return;
  const isNew = !before || before.number !== after.number;
  if (isNew) open();
  const verdict = byId("ear-verdict");
  say(verdict, ears.said);
  mark(verdict, "data-right", ears.right ?? "");
  for (const button of /** @type {NodeListOf<HTMLElement>} */ (answered.querySelectorAll("[data-hear]")))
    mark(button, "aria-pressed", ears.heard === Number(button.dataset.hear));
  if (isNew) verdict.focus({ preventScroll: true });
};

// Digits hear one of the sounds, r all of them; Space and Enter go on unless a button has them.
const keys = (event) => {
  if (part() !== "ears" || !after || event.ctrlKey || event.metaKey || event.altKey || event.repeat) return;
  const target = event.target;
  if (!answered.contains(target) && target !== document.body && target.id !== "main") return;
  const digit = Number(event.key);
  if (event.key === " " || event.key === "Enter") {
    if (target.matches("button, summary, a")) return;
    goOn();
  } else if (event.key === "r") again(-1);
  else if (digit >= 1 && digit <= after.sounds.length) again(after.sounds.length > 1 ? digit - 1 : -1);
  else if (event.key.length > 1) return;
  event.preventDefault();
  event.stopPropagation();
};
addEventListener("keydown", keys, { capture: true });
