// The picture of a beat: the two partials as two strands along time, which meet where the sound is loud and
// part where it is faint. Time flows to the left, past the moment that is heard now.

const SECONDS = 5;
const NOW = 0.3;
const REACH = 0.36;

const colours = () => {
  const style = getComputedStyle(document.documentElement);
  const of = (name) => style.getPropertyValue(name).trim();
  return { low: of("--low"), high: of("--high"), meet: of("--ink"), faint: of("--line") };
};
let palette = null;
export const repaint = () => {
  palette = null;
};

const fitted = (canvas) => {
  const scale = Math.min(devicePixelRatio || 1, 2);
  const width = Math.round(canvas.clientWidth * scale),
    height = Math.round(canvas.clientHeight * scale);
  if (canvas.width !== width || canvas.height !== height) {
    canvas.width = width;
    canvas.height = height;
  }
  return { width, height, scale };
};

// turns : of the beat now; perSecond : how fast it turns; quiet : nothing sounds, so it stands still.
export const draw = (canvas, turns, perSecond, { rough, quiet }) => {
  palette ??= colours();
  const { width, height, scale } = fitted(canvas);
  if (!width || !height) return;
  const pen = canvas.getContext("2d");
  const middle = height / 2,
    reach = height * REACH;
  pen.clearRect(0, 0, width, height);
  pen.lineWidth = 1.6 * scale;
  pen.globalAlpha = quiet ? 0.55 : 1;
  if (rough) return drawRough(pen, width, middle, reach, scale);
  const now = NOW * width;
  pen.strokeStyle = palette.faint;
  pen.beginPath();
  pen.moveTo(now, 0);
  pen.lineTo(now, height);
  pen.stroke();
  const turnsPerPixel = (perSecond * SECONDS) / width;
  const ahead = turns - turnsPerPixel * now; // of the left edge
  if (Math.abs(turnsPerPixel) * width > 1) {
    const strip = stripOf(canvas, turnsPerPixel, width, height, scale);
    pen.drawImage(strip.drawn, -Math.round(strip.offset(ahead)), 0);
  } else {
    strands(pen, width, height, scale, (x) => ahead + turnsPerPixel * x, turnsPerPixel);
  }
  const apart = reach * Math.sin(Math.PI * turns);
  const together = Math.abs(Math.cos(Math.PI * turns));
  for (const [side, colour] of [
    [1, palette.low],
    [-1, palette.high],
  ])
    bead(pen, now, middle + side * apart, 3.5 * scale, colour);
  pen.globalAlpha *= together ** 3;
  bead(pen, now, middle, (3 + 4 * together) * scale, palette.meet);
  pen.globalAlpha = 1;
};

const strands = (pen, width, height, scale, turnsAt, turnsPerPixel) => {
  const lens = 1 / Math.max(Math.abs(turnsPerPixel), 1e-9);
  const step = Math.max(1, Math.min(lens / 14, width / 60));
  pen.lineWidth = (lens < 12 * scale ? 1.1 : 2) * scale;
  for (const [side, colour] of [
    [1, palette.low],
    [-1, palette.high],
  ]) {
    pen.strokeStyle = colour;
    pen.beginPath();
    for (let x = 0; x <= width + step; x += step)
      pen.lineTo(x, height / 2 + side * height * REACH * Math.sin(Math.PI * turnsAt(x)));
    pen.stroke();
  }
};

// A steady beat repeats itself every two turns: it is drawn once, that much too wide, and shown further on
// each time.
const strips = new WeakMap();
const stripOf = (canvas, turnsPerPixel, width, height, scale) => {
  const shape = JSON.stringify([turnsPerPixel, width, height, scale, palette]);
  const strip = strips.get(canvas);
  if (strip?.shape === shape) return strip;
  const period = Math.abs(2 / turnsPerPixel);
  const drawn = new OffscreenCanvas(Math.ceil(width + period) + 1, height);
  strands(drawn.getContext("2d"), drawn.width, height, scale, (x) => turnsPerPixel * x, turnsPerPixel);
  const offset = (turns) => (((turns / turnsPerPixel) % period) + period) % period;
  const made = { shape, drawn, offset };
  strips.set(canvas, made);
  return made;
};

const bead = (pen, x, y, radius, colour) => {
  pen.fillStyle = colour;
  pen.beginPath();
  pen.arc(x, y, radius, 0, 2 * Math.PI);
  pen.fill();
};

// Faster than anyone can count: a rough cord that does not move, for flicker tells nothing and can do harm.
const drawRough = (pen, width, middle, reach, scale) => {
  const gap = 5 * scale;
  for (let x = gap / 2, turn = 0; x < width; x += gap, turn += 1) {
    pen.strokeStyle = turn % 2 ? palette.low : palette.high;
    pen.beginPath();
    pen.moveTo(x - gap * 0.6, middle + reach * 0.6);
    pen.lineTo(x + gap * 0.6, middle - reach * 0.6);
    pen.stroke();
  }
  pen.globalAlpha = 1;
};
