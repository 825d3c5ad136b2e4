// A song's MIDI file, retuned for the receiver that is chosen, and kept by the browser.

import { tell } from "../static/wire.js";
import { keep, post } from "../static/keep.js";
import { make, say } from "../static/parts.js";

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
  say(words, `${name}: ${first}`);
  notes.replaceChildren(...rest.map((line) => make("li", {}, line)));
};

export const songForm = make(
  "form",
  {
    id: "songs",
    class: "further",
    onsubmit: async (event) => {
      event.preventDefault();
      const [song] = file.files;
      begin.disabled = true;
      say(words, `${song.name} is being retuned`);
      notes.replaceChildren();
      try {
        await retune(song);
      } catch (error) {
        say(words, "");
        tell("fault", { text: `${song.name}: ${/** @type {Error} */ (error).message}` });
      }
      begin.disabled = false;
      begin.focus();
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
