// A partner's recording: a note of it goes on, and a tone is brought to it.

import { ask } from "../static/wire.js";
import { oneFile, post } from "../static/keep.js";
import { byId, make } from "../static/parts.js";
import { whenComfortable } from "../sound/volume.js";

const file = make("input", {
  type: "file",
  id: "partner",
  accept: ".wav,.flac,audio/wav,audio/flac",
  required: true,
});
const begin = make("button", { type: "submit", id: "partner-match" }, "Bring a tone to it");
const words = make("p", { role: "status" });

const send = async (recording) => {
  await post("/partner", await recording.arrayBuffer());
  whenComfortable(() =>
    ask("matchrecording", { name: recording.name.slice(0, 100), person: byId("ear-person").value.trim() }),
  );
  return "";
};

export const matching = make(
  "form",
  {
    onsubmit: (event) => {
      event.preventDefault();
      const [recording] = file.files;
      const saying = { meanwhile: `${recording.name} is being read`, what: recording.name };
      oneFile({ begin, words, ...saying }, () => send(recording));
    },
  },
  make("h2", {}, "Match a partner"),
  make(
    "p",
    { class: "hint" },
    "A held note of a recording sounds over and over, and you bring a tone to its pitch. To match a tone " +
      "that sounds here, choose “set it pure” and the unison above.",
  ),
  make("div", { class: "fields" }, make("label", {}, "A recording, WAV or FLAC", file)),
  begin,
  words,
);
