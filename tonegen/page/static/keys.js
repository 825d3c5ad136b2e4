// Keyboards and samplers: what a receiver would get and what remains, and sending it, with notes through it.

import { ask, hear } from "./wire.js";
import { byId, make, refill } from "./parts.js";
import { part } from "./nav.js";

let keys = null;
let asked = false;
const typed = { out: "", osc: "127.0.0.1:9000", through: "" };

const choose = (change) => ask("receiver", { name: keys.receiver, policy: keys.policy, follow: keys.follow, ...change });

const select = (label, options, value, change, id) => {
  const element = make("select", { id, "aria-label": label, onchange: () => change(element.value) },
    ...options.map(([key, words]) => make("option", { value: key }, words)));
  element.value = value;
  return make("label", {}, label, element);
};

const places = () => {
  if (keys.by_osc) {
    const address = make("input", { type: "text", id: "osc", value: typed.osc, oninput: () => { typed.osc = address.value; } });
    return [make("label", {}, "OSC host and port", address), () => `osc ${typed.osc}`];
  }
  const ports = keys.outputs.map((name) => [`midi ${name}`, name]);
  if (!ports.some(([where]) => where === typed.out)) typed.out = ports[0]?.[0] ?? "virtual tonegen keys";
  return [select("MIDI output", [...ports, ["virtual tonegen keys", "a port of its own, tonegen keys"]], typed.out,
    (where) => { typed.out = where; }, "out"), () => typed.out];
};

const show = () => {
  if (!keys) return;
  const [place, where] = places();
  const inputs = [["virtual tonegen in", "a port of its own, tonegen in"], ...keys.inputs.map((name) => [name, name])];
  if (!inputs.some(([name]) => name === typed.through)) typed.through = inputs[0][0];
  const sent = keys.status !== "";
  refill(byId("keys"),
    make("div", { class: "fields" },
      select("Receiver", Object.entries(keys.receivers).map(([name, title]) => [name, title || name]), keys.receiver, (name) => choose({ name }), "receiver"),
      select("Where strings disagree", keys.policies.map((one) => [one, one]), keys.policy, (policy) => choose({ policy }), "policy"),
      select("Follow", [["false", "the grips of the instrument"], ["true", "all strings, as the pedals stand"]], String(keys.follow),
        (follow) => choose({ follow: follow === "true" }), "follow"),
      place),
    make("div", { class: "buttons" },
      make("button", { class: "primary", id: "send", disabled: sent, onclick: () => ask("send", { where: where() }) }, "Send"),
      make("button", { id: "put-back", disabled: !sent, onclick: () => ask("putback") }, "Put back"),
      make("button", { id: "ports", onclick: () => ask("keys") }, "Look for ports again")),
    make("p", { class: "status", role: "status", "data-status": keys.status }, keys.words || "Nothing is sent."),
    make("div", { class: "buttons through" },
      select("Notes in from", inputs, typed.through, (port) => { typed.through = port; }, "in"),
      make("button", { id: "through", disabled: !sent, onclick: () => ask("through", { port: typed.through }) }, "Pass through")),
    make("p", { class: "hint" }, keys.worst),
    ...(keys.spread.length ? [make("details", {}, make("summary", {}, `${keys.spread.length} notes on which strings disagree`),
      make("ul", {}, ...keys.spread.map((words) => make("li", {}, words))))] : []),
    make("div", { class: "scroll", tabindex: "0", role: "region", "aria-label": "Offsets" },
      make("table", { class: "offsets" },
        make("caption", {}, `Offset of each ${keys.per}, in cents from equal temperament`),
        make("thead", {}, make("tr", {}, ...[keys.per, "wanted", "sent", "remains"].map((words) => make("th", { scope: "col" }, words)))),
        make("tbody", {}, ...keys.rows.map((row) => make("tr", {}, make("th", { scope: "row" }, row.name),
          make("td", {}, row.wanted), make("td", {}, row.sent), make("td", {}, row.left)))))));
};

const open = () => {
  if (part() === "keys" && !asked) { asked = true; ask("keys"); }
};
hear("open", () => { asked = false; open(); });
hear("keys", (next) => { keys = next; if (part() === "keys") show(); });
addEventListener("part", () => { open(); show(); });
