// A button that has a part of the page listen, what it heard, and at which input it listens.

import { ask, hear } from "../static/wire.js";
import { part } from "../static/nav.js";
import { make, mark, offers, say } from "../static/parts.js";

/** @typedef {import("../static/messages.js").Asks["listen"]} Listens */

/** @type {import("../static/wire.js").Shows["inputs"]} */
let inputs = { inputs: [], chosen: null, channel: 0 };
/** @type {import("../static/wire.js").Shows["hearing"] | null} */
let heard = null;
const shown = [];

// Which input and channel the program listens at, folded away.
/** @param {string} name  of the part that has it */
export const inputChooser = (name) => {
  const input = make("select", {
    id: `${name}-input`,
    onchange: () => ask("input", { name: input.value || null }),
  });
  const channel = make("select", {
    id: `${name}-channel`,
    onchange: () => ask("input", { name: input.value || null, channel: Number(channel.value) }),
  });
  const offerInputs = offers(input),
    offerChannels = offers(channel);
  const chosenNow = make("summary");
  const where = make(
    "details",
    { class: "ear-input", ontoggle: () => where.open && ask("inputs") },
    chosenNow,
    make(
      "div",
      { class: "fields" },
      make("label", {}, "Input", input),
      make("label", {}, "Channel", channel),
    ),
  );
  const show = () => {
    const { chosen } = inputs;
    const channelNow = inputs.channel ? `, channel ${inputs.channel}` : "";
    say(chosenNow, `Sound input: ${chosen ?? "the usual one"}${channelNow}`);
    const known = inputs.inputs.find(({ name }) => name === chosen);
    offerInputs(
      [
        ["", "the usual one"],
        ...inputs.inputs.map(({ name }) => [name, name]),
        ...(chosen && !known ? [[chosen, `${chosen}, not there now`]] : []),
      ],
      chosen ?? "",
    );
    const most = Math.max(known?.channels ?? 2, inputs.channel);
    offerChannels(
      [["0", "the loudest"], ...Array.from({ length: most }, (_, at) => [String(at + 1), String(at + 1)])],
      String(inputs.channel),
    );
  };
  shown.push(show);
  show();
  return where;
};

// Each part that listens has its own; all of them show the one ear of the program.
/**
 * @param {Listens["what"]} what  that is listened for
 * @param {string} home  the part of the page in which it is needed
 * @param {string} words  on the button
 * @param {() => Omit<Listens, "what">} about
 */
export const earFor = (what, home, words, about = () => ({})) => {
  const listens = () => heard?.what === what;
  const button = make(
    "button",
    {
      type: "button",
      id: `${what}-listen`,
      "aria-pressed": false,
      onclick: () => ask("listen", listens() ? { what: "" } : { what, ...about() }),
    },
    words,
  );
  const where = inputChooser(what);
  const says = make("p", { class: "hint", id: `${what}-heard`, role: "status" });
  const show = () => {
    mark(button, "aria-pressed", listens());
    say(says, listens() ? [heard.words, heard.sure].filter(Boolean).join(" ") : "");
    if (listens() && heard.silent) where.open = true;
  };
  // Nobody is there to see what is heard: the ear is free for another part.
  addEventListener("part", () => part() !== home && listens() && ask("listen", { what: "" }));
  shown.push(show);
  show();
  return { button, where, says, listens };
};

hear("inputs", (next) => {
  inputs = next;
  for (const show of shown) show();
});
hear("hearing", (next) => {
  heard = next;
  for (const show of shown) show();
});
