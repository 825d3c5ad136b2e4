// Trials by touch: choose what, listen, answer; what the answers say, drawn.

import { ask, askSoon, hear } from "../static/wire.js";
import { graph } from "./graph.js";
import { part } from "../static/nav.js";
import { byId, make, mark, say } from "../static/parts.js";
import { readyToHear } from "../sound/sound.js";
import { whenComfortable } from "../sound/volume.js";

let ears = null;
let grips = [];
let chooser = null;
let trial = null;
let taps = [];
let moved = 0;

const box = byId("ears");
const table = make("div", { id: "ear-choose" });
const asked = make("div", { id: "ear-asked", hidden: true });
const results = make("div", { id: "ear-results", class: "ear-results" });
const said = make("div"), now = make("div");
results.append(said, now);
const drawn = make("div", { id: "ear-graphs" });
const kept = make("section", { id: "ear-kept", "aria-label": "Your answers", hidden: true });
box.append(make("p", { class: "hint", id: "ear-notice", role: "status", tabindex: "-1", hidden: true }), asked, results, make("div", { id: "lessons" }), table, drawn, kept);

// ---------------------------------------------------------------- choosing

const labelled = (words, field) => make("label", {}, words, field);
const select = (id, options) => make("select", { id }, ...options.map(({ name, words }) => make("option", { value: name }, words)));
const feedback = () => chooser.feedback.checked;
const person = () => chooser.person.value.trim();

const kindButton = ({ name, words, task }) => make("button", { class: "kind", "data-kind": name, "aria-pressed": String(name === chosenKind),
  onclick: () => { chosenKind = name; usualMethod(); showChosen(); } }, make("b", {}, words), make("small", {}, task));
let chosenKind = "purer";
let chosenIntervals = new Set(["5:4", "3:2"]);

const build = () => {
  const { kinds, intervals, registers, timbres, beds, methods } = ears.offered;
  const part = {
    kinds: make("div", { class: "kinds", role: "group", "aria-label": "What to train" }, ...kinds.map(kindButton)),
    person: make("input", { type: "text", id: "ear-person", list: "ear-people", maxlength: 80, autocomplete: "off",
      onchange: () => ask("ears", { person: person() }) }),
    people: make("datalist", { id: "ear-people" }),
    grip: make("select", { id: "ear-grip", onchange: () => showChosen() }),
    intervals: make("div", { class: "intervals", role: "group", "aria-label": "Intervals" }, ...intervals.map(({ name, words }) =>
      make("button", { "data-interval": name, onclick: () => {
        chosenIntervals = new Set(chosenIntervals);
        if (!chosenIntervals.delete(name)) chosenIntervals.add(name);
        showChosen();
      } }, `${words} `, make("small", {}, name)))),
    register: select("ear-register", registers),
    timbre: select("ear-timbre", timbres),
    bed: select("ear-bed", beds),
    trials: make("input", { type: "number", id: "ear-trials", min: 1, max: 1000, step: 1, inputmode: "numeric" }),
    method: select("ear-method", methods),
    cents: make("input", { type: "text", id: "ear-cents", maxlength: 60, autocomplete: "off" }),
    feedback: make("input", { type: "checkbox", id: "ear-feedback", checked: true }),
    goOn: make("div", { class: "waiting", hidden: true }),
    begin: make("button", { id: "ear-begin", class: "primary", onclick: begin }, "Begin"),
  };
  table.replaceChildren(
    part.goOn,
    make("h2", {}, "What to train"), part.kinds,
    make("h2", {}, "On what"), part.intervals,
    make("div", { class: "fields" },
      labelled("Material", part.grip), labelled("Lowest tone", part.register), labelled("Timbre", part.timbre), labelled("Beneath it", part.bed),
      labelled("How many", part.trials), labelled("Errors are chosen", part.method), labelled("Error in cents", part.cents),
      make("span", {}, labelled("Who answers", part.person), part.people),
      make("label", { class: "check" }, part.feedback, "Say after each answer what it was")),
    part.begin,
    make("p", { class: "hint" }, "Trials stay under the level above; how loud each sound is beneath it is drawn at random, so that only the beat tells. Everything else is silent during a trial."));
  part.method.addEventListener("change", showChosen);
  return part;
};

const kindNow = () => ears.offered.kinds.find(({ name }) => name === chosenKind);
const usualMethod = () => { chooser.method.value = kindNow().method; };

