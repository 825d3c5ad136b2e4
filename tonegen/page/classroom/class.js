// A class from the teacher's side: its link, a question for all phones, and the answers together.

import { ask, hear } from "../static/wire.js";
import { byId, make, refill } from "../static/parts.js";
import { svg } from "../ears/graph.js";

/** @type {import("../static/messages.js").Shows["class"] | null} */
let shown = null;
/** @type {import("../static/messages.js").Shows["ears"]["offered"] | null} */
let offered = null;
const box = make("section", { id: "class", class: "pane", "aria-label": "Class" });
byId("ears").append(box);

const KINDS = ["purer", "side", "name", "abx"];
const select = (id, options) =>
  make("select", { id }, ...options.map(({ name, words }) => make("option", { value: name }, words)));
const check = (id, words) =>
  make("label", { class: "check" }, make("input", { type: "checkbox", id }), words);

const starting = () => [
  make("h2", {}, "A class"),
  make(
    "p",
    { class: "hint" },
    "One question to many phones, and the answers together. Phones come in by a link that opens nothing " +
      "but the class; nothing leaves this machine, and nothing is kept.",
  ),
  check("class-names", "Ask for names"),
  check("class-phones", "The question sounds on the phones"),
  make(
    "button",
    {
      id: "class-start",
      onclick: () =>
        ask("startclass", { names: byId("class-names").checked, on_phones: byId("class-phones").checked }),
    },
    "Start a class",
  ),
];

const code = (rows) => {
  const size = rows.length + 8;
  const dark = rows
    .flatMap((row, y) => [...row].map((cell, x) => (cell === "1" ? `M${x + 4} ${y + 4}h1v1h-1z` : "")))
    .join("");
  return svg(
    "svg",
    { viewBox: `0 0 ${size} ${size}`, width: 220, role: "img", "aria-label": "QR code of the link" },
    svg("rect", { width: size, height: size, fill: "#fff" }),
    svg("path", { d: dark, fill: "#000" }),
  );
};

const chooser = make("div", { class: "fields" });
const fillChooser = () => {
  const kinds = offered.kinds.filter(({ name }) => KINDS.includes(name));
  chooser.replaceChildren(
    make("label", {}, "Question", select("class-kind", kinds)),
    make(
      "label",
      {},
      "Interval",
      select("class-interval", [{ name: "", words: "as usual" }, ...offered.intervals]),
    ),
    make(
      "label",
      {},
      "Error in cents",
      make("input", { type: "number", id: "class-cents", min: 0.1, max: 64, step: 0.1, value: 10 }),
    ),
  );
};

const train = () => {
  const kind = /** @type {"purer" | "side" | "name" | "abx"} */ (byId("class-kind").value);
  const cents = Number(byId("class-cents").value);
  ask("trainclass", {
    kind,
    intervals: kind === "name" ? "" : byId("class-interval").value,
    cents: cents || null,
  });
};

const bars = () =>
  make(
    "ul",
    { class: "legend", id: "class-bars" },
    ...shown.choices.map((words, at) =>
      make(
        "li",
        { "data-right": at === shown.right },
        make("b", {}, words),
        ` ${shown.counts[at]}${at === shown.right ? " ✓" : ""} `,
        make("meter", { min: 0, max: Math.max(1, shown.answered), value: shown.counts[at] }),
        ...(shown.who.length ? [make("small", {}, ` ${shown.who[at].join(", ")}`)] : []),
      ),
    ),
  );

// A lesson: given to every phone, or one of its questions put to all.
const lessonNow = () => shown.lessons.find(({ name }) => name === byId("class-lesson").value);
const teaching = make("div");
const questions = () =>
  lessonNow().questions.map(({ step, title }) => make("option", { value: step }, `${step + 1}. ${title}`));
const fillTeaching = () => {
  const { lessons } = shown,
    wanted = JSON.stringify(lessons);
  if (teaching.dataset.lessons === wanted) return;
  teaching.dataset.lessons = wanted;
  const offers = lessons.map(({ name, title }) => ({ name, words: title }));
  teaching.replaceChildren(
    make(
      "div",
      { class: "fields" },
      make("label", {}, "Lesson", select("class-lesson", offers)),
      make("label", {}, "Its question", select("class-step", [])),
    ),
    make("button", { id: "class-share", onclick: share }, "Give the lesson to the phones"),
    " ",
    make("button", { id: "class-ask-step", onclick: askStep }, "Ask the class its question"),
  );
  const showQuestions = () => {
    byId("class-step").replaceChildren(...questions());
    byId("class-ask-step").disabled = !lessonNow().questions.length;
  };
  byId("class-lesson").addEventListener("change", showQuestions);
  showQuestions();
};
const share = () => ask("sharelesson", { lesson: lessonNow().name });
const askStep = () =>
  ask("lessonquestion", { lesson: lessonNow().name, step: Number(byId("class-step").value) });

const shares = (id, of) =>
  make(
    "ul",
    { class: "legend", id },
    ...of.map(({ words, answered, right }) =>
      make(
        "li",
        {},
        make("b", {}, words),
        answered ? ` ${right} of ${answered} right ` : " no answer yet ",
        ...(answered ? [make("meter", { min: 0, max: answered, value: right })] : []),
      ),
    ),
  );
const howFar = () => [
  make("h3", { id: "class-given" }, shown.lessons.find(({ name }) => name === shown.lesson)?.title ?? ""),
  shares("class-steps", shown.steps),
  ...(shown.listeners.length ? [shares("class-listeners", shown.listeners)] : []),
];

const live = () => [
  make("h2", {}, "A class"),
  make("p", {}, make("a", { href: shown.link }, shown.link)),
  code(shown.code),
  make(
    "p",
    { id: "class-there", role: "status" },
    `${shown.phones} ${shown.phones === 1 ? "phone" : "phones"} here` +
      (shown.number ? `, ${shown.answered} answered` : ""),
  ),
  chooser,
  make("button", { id: "class-ask", class: "primary", onclick: train }, "Ask the class"),
  teaching,
  ...(shown.number
    ? [
        make("h3", { id: "class-asked" }, shown.question),
        ...(shown.on_phones ? [] : [make("button", { onclick: () => ask("hearclass") }, "Hear it again")]),
        ...(shown.counts.length
          ? [bars(), make("p", { class: "said" }, shown.words)]
          : [make("button", { id: "class-show", onclick: () => ask("showanswer") }, "Show the answers")]),
      ]
    : []),
  ...(shown.lesson ? howFar() : []),
  make("button", { id: "class-stop", class: "quiet", onclick: () => ask("stopclass") }, "End the class"),
];

const show = () => {
  if (!offered) return;
  refill(box, ...(shown?.live ? live() : starting()));
  if (shown?.live) fillTeaching();
};

hear("class", (next) => {
  shown = next;
  show();
});
hear("ears", (ears) => {
  const first = !offered;
  offered = ears.offered;
  box.hidden = Boolean(ears.asked || ears.after);
  if (!first) return;
  fillChooser();
  show();
});
