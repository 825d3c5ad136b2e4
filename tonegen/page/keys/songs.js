// A song's MIDI file, retuned for the receiver that is chosen, and kept by the browser.

import { keep, oneFile, post } from "../static/keep.js";
import { make } from "../static/parts.js";

const file = make("input", {
  type: "file",
  id: "song",
  accept: ".mid,.midi,.kar,audio/midi",
  required: true,
});
const begin = make("button", { type: "submit", id: "retune" }, "Retune the file");
const words = make("p", { role: "status" });
const notes = make("ul");

const retune = async (song) => {
  const answer = await post("/retune", await song.arrayBuffer());
  const name = `${song.name.replace(/\.(midi?|kar)$/i, "")}-retuned.mid`;
  const [first, ...rest] = decodeURIComponent(answer.headers.get("Tonegen-Told")).split("\n");
  await keep(answer, name);
  notes.replaceChildren(...rest.map((line) => make("li", {}, line)));
  return `${name}: ${first}`;
};

export const songForm = make(
  "form",
  {
    id: "songs",
    class: "further",
    onsubmit: (event) => {
      event.preventDefault();
      const [song] = file.files;
      notes.replaceChildren();
      const saying = { meanwhile: `${song.name} is being retuned`, what: song.name };
      oneFile({ begin, words, ...saying }, () => retune(song));
    },
  },
  make(
    "div",
    { class: "buttons through" },
    make("label", {}, "A MIDI file, as this receiver will play it in tune", file),
    begin,
  ),
  words,
  notes,
);
