// The picture of a lesson's sound: its partials, and how each pair of tones swells.

import { svg } from "./graph.js";

// The partials of each tone on a line of its own; those that meet another tone's are filled.
export const ladder = ({ tones, swells, caption }) => {
  const rows = tones.length + swells.length,
    row = 40,
    wide = 340;
  const picture = svg("svg", {
    viewBox: `0 0 ${wide} ${rows * row}`,
    class: "graph ladder",
    role: "img",
    "aria-label": `Partials and beats: ${caption}`,
  });
  tones.forEach(({ name, rungs }, at) => {
    const y = at * row + 26;
    picture.append(
      svg("line", { class: "grid", x1: 8, x2: wide - 8, y1: y, y2: y }),
      svg("text", { x: 8, y: y - 8 }, name),
    );
    const group = svg("g", { class: `curve-${at % 2}` });
    for (const [place, meets] of rungs)
      group.append(
        svg("circle", {
          cx: 12 + place * (wide - 24),
          cy: y,
          r: meets ? 5 : 2.5,
          class: meets ? "meets" : "alone",
        }),
      );
    picture.append(group);
  });
  swells.forEach(({ pair, loud }, at) => {
    const bottom = (tones.length + at + 1) * row - 3,
      high = row - 22,
      across = (n) => 8 + (n / loud.length) * (wide - 16);
    picture.append(svg("text", { x: 8, y: bottom - high - 4 }, pair));
    const group = svg("g", { class: "swell" });
    loud.forEach((one, n) => {
      if (one < 0)
        group.append(
          svg("rect", {
            x: across(n),
            y: bottom - high * 0.7,
            width: (wide - 16) / loud.length + 0.3,
            height: high * 0.7,
            class: "rough",
          }),
        );
    });
    const even = loud
      .map((one, n) => (one < 0 ? "" : `${across(n)},${bottom - one * high}`))
      .filter(Boolean)
      .join(" ");
    group.append(svg("polyline", { points: even }));
    picture.append(group);
  });
  return picture;
};
