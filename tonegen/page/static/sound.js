// Begin and end the sound, its level, where it is heard, and the meter.

import { ask, askSoon, hear } from "./wire.js";
import { useLoudspeaker } from "./clock.js";
import { byId, mark, say } from "./parts.js";

let view = null;
let loudspeaker = null;

// ------------------------------------------------------------------ in this page

const openLoudspeaker = async () => {
  if (loudspeaker) return;
  const context = new AudioContext({ latencyHint: "interactive" });
  loudspeaker = { context };
  await context.audioWorklet.addModule("loudspeaker.js");
  const node = new AudioWorkletNode(context, "loudspeaker", { numberOfInputs: 0, outputChannelCount: [2] });
  const feed = new Worker("feed.js");
  const between = new MessageChannel();
  node.port.postMessage({ feed: between.port1 }, [between.port1]);
  feed.postMessage({ url: `ws://${location.host}/sound?rate=${context.sampleRate}`, node: between.port2 }, [between.port2]);
  node.connect(context.destination);
  let said = null;
  node.port.onmessage = ({ data }) => { said = data; };
  feed.onmessage = () => { if (loudspeaker?.feed === feed) closeLoudspeaker(); };  // the sound went elsewhere
  Object.assign(loudspeaker, { node, feed });
  useLoudspeaker((now) => said && heardNow(context, said, now));
  await context.resume();
  dispatchEvent(new CustomEvent("loudspeaker", { detail: { context, node } }));
  showOutlet();
};

// The frame that leaves the loudspeaker at a moment of the page, by the browser's own word on its delay.
const heardNow = (context, said, now) => {
  const stamp = context.getOutputTimestamp();
  const known = stamp.performanceTime > 0;
  const contextTime = known ? stamp.contextTime : context.currentTime - (context.outputLatency || context.baseLatency || 0);
  return { frame: said.frame + (contextTime - said.time) * context.sampleRate, at: known ? stamp.performanceTime : now };
};

const closeLoudspeaker = () => {
  loudspeaker?.feed?.terminate();
  loudspeaker?.context.close();
  loudspeaker = null;
  useLoudspeaker(null);
  showOutlet();
};

const showOutlet = () => { byId("outlet").value = loudspeaker ? "page" : "machine"; };

// ------------------------------------------------------------------ controls

// Where the machine has no device, the page in which the sound was begun plays it itself.
let beganHere = false;
export const toggleSound = () => {
  beganHere = !view.playing.sounding;
  ask("sound", { on: beganHere });
};

byId("sound").addEventListener("click", toggleSound);
byId("mute").addEventListener("click", () => ask("mute", { on: !view.playing.muted }));
byId("level").addEventListener("input", ({ target }) => askSoon("level", { dbfs: Number(target.value) }));
byId("outlet").addEventListener("change", ({ target }) => {
  if (target.value === "page") openLoudspeaker();
  else closeLoudspeaker();
});

export const muteNow = () => ask("mute", { on: true });

hear("view", (next) => {
  view = next;
  const { sounding, muted, level_dbfs } = view.playing;
  mark(byId("sound"), "aria-pressed", sounding);
  say(byId("sound"), sounding ? "Stop" : "Sound");
  mark(byId("mute"), "aria-pressed", muted);
  if (document.activeElement !== byId("level")) byId("level").value = level_dbfs;
  say(byId("level-words"), `${level_dbfs.toFixed(0)} dBFS`);
  mark(byId("level"), "aria-valuetext", `${level_dbfs.toFixed(0)} decibels under full scale`);
  mark(document.documentElement, "data-sounding", sounding && !muted);
  if (beganHere && sounding && next.outlet === "nowhere") openLoudspeaker();
});

const meter = document.querySelector(".meter");
hear("moment", ({ peak_dbfs }) => {
  const level = Math.max(-60, Math.min(0, peak_dbfs));
  mark(meter, "aria-valuenow", level.toFixed(0));
  meter.firstElementChild.style.transform = `scaleX(${(level + 60) / 60})`;
});
hear("closed", closeLoudspeaker);
