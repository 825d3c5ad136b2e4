// The bar along the neck: a touch puts it on the nearest fret, a slide slants it off.
// Beside it a fret up and down.

import { askSoon, hear } from "../static/wire.js";
import { drags, repeats } from "../static/hands.js";
import { byId, follows, make, mark, say } from "../static/parts.js";

const DOTS = new Set([3, 5, 7, 9, 12, 15, 17, 19, 21, 24]);
let built = null;
let frets = 0;

const build = () => {
  const words = make("output", { class: "fret" });
  const slider = make("input", { type: "range", min: 0, step: 0.01, id: "bar", class: "bar" });
  const bring = (fret) => {
    slider.value = String(Math.max(0, Math.min(frets, fret)));
    askSoon("bar", { fret: Number(slider.value) });
  };
  const snapped = (fret) => (Math.abs(fret - Math.round(fret)) < 0.15 ? Math.round(fret) : fret);
  slider.addEventListener("input", () => askSoon("bar", { fret: snapped(Number(slider.value)) }));
  slider.addEventListener("keydown", (event) => {
    const way = { ArrowRight: 1, ArrowUp: 1, ArrowLeft: -1, ArrowDown: -1 }[event.key];
    if (!way) return;
    event.preventDefault();
    const next = Number(slider.value) + way * (event.shiftKey ? 0.05 : 1);
    bring(next);
  });
  const marks = make("div", { class: "frets", "aria-hidden": "true" });
  const wood = make("div", { class: "wood" }, marks, slider);
  drags(wood, {
    begin: ({ clientX }) => {
      const { left, width } = marks.getBoundingClientRect();
      const before = Number(slider.value),
        touched = Math.round(((clientX - left) / width) * frets);
      slider.focus({ preventScroll: true });
      bring(touched);
      return { before, touched: Number(slider.value), fretPixels: width / frets };
    },
    move: ({ touched, fretPixels }, { x }) => bring(snapped(touched + x / fretPixels)),
    back: ({ before }) => bring(before),
  });
  // By keys the bar itself goes a fret up and down.
  const lower = make("button", { "aria-label": "A fret down", tabindex: -1 }, "−");
  const higher = make("button", { "aria-label": "A fret up", tabindex: -1 }, "+");
  repeats(lower, () => bring(Math.ceil(Number(slider.value)) - 1));
  repeats(higher, () => bring(Math.floor(Number(slider.value)) + 1));
  byId("neck").replaceChildren(make("label", { for: "bar" }, "Bar"), lower, wood, higher, words);
  return { words, slider, marks, follow: follows(slider) };
};

hear("view", (view) => {
  built ??= build();
  if (frets !== view.frets) {
    frets = view.frets;
    built.slider.max = frets;
    built.marks.replaceChildren(
      ...Array.from({ length: frets + 1 }, (_, fret) =>
        make("i", {}, DOTS.has(fret) ? make("span", { class: fret > 12 ? "high" : "" }, String(fret)) : ""),
      ),
    );
  }
  built.follow(view.fret);
  mark(built.slider, "aria-valuetext", view.bar);
  say(built.words, view.bar);
});
