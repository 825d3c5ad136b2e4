// Two temperaments side by side over the grips that tempering asks for.

import { ask, hear } from "../static/wire.js";
import { byId, make, refill, tableHead } from "../static/parts.js";

const NOW = ["", "as it is now"];
let temperaments = [];
/** @type {import("../static/wire.js").Shows["compared"] | null} */
let compared = null;

const choice = (id, label) => {
  const element = make("select", {
    id,
    onchange: () => {
      if (compared?.between) begin();
    },
  });
  return { element, field: make("label", {}, label, element) };
};
const first = choice("compare-first", "Compare"),
  second = choice("compare-second", "with");
const begin = () => ask("compare", { between: [first.element.value, second.element.value] });
const away = make(
  "button",
  { id: "compare-away", hidden: true, onclick: () => ask("compare", { between: null }) },
  "Close",
);
const sides = make("div", { class: "pane" });
byId("compare").append(
  make("h2", {}, "Compare"),
  make("div", { class: "fields" }, first.field, second.field),
  make(
    "div",
    { class: "buttons" },
    make("button", { id: "compare-begin", onclick: begin }, "Side by side"),
    away,
  ),
  sides,
);

const table = (label, heads, rows) =>
  make(
    "div",
    { class: "sides", tabindex: "0", role: "region", "aria-label": label },
    make("table", {}, tableHead(heads), make("tbody", {}, ...rows)),
  );
const row = (name, ...cells) => make("tr", {}, make("th", { scope: "row" }, name), ...cells);
const cell = (...words) => make("td", {}, ...words);

const options = () => {
  for (const [at, { element }] of [first, second].entries()) {
    const value = compared?.between?.[at] ?? (element.value || (at ? temperaments[0]?.name : ""));
    element.replaceChildren(
      ...[NOW, ...temperaments.map(({ name, title }) => [name, title || name])].map(([name, words]) =>
        make("option", { value: name }, words),
      ),
    );
    element.value = value;
  }
};

const show = () => {
  if (!compared) return;
  away.hidden = !compared.between;
  if (!compared.grips.length) {
    sides.replaceChildren(...(compared.words ? [make("p", { class: "to-know" }, compared.words)] : []));
    return;
  }
  const [one, other] = compared.names;
  refill(
    sides,
    make("h3", {}, `The fastest beat of each grip (✓ marks the slower): ${compared.over}`),
    table(
      "Grips",
      ["grip", one, other],
      compared.grips.map((grip) =>
        row(
          grip.name,
          ...grip.rates.map((rate, at) => make("td", { "data-slower": at === grip.slower }, rate)),
        ),
      ),
    ),
    make(
      "details",
      {},
      make("summary", {}, "Every interval"),
      ...compared.grips.map((grip) =>
        make(
          "details",
          { class: "within" },
          make("summary", {}, grip.name),
          table(
            `Intervals of ${grip.name}`,
            ["pair", "stands for", one, other],
            grip.intervals.map((each) =>
              row(
                each.names,
                cell(each.ratio),
                ...each.sides.map((side) => cell(side.rate, " ", make("small", {}, `${side.cents} c`))),
              ),
            ),
          ),
        ),
      ),
    ),
    make(
      "details",
      {},
      make("summary", {}, "Offsets of the tuning points"),
      table(
        "Offsets of both",
        ["tuning point", one, other, "apart"],
        compared.points.map((each) =>
          row(each.point, ...[...each.offsets, each.apart].map((words) => cell(words))),
        ),
      ),
    ),
  );
};

hear("choices", ({ presets }) => {
  temperaments = presets.temperaments;
  options();
});
hear("compared", (next) => {
  compared = next;
  options();
  show();
});
