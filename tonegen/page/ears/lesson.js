// Lessons: a step with its sounds, a question and its answer; then what beats in them, drawn.

import { ask, askSoon, hear } from "../static/wire.js";
import { part } from "../static/nav.js";
import { byId, held, make, mark } from "../static/parts.js";
import { whenComfortable } from "../sound/volume.js";
import { oneStop } from "../static/stops.js";
import { lessonStep } from "./step.js";

const box = byId("lessons");
/** @type {import("../static/wire.js").Shows["lesson"] | null} */
let shown = null;

const go = (to) => ask("lesson", { name: shown.step.lesson, step: to });

const list = () => [
  make("h2", {}, "Learn to hear beats"),
  make(
    "div",
    { class: "intervals" },
    ...shown.lessons.map(({ name, title, done }) =>
      make(
        "button",
        { "data-lesson": name, onclick: () => ask("lesson", { name }) },
        title,
        ...(done ? [" ", make("small", {}, done)] : []),
      ),
    ),
  ),
];

const asking = {
  reply: (at) => ask("reply", { at }),
  taps: (times_ms) => ask("taps", { number: 0, times_ms }),
  move: (cents) => askSoon("move", { cents }),
  settle: (cents) => ask("settle", { number: 0, cents }),
};
const demonstrate = (at) => whenComfortable(() => ask("demonstrate", { at }));

const step = () => {
  const { at, of, heard } = shown.step;
  const isLast = at + 1 === of;
  const onward = [
    make(
      "button",
      { id: "lesson-next", class: "primary", onclick: () => (isLast ? ask("pause") : go(at + 1)) },
      isLast ? "End of the lesson" : "Next",
    ),
    make("button", { id: "lesson-leave", onclick: () => ask("pause") }, "Leave"),
  ];
  return lessonStep(shown.step, { heading: "h2", heard, hear: demonstrate, go, onward, asking });
};

hear("lesson", (next) => {
  const before = shown?.step,
    at = held();
  shown = next;
  const here = shown.step;
  mark(document.documentElement, "data-lesson", Boolean(here));
  if (
    here &&
    before &&
    here.at === before.at &&
    here.lesson === before.lesson &&
    here.verdict === before.verdict
  ) {
    for (const button of /** @type {NodeListOf<HTMLElement>} */ (box.querySelectorAll("[data-demonstrate]")))
      mark(button, "aria-pressed", here.heard === Number(button.dataset.demonstrate));
    return;
  }
  const inside = box.contains(at) && at.dataset.reply;
  box.replaceChildren(...(here ? step() : list()));
  if (here && inside && here.verdict) box.querySelector(`[data-reply="${inside}"]`).focus();
  else if (here?.verdict) byId("lesson-verdict").focus();
  else if (here) byId("lesson-title").focus();
  else if (before) box.querySelector("[data-lesson]")?.focus();
});
oneStop(box, { of: "[data-lesson]" });
addEventListener("part", () => {
  if (part() !== "ears" && shown?.step) ask("pause");
});
