// Keyboards and samplers: what a receiver would get and what remains, and sending it, with notes through it.

import { ask, hear } from "../static/wire.js";
import { byId, make, mark, offers, refill, say, tableHead } from "../static/parts.js";
import { part } from "../static/nav.js";
import { footForm } from "../foot/foot.js";
import { remoteForm } from "../remote/remote.js";
import { songForm } from "./songs.js";

const OWN_OUT = ["virtual tonegen keys", "its own port, tonegen keys"];
const OWN_IN = ["virtual tonegen in", "its own port, tonegen in"];
/** @type {Record<string, string>} */
const POLICIES = {
  "grip first": "follow my first grip",
  mean: "split the difference",
  "least beats": "fewest beats",
};
const FOLLOW = [
  ["false", "the instrument's grips"],
  ["true", "all strings, with the pedals as they are"],
];
/** @type {Record<string, string>} */
const LEADS = {
  off: "stay as tuned",
  bass: "follow the chord; the bass leads, at equal",
  song: "follow the chord; this tuning leads",
  steel: "follow the chord; the steel's strings lead",
};
/** @type {import("../static/wire.js").Shows["keys"] | null} */
let keys = null;
let asked = false;

/** @param {(chosen: string) => void} change */
const choice = (id, label, change = () => {}) => {
  const element = make("select", { id, onchange: () => change(element.value) });
  return { element, offer: offers(element), field: make("label", {}, label, element) };
};
const choose = () =>
  ask("receiver", {
    name: receiver.element.value,
    policy: policy.element.value,
    follow: follow.element.value === "true",
  });

const receiver = choice("receiver", "Receiver", choose);
const whole = make("small", { class: "whole" }); // where a phone's choice has no room for it
receiver.field.append(whole);
const policy = choice("policy", "Where strings disagree", choose);
const follow = choice("follow", "Follow", choose);
const lead = choice("lead", "New notes", (one) => ask("chord", { lead: one }));
const out = choice("out", "MIDI output");
const through = choice("in", "Notes from");
const address = make("input", {
  type: "text",
  id: "osc",
  value: "127.0.0.1:9000",
  autocomplete: "off",
  spellcheck: "false",
  maxlength: 100,
});
const osc = make("label", { hidden: true }, "OSC host and port", address);

export const where = () => (keys.by_osc ? `osc ${address.value.trim()}` : out.element.value);
const send = make(
  "button",
  { class: "primary", id: "send", onclick: () => ask("send", { where: where() }) },
  "Send",
);
const panic = make("button", { id: "panic", disabled: true, onclick: () => ask("panic") }, "All notes off");
const back = make("button", { id: "put-back", disabled: true, onclick: () => ask("putback") }, "Put back");
const pass = make(
  "button",
  { id: "through", disabled: true, onclick: () => ask("through", { port: through.element.value }) },
  "Pass through",
);
const status = make("p", { class: "status", role: "status" });
const far = make("progress", { id: "sent-so-far", "aria-label": "Sent so far", hidden: true });
const offsets = make("div");
const chord = make("div", { id: "chord" });

const pane = make(
  "div",
  { class: "pane", hidden: true },
  make("div", { class: "fields" }, receiver.field, policy.field, follow.field, out.field, osc),
  make(
    "div",
    { class: "buttons" },
    send,
    back,
    panic,
    make("button", { id: "ports", onclick: () => ask("keys") }, "Rescan ports"),
  ),
  status,
  far,
  make("div", { class: "buttons through" }, through.field, pass, lead.field),
  chord,
  footForm,
  remoteForm,
  songForm,
  offsets,
);
byId("keys").append(pane);

// A cable has its speed; how far the bytes have come on it is known without asking.
let begunAt = 0;
const showFar = () => {
  const begins = keys.status === "sending" && far.hidden;
  far.hidden = keys.status !== "sending";
  if (begins) {
    begunAt = performance.now();
    drawFar();
  }
};
const drawFar = () => {
  if (far.hidden) return;
  if (keys.seconds) far.value = Math.min(0.95, (performance.now() - begunAt) / 1000 / keys.seconds);
  else far.removeAttribute("value");
  requestAnimationFrame(drawFar);
};

// Of two buttons one can be pressed at a time; the focus goes over to it.
const turn = (sent) => {
  const [on, off] = sent ? [back, send] : [send, back];
  const held = document.activeElement === off;
  on.disabled = false;
  off.disabled = true;
  if (held) on.focus();
};

const show = () => {
  if (!keys) return;
  pane.hidden = false;
  receiver.offer(
    Object.entries(keys.receivers).map(([name, title]) => [name, title || name]),
    keys.receiver,
  );
  say(whole, receiver.element.selectedOptions[0]?.text ?? "");
  policy.offer(
    keys.policies.map((one) => [one, POLICIES[one] ?? one]),
    keys.policy,
  );
  follow.offer(FOLLOW, String(keys.follow));
  lead.offer(
    keys.leads.map((one) => [one, LEADS[one] ?? one]),
    keys.lead,
  );
  out.offer([...keys.outputs.map((name) => [`midi ${name}`, name]), OWN_OUT]);
  through.offer([OWN_IN, ...keys.inputs.map((name) => [name, name])]);
  out.field.hidden = keys.by_osc;
  osc.hidden = !keys.by_osc;
  const sent = keys.status !== "" && keys.status !== "sending";
  turn(keys.status !== "");
  pass.disabled = panic.disabled = !sent;
  mark(status, "data-status", keys.status);
  say(status, keys.words || "Nothing sent yet: choose your receiver and where it is, then Send.");
  showFar();
  chord.hidden = keys.lead === "off";
  refill(
    chord,
    keys.chord.length
      ? make(
          "div",
          { class: "scroll", tabindex: "0", role: "region", "aria-label": "The chord" },
          make(
            "table",
            { class: "offsets" },
            make("caption", {}, "What each sounding note got, in cents, and which neighbour asked for it"),
            tableHead(["note", "got", "asked by"]),
            make(
              "tbody",
              {},
              ...keys.chord.map((row) =>
                make(
                  "tr",
                  {},
                  make("th", { scope: "row" }, row.name),
                  make("td", {}, row.got),
                  make("td", {}, row.asked.join("; ")),
                ),
              ),
            ),
          ),
        )
      : make("p", { class: "hint" }, "Notes that pass through show here what they got and who asked for it."),
  );
  refill(
    offsets,
    make("p", { class: "hint" }, keys.worst),
    ...(keys.spread.length
      ? [
          make(
            "details",
            {},
            make("summary", {}, `${keys.spread.length} notes where strings disagree`),
            make("ul", {}, ...keys.spread.map((words) => make("li", {}, words))),
          ),
        ]
      : []),
    make(
      "div",
      { class: "scroll", tabindex: "0", role: "region", "aria-label": "Offsets" },
      make(
        "table",
        { class: "offsets" },
        make("caption", {}, `Offset of each ${keys.per}, in cents from equal temperament`),
        tableHead([keys.per, "wanted", "sent", "remains"]),
        make(
          "tbody",
          {},
          ...keys.rows.map((row) =>
            make(
              "tr",
              {},
              make("th", { scope: "row" }, row.name),
              make("td", {}, row.wanted),
              make("td", {}, row.sent),
              make("td", {}, row.left),
            ),
          ),
        ),
      ),
    ),
  );
};

const open = () => {
  if (part() === "keys" && !asked) {
    asked = true;
    ask("keys");
  }
};
hear("open", () => {
  asked = false;
  open();
});
hear("keys", (next) => {
  keys = next;
  if (part() === "keys") show();
});
addEventListener("part", () => {
  open();
  show();
});
