// The songs of the evening: a touch brings the bar to the key of each.

import { ask, hear } from "../static/wire.js";
import { byId, make, mark, refill } from "../static/parts.js";
import { oneStop } from "../static/stops.js";

let shape = "";
let evening = ""; // the set that is open
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
  if (name.value.trim())
    ask("savesong", { name: name.value.trim(), key: Number(key.value) % 12, minor: Number(key.value) >= 12 });
  name.value = "";
});
const change = make(
  "button",
  {
    type: "button",
    id: "change-songs",
    onclick: () => {
      if (evening !== "page") ask("openset", { name: "page" });
      const box = byId("set-change");
      box.open = true;
      addEventListener("part", () => box.querySelector("summary").focus(), { once: true });
      location.hash = "evening";
    },
  },
  "Change their order",
);
byId("setlist").append(chips, add, make("div", { class: "buttons" }, change));
oneStop(chips, { name: "Songs" });

hear("evening", ({ name: open }) => {
  evening = open;
});

hear("choices", ({ song_keys }) => {
  if (!key.options.length) key.append(...song_keys.map((name, at) => make("option", { value: at }, name)));
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
  change.hidden = songs.length < 2;
  const touched = chips.querySelectorAll("[data-song]");
  songs.forEach((song, at) => {
    mark(touched[at], "aria-pressed", song.taken);
  });
});
