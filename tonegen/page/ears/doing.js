// What a lesson asks: to choose, to count, to tap, to set or to sing, by touch and by keys.

import { make, say } from "../static/parts.js";

/**
 * @typedef {import("../static/messages.js").Shows["lesson"]["step"]} Step
 * @typedef {{
 *   reply: (at: number) => void, taps: (times_ms: number[]) => void, move: (cents: number) => void,
 *   settle: (cents: number) => void, hear: () => void,
 * }} Asking where answers go; `hear` sounds the tone that is to be sung
 */

const group = (...buttons) =>
  make("div", { class: "answers", role: "group", "aria-label": "Answers" }, ...buttons);

const choose = ({ answers }, { reply }) => [
  group(...answers.map((words, at) => make("button", { "data-reply": at, onclick: () => reply(at) }, words))),
];

const sing = (step, asking) => [
  group(make("button", { "data-demonstrate": step.sounds.length, onclick: asking.hear }, "Hear the tone")),
  ...choose(step, asking),
];

const count = (_, { reply }) => {
  const field = make("input", {
    type: "number",
    id: "lesson-count",
    min: 0,
    max: 999,
    step: 1,
    inputmode: "numeric",
    "aria-label": "How many beats",
    onkeydown: ({ key }) => {
      if (key === "Enter") done();
    },
  });
  const done = () => field.value !== "" && reply(Math.round(Number(field.value)));
  return [group(field, make("button", { id: "lesson-done", onclick: done }, "Done"))];
};

const tap = (_, asking) => {
  let taps = [];
  const told = make("p", { class: "counted", "aria-live": "polite" }, "Eight taps are good.");
  const done = make(
    "button",
    { id: "lesson-done", disabled: true, onclick: () => asking.taps(taps) },
    "Done",
  );
  const show = (next) => {
    taps = next.slice(-400);
    say(told, taps.length ? `${taps.length} ${taps.length === 1 ? "tap" : "taps"}` : "Eight taps are good.");
    done.disabled = taps.length < 3;
  };
  const pad = make(
    "button",
    {
      id: "lesson-pad",
      class: "pad",
      onpointerdown: ({ timeStamp }) => show([...taps, timeStamp]),
      onkeydown: (event) => {
        if (event.key !== " " || event.repeat) return;
        event.preventDefault();
        show([...taps, event.timeStamp]);
      },
    },
    make("b", {}, "Tap on each beat"),
    make("small", {}, "or the space bar"),
  );
  const afresh = make("button", { onclick: () => show([]) }, "Start over");
  return [pad, told, group(done, afresh)];
};

const set = ({ farthest_cents: far }, asking) => {
  let moved = 0;
  const slide = make("input", {
    type: "range",
    id: "lesson-slide",
    class: "bar",
    min: -far,
    max: far,
    step: 0.1,
    value: 0,
    "aria-label": "Lower or higher",
    "aria-valuetext": "where the slider stands says nothing about where it should be",
    oninput: () => move(Number(slide.value)),
  });
  const move = (cents) => {
    moved = Math.max(-far, Math.min(far, Math.round(cents * 10) / 10));
    slide.value = String(moved);
    asking.move(moved);
  };
  const step = (words, cents) =>
    make(
      "button",
      { "aria-label": words, "data-step": cents, onclick: () => move(moved + cents) },
      cents > 0 ? `+ ${cents}` : `− ${-cents}`,
    );
  const settle = () => asking.settle(moved);
  return [
    make("div", { class: "wood" }, slide),
    make(
      "div",
      { class: "answers nudges", role: "group", "aria-label": "Steps in cents" },
      step("Two cents lower", -2),
      step("A fifth of a cent lower", -0.2),
      step("A fifth of a cent higher", 0.2),
      step("Two cents higher", 2),
    ),
    group(make("button", { id: "lesson-done", onclick: settle }, "There")),
  ];
};

const FORMS = { choose, sing, count, tap, set };

/**
 * @param {Step} step
 * @param {Asking} asking
 */
export const doing = (step, asking) => {
  if (!step.form) return [];
  return [
    make("p", { class: "asks" }, step.ask),
    ...(step.what_to_do ? [make("p", { class: "hint" }, step.what_to_do)] : []),
    ...(step.verdict && !step.answers.length ? [] : FORMS[step.form](step, asking)),
  ];
};
