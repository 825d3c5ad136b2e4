// A phone of the class: the question, its answers, and at last what everybody chose; or the lesson that the
// teacher gave, step by step. It knows nothing else.

import { lessonStep } from "../ears/step.js";
import { byId, make, mark, say } from "../static/parts.js";

const main = byId("main");
const listener = sessionStorage.getItem("listener") ?? crypto.getRandomValues(new Uint32Array(4)).join("-");
sessionStorage.setItem("listener", listener);

/** @type {WebSocket | null} */
let socket = null;
/** @type {import("../static/messages.js").Shows["phone"] | null} */
let shown = null;
let heard = 0;
let ended = false;

const tell = (message) => socket?.readyState === WebSocket.OPEN && socket.send(JSON.stringify(message));
const name = () => sessionStorage.getItem("name") ?? "";
const come = () => tell({ do: "name", listener, name: name() });

const sound = make("audio", { controls: true, preload: "none", "aria-label": "The question" });
const caution = () =>
  make("p", { class: "hint" }, "Start with the volume low; no louder than is comfortable.");

const who = () =>
  make("input", {
    type: "text",
    maxlength: 40,
    placeholder: "Your name",
    "aria-label": "Your name",
    value: name(),
    onchange: ({ target }) => {
      sessionStorage.setItem("name", target.value);
      come();
    },
  });

// ---------------------------------------------------------------- a question for all

const answers = () =>
  make(
    "div",
    { class: "answers", role: "group", "aria-label": "Answers" },
    ...shown.choices.map((words, at) => {
      const many = shown.shown[at];
      const told = many === undefined ? "" : ` ${at === shown.right ? "✓ " : ""}${many}`;
      return make(
        "button",
        {
          "data-choice": at,
          "aria-pressed": shown.mine === at,
          disabled: many !== undefined,
          onclick: () => tell({ do: "choose", number: shown.number, choice: at }),
        },
        words,
        told,
      );
    }),
  );

const question = () => {
  if (shown.number !== heard) {
    heard = shown.number;
    sound.loop = false;
    sound.src = `/classroom/sound.wav?${heard}`;
  }
  const waiting = shown.mine === null ? "" : "Your answer is in; you can still change it.";
  return [
    make("h1", { id: "class-question" }, shown.number ? shown.question : "Wait for the first question."),
    ...(shown.number && shown.on_phones ? [caution(), sound] : []),
    ...(shown.number ? [answers()] : []),
    make("p", { class: "said", role: "status" }, shown.shown.length ? shown.words : waiting),
  ];
};

// ---------------------------------------------------------------- the lesson that was given

let playing = -1;
const mostRecent = { moved: 0, timer: 0 };

// What the question is about goes on while it stands; what is counted has a beginning and an end.
const play = (at, cents = 0) => {
  const { lesson } = shown;
  const goesOn = lesson.form && lesson.form !== "count" && !lesson.verdict && at === lesson.about;
  playing = at;
  sound.loop = Boolean(goesOn);
  sound.src = `/classroom/lesson.wav?step=${lesson.at}&sound=${at}&cents=${cents}`;
  sound.play().catch(() => hush());
  markPlaying();
};
const hush = () => {
  playing = -1;
  sound.pause();
  markPlaying();
};
const markPlaying = () => {
  for (const button of /** @type {NodeListOf<HTMLElement>} */ (main.querySelectorAll("[data-demonstrate]")))
    mark(button, "aria-pressed", Number(button.dataset.demonstrate) === playing);
};
sound.addEventListener("ended", hush);

const asking = {
  reply: (at) => tell({ do: "reply", at }),
  taps: (times_ms) => tell({ do: "taps", number: 0, times_ms }),
  // Each place is a sound of its own from the server: once the hand rests.
  move: (cents) => {
    mostRecent.moved = cents;
    clearTimeout(mostRecent.timer);
    mostRecent.timer = setTimeout(() => play(shown.lesson.about, mostRecent.moved), 200);
  },
  settle: (cents) => {
    clearTimeout(mostRecent.timer);
    tell({ do: "settle", number: 0, cents });
  },
};
const go = (step) => {
  hush();
  tell({ do: "lesson", name: shown.lesson.lesson, step });
};

const lesson = () => {
  const { at, of } = shown.lesson;
  const onward = [
    make(
      "button",
      { id: "lesson-next", class: "primary", disabled: at + 1 === of, onclick: () => go(at + 1) },
      "Next",
    ),
  ];
  return [
    ...(at ? [] : [caution()]),
    ...lessonStep(shown.lesson, { heading: "h1", heard: playing, hear: play, go, onward, asking }),
  ];
};

// ---------------------------------------------------------------- what is shown

const step = (view) => view?.lesson && [view.lesson.lesson, view.lesson.at, view.lesson.verdict].join();
const show = (before) => {
  if (ended || !shown) {
    main.replaceChildren(make("h1", {}, ended ? "The class is over. Thank you." : "One moment …"));
    return;
  }
  if (shown.lesson) {
    if (step(shown) === step(before)) return; // taps and a moved tone stay under the hand
    if (shown.lesson.verdict || !before?.lesson) hush();
    heard = 0;
  }
  main.replaceChildren(...(shown.names ? [who()] : []), ...(shown.lesson ? lesson() : question()));
};

const open = () => {
  socket = new WebSocket(`ws://${location.host}/classroom/listen`);
  socket.addEventListener("open", come);
  socket.addEventListener("message", ({ data }) => {
    const next = JSON.parse(data);
    if (next.type === "fault") {
      const verdict = byId("lesson-verdict");
      if (verdict) say(verdict, next.text);
      return;
    }
    const before = shown;
    ended = next.type === undefined;
    shown = next;
    if (ended) {
      hush();
      socket?.close();
    }
    show(before);
  });
  socket.addEventListener("close", () => {
    if (!ended) setTimeout(open, 1500);
  });
};
show(null);
open();
