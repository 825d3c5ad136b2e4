// The string that is being set: its offset by a slider, and pure, equal or the player's target at one touch.

import { ask, askSoon, hear } from "../static/wire.js";
import { byId, follows, make, mark, say } from "../static/parts.js";

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

const nudge = (cents) =>
  ask("offset", { string: number, offset_cents: round(current().offset_cents + cents) });
const current = () => view.strings.find((string) => string.number === number);
const round = (cents) => Math.round(cents * 100) / 100;

const build = () => {
  const part = {
    title: make("h2"),
    point: make("p", { class: "hint" }),
    cents: make("output", { class: "offset" }),
    slider: make("input", { type: "range", min: -50, max: 50, step: 0.1, id: "offset" }),
    target: make("button", { "data-to": "target", onclick: () => ask("target", { string: number }) }),
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
  };
  part.follow = follows(part.slider);
  let gesture = "";
  part.slider.addEventListener("pointerdown", (event) => {
    gesture = `slide ${event.timeStamp}`;
  });
  part.slider.addEventListener("keydown", (event) => {
    if (!event.repeat) gesture = `step ${event.timeStamp}`;
  });
  part.slider.addEventListener("input", () =>
    askSoon("offset", { string: number, offset_cents: Number(part.slider.value), gesture }),
  );
  byId("string").replaceChildren(
    make("div", { class: "head" }, part.title, part.point),
    make(
      "div",
      { class: "slide" },
      make("button", { "aria-label": "A tenth of a cent lower", onclick: () => nudge(-0.1) }, "−"),
      make("label", { for: "offset", class: "hidden" }, "Offset in cents from equal temperament"),
      part.slider,
      make("button", { "aria-label": "A tenth of a cent higher", onclick: () => nudge(0.1) }, "+"),
      part.cents,
    ),
    make(
      "div",
      { class: "to" },
      make("button", { "data-to": "equal", onclick: () => ask("equal", { string: number }) }, "Equal"),
      part.target,
      part.pure,
      part.hold,
    ),
  );
  return part;
};

const show = (next) => {
  view = next;
  if (!current()) number = view.playing.strings.at(0) ?? 1;
  built ??= build();
  const string = current();
  say(built.title, `String ${string.number}`);
  say(built.point, string.point);
  say(built.cents, `${string.offset_cents < 0 ? "−" : "+"}${Math.abs(string.offset_cents).toFixed(1)} c`);
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
          { "data-pure": other, onclick: () => ask("pure", { string: number, against: other }) },
          `Pure with ${other === "bass" ? "the bass" : other}`,
        ),
      ),
    );
  }
};

hear("view", show);
