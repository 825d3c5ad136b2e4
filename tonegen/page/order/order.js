// The tuning order, one step at a time, large enough for arm's length, each with its sound.

import { ask, hear } from "../static/wire.js";
import { turnsAt, turnsPerSecond } from "../sound/clock.js";
import { byId, make, refill } from "../static/parts.js";
import { part } from "../static/nav.js";
import { draw } from "../static/strands.js";

const LOW = "step-low",
  HIGH = "step-high";
/** @type {import("../static/wire.js").Shows["order"]} */
let plan = { steps: [], checks: [], cautions: [], at: -1, heard: "both", stale: false };
let place = 0;
let sounding = false;
let canvas = null;

const go = (to) => {
  place = Math.max(0, Math.min(plan.steps.length - 1, to));
  ask("step", { at: place, heard: plan.heard });
};

// Hear a step this way alone, or both tones again.
const only = (heard) => ask("step", { at: place, heard: plan.heard === heard ? "both" : heard });

const fact = (name, value) => make("div", {}, make("dt", {}, name), make("dd", {}, value));

const show = () => {
  const box = byId("order");
  if (!plan.steps.length) {
    box.replaceChildren(
      make(
        "p",
        {},
        "A plan for tuning by ear: each string against one already tuned, with the beat to listen for.",
      ),
      make("button", { class: "primary", id: "make-plan", onclick: () => ask("order") }, "Make the plan"),
    );
    canvas = null;
    return;
  }
  if (plan.at >= 0) place = plan.at;
  place = Math.min(place, plan.steps.length - 1);
  const step = plan.steps[place];
  canvas = make("canvas", { "aria-hidden": "true" });
  const begun = document.activeElement?.id === "make-plan";
  refill(
    box,
    ...(plan.stale
      ? [
          make(
            "p",
            { class: "caution" },
            "The targets, or the scene, have changed since this plan was made. ",
            make("button", { id: "make-plan", onclick: () => ask("order") }, "Make a new plan"),
          ),
        ]
      : []),
    ...plan.cautions.map((caution) => make("p", { class: "caution" }, caution)),
    make(
      "article",
      { class: "step", "aria-live": "polite" },
      make("p", { class: "count-of" }, `Step ${place + 1} of ${plan.steps.length}`),
      make("h2", {}, "Tune ", make("em", {}, step.tune)),
      make("p", { class: "against" }, "against ", make("em", {}, step.against)),
      make(
        "dl",
        {},
        fact("engage", step.engaged),
        fact("bar", step.bar),
        fact("interval", step.interval),
        fact("within", step.sure),
      ),
      canvas,
      make("p", { class: "count" }, step.count),
      make("p", { class: "hint" }, `Listen near ${step.listen}. When it's right: ${step.sounds_like}.`),
    ),
    make(
      "div",
      { class: "steps", role: "group", "aria-label": "Steps" },
      make("button", { id: "step-back", onclick: () => go(place - 1) }, "Back"),
      make(
        "button",
        { id: "step-hear", "aria-pressed": String(plan.at >= 0 && sounding), onclick: hearStep },
        "Hear it",
      ),
      make(
        "button",
        {
          id: "step-only",
          "aria-pressed": String(plan.heard === "beating"),
          onclick: () => only("beating"),
        },
        "Only its beat",
      ),
      make(
        "button",
        {
          id: "step-against",
          "aria-pressed": String(plan.heard === "against"),
          onclick: () => only("against"),
        },
        "Tone to tune to",
      ),
      make("button", { id: "step-next", class: "primary", onclick: () => go(place + 1) }, "Next"),
    ),
    make(
      "details",
      {},
      make("summary", {}, "All steps"),
      make(
        "ol",
        { class: "all" },
        ...plan.steps.map((one, at) =>
          make(
            "li",
            {},
            make(
              "button",
              { onclick: () => go(at), "aria-current": at === place ? "step" : "false" },
              `${one.tune}, against ${one.against}: ${one.rate}`,
            ),
          ),
        ),
      ),
    ),
    make(
      "details",
      {},
      make("summary", {}, "Checks at the end"),
      make(
        "ul",
        {},
        ...plan.checks.map((check) =>
          make(
            "li",
            {},
            `${check.pair}; engage ${check.engaged}: ${check.should}, give or take ${check.within}`,
          ),
        ),
      ),
    ),
  );
  if (begun && !plan.stale) byId("step-next").focus();
  picture();
};

const hearStep = () => {
  if (plan.at >= 0 && sounding) {
    ask("sound", { on: false });
    return;
  }
  go(place);
  if (!sounding) byId("sound").click();
};

const picture = () => {
  if (!canvas || part() !== "order") return;
  const step = plan.steps[place];
  const turns = sounding && plan.at >= 0 ? turnsAt(LOW, HIGH, performance.now()) : null;
  draw(canvas, turns ?? 0, turns === null ? step.beats_per_second : turnsPerSecond(LOW, HIGH), {
    rough: step.audible === "roughness",
    quiet: turns === null,
  });
};

let running = false;
const run = () => {
  if (running || !sounding || part() !== "order" || document.hidden) return;
  running = true;
  setTimeout(
    () =>
      requestAnimationFrame(() => {
        running = false;
        picture();
        run();
      }),
    30,
  );
};

hear("order", (next) => {
  plan = next;
  show();
  run();
});
hear("view", ({ playing }) => {
  if (sounding !== playing.sounding) {
    sounding = playing.sounding;
    show();
  }
  run();
});
addEventListener("part", () => {
  if (part() !== "order" && plan.at >= 0) ask("step", { at: -1 });
  picture();
  run();
});
addEventListener("keydown", (event) => {
  if (
    part() !== "order" ||
    !plan.steps.length ||
    /** @type {Element} */ (event.target).matches("input, select")
  )
    return;
  if (event.key === "ArrowRight") go(place + 1);
  if (event.key === "ArrowLeft") go(place - 1);
});
addEventListener("resize", picture);
