// The tuning order, one step at a time, large enough for arm's length, each with its sound.

import { ask, hear } from "../static/wire.js";
import { turnsAt, turnsPerSecond } from "../sound/clock.js";
import { byId, make, mark, refill } from "../static/parts.js";
import { earFor } from "../hearing/ear.js";
import { part } from "../static/nav.js";
import { onStage, stageButton } from "../static/stage.js";
import { draw, strands } from "../static/strands.js";
import { oneStop } from "../static/stops.js";

const LOW = "step-low",
  HIGH = "step-high";
/** @type {import("../static/wire.js").Shows["order"]} */
let plan = {
  steps: [],
  checks: [],
  cautions: [],
  at: -1,
  heard: "both",
  stale: false,
};
let place = 0;
let sounding = false;
let strand = null;

// Where hands are: what they asked for, and only once that is answered what the program says.
/** @type {{ at: number, heard: typeof plan.heard } | null} */
let asked = null;
const heard = () => asked?.heard ?? plan.heard;
const askFor = (at, how) => {
  asked = { at, heard: how };
  ask("step", asked);
};
const go = (to) => {
  place = Math.max(0, Math.min(plan.steps.length - 1, to));
  askFor(place, heard());
};

// Hear a step this way alone, or both tones again.
const only = (how) => askFor(place, heard() === how ? "both" : how);
const hearStep = () => {
  if (plan.at >= 0 && sounding) {
    ask("sound", { on: false });
    return;
  }
  go(place);
  if (!sounding) byId("sound").click();
};

const itself = make("button", { id: "step-hear", onclick: hearStep }, "Hear it");
const beat = make("button", { id: "step-only", onclick: () => only("beating") }, "Only its beat");
const against = make("button", { id: "step-against", onclick: () => only("against") }, "Tone to tune to");
const steps = make(
  "div",
  { class: "steps", role: "group", "aria-label": "Steps" },
  make("button", { id: "step-back", onclick: () => go(place - 1) }, "Back"),
  itself,
  beat,
  against,
  make("button", { id: "step-next", class: "primary", onclick: () => go(place + 1) }, "Next"),
);
const showSteps = () => {
  mark(itself, "aria-pressed", plan.at >= 0 && sounding);
  mark(beat, "aria-pressed", plan.heard === "beating");
  mark(against, "aria-pressed", plan.heard === "against");
};

const fact = (name, value) => make("div", {}, make("dt", {}, name), make("dd", {}, value));

// The strings of the step are listened to while they are tuned.
const ear = earFor("order", "order", "Listen while I tune", () => {
  go(place);
  return {};
});
ear.says.classList.add("heard-beat");
const goesOn = make("input", {
  type: "checkbox",
  id: "step-goes-on",
  onchange: () => ask("moveon", { on: goesOn.checked }),
});
const listening = make(
  "div",
  { class: "listening" },
  ear.button,
  make("label", { class: "check" }, goesOn, "Go on by itself once a step has held for two seconds"),
  ear.where,
);

// All that the hands need, for the stage: 64 pixels high, less only where the screen is too small.
const sentence = ({ tune, against, count }) => {
  const em = (words) => make("em", {}, words);
  const [rate, cure] = count.split(": ");
  return make(
    "div",
    { class: "sentence" },
    make("h2", {}, "Tune ", em(tune), " against ", em(against), `: ${rate}.`),
    make("p", {}, cure ?? ""),
  );
};
const SMALLEST = 0.2;
const fit = () => {
  const words = /** @type {HTMLElement} */ (document.querySelector(".sentence"));
  if (!words || !onStage()) return;
  for (let size = 1; size >= SMALLEST; size -= 0.05) {
    words.style.setProperty("--size", String(size));
    if (words.scrollHeight <= words.clientHeight) return;
  }
};

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
    strand = null;
    return;
  }
  if (!asked && plan.at >= 0) place = plan.at;
  place = Math.min(place, plan.steps.length - 1);
  const step = plan.steps[place];
  strand = strands();
  showSteps();
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
      make(
        "div",
        { class: "count-of" },
        make("p", {}, `Step ${place + 1} of ${plan.steps.length}`),
        stageButton(),
      ),
      sentence(step),
      make("h2", { class: "to-tune" }, "Tune ", make("em", {}, step.tune)),
      make("p", { class: "against" }, "against ", make("em", {}, step.against)),
      make(
        "dl",
        {},
        fact("engage", step.engaged),
        fact("bar", step.bar),
        fact("interval", step.interval),
        fact("within", step.sure),
      ),
      ear.says,
      strand,
      make("p", { class: "count" }, step.count),
      make("p", { class: "hint" }, `Listen near ${step.listen}. When it's right: ${step.sounds_like}.`),
    ),
    steps,
    listening,
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
          make("li", {}, `${check.pair}; ${check.engaged}: ${check.should}, give or take ${check.within}`),
        ),
      ),
    ),
  );
  if (begun && !plan.stale) byId("step-next").focus();
  fit();
  picture();
};

const picture = () => {
  if (!strand) return;
  const step = plan.steps[place],
    at = performance.now();
  const turns = sounding && plan.at >= 0 ? turnsAt(LOW, HIGH, at) : null;
  const perSecond = turns === null ? step.beats_per_second : turnsPerSecond(LOW, HIGH);
  const how = { rough: step.audible === "roughness", quiet: turns === null };
  draw(strand, { turns: turns ?? 0, at, perSecond }, how);
};

oneStop(byId("order"), { of: ".all button", down: true });
hear("order", (next) => {
  const isAnswer = next.at === asked?.at && next.heard === asked.heard;
  if (isAnswer || next.steps.length !== plan.steps.length) asked = null;
  plan = next;
  show();
});
hear("hearing", fit);
hear("moment", picture);
hear("open", () => {
  asked = null; // what was asked before may never have arrived
});
hear("view", ({ playing }) => {
  goesOn.checked = playing.goes_on;
  if (sounding !== playing.sounding) {
    sounding = playing.sounding;
    show();
  }
});
addEventListener("part", () => {
  fit();
  if (part() !== "order" && (asked ?? plan).at >= 0) askFor(-1, "both");
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
addEventListener("resize", fit);
