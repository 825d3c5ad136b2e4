// Tempering: which grips shall ring and how much each matters, what is held, what was found, and what it
// trades.

import { ask, hear } from "../static/wire.js";
import { byId, make, mark, offers, refill, say, tableHead } from "../static/parts.js";
import { oneRow, oneStop } from "../static/stops.js";

/** @typedef {import("../static/messages.js").Asks["objective"]["name"]} Objective */

/** @type {import("../static/wire.js").Shows["asked"] | null} */
let asked = null;
let scenes = [];
/** @type {import("../static/wire.js").Shows["offer"] | null} */
let offer = null;
let shape = "";
let built = null;

const build = () => {
  const scene = make("select", { id: "scene", onchange: () => ask("scene", { name: scene.value }) });
  const objective = make("select", {
    id: "objective",
    onchange: () => ask("objective", { name: /** @type {Objective} */ (objective.value) }),
  });
  const part = {
    scene,
    offerScenes: offers(scene),
    title: make("small", { class: "whole" }), // which the choice has no room for
    objective,
    offerObjectives: offers(objective),
    band: make("p", { class: "hint" }),
    pins: make("p", { class: "hint", "aria-live": "polite" }),
    wanted: make("div", { class: "wanted", role: "group", "aria-label": "Grips and their weights" }),
    found: make("div", { class: "found", "aria-live": "polite" }),
  };
  oneRow(part.wanted, ".weighed");
  oneStop(part.found, { of: ".ring > summary", down: true });
  byId("temper").replaceChildren(
    make("h2", {}, "Temper"),
    make(
      "div",
      { class: "fields" },
      make("label", {}, "Scene", part.scene, part.title),
      make("label", {}, "Goal", part.objective),
    ),
    part.band,
    part.wanted,
    part.pins,
    make("button", { class: "primary", id: "run", onclick: () => ask("temper") }, "Find the best offsets"),
    part.found,
  );
  return part;
};

const showAsked = () => {
  if (!asked || !scenes) return;
  built ??= build();
  built.offerScenes(
    [["", "the instrument's grips"], ...scenes.map(({ name, title }) => [name, title || name])],
    asked.scene,
  );
  built.offerObjectives(Object.entries(asked.objectives), asked.objective);
  say(built.title, asked.scene && built.scene.selectedOptions[0]?.text);
  say(built.band, asked.band ? `The band: ${asked.band}` : "No band: tuned for the steel alone");
  say(
    built.pins,
    asked.pins.length ? `Pinned: ${asked.pins.join("; ")}` : "Tap a bead on the chart to pin it where it is.",
  );
  const names = JSON.stringify(asked.wanted.map(({ name }) => name));
  if (shape !== names) {
    shape = names;
    built.wanted.replaceChildren(
      ...asked.wanted.map(({ name }) => {
        const weight = make("input", {
          type: "number",
          min: 0,
          max: 100,
          step: 0.5,
          "data-weight": name,
          "aria-label": `Weight of ${name}`,
          onchange: () => ask("weigh", { grip: name, weight: Number(weight.value) || 0 }),
        });
        const button = make(
          "button",
          {
            "data-wanted": name,
            onclick: () => {
              ask("weigh", { grip: name, weight: button.getAttribute("aria-pressed") === "true" ? 0 : 1 });
            },
          },
          name,
        );
        return make("span", { class: "weighed" }, button, weight);
      }),
    );
  }
  asked.wanted.forEach(({ weight }, at) => {
    const [button, input] = built.wanted.children[at].children;
    mark(button, "aria-pressed", weight > 0);
    if (document.activeElement !== input) input.value = weight;
  });
};

