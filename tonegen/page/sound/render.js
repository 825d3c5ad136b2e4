// What sounds now as a file: so many seconds of it, written by the program and kept by the browser.

import { keep, oneFile, post } from "../static/keep.js";
import { byId, make } from "../static/parts.js";

const KINDS = {
  "flac 24": "FLAC, 24 bits",
  "flac 16": "FLAC, 16 bits",
  "wav 24": "WAV, 24 bits",
  "wav 16": "WAV, 16 bits",
  "wav float": "WAV, 32-bit float",
};
const seconds = make("input", {
  type: "number",
  id: "file-seconds",
  min: 0.1,
  max: 600,
  step: "any",
  value: 10,
  required: true,
});
const kind = make(
  "select",
  { id: "file-kind" },
  ...Object.entries(KINDS).map(([name, words]) => make("option", { value: name }, words)),
);
const rate = make(
  "select",
  { id: "file-rate" },
  ...[44100, 48000, 88200, 96000, 192000].map((hz) =>
    make("option", { value: hz, selected: hz === 48000 }, `${hz / 1000} kHz`),
  ),
);
const begin = make("button", { type: "submit", id: "file-write" }, "Write the file");
const words = make("output", { role: "status" });

const write = async () => {
  const [format, bits] = kind.value.split(" ");
  const asked = { seconds: Number(seconds.value), kind: format, bits, sample_rate: Number(rate.value) };
  await keep(await post("/render", JSON.stringify(asked)), `tonegen.${format}`);
  return "written; it is with your downloads";
};

const form = make(
  "form",
  {
    class: "filed",
    onsubmit: (event) => {
      event.preventDefault();
      oneFile({ begin, words, meanwhile: "writing…" }, write);
    },
  },
  make("label", {}, "Seconds", seconds),
  make("label", {}, "As", kind),
  make("label", {}, "Sample rate", rate),
  begin,
  words,
);
byId("file").append(make("details", {}, make("summary", {}, "Save this sound as a file"), form));
