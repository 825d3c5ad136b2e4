// A trial that is open: listen, and answer by a choice, by taps or by moving a sound; by touch or by keys.

import { ask, askSoon } from "../static/wire.js";
import { part } from "../static/nav.js";
import { byId, held, make, mark, say } from "../static/parts.js";
import { readyToHear } from "../sound/sound.js";

/** @type {import("../static/messages.js").Shows["ears"]["asked"]} */
let trial = null;
let taps = [];
let moved = 0;

export const asked = make("div", { id: "ear-asked", hidden: true });

const answer = (choice) => ask("answer", { number: trial.number, choice });
const settle = () => ask("settle", { number: trial.number, cents: moved });
const again = (at = -1) => {
  readyToHear();
  ask("hear", { at });
};
export const stop = () => ask("pause");

const tap = (at) => {
  taps = [...taps, at].slice(-400);
  showTaps();
};
const tapped = () => {
  ask("taps", { number: trial.number, times_ms: taps });
};
const showTaps = () => {
  say(
    byId("tap-count"),
    taps.length
      ? `${taps.length} ${taps.length === 1 ? "tap" : "taps"}`
      : "eight taps will do, twelve if it beats fast",
  );
  byId("ear-done").disabled = taps.length < 3;
};

const move = (cents) => {
  moved = Math.max(-trial.farthest_cents, Math.min(trial.farthest_cents, Math.round(cents * 10) / 10));
  byId("ear-slide").value = moved;
  askSoon("move", { cents: moved });
};

// A nudge is a place: narrower, as it is, wider; the arrows go from one to the next.
const nudges = [
  ["-1", "Narrower"],
  ["0", "As it is"],
  ["1", "Wider"],
];
const place = () => Math.sign(moved);
const nudge = (to) => {
  moved = Math.max(-1, Math.min(1, to)) * trial.farthest_cents;
  ask("move", { cents: moved });
  showNudge();
};
const showNudge = () => {
  for (const button of /** @type {NodeListOf<HTMLElement>} */ (asked.querySelectorAll("[data-nudge]")))
    mark(button, "aria-pressed", Number(button.dataset.nudge) === place());
};
const nudgeButtons = () =>
  make(
    "div",
    { class: "answers nudges", role: "group", "aria-label": "Nudge it" },
    ...nudges.map(([to, words]) =>
      make("button", { "data-nudge": to, onclick: () => nudge(Number(to)) }, words),
    ),
  );

const forms = {
  choose: () => [
    ...(trial.farthest_cents ? [nudgeButtons()] : []),
    make(
      "div",
      { class: "answers", role: "group", "aria-label": "Answers" },
      ...trial.choices.map((words, at) =>
        make(
          "button",
          { "data-answer": at, onclick: () => answer(at) },
          make("span", {}, words),
          make("kbd", { "aria-hidden": "true" }, `${at + 1}`),
        ),
      ),
    ),
  ],
  tap: () => {
    const pad = make(
      "button",
      { id: "ear-pad", class: "pad" },
      make("b", {}, "Tap on each beat"),
      make("small", {}, "or the space bar"),
    );
    pad.addEventListener("pointerdown", ({ timeStamp }) => tap(timeStamp));
    pad.addEventListener("click", ({ detail, timeStamp }) => {
      if (!detail) tap(timeStamp);
    }); // pressed by an aid, not by a hand
    return [
      pad,
      make("p", { id: "tap-count", class: "counted", "aria-live": "polite" }),
      make(
        "div",
        { class: "answers", role: "group", "aria-label": "Answers" },
        make("button", { id: "ear-done", onclick: tapped }, "Done"),
        make(
          "button",
          {
            id: "ear-afresh",
            onclick: () => {
              taps = [];
              showTaps();
            },
          },
          "Start over",
        ),
      ),
    ];
  },
  slide: () => {
    const far = trial.farthest_cents;
    const slide = make("input", {
      type: "range",
      id: "ear-slide",
      class: "bar",
      min: -far,
      max: far,
      step: 0.1,
      "aria-label": "Narrower or wider",
      "aria-valuetext": "where the slider stands says nothing about where pure is",
      oninput: ({ target }) => {
        moved = Number(target.value);
        askSoon("move", { cents: moved });
      },
    });
    const step = (words, cents) =>
      make(
        "button",
        { "aria-label": words, "data-step": cents, onclick: () => move(moved + cents) },
        cents > 0 ? `+ ${cents}` : `− ${-cents}`,
      );
    return [
      make("div", { class: "wood" }, slide),
      make(
        "div",
        { class: "ends", "aria-hidden": "true" },
        make("span", {}, "narrower"),
        make("span", {}, "wider"),
      ),
      make(
        "div",
        { class: "answers nudges", role: "group", "aria-label": "Steps in cents" },
        step("Two cents narrower", -2),
        step("A fifth of a cent narrower", -0.2),
        step("A fifth of a cent wider", 0.2),
        step("Two cents wider", 2),
      ),
      make(
        "div",
        { class: "answers" },
        make("button", { id: "ear-done", onclick: settle }, "That's in tune"),
      ),
    ];
  },
};