const showOffer = () => {
  if (!offer || !asked) return;
  built ??= build();
  if (!offer.found) {
    const held = built.found.contains(document.activeElement);
    built.found.replaceChildren();
    if (held) byId("run").focus();
    return;
  }
  const rows = offer.grips.map((grip) =>
    make(
      "details",
      { class: "ring" },
      make(
        "summary",
        {},
        make("b", {}, grip.name),
        make("span", { class: "was" }, grip.before),
        make("span", { "aria-hidden": "true" }, "→"),
        make("span", { class: "hidden" }, "becomes"),
        make("span", { class: "will", "data-better": grip.better }, grip.after),
      ),
      make(
        "table",
        {},
        tableHead(["pair", "stands for", "before", "after"]),
        make(
          "tbody",
          {},
          ...grip.intervals.map((one) =>
            make(
              "tr",
              {},
              make("th", { scope: "row" }, one.names),
              make("td", {}, one.ratio),
              make("td", {}, one.before),
              make("td", {}, one.after),
            ),
          ),
        ),
      ),
    ),
  );
  refill(
    built.found,
    decision,
    make("p", { class: "hint", id: "summary" }, offer.summary),
    ...(offer.front.length ? [tradeOff()] : []),
    make("h3", {}, "Grip by grip: the fastest beat before and after"),
    ...rows,
    ...(offer.notes.length ? [make("h3", {}, "Notes"), ...offer.notes.slice(0, 3).map(noted)] : []),
    ...(offer.notes.length > 3
      ? [
          make(
            "details",
            {},
            make("summary", {}, `${offer.notes.length - 3} more notes`),
            ...offer.notes.slice(3).map(noted),
          ),
        ]
      : []),
    make(
      "details",
      {},
      make("summary", {}, `What moves: ${offer.points.length} tuning points`),
      make(
        "table",
        {},
        make(
          "tbody",
          {},
          ...offer.points.map((one) =>
            make(
              "tr",
              {},
              make("th", { scope: "row" }, one.point),
              make("td", {}, one.before),
              make("td", {}, one.after),
            ),
          ),
        ),
      ),
    ),
  );
};

const decision = make(
  "div",
  { class: "buttons" },
  make("button", { class: "primary", id: "take", onclick: () => ask("takeoffer") }, "Keep it"),
  make("button", { id: "throw", onclick: () => ask("throwaway") }, "Discard it"),
);
oneStop(decision, { name: "What was found" });

const noted = (note) => make("p", { class: "to-know" }, note);

// The places of the trade-off as a curve to walk along: a slider, with the curve above it.
const tradeOff = () => {
  const svg = (name, attributes) => {
    const element = document.createElementNS("http://www.w3.org/2000/svg", name);
    for (const [key, value] of Object.entries(attributes)) element.setAttribute(key, value);
    return element;
  };
  const place = ({ across, up }) => [8 + 284 * across, 112 - 104 * up];
  const curve = svg("svg", { viewBox: "0 0 300 120", class: "curve", "aria-hidden": "true" });
  curve.append(
    svg("polyline", { points: offer.front.map((mark) => place(mark).join()).join(" "), class: "line" }),
  );
  offer.front.forEach((one, at) => {
    const [cx, cy] = place(one);
    curve.append(
      svg("circle", {
        cx,
        cy,
        r: at === offer.chosen ? 6 : 3,
        class: at === offer.chosen ? "here" : "there",
      }),
    );
  });
  const here = offer.front[offer.chosen];
  const slider = make("input", {
    type: "range",
    min: -1,
    max: offer.front.length - 1,
    step: 1,
    id: "along",
    "aria-label": "Place on the trade-off",
    "aria-valuetext": here ? here.words : "with the scene's weights",
    onchange: () => ask("along", { place: Number(slider.value) }),
  });
  slider.value = String(offer.chosen);
  return make(
    "div",
    { class: "trade" },
    make("h3", {}, "The trade-off"),
    make("p", { class: "hint" }, `Up: ${offer.up}`),
    curve,
    slider,
    make("p", { class: "hint" }, `Across: ${offer.across}`),
    make("p", {}, here ? here.words : "With the scene's weights"),
  );
};

hear("choices", ({ presets }) => {
  scenes = presets.scenes;
  showAsked();
});
hear("asked", (next) => {
  asked = next;
  showAsked();
  showOffer();
});
hear("offer", (next) => {
  offer = next;
  showOffer();
});
