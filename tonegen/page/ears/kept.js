// What is kept of who answers: to take along as a table, or to delete, which asks once more.

import { ask } from "../static/wire.js";
import { byId, make } from "../static/parts.js";

export const kept = make("section", { id: "ear-kept", "aria-label": "Your answers", hidden: true });

export const showKept = (ears) => {
  const one = ears.kept === 1,
    answers = `${ears.kept} ${one ? "answer" : "answers"}`;
  if (!ears.kept && kept.contains(document.activeElement)) byId("ear-notice").focus();
  kept.hidden = !ears.kept;
  const sure = make(
    "div",
    { class: "buttons", hidden: true },
    make("p", {}, `Delete ${one ? "the one answer" : `all ${answers}`} from ${ears.person} for good?`),
    make(
      "button",
      { id: "ear-delete-yes", onclick: () => ask("forget", { person: ears.person }) },
      one ? "Delete it" : "Delete them",
    ),
    make(
      "button",
      {
        id: "ear-delete-no",
        onclick: () => {
          sure.hidden = true;
          first.hidden = false;
          byId("ear-delete").focus();
        },
      },
      one ? "Keep it" : "Keep them",
    ),
  );
  const first = make(
    "div",
    { class: "buttons" },
    make(
      "a",
      { id: "ear-export", class: "as-button", href: "answers.csv", download: "answers.csv" },
      "Export as CSV",
    ),
    make(
      "button",
      {
        id: "ear-delete",
        onclick: () => {
          first.hidden = true;
          sure.hidden = false;
          byId("ear-delete-no").focus();
        },
      },
      one ? "Delete it" : "Delete them",
    ),
  );
  const wanted = `${answers} from ${ears.person}`;
  if (kept.dataset.shown === wanted) return;
  kept.dataset.shown = wanted;
  kept.replaceChildren(
    make("h2", {}, "Your answers"),
    make("p", {}, `${wanted} ${one ? "is" : "are"} stored on this machine and nowhere else.`),
    first,
    sure,
  );
};
