// A foot board by MIDI: its input is chosen, a pedal pressed here, and its controller moved.

import { ask, hear } from "../static/wire.js";
import { make, mark, offers, refill, say } from "../static/parts.js";
import { oneStop } from "../static/stops.js";

/** @type {import("../static/wire.js").Shows["foot"]} */
let foot = { port: "", learns: "", pedals: [], words: "" };
let inputs = [];

const port = make("select", { id: "foot-input", onchange: () => ask("footinput", { port: port.value }) });
const offerPorts = offers(port);
const pedals = make("div", { class: "chips", id: "foot-pedals" });
const hint = make("p", { class: "hint", id: "foot-words", role: "status" });
oneStop(pedals, { name: "Pedals and levers to learn" });

export const footForm = make(
  "div",
  { class: "further", id: "foot" },
  make(
    "div",
    { class: "buttons through" },
    make("label", {}, "Pedals and levers from a foot board at", port),
    pedals,
  ),
  hint,
);

// A system counts its clients: what was chosen goes by its name alone.
const isChosen = (name) => name === foot.port || name.replace(/ \d+:\d+$/, "") === foot.port;
const NONE = ["", "none"];

const showPort = () => {
  const there = inputs.map((name) => [name, name]);
  const away = foot.port && !inputs.some(isChosen) ? [[foot.port, `${foot.port} (not there)`]] : [];
  const options = [NONE, ...there, ...away];
  const [chosen] = options.find(([name]) => (foot.port ? isChosen(name) : name === ""));
  // To open one may take longer than a hand rests on the list.
  offerPorts(options, document.activeElement === port ? null : chosen);
};

const showPedals = () => {
  const shape = JSON.stringify(foot.pedals);
  if (pedals.dataset.shape !== shape) {
    pedals.dataset.shape = shape;
    refill(
      pedals,
      ...foot.pedals.map(({ change, control }) =>
        make(
          "span",
          { class: "chip" },
          make(
            "button",
            {
              "data-learn": change,
              onclick: () => ask("learnpedal", { change: foot.learns === change ? "" : change }),
            },
            control ? `${change}: ${control}` : change,
          ),
          ...(control
            ? [
                make(
                  "button",
                  {
                    class: "forget",
                    "aria-label": `Forget the controller of ${change}`,
                    onclick: () => ask("forgetpedal", { change }),
                  },
                  "×",
                ),
              ]
            : []),
        ),
      ),
    );
  }
  for (const button of /** @type {NodeListOf<HTMLElement>} */ (pedals.querySelectorAll("[data-learn]")))
    mark(button, "aria-pressed", button.dataset.learn === foot.learns);
};

const show = () => {
  showPort();
  showPedals();
  pedals.hidden = !foot.port || !foot.pedals.length;
  const next = foot.learns
    ? `Now push the pedal for ${foot.learns} all the way down.`
    : foot.port && !foot.pedals.some(({ control }) => control)
      ? "Press a pedal or lever here, then push its own pedal all the way down."
      : "";
  say(hint, [foot.words, next].filter(Boolean).join(" "));
};

hear("keys", (keys) => {
  inputs = keys.inputs;
  show();
});
hear("foot", (next) => {
  foot = next;
  show();
});
