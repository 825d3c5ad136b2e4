// A step of a lesson: what is said, its sounds, what it asks, and how the answer was.

import { make } from "../static/parts.js";
import { doing } from "./doing.js";
import { ladder } from "./ladder.js";

const sound = (one, at, heard, hear) =>
  make(
    "section",
    { class: "shown", "aria-label": one.caption },
    make("p", {}, one.caption),
    make(
      "button",
      { "data-demonstrate": at, "aria-pressed": heard === at, onclick: () => hear(at) },
      "Hear it",
    ),
    ...(one.hidden ? [] : [ladder(one)]),
    ...one.words.map((words) => make("p", { class: "hint" }, words)),
  );

/**
 * @param {import("../static/messages.js").Shows["lesson"]["step"]} step
 * @param {{
 *   heading: "h1" | "h2", heard: number | null, hear: (at: number) => void, go: (step: number) => void,
 *   onward: Element[], asking: Omit<import("./doing.js").Asking, "hear">,
 * }} here
 *   heard: the sound that sounds; onward: the buttons behind Back
 */
export const lessonStep = (step, { heading, heard, hear, go, onward, asking }) => [
  make("p", { class: "count-of" }, `${step.at + 1} of ${step.of}`),
  make(heading, { id: "lesson-title", tabindex: "-1" }, step.title),
  make("p", {}, step.say),
  ...step.sounds.map((one, at) => sound(one, at, heard, hear)),
  ...doing(step, { ...asking, hear: () => hear(step.sounds.length) }),
  make(
    "p",
    {
      class: "said",
      role: "status",
      tabindex: "-1",
      "data-right": String(step.right ?? ""),
      id: "lesson-verdict",
    },
    step.verdict,
  ),
  make(
    "div",
    { class: "steps", role: "group", "aria-label": "Steps" },
    make("button", { id: "lesson-back", disabled: step.at === 0, onclick: () => go(step.at - 1) }, "Back"),
    ...onward,
  ),
];
