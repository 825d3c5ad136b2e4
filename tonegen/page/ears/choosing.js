// What to train, on what, and who answers; or to go on with what was not finished.

import { ask } from "../static/wire.js";
import { byId, make, mark, offers } from "../static/parts.js";
import { whenComfortable } from "../sound/volume.js";
import { oneStop } from "../static/stops.js";

/** @typedef {import("../static/messages.js").Asks["train"]["kind"]} Kind */

/** @type {import("../static/messages.js").Shows["ears"] | null} */
let ears = null;
let grips = [];
let chooser = null;

export const choosing = make("div", { id: "ear-choose" });

const labelled = (words, field) => make("label", {}, words, field);
const select = (id, options) =>
  make("select", { id }, ...options.map(({ name, words }) => make("option", { value: name }, words)));
const feedback = () => chooser.feedback.checked;
const person = () => chooser.person.value.trim();

const kindButton = ({ name, words, task }) =>
  make(
    "button",
    {
      class: "kind",
      "data-kind": name,
      "aria-pressed": String(name === chosenKind),
      onclick: () => {
        chosenKind = name;
        usualMethod();
        showChosen();
      },
    },
    make("b", {}, words),
    make("small", {}, task),
  );
let chosenKind = "purer";
let chosenIntervals = new Set(["5:4", "3:2"]);

const build = () => {
  const { kinds, intervals, registers, timbres, beds, lengths, methods } = ears.offered;
  const grip = make("select", { id: "ear-grip", onchange: () => showChosen() });
  const part = {
    kinds: make(
      "div",
      { class: "kinds", role: "group", "aria-label": "What to train" },
      ...kinds.map(kindButton),
    ),
    person: make("input", {
      type: "text",
      id: "ear-person",
      list: "ear-people",
      maxlength: 80,
      autocomplete: "off",
      onchange: () => ask("ears", { person: person() }),
    }),
    people: make("datalist", { id: "ear-people" }),
    grip,
    offerGrips: offers(grip),
    intervals: make(
      "div",
      { class: "intervals", role: "group", "aria-label": "Intervals" },
      ...intervals.map(({ name, words }) =>
        make(
          "button",
          {
            "data-interval": name,
            onclick: () => {
              chosenIntervals = new Set(chosenIntervals);
              if (!chosenIntervals.delete(name)) chosenIntervals.add(name);
              showChosen();
            },
          },
          `${words} `,
          make("small", {}, name),
        ),
      ),
    ),
    register: select("ear-register", registers),
    timbre: select("ear-timbre", timbres),
    bed: select("ear-bed", beds),
    length: select("ear-length", lengths),
    trials: make("input", {
      type: "number",
      id: "ear-trials",
      min: 1,
      max: 1000,
      step: 1,
      inputmode: "numeric",
    }),
    method: select("ear-method", methods),
    cents: make("input", { type: "text", id: "ear-cents", maxlength: 60, autocomplete: "off" }),
    feedback: make("input", { type: "checkbox", id: "ear-feedback", checked: true }),
    next: make("div", { id: "ear-next", class: "kinds", role: "group", "aria-label": "Practise next" }),
    goOn: make("div", { class: "waiting", hidden: true }),
    begin: make("button", { id: "ear-begin", class: "primary", onclick: begin }, "Begin"),
  };
  choosing.replaceChildren(
    part.goOn,
    make("h2", {}, "Practise next"),
    part.next,
    make("h2", {}, "What to measure"),
    part.kinds,
    make("h2", {}, "Intervals"),
    part.intervals,
    make(
      "div",
      { class: "fields" },
      labelled("Intervals from", part.grip),
      labelled("Lowest tone", part.register),
      labelled("Timbre", part.timbre),
      labelled("Background", part.bed),
      labelled("Length of a sound", part.length),
      labelled("How many", part.trials),
      labelled("Error sizes", part.method),
      labelled("Error in cents", part.cents),
      make("span", {}, labelled("Name", part.person), part.people),
      make("label", { class: "check" }, part.feedback, "Show the right answer after each trial"),
    ),
    part.begin,
    make(
      "p",
      { class: "hint" },
      "Trials stay below the level set above. Each sound plays at a random loudness under it, so that " +
        "only the beats give the answer away. Everything else is silent during a trial.",
    ),
  );
  part.length.value = "";
  oneStop(part.kinds, { name: "What to train" });
  oneStop(part.intervals, { name: "Intervals" });
  part.method.addEventListener("change", showChosen);
  return part;
};

