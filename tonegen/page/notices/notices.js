// What could not be read: it is not written over until the player goes on with what is shown.

import { ask, hear } from "../static/wire.js";
import { byId, make, refill } from "../static/parts.js";

const box = byId("notices");

hear("notices", ({ lines, undecided }) => {
  box.hidden = !lines.length && !undecided;
  refill(
    box,
    ...lines.map((line) => make("p", {}, line)),
    ...(undecided
      ? [
          make("p", {}, "Nothing has been overwritten. Fix the file and it will be read again; or "),
          make("button", { onclick: () => ask("decide") }, "Carry on with what is shown"),
        ]
      : []),
  );
});
