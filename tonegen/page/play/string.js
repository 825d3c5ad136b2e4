// The string that is being set: its offset typed, in steps or by a drag; pure, equal or the player's target
// at one touch. Each step says how the string would beat after it, and what came before stays to be read.

import { ask, askSoon, hear } from "../static/wire.js";
import { drags, repeats } from "../static/hands.js";
import { byId, follows, HAND_MS, make, mark, say } from "../static/parts.js";
import { oneStop } from "../static/stops.js";

const CENTS_PER_PIXEL = 0.1;
const MOST_CENTS = 50;
const BY_HAND = new Map([
  [0.1, "A tenth of a cent"],
  [1, "1 cent"],
  [5, "5 cents"],
]);
/** @type {import("../static/wire.js").Shows["view"] | null} */
let view = null;
let number = null;
let built = null;

export const chosen = () => number;
export const choose = (next) => {
  number = next;
  dispatchEvent(new Event("chosen"));
  if (view) show(view);
};

const current = () => view.strings.find((string) => string.number === number);
const round = (cents) => Math.round(cents * 100) / 100;
const within = (cents) => round(Math.max(-MOST_CENTS, Math.min(MOST_CENTS, cents)));
const words = (cents) => `${cents < 0 ? "−" : "+"}${Math.abs(cents).toFixed(1)}`;

// Where the hand has brought the string, until the engine has had time to show it.
let hand = { point: "", cents: 0, at: -HAND_MS, gesture: "" };
const here = (gesture = null) => {
  const { point, offset_cents } = current();
  const ahead = hand.gesture === gesture || performance.now() - hand.at < HAND_MS;
  return ahead && hand.point === placeOf(point) ? hand.cents : offset_cents;
};
// A string's point goes on being the same while what it is tuned to, said behind it, changes.
const placeOf = (point) => `${number} ${point.split(":")[0]}`;

// What stood before the hand came: said beside what stands now.
let before = { point: "", words: "" };
let gestureBefore = "";
const remember = (gesture) => {
  if (gesture === gestureBefore) return;
  gestureBefore = gesture;
  const { point, offset_cents, beats } = current();
  before = { point: placeOf(point), words: `was ${words(offset_cents)} c${beats ? `, ${beats}` : ""}` };
};
const moveTo = (cents, gesture, soon = false) => {
  remember(gesture);
  hand = { point: placeOf(current().point), cents: within(cents), at: performance.now(), gesture };
  const asked = { string: number, offset_cents: hand.cents, gesture };
  if (soon) askSoon("offset", asked);
  else ask("offset", asked);
};

const putTo = (action, fields = {}) => {
  remember(`${action} ${performance.now()}`);
  hand = { ...hand, at: -HAND_MS, gesture: "" };
  ask(action, { string: number, ...fields });
};

/** Drags that begin wherever a finger is put down, on a thing that belongs to a string. */
export const dragsOffset = (pad, ofString) =>
  drags(pad, {
    begin: (event) => {
      if (ofString() !== number) choose(ofString());
      return { cents: here(), gesture: `drag ${number} ${event.timeStamp}` };
    },
    move: ({ cents, gesture }, { x }) => moveTo(cents + CENTS_PER_PIXEL * x, gesture, true),
    back: ({ cents, gesture }) => moveTo(cents, gesture, true),
  });

const stepButton = (step, at) => {
  const beats = make("small");
  const button = make(
    "button",
    { class: "step-by", "data-step": step },
    make("b", {}, stepWords(step)),
    beats,
  );
  repeats(button, (gesture) => moveTo(here(gesture) + step, gesture));
  const name = `${BY_HAND.get(Math.abs(step))} ${step < 0 ? "lower" : "higher"}`;
  const show = (string) => {
    const then = string.steps[at].beats;
    mark(button, "aria-label", then ? `${name}: ${then}` : name);
    say(beats, then.split(",")[0]);
  };
  return { button, show };
};
const stepWords = (step) => `${step < 0 ? "−" : "+"}${Math.abs(step)}`;