const kindNow = () => ears.offered.kinds.find(({ name }) => name === chosenKind);
const usualMethod = () => {
  chooser.method.value = kindNow().method;
};

const begin = () =>
  whenComfortable(() => {
    const own = chosenKind === "own" && chooser.grip.value === "intervals"; // it is asked about a grip alone
    const grip = own ? "" : chooser.grip.value === "intervals" ? null : chooser.grip.value.slice(1).trim();
    ask("train", {
      kind: /** @type {Kind} */ (chosenKind),
      person: person(),
      feedback: feedback(),
      grip,
      intervals: grip === null ? [...chosenIntervals].join() : "",
      register: chooser.register.value,
      timbre: chooser.timbre.value,
      bed: chooser.bed.value,
      seconds: chooser.length.disabled || !chooser.length.value ? null : Number(chooser.length.value),
      trials: chooser.trials.value ? Math.round(Number(chooser.trials.value)) : null,
      method: chooser.method.value,
      cents: chooser.cents.disabled ? "" : chooser.cents.value,
    });
  });

const goOn = () =>
  whenComfortable(() =>
    ask("goon", { person: person(), session: Number(waiting().value), feedback: feedback() }),
  );
const waiting = () => byId("ear-waiting");

// Eight minutes of what helps most now, and why.
const showNext = () => {
  const { next } = chooser,
    wanted = JSON.stringify(ears.next);
  if (next.dataset.next === wanted) return;
  next.dataset.next = wanted;
  next.replaceChildren(
    ...ears.next.map(({ interval, register, words }) => {
      const [what, why] = words.split(": ");
      const practise = () =>
        whenComfortable(() =>
          ask("practise", { person: person(), interval, register, feedback: feedback() }),
        );
      return make(
        "button",
        { class: "kind", "data-next": `${interval} ${register}`, onclick: practise },
        make("b", {}, what),
        make("small", {}, why),
      );
    }),
  );
};

// What waits: one session is said, of several one is chosen.
const showWaiting = () => {
  const { goOn: place } = chooser,
    wanted = JSON.stringify(ears.waiting);
  place.hidden = !ears.waiting.length;
  if (place.dataset.waiting === wanted) return;
  place.dataset.waiting = wanted;
  const options = ears.waiting.map(({ name, words }) => make("option", { value: name }, words));
  const several = options.length > 1,
    list = make("select", { id: "ear-waiting", hidden: !several }, ...options);
  place.replaceChildren(
    several ? labelled("Not finished", list) : make("p", {}, `Not finished: ${ears.waiting[0]?.words}`, list),
    make("button", { id: "ear-go-on", class: "primary", onclick: goOn }, "Continue"),
  );
};

const showChosen = () => {
  const kind = kindNow();
  const own = chooser.grip.value !== "intervals";
  for (const button of chooser.kinds.children)
    mark(button, "aria-pressed", button.dataset.kind === chosenKind);
  for (const button of chooser.intervals.children) {
    mark(button, "aria-pressed", chosenIntervals.has(button.dataset.interval));
    button.disabled = own;
  }
  mark(chooser.trials, "placeholder", kind.trials);
  chooser.method.disabled = !kind.threshold;
  chooser.length.disabled = !kind.length;
  const method = chooser.method.value,
    itself = !kind.cents || method === "bayes";
  chooser.cents.disabled = itself;
  mark(
    chooser.cents,
    "placeholder",
    itself ? "chosen for you" : method === "fixed" ? "such as 5, or 2,5,10" : "to begin with",
  );
  chooser.begin.disabled = !own && !chosenIntervals.size;
};

const showGrips = () => {
  if (!chooser) return;
  const options = [
    ["intervals", "the intervals above"],
    [" ", "the current grip"],
    ...grips.map((name) => [` ${name}`, name]),
  ];
  if (chooser.offerGrips(options)) showChosen();
};

export const offerGrips = (names) => {
  grips = names;
  showGrips();
};

export const showChoosing = (next) => {
  ears = next;
  if (!chooser) {
    chooser = build();
    usualMethod();
  }
  showGrips();
  showChosen();
  if (document.activeElement !== chooser.person) chooser.person.value = ears.person;
  chooser.people.replaceChildren(...ears.people.map((name) => make("option", { value: name })));
  showWaiting();
  showNext();
};

export const beginHere = () => chooser.begin.focus();
