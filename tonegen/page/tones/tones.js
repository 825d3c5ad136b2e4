// Two free tones, whatever the instrument: how they beat, and how that sounds instead of the grip.

import { ask, hear } from "../static/wire.js";
import { stayingCard } from "../play/pairs.js";
import { readyToHear } from "../sound/sound.js";
import { byId, make, mark, offers, say } from "../static/parts.js";
import { oneStop } from "../static/stops.js";

/** @type {import("../static/wire.js").Shows["two"] | null} */
let two = null;
let sounding = false,
  alone = false; // alone : nothing sounded before

const written = (name, words) => {
  const input = make("input", {
    type: "text",
    id: `tone-${name}`,
    maxlength: 120,
    autocomplete: "off",
    spellcheck: "false",
    "aria-describedby": `tone-${name}-words`,
    onchange: () => ask("tones", { [name]: input.value.trim() }),
  });
  const under = make("small", { id: `tone-${name}-words` });
  return { input, under, field: make("label", {}, words, input, under) };
};
const low = written("low", "Lower tone"),
  high = written("high", "Upper tone");
const ratio = make("select", { id: "tone-ratio", onchange: () => ask("tones", { ratio: ratio.value }) });
const offerRatios = offers(ratio);

const begin = (only) => {
  if (!two.heard) alone = !sounding;
  readyToHear();
  ask("heartones", { on: true, only });
};
const end = () => (alone ? ask("sound", { on: false }) : ask("heartones", { on: false }));
const card = stayingCard(() => begin(!(two.heard && two.only)));
const both = make(
  "button",
  { id: "tones-hear", "aria-pressed": "false", onclick: () => (two.heard ? end() : begin(false)) },
  "Hear both",
);
const to = (where, words, title) =>
  make(
    "button",
    {
      id: `tones-${where}`,
      title,
      "aria-label": `${words}, the upper tone`,
      onclick: () => ask("tunetones", { to: where }),
    },
    words,
  );

const buttons = make(
  "div",
  { class: "buttons" },
  both,
  to("pure", "Pure", "Move the upper tone until the interval is pure"),
  to("equal", "Equal", "Move the upper tone to a whole number of semitones from the lower"),
);
oneStop(buttons, { name: "The two tones" });
const name = make("summary", {}, "Two tones");
const fold = make(
  "details",
  {},
  name,
  make(
    "div",
    { class: "two" },
    make(
      "p",
      { class: "hint" },
      "A note (A3), a note with cents (A3+5), or Hz; the upper one can also be cents " +
        "above the lower (386.3c).",
    ),
    low.field,
    high.field,
    make("label", {}, "Stands for", ratio),
    card.element,
    buttons,
  ),
);
card.element.id = "tones-only";
byId("tones").append(fold);

const showWritten = ({ input, under }, text, words) => {
  // What is being typed stays.
  if (input !== document.activeElement || input.value === input.dataset.shown) input.value = text;
  input.dataset.shown = text;
  say(under, words);
};

const show = (next) => {
  if (next.heard && !two) fold.open = true;
  two = next;
  say(name, two.heard ? "Two tones, playing instead of the grip" : "Two tones");
  showWritten(low, two.written.low, two.low_words);
  showWritten(high, two.written.high, two.high_words);
  offerRatios(
    two.ratios.map((one) => [one.ratio, one.words]),
    two.written.ratio,
  );
  card.fill(two.pair, two.heard && two.only, `Two tones, ${two.pair.names}`);
  card.element.disabled = !two.pair.plays;
  mark(both, "aria-pressed", two.heard);
};

hear("two", show);
hear("view", ({ playing }) => {
  sounding = playing.sounding;
});
