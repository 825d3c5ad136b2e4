// What stands on paper under the chart's title: what the chart was made with, and when it was printed.

import { hear } from "../static/wire.js";
import { byId, make, say } from "../static/parts.js";

const line = make("p", { id: "printed" });
byId("title").after(line);

/** @type {import("../static/wire.js").Shows["choices"] | null} */
let choices = null;
let made = "";

const titled = (kind, name) => choices?.presets[kind].find((one) => one.name === name)?.title || name;
const date = () => new Intl.DateTimeFormat("en-GB", { dateStyle: "long" }).format(new Date());
const write = () => say(line, `${made} · ${date()}`);

hear("choices", (next) => {
  choices = next;
});
hear("view", ({ setting, root_name }) => {
  const root = setting.root === null ? root_name : choices?.roots[setting.root];
  const moved = setting.moved.length ? ", with offsets of my own" : "";
  const drop = setting.drop === "none" ? "no drop" : `drop: ${titled("drops", setting.drop)}`;
  made = [
    `Temperament: ${titled("temperaments", setting.temperament)} on ${root}${moved}`,
    drop,
    `A4 = ${setting.reference_hz} Hz`,
  ].join(" · ");
  write();
});
addEventListener("beforeprint", write);
