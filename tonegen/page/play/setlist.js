// The songs of the evening: a touch brings the bar to the key of each.

import { ask, hear } from "../static/wire.js";
import { byId, make, mark, refill } from "../static/parts.js";

let shape = "";
const chips = make("div", { class: "chips" });
const name = make("input", {
  type: "text",
  id: "song-name",
  maxlength: 60,
  placeholder: "name",
  autocomplete: "off",
});
const key = make("select", { id: "song-key", "aria-label": "Key of the song" });
const add = make(
  "form",
  { class: "save" },
  make("label", { for: "song-name" }, "Add a song in"),
  key,
  name,
  make("button", { type: "submit" }, "Add"),
);
add.addEventListener("submit", (event) => {
  event.preventDefault();
  if (name.value.trim()) ask("savesong", { name: name.value.trim(), key: Number(key.value) });
  name.value = "";
});
byId("setlist").append(chips, add);

hear("choices", ({ roots }) => {
  if (!key.options.length) key.append(...roots.map((root, at) => make("option", { value: at }, root)));
});

hear("view", ({ songs }) => {
  const next = JSON.stringify(songs.map((song) => [song.name, song.key]));
  if (shape !== next) {
    shape = next;
    refill(
      chips,
      ...songs.map((song) =>
        make(
          "span",
          { class: "chip" },
          make(
            "button",
            { "data-song": song.name, onclick: () => ask("song", { name: song.name }) },
            `${song.name} in ${song.key}`,
          ),
          make(
            "button",
            {
              class: "forget",
              "aria-label": `Take ${song.name} off the set list`,
              onclick: () => ask("forgetsong", { name: song.name }),
            },
            "×",
          ),
        ),
      ),
    );
  }
  const touched = chips.querySelectorAll("[data-song]");
  songs.forEach((song, at) => {
    mark(touched[at], "aria-pressed", song.taken);
  });
});