const build = () => {
  const part = {
    which: make("select", {
      id: "string-choice",
      "aria-label": "String to set",
      onchange: () => choose(Number(part.which.value)),
    }),
    point: make("p", { class: "hint" }),
    typed: make("input", {
      type: "text",
      id: "offset-typed",
      autocomplete: "off",
      maxlength: 8,
      "aria-label": "Offset in cents from equal temperament",
      "aria-describedby": "offset-said",
    }),
    said: make("output", { id: "offset-said", class: "said" }),
    slider: make("input", {
      type: "range",
      min: -MOST_CENTS,
      max: MOST_CENTS,
      step: 0.1,
      id: "offset",
      "aria-label": "Offset in cents from equal temperament, by a drag or the arrow keys",
    }),
    target: make("button", { "data-to": "target", onclick: () => putTo("target") }),
    pure: make("span", { class: "pure" }),
    hold: make(
      "button",
      {
        "data-to": "hold",
        "aria-pressed": "false",
        onclick: () => ask("pin", { string: number, changes: current().changes, travel: current().travel }),
      },
      "Pin it there",
    ),
    steps: current().steps.map((step, at) => stepButton(step.cents, at)),
  };
  part.follow = follows(part.slider);
  let gesture = "";
  part.slider.addEventListener("keydown", (event) => {
    if (!event.repeat) gesture = `step ${event.timeStamp}`;
  });
  part.slider.addEventListener("input", () => moveTo(Number(part.slider.value), gesture, true));
  // The slider itself would jump to where it is touched.
  const pad = make("div", { class: "drag" }, part.slider);
  dragsOffset(pad, () => number);
  pad.addEventListener("pointerdown", () => part.slider.focus({ preventScroll: true }));
  part.typed.addEventListener("change", () => {
    const written = part.typed.value.trim().replace("−", "-").replace(",", ".");
    const cents = Number(written);
    const bad = written === "" || Number.isNaN(cents) || Math.abs(cents) > MOST_CENTS;
    mark(part.typed, "aria-invalid", bad);
    if (bad) say(part.said, `Write cents from −${MOST_CENTS} to +${MOST_CENTS}, such as −13.7`);
    else moveTo(cents, `typed ${performance.now()}`);
  });
  part.typed.addEventListener("keydown", (event) => {
    if (event.key === "Enter") part.typed.select();
  });
  const buttons = part.steps.map(({ button }) => button);
  const slide = make("div", { class: "slide" }, ...buttons.slice(0, 3), pad, ...buttons.slice(3));
  const to = make(
    "div",
    { class: "to" },
    make("button", { "data-to": "equal", onclick: () => putTo("equal") }, "Equal"),
    part.target,
    part.pure,
    part.hold,
  );
  byId("string").replaceChildren(
    make(
      "div",
      { class: "head" },
      part.which,
      part.typed,
      make("span", { class: "unit" }, "c"),
      make("div", { class: "told" }, part.said, part.point),
    ),
    slide,
    to,
  );
  oneStop(slide, { name: "Steps of the offset" });
  oneStop(to, { name: "Where to bring the string" });
  return part;
};

const show = (next) => {
  view = next;
  if (!current()) number = view.playing.strings.at(0) ?? 1;
  built ??= build();
  const string = current();
  const offset = words(string.offset_cents);
  const numbers = view.strings.map((one) => one.number).join();
  if (built.which.dataset.numbers !== numbers) {
    built.which.dataset.numbers = numbers;
    built.which.replaceChildren(
      ...view.strings.map((one) => make("option", { value: one.number }, `String ${one.number}`)),
    );
  }
  built.which.value = String(number);
  say(built.point, string.point);
  const writing = document.activeElement === built.typed && built.typed.value !== built.typed.dataset.shown;
  if (!writing || built.typed.dataset.of !== placeOf(string.point)) {
    built.typed.dataset.of = placeOf(string.point);
    built.typed.dataset.shown = offset;
    built.typed.value = offset;
    mark(built.typed, "aria-invalid", false);
    const now = string.beats && `${string.beats} with ${nameOf(string.heard_with)}`;
    const came = before.point === placeOf(string.point) ? before.words : "";
    say(built.said, [now, came].filter(Boolean).join(" · "));
  }
  for (const step of built.steps) step.show(string);
  say(built.target, `My target ${string.target}`);
  built.follow(string.offset_cents);
  mark(built.slider, "aria-valuetext", `${string.offset_cents.toFixed(1)} cents`);
  mark(built.hold, "aria-pressed", string.pinned);
  const wanted = string.pure_with.join();
  if (built.pure.dataset.with !== `${number}:${wanted}`) {
    built.pure.dataset.with = `${number}:${wanted}`;
    built.pure.replaceChildren(
      ...string.pure_with.map((other) =>
        make(
          "button",
          { "data-pure": other, onclick: () => putTo("pure", { against: other }) },
          `Pure with ${nameOf(other)}`,
        ),
      ),
    );
  }
};

const nameOf = (tone) => (tone === "bass" ? "the bass" : tone);

hear("view", show);
