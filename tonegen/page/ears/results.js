// What the answers say, in words and drawn: of this session, and over the days.

import { hear } from "../static/wire.js";
import { make } from "../static/parts.js";
import { graph } from "./graph.js";

export const results = make("div", { id: "ear-results", class: "ear-results" });
const said = make("div"),
  now = make("div");
results.append(said, now);
export const overTheDays = make("div", { id: "ear-graphs" });

export const showResults = (ears) => {
  said.replaceChildren(
    ...(ears.results.length
      ? [
          make("h2", { id: "ear-says", tabindex: "-1" }, "What your answers say"),
          ...(ears.said ? [make("p", { class: "said" }, ears.said)] : []),
          make(
            "ul",
            {},
            ...ears.results.map((one) =>
              make(
                "li",
                {},
                make("b", {}, one.interval),
                ` ${one.trials} ${one.trials === 1 ? "trial" : "trials"}: ${one.result}`,
                ...(one.range ? [make("small", {}, ` (95 %: ${one.range})`)] : []),
              ),
            ),
          ),
        ]
      : []),
  );
};

hear("eargraphs", ({ session, days, words }) => {
  now.replaceChildren(...session.map(graph));
  overTheDays.replaceChildren(
    ...(days.length || words.length ? [make("h2", {}, "Day by day")] : []),
    ...words.map((said) => make("p", { class: "course" }, said)),
    ...days.map(graph),
  );
});
