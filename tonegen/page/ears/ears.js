// Trials by touch: what to train is chosen, a trial is answered, and what the answers say is shown.

import { ask, hear } from "../static/wire.js";
import { part } from "../static/nav.js";
import { byId, make, say } from "../static/parts.js";
import { beginHere, choosing, offerGrips, showChoosing } from "./choosing.js";
import { kept, showKept } from "./kept.js";
import { overTheDays, results, showResults } from "./results.js";
import { asked, isOpen, showTrial, stop } from "./trial.js";

const notice = make("p", { class: "hint", id: "ear-notice", role: "status", tabindex: "-1", hidden: true });
byId("ears").append(notice, asked, results, make("div", { id: "lessons" }), choosing, overTheDays, kept);

hear("ears", (ears) => {
  notice.hidden = !ears.notice;
  say(notice, ears.notice);
  const before = isOpen();
  showTrial(ears);
  choosing.hidden = overTheDays.hidden = results.hidden = kept.hidden = isOpen();
  if (isOpen()) return;
  showChoosing(ears);
  showKept(ears);
  showResults(ears);
  if (before && ears.results.length) byId("ear-says").focus();
  else if (before) beginHere();
});
hear("view", (view) => offerGrips(view.grips.map(({ name }) => name)));
hear("open", () => {
  if (part() === "ears") ask("ears");
});

addEventListener("part", () => {
  if (part() === "ears") ask("ears");
  else if (isOpen()) stop();
});
