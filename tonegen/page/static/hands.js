// What a finger does: it drags from where it was put down, or holds something down that repeats.

const STRAY_PIXELS = 4; // a touch that moves less was not meant as a drag
const REPEATS_AFTER_MS = 400;
const REPEATS_EVERY_MS = 90;

/**
 * A drag counts from where it began; one that became a scroll of the page is taken back.
 *
 * @template Begun
 * @param {HTMLElement} pad
 * @param {{
 *   begin: (event: PointerEvent) => Begun,
 *   move: (begun: Begun, pixels: { x: number, y: number }) => void,
 *   back?: (begun: Begun) => void,
 *   end?: (begun: Begun) => void,
 * }} hand
 */
export const drags = (pad, { begin, move, back, end }) => {
  /** @type {Map<number, { begun: Begun, x: number, y: number, meant: boolean }>} */
  const fingers = new Map();
  pad.addEventListener("pointerdown", (event) => {
    if (event.button) return;
    event.preventDefault();
    pad.setPointerCapture(event.pointerId);
    fingers.set(event.pointerId, { begun: begin(event), x: event.clientX, y: event.clientY, meant: false });
  });
  pad.addEventListener("pointermove", (event) => {
    const finger = fingers.get(event.pointerId);
    if (!finger) return;
    const x = event.clientX - finger.x,
      y = event.clientY - finger.y;
    finger.meant ||= Math.hypot(x, y) > STRAY_PIXELS;
    if (finger.meant) move(finger.begun, { x, y });
  });
  const lifted = (then) => (event) => {
    const finger = fingers.get(event.pointerId);
    fingers.delete(event.pointerId);
    if (finger) then(finger);
  };
  pad.addEventListener(
    "pointerup",
    lifted(({ begun }) => end?.(begun)),
  );
  pad.addEventListener(
    "pointercancel",
    lifted(({ begun, meant }) => {
      if (meant) back?.(begun);
      end?.(begun);
    }),
  );
};

/**
 * Act on pressing, and again and again while held; a key of the keyboard repeats by itself.
 *
 * @param {HTMLElement} button
 * @param {(gesture: string) => void} act  what one press does is one gesture
 */
export const repeats = (button, act) => {
  let next = 0;
  const stop = () => clearTimeout(next);
  button.addEventListener("pointerdown", (event) => {
    if (event.button) return;
    const gesture = `held ${event.timeStamp}`;
    const again = () => {
      act(gesture);
      next = setTimeout(again, REPEATS_EVERY_MS);
    };
    stop();
    act(gesture);
    next = setTimeout(again, REPEATS_AFTER_MS);
  });
  for (const end of ["pointerup", "pointercancel", "pointerleave"]) button.addEventListener(end, stop);
  button.addEventListener("contextmenu", (event) => event.preventDefault());
  button.addEventListener("click", (event) => {
    if (event.detail === 0) act(`pressed ${event.timeStamp}`); // by a key, or for a screen reader
  });
};
