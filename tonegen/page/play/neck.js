// The bar along the neck.

import { askSoon, hear } from "../static/wire.js";
import { byId, follows, make, mark, say } from "../static/parts.js";

const DOTS = new Set([3, 5, 7, 9, 12, 15, 17, 19, 21, 24]);
let built = null;
let frets = 0;

const build = () => {
  const words = make("output", { class: "fret" });
  const slider = make("input", { type: "range", min: 0, step: 0.01, id: "bar", class: "bar" });
  const snapped = (fret) => (Math.abs(fret - Math.round(fret)) < 0.15 ? Math.round(fret) : fret);
  slider.addEventListener("input", () => askSoon("bar", { fret: snapped(Number(slider.value)) }));
  slider.addEventListener("keydown", (event) => {
    const way = { ArrowRight: 1, ArrowUp: 1, ArrowLeft: -1, ArrowDown: -1 }[event.key];
    if (!way) return;
    event.preventDefault();
    const next = Number(slider.value) + way * (event.shiftKey ? 0.05 : 1);
    slider.value = String(Math.max(0, Math.min(frets, next)));
    askSoon("bar", { fret: Number(slider.value) });
  });
  const marks = make("div", { class: "frets", "aria-hidden": "true" });
  byId("neck").replaceChildren(
    make("label", { for: "bar" }, "Bar"),
    make("div", { class: "wood" }, marks, slider),
    words,
  );
  return { words, slider, marks, follow: follows(slider) };
};

hear("view", (view) => {
  built ??= build();
  if (frets !== view.frets) {
    frets = view.frets;
    built.slider.max = frets;
    built.marks.replaceChildren(
      ...Array.from({ length: frets + 1 }, (_, fret) =>
        make("i", { class: DOTS.has(fret) ? "dot" : "" }, DOTS.has(fret) ? String(fret) : ""),
      ),
    );
  }
  built.follow(view.fret);
  mark(built.slider, "aria-valuetext", view.bar);
  say(built.words, view.bar);
});
