// Saved grips at hand, and saving the one under the hands.

import { ask, hear } from "../static/wire.js";
import { byId, make, mark } from "../static/parts.js";
import { oneStop } from "../static/stops.js";

let shape = "";
const name = make("input", {
  type: "text",
  id: "grip-name",
  maxlength: 60,
  placeholder: "name",
  autocomplete: "off",
});
const save = make(
  "form",
  { class: "save" },
  make("label", { for: "grip-name" }, "Save this grip"),
  name,
  make("button", { type: "submit" }, "Save"),
);
save.addEventListener("submit", (event) => {
  event.preventDefault();
  if (name.value.trim()) ask("savegrip", { name: name.value.trim() });
  name.value = "";
});

byId("save-grip").append(save);
oneStop(byId("grips"), { name: "Grips" });

hear("view", (view) => {
  const box = byId("grips");
  const next = JSON.stringify(view.grips.map((grip) => [grip.name, grip.own]));
  if (shape !== next) {
    shape = next;
    box.replaceChildren(
      ...(view.grips.length
        ? []
        : [make("p", { class: "hint" }, "No grips yet: pick strings on the chart, then save them below.")]),
      make(
        "div",
        { class: "chips" },
        ...view.grips.map((grip) =>
          make(
            "span",
            { class: "chip" },
            make(
              "button",
              { "data-grip": grip.name, onclick: () => ask("grip", { name: grip.name }) },
              grip.name,
            ),
            ...(grip.own
              ? [
                  make(
                    "button",
                    {
                      class: "forget",
                      "aria-label": `Delete ${grip.name}`,
                      onclick: () => ask("forgetgrip", { name: grip.name }),
                    },
                    "×",
                  ),
                ]
              : []),
          ),
        ),
      ),
    );
  }
  const chips = box.querySelectorAll("[data-grip]");
  view.grips.forEach((grip, at) => {
    mark(chips[at], "aria-pressed", grip.taken);
  });
});