const begin = () => whenComfortable(() => {
  const grip = chooser.grip.value === "intervals" ? null : chooser.grip.value.slice(1);
  ask("train", { kind: chosenKind, person: person(), feedback: feedback(), grip,
    intervals: grip === null ? [...chosenIntervals].join() : "",
    register: chooser.register.value, timbre: chooser.timbre.value, bed: chooser.bed.value,
    trials: chooser.trials.value ? Math.round(Number(chooser.trials.value)) : null, method: chooser.method.value,
    cents: chooser.cents.disabled ? "" : chooser.cents.value });
});

const goOn = () => whenComfortable(() => ask("goon", { person: person(), session: Number(waiting().value), feedback: feedback() }));
const waiting = () => byId("ear-waiting");

// What waits: one session is said, of several one is chosen.
const showWaiting = () => {
  const { goOn: place } = chooser, wanted = JSON.stringify(ears.waiting);
  place.hidden = !ears.waiting.length;
  if (place.dataset.waiting === wanted) return;
  place.dataset.waiting = wanted;
  const options = ears.waiting.map(({ name, words }) => make("option", { value: name }, words));
  const several = options.length > 1, list = make("select", { id: "ear-waiting", hidden: !several }, ...options);
  place.replaceChildren(several ? labelled("Not finished", list) : make("p", {}, `Not finished: ${ears.waiting[0]?.words}`, list),
    make("button", { id: "ear-go-on", class: "primary", onclick: goOn }, "Go on"));
};

// What is kept of him: to take along as a table, or to delete, which asks once more.
const showKept = () => {
  const one = ears.kept === 1, answers = `${ears.kept} ${one ? "answer" : "answers"}`;
  if (!ears.kept && kept.contains(document.activeElement)) byId("ear-notice").focus();
  kept.hidden = !ears.kept;
  const sure = make("div", { class: "buttons", hidden: true },
    make("p", {}, `Delete ${one ? "the one answer" : `all ${answers}`} of ${ears.person} for good?`),
    make("button", { id: "ear-delete-yes", onclick: () => ask("forget", { person: ears.person }) }, one ? "Delete it" : "Delete them"),
    make("button", { id: "ear-delete-no", onclick: () => { sure.hidden = true; first.hidden = false; byId("ear-delete").focus(); } }, one ? "Keep it" : "Keep them"));
  const first = make("div", { class: "buttons" },
    make("a", { id: "ear-export", class: "as-button", href: "answers.csv", download: "answers.csv" }, "Export as CSV"),
    make("button", { id: "ear-delete", onclick: () => { first.hidden = true; sure.hidden = false; byId("ear-delete-no").focus(); } }, one ? "Delete it" : "Delete them"));
  const wanted = `${answers} of ${ears.person}`;
  if (kept.dataset.shown === wanted) return;
  kept.dataset.shown = wanted;
  kept.replaceChildren(make("h2", {}, "Your answers"), make("p", {}, `${wanted} ${one ? "is" : "are"} kept on this machine, and nowhere else.`), first, sure);
};

const showChosen = () => {
  const kind = kindNow();
  const own = chooser.grip.value !== "intervals";
  for (const button of chooser.kinds.children) mark(button, "aria-pressed", button.dataset.kind === chosenKind);
  for (const button of chooser.intervals.children) {
    mark(button, "aria-pressed", chosenIntervals.has(button.dataset.interval));
    button.disabled = own;
  }
  mark(chooser.trials, "placeholder", kind.trials);
  chooser.method.disabled = !kind.threshold;
  const method = chooser.method.value, itself = !kind.cents || method === "bayes";
  chooser.cents.disabled = itself;
  mark(chooser.cents, "placeholder", itself ? "chosen for you" : method === "fixed" ? "usual; or 5, or 2,5,10" : "to begin with");
  chooser.begin.disabled = !own && !chosenIntervals.size;
};

const showGrips = () => {
  if (!chooser) return;
  const options = [["intervals", "the intervals above"], [" ", "the grip as it is set now"], ...grips.map((name) => [` ${name}`, name])];
  const wanted = JSON.stringify(options);
  if (chooser.grip.dataset.options === wanted) return;
  const before = chooser.grip.value;
  chooser.grip.dataset.options = wanted;
  chooser.grip.replaceChildren(...options.map(([value, words]) => make("option", { value }, words)));
  if (options.some(([value]) => value === before)) chooser.grip.value = before;
  showChosen();
};

