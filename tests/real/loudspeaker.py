"""What the browser's own loudspeaker plays, recorded by a script of the tests' own.

A busy machine brings a block too late now and then: the loudspeaker then plays zeros, and later all that it
would have played. Zeros are not recorded, so that the recording is the sound as it was made, however late.
"""

import numpy as np

RECORD = """
addEventListener("loudspeaker", async ({ detail: { context, node } }) => {
  const code = `registerProcessor("recorder", class extends AudioWorkletProcessor {
    process([[left]]) {
      if (left) this.port.postMessage({ at: currentTime, left: left.slice() });
      return true; } })`;
  const worklet = context.audioWorklet ?? window.audioWorkletOf(context);
  await worklet.addModule(URL.createObjectURL(new Blob([code], { type: "text/javascript" })));
  const recorder = new AudioWorkletNode(context, "recorder");
  window.sampleRate = context.sampleRate;
  window.recorded = [];
  window.peaks = []; // of each 128 frames, after the context's time; 0 where it was silent
  recorder.port.onmessage = ({ data: { at, left } }) => {
    const sound = left.filter((one) => one !== 0);
    recorded.push(...sound);
    peaks.push([at, Math.max(...sound.map(Math.abs), 0)]);
  };
  node.connect(recorder);
});
"""
# As in a page that comes over a network: its scripts find no worklets, though the recorder still does.
WITHOUT_WORKLETS = """
{
  const { get } = Object.getOwnPropertyDescriptor(BaseAudioContext.prototype, "audioWorklet");
  window.audioWorkletOf = (context) => get.call(context);
  delete BaseAudioContext.prototype.audioWorklet;
}
"""


def recorded(page, seconds):
    """The next seconds of sound."""
    start = page.evaluate("recorded.length")
    page.wait_for_function(f"recorded.length > {start} + {seconds} * sampleRate", timeout=60_000)
    return np.array(page.evaluate(f"recorded.slice({start})")), page.evaluate("sampleRate")


def hear_what_was_asked(page):
    """Until the engine has done all that the page asked, and what the loudspeaker had in hand is played."""
    page.evaluate("""async () => {
      const { ask, hear } = await import("/static/wire.js");
      await new Promise(requestAnimationFrame); // what is asked once a frame has gone out
      await new Promise((done) => {
        const sent_ms = performance.now();
        hear("pong", (pong) => pong.sent_ms === sent_ms && done());
        ask("ping", { sent_ms });
      });
    }""")
    recorded(page, 0.5)
