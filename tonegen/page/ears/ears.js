// Trials by touch: what to train is chosen, a trial is answered, and what the answers say is shown.

import { ask, hear } from "../static/wire.js";
import { part } from "../static/nav.js";
import { byId, make, say } from "../static/parts.js";
import { answered, isAnswered, showAfter } from "./after.js";
import { beginHere, choosing, offerGrips, showChoosing } from "./choosing.js";
import { kept, showKept } from "./kept.js";
import { matching } from "./match.js";
import { overTheDays, results, showResults } from "./results.js";
import { asked, isOpen, showTrial, stop } from "./trial.js";

const notice = make("p", { class: "hint", id: "ear-notice", role: "status", tabindex: "-1", hidden: true });
const lessons = make("div", { id: "lessons" });
byId("ears").append(notice, asked, answered, results, lessons, choosing, matching, overTheDays, kept);

const isUnderWay = () => isOpen() || isAnswered();

hear("ears", (ears) => {
  notice.hidden = !ears.notice;
  say(notice, ears.notice);
  const before = isUnderWay();
  showTrial(ears);
  showAfter(ears);
  for (const one of [choosing, matching, overTheDays, results, kept]) one.hidden = isUnderWay();
  if (isUnderWay()) return;
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
  else if (isUnderWay()) stop();
});