// ---------------------------------------------------------------- a trial

const answer = (choice) => ask("answer", { number: trial.number, choice });
const settle = () => ask("settle", { number: trial.number, cents: moved });
const again = (at = -1) => { readyToHear(); ask("hear", { at }); };
const stop = () => ask("pause");

const tap = (at) => {
  taps = [...taps, at].slice(-400);
  showTaps();
};
const tapped = () => { ask("taps", { number: trial.number, times_ms: taps }); };
const showTaps = () => {
  say(byId("tap-count"), taps.length ? `${taps.length} ${taps.length === 1 ? "tap" : "taps"}` : "eight taps are good, twelve where it beats fast");
  byId("ear-done").disabled = taps.length < 3;
};

const move = (cents) => {
  moved = Math.max(-trial.farthest_cents, Math.min(trial.farthest_cents, Math.round(cents * 10) / 10));
  byId("ear-slide").value = moved;
  askSoon("move", { cents: moved });
};

const forms = {
  choose: () => [make("div", { class: "answers", role: "group", "aria-label": "Answers" }, ...trial.choices.map((words, at) =>
    make("button", { "data-answer": at, onclick: () => answer(at) }, make("span", {}, words), make("kbd", { "aria-hidden": "true" }, at + 1))))],
  tap: () => {
    const pad = make("button", { id: "ear-pad", class: "pad" }, make("b", {}, "Tap on each beat"), make("small", {}, "or the space bar"));
    pad.addEventListener("pointerdown", ({ timeStamp }) => tap(timeStamp));
    pad.addEventListener("click", ({ detail, timeStamp }) => { if (!detail) tap(timeStamp); });  // pressed by an aid, not by a hand
    return [pad, make("p", { id: "tap-count", class: "counted", "aria-live": "polite" }),
      make("div", { class: "answers", role: "group", "aria-label": "Answers" },
        make("button", { id: "ear-done", onclick: tapped }, "Done"),
        make("button", { id: "ear-afresh", onclick: () => { taps = []; showTaps(); } }, "Tap anew"))];
  },
  slide: () => {
    const far = trial.farthest_cents;
    const slide = make("input", { type: "range", id: "ear-slide", class: "bar", min: -far, max: far, step: 0.1, "aria-label": "Narrower or wider",
      "aria-valuetext": "how far it was moved tells nothing of where pure is",
      oninput: ({ target }) => { moved = Number(target.value); askSoon("move", { cents: moved }); } });
    const step = (words, cents) => make("button", { "aria-label": words, "data-step": cents, onclick: () => move(moved + cents) }, cents > 0 ? `+ ${cents}` : `− ${-cents}`);
    return [make("div", { class: "wood" }, slide),
      make("div", { class: "ends", "aria-hidden": "true" }, make("span", {}, "narrower"), make("span", {}, "wider")),
      make("div", { class: "answers nudges", role: "group", "aria-label": "Steps in cents" },
        step("Two cents narrower", -2), step("A fifth of a cent narrower", -0.2), step("A fifth of a cent wider", 0.2), step("Two cents wider", 2)),
      make("div", { class: "answers" }, make("button", { id: "ear-done", onclick: settle }, "It is right so"))];
  },
};

const openTrial = () => {
  const sounds = trial.sounds.length ? trial.sounds : [];
  asked.replaceChildren(
    make("p", { class: "count-of" }, `${trial.number + 1} of ${trial.of}`),
    make("h2", { id: "ear-question", tabindex: "-1" }, trial.question),
    make("p", { id: "ear-said", class: "said", "aria-live": "polite" }),
    make("div", { class: "hearing", role: "group", "aria-label": "Hear" },
      ...(trial.form === "slide" && sounds.length ? [] : [make("button", { id: "ear-again", "data-hear": -1, onclick: () => again() }, trial.form === "choose" ? "Hear again" : "Hear it")]),
      ...sounds.map((words, at) => make("button", { "data-hear": at, onclick: () => again(at) },
        make("span", { "aria-hidden": "true" }, "▸ "), make("span", { class: "hidden" }, "Hear "), words))),
    ...forms[trial.form](),
    make("button", { id: "ear-stop", class: "quiet", onclick: stop }, "Stop here; go on another time"));
  taps = [];
  moved = trial.moved_cents;
  if (trial.form === "tap") showTaps();
  if (trial.form === "slide") byId("ear-slide").value = moved;
};