const openTrial = () => {
  const sounds = trial.sounds.length ? trial.sounds : [];
  asked.replaceChildren(
    make("p", { class: "count-of" }, `${trial.number + 1} of ${trial.of}`),
    make("h2", { id: "ear-question", tabindex: "-1" }, trial.question),
    make(
      "div",
      { class: "hearing", role: "group", "aria-label": "Hear" },
      ...(trial.form === "slide" && sounds.length
        ? []
        : [
            make(
              "button",
              { id: "ear-again", "data-hear": -1, onclick: () => again() },
              trial.form === "choose" ? "Hear again" : "Hear it",
            ),
          ]),
      ...sounds.map((words, at) =>
        make(
          "button",
          { "data-hear": at, onclick: () => again(at) },
          make("span", { "aria-hidden": "true" }, "▸ "),
          make("span", { class: "hidden" }, "Hear "),
          words,
        ),
      ),
    ),
    ...forms[trial.form](),
    make("button", { id: "ear-stop", class: "quiet", onclick: stop }, "Stop for now"),
  );
  taps = [];
  moved = trial.moved_cents;
  if (trial.form === "tap") showTaps();
  if (trial.form === "choose") showNudge();
  if (trial.form === "slide") byId("ear-slide").value = moved;
};

export const isOpen = () => trial !== null;

export const showTrial = (ears) => {
  const before = trial;
  trial = ears.asked;
  const at = held(),
    inside = asked.contains(at);
  asked.hidden = !trial;
  if (!trial) return;
  if (!before || before.number !== trial.number || before.question !== trial.question) {
    const again =
      inside &&
      before &&
      [at.id && `#${at.id}`, at.dataset.answer && `[data-answer="${at.dataset.answer}"]`].find(Boolean);
    openTrial();
    // The hand stays where it was; a new session begins at its question.
    ((again && asked.querySelector(`${again}:not(:disabled)`)) || byId("ear-question")).focus({
      preventScroll: Boolean(before),
    });
  }
  for (const button of /** @type {NodeListOf<HTMLElement>} */ (asked.querySelectorAll("[data-hear]")))
    mark(button, "aria-pressed", ears.heard === Number(button.dataset.hear));
};

// While a trial is open the keyboard answers it: digits choose, space taps or hears again, Enter is done.
const keys = (event) => {
  if (
    part() !== "ears" ||
    !trial ||
    event.ctrlKey ||
    event.metaKey ||
    event.altKey ||
    event.key === "Escape" ||
    event.key === "Tab"
  )
    return;
  const target = event.target,
    onButton = target.matches("button, summary, select, a");
  const onSlide = target.matches("input[type=range]");
  if (!asked.contains(target) && target !== document.body && target.id !== "main") return;
  const digit = Number(event.key);
  if (event.key === " ") {
    if (trial.form === "tap" && !event.repeat && (!onButton || target.id === "ear-pad")) tap(event.timeStamp);
    else if (onButton) return;
    else if (trial.form !== "tap" && !event.repeat)
      again(trial.sounds.length && trial.form === "slide" ? 0 : -1);
  } else if (trial.form === "choose" && digit >= 1 && digit <= trial.choices.length && !event.repeat)
    answer(digit - 1);
  else if (event.key === "Enter" && !event.repeat && (!onButton || target.id === "ear-pad")) {
    if (trial.form === "tap") tapped();
    if (trial.form === "slide") settle();
  } else if (trial.form === "choose" && trial.farthest_cents && /^Arrow(Left|Right)$/.test(event.key)) {
    nudge(place() + (event.key === "ArrowRight" ? 1 : -1));
  } else if (trial.form === "slide" && !onSlide && event.key.startsWith("Arrow")) {
    move(moved + { ArrowLeft: -0.2, ArrowRight: 0.2, ArrowDown: -2, ArrowUp: 2 }[event.key]);
  } else if (event.key === "r" && !event.repeat)
    again(trial.sounds.length && trial.form === "slide" ? 0 : -1);
  else if (event.key.length > 1) return;
  event.preventDefault();
  event.stopPropagation();
};
addEventListener("keydown", keys, { capture: true });
