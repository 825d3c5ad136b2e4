// OSC in: a foot controller or another program moves pedals, bar and temperament while this is on.

import { ask, hear } from "../static/wire.js";
import { make, mark, say } from "../static/parts.js";

const port = make("input", {
  type: "number",
  id: "remote-port",
  min: 1024,
  max: 65535,
  value: 9001,
  required: true,
});
const turn = make("button", { type: "submit", id: "osc-in", "aria-pressed": false }, "Receive OSC");
const words = make("p", { class: "hint", role: "status" });
let on = false;

export const remoteForm = make(
  "form",
  {
    class: "further",
    onsubmit: (event) => {
      event.preventDefault();
      ask("oscin", { port: on ? null : Number(port.value) });
    },
  },
  make("div", { class: "buttons through" }, make("label", {}, "OSC in at 127.0.0.1, port", port), turn),
  words,
);

const show = (remote) => {
  on = remote.port !== null;
  port.disabled = on;
  if (on) port.value = remote.port;
  mark(turn, "aria-pressed", on);
  say(words, remote.words);
};
hear("open", () => show({ port: null, words: "" }));
hear("remote", show);