const show = () => {
  const before = trial;
  trial = ears.asked;
  const held = document.activeElement, inside = asked.contains(held);
  asked.hidden = !trial;
  table.hidden = drawn.hidden = results.hidden = kept.hidden = Boolean(trial);
  if (trial && (!before || before.number !== trial.number || before.question !== trial.question)) {
    const again = inside && before && [held.id && `#${held.id}`, held.dataset.answer && `[data-answer="${held.dataset.answer}"]`].find(Boolean);
    openTrial();
    // The hand stays where it was; a new session begins at its question.
    ((again && asked.querySelector(`${again}:not(:disabled)`)) || byId("ear-question")).focus({ preventScroll: Boolean(before) });
  }
  if (trial) {
    say(byId("ear-said"), ears.said);
    mark(byId("ear-said"), "data-right", ears.right ?? "");
    for (const button of asked.querySelectorAll("[data-hear]")) mark(button, "aria-pressed", ears.heard === Number(button.dataset.hear));
    return;
  }
  if (!chooser) {
    chooser = build();
    usualMethod();
  }
  showGrips();
  showChosen();
  if (document.activeElement !== chooser.person) chooser.person.value = ears.person;
  chooser.people.replaceChildren(...ears.people.map((name) => make("option", { value: name })));
  showWaiting();
  showKept();
  said.replaceChildren(...(ears.results.length ? [make("h2", { id: "ear-says", tabindex: "-1" }, "What your answers say"),
    ...(ears.said ? [make("p", { class: "said" }, ears.said)] : []),
    make("ul", {}, ...ears.results.map((one) => make("li", {}, make("b", {}, one.interval), ` ${one.trials} ${one.trials === 1 ? "trial" : "trials"}: ${one.result}`,
      ...(one.range ? [make("small", {}, ` (95 %: ${one.range})`)] : []))))] : []));
  if (before) (byId("ear-says") ?? chooser.begin).focus();
};

hear("ears", (next) => {
  ears = next;
  const notice = byId("ear-notice");
  notice.hidden = !ears.notice;
  say(notice, ears.notice);
  show();
});
hear("eargraphs", ({ session, days }) => {
  now.replaceChildren(...session.map(graph));
  drawn.replaceChildren(...(days.length ? [make("h2", {}, "Over the days"), ...days.map(graph)] : []));
});
hear("view", (view) => { grips = view.grips.map(({ name }) => name); showGrips(); });
hear("open", () => { if (part() === "ears") ask("ears"); });

addEventListener("part", () => {
  if (part() === "ears") ask("ears");
  else if (trial) stop();
});

// While a trial is open the keyboard answers it: digits choose, space taps or hears again, Enter is done.
const keys = (event) => {
  if (part() !== "ears" || !trial || event.ctrlKey || event.metaKey || event.altKey || event.key === "Escape" || event.key === "Tab") return;
  const target = event.target, onButton = target.matches("button, summary, select, a");
  const onSlide = target.matches("input[type=range]");
  if (!asked.contains(target) && target !== document.body && target.id !== "main") return;
  const digit = Number(event.key);
  if (event.key === " ") {
    if (trial.form === "tap" && !event.repeat && (!onButton || target.id === "ear-pad")) tap(event.timeStamp);
    else if (onButton) return;
    else if (trial.form !== "tap" && !event.repeat) again(trial.sounds.length && trial.form === "slide" ? 0 : -1);
  } else if (trial.form === "choose" && digit >= 1 && digit <= trial.choices.length && !event.repeat) answer(digit - 1);
  else if (event.key === "Enter" && !event.repeat && (!onButton || target.id === "ear-pad")) {
    if (trial.form === "tap") tapped();
    if (trial.form === "slide") settle();
  } else if (trial.form === "slide" && !onSlide && event.key.startsWith("Arrow")) {
    move(moved + { ArrowLeft: -0.2, ArrowRight: 0.2, ArrowDown: -2, ArrowUp: 2 }[event.key]);
  } else if (event.key === "r" && !event.repeat) again(trial.sounds.length && trial.form === "slide" ? 0 : -1);
  else if (event.key.length > 1) return;
  event.preventDefault();
  event.stopPropagation();
};
addEventListener("keydown", keys, { capture: true });
