// Lessons: a step with its sounds, what beats in them drawn, a question and its answer.

import { ask, hear } from "../static/wire.js";
import { part } from "../static/nav.js";
import { byId, held, make, mark } from "../static/parts.js";
import { whenComfortable } from "../sound/volume.js";
import { svg } from "./graph.js";

const box = byId("lessons");
/** @type {import("../static/wire.js").Shows["lesson"] | null} */
let shown = null;

// The partials of each tone on a line of its own; those that meet another tone's are filled.
const ladder = ({ tones, swells, caption }) => {
  const rows = tones.length + swells.length,
    row = 40,
    wide = 340;
  const picture = svg("svg", {
    viewBox: `0 0 ${wide} ${rows * row}`,
    class: "graph ladder",
    role: "img",
    "aria-label": `Partials and beats: ${caption}`,
  });
  tones.forEach(({ name, rungs }, at) => {
    const y = at * row + 26;
    picture.append(
      svg("line", { class: "grid", x1: 8, x2: wide - 8, y1: y, y2: y }),
      svg("text", { x: 8, y: y - 8 }, name),
    );
    const group = svg("g", { class: `curve-${at % 2}` });
    for (const [place, meets] of rungs)
      group.append(
        svg("circle", {
          cx: 12 + place * (wide - 24),
          cy: y,
          r: meets ? 5 : 2.5,
          class: meets ? "meets" : "alone",
        }),
      );
    picture.append(group);
  });
  swells.forEach(({ pair, loud }, at) => {
    const bottom = (tones.length + at + 1) * row - 3,
      high = row - 22,
      across = (n) => 8 + (n / loud.length) * (wide - 16);
    picture.append(svg("text", { x: 8, y: bottom - high - 4 }, pair));
    const group = svg("g", { class: "swell" });
    loud.forEach((one, n) => {
      if (one < 0)
        group.append(
          svg("rect", {
            x: across(n),
            y: bottom - high * 0.7,
            width: (wide - 16) / loud.length + 0.3,
            height: high * 0.7,
            class: "rough",
          }),
        );
    });
    const even = loud
      .map((one, n) => (one < 0 ? "" : `${across(n)},${bottom - one * high}`))
      .filter(Boolean)
      .join(" ");
    group.append(svg("polyline", { points: even }));
    picture.append(group);
  });
  return picture;
};

const go = (to) => ask("lesson", { name: shown.step.lesson, step: to });

const list = () => [
  make("h2", {}, "Learn to hear beats"),
  make(
    "div",
    { class: "intervals" },
    ...shown.lessons.map(({ name, title }) =>
      make("button", { "data-lesson": name, onclick: () => ask("lesson", { name }) }, title),
    ),
  ),
];

const sound = (one, at) =>
  make(
    "section",
    { class: "shown", "aria-label": one.caption },
    make("p", {}, one.caption),
    make(
      "button",
      {
        "data-demonstrate": at,
        "aria-pressed": String(shown.step.heard === at),
        onclick: () => whenComfortable(() => ask("demonstrate", { at })),
      },
      "Hear it",
    ),
    ladder(one),
    ...one.words.map((words) => make("p", { class: "hint" }, words)),
  );

const step = () => {
  const { at, of, title, say, sounds, answers, verdict, right } = shown.step;
  return [
    make("p", { class: "count-of" }, `${at + 1} of ${of}`),
    make("h2", { id: "lesson-title", tabindex: "-1" }, title),
    make("p", {}, say),
    ...sounds.map(sound),
    ...(answers.length
      ? [
          make("p", { class: "asks" }, shown.step.ask),
          make(
            "div",
            { class: "answers", role: "group", "aria-label": "Answers" },
            ...answers.map((words, n) =>
              make("button", { "data-reply": n, onclick: () => ask("reply", { at: n }) }, words),
            ),
          ),
        ]
      : []),
    make(
      "p",
      { class: "said", "aria-live": "polite", "data-right": String(right ?? ""), id: "lesson-verdict" },
      verdict,
    ),
    make(
      "div",
      { class: "steps", role: "group", "aria-label": "Steps" },
      make("button", { id: "lesson-back", disabled: at === 0, onclick: () => go(at - 1) }, "Back"),
      make(
        "button",
        { id: "lesson-next", class: "primary", onclick: () => (at + 1 < of ? go(at + 1) : ask("pause")) },
        at + 1 < of ? "Next" : "End of the lesson",
      ),
      make("button", { id: "lesson-leave", onclick: () => ask("pause") }, "Leave"),
    ),
  ];
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
  else if (here) byId("lesson-title").focus();
  else if (before) box.querySelector("[data-lesson]")?.focus();
});
addEventListener("part", () => {
  if (part() !== "ears" && shown?.step) ask("pause");
});
