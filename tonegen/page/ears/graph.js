// A graph as the core sends it: places between 0 and 1 across and up. Nothing is worked out here but pixels.

import { make } from "../static/parts.js";

const WIDE = 340,
  HIGH = 210,
  LEFT = 44,
  RIGHT = 12,
  TOP = 10,
  BOTTOM = 34;
const STROKES = ["", "7 4", "2 4", "9 3 2 3"];

export const svg = (name, attributes = {}, ...children) => {
  const element = document.createElementNS("http://www.w3.org/2000/svg", name);
  for (const [key, value] of Object.entries(attributes)) element.setAttribute(key, value);
  element.append(...children);
  return element;
};

const x = (across) => LEFT + across * (WIDE - LEFT - RIGHT);
const y = (up) => HIGH - BOTTOM - up * (HIGH - BOTTOM - TOP);

// Curves are told apart by mark and stroke as well as by colour.
const mark = (at, [across, up, , , weight]) => {
  const [cx, cy, r] = [x(across), y(up), 2 + 3 * weight];
  if (at % 2 === 0) return svg("circle", { cx, cy, r });
  return svg("rect", { x: cx - r, y: cy - r, width: 2 * r, height: 2 * r });
};

const curve = ({ path, marks, span, band }, at) => {
  const group = svg("g", { class: `curve-${at % 2}` });
  if (band.length)
    group.append(
      svg("polygon", {
        points: band.map(([across, up]) => `${x(across)},${y(up)}`).join(" "),
        class: "band",
      }),
    );
  group.append(
    svg("polyline", {
      points: path.map(([across, up]) => `${x(across)},${y(up)}`).join(" "),
      "stroke-dasharray": STROKES[Math.floor(at / 2) % STROKES.length] || "none",
    }),
  );
  for (const one of marks) {
    if (one[3] > one[2])
      group.append(svg("line", { x1: x(one[0]), x2: x(one[0]), y1: y(one[2]), y2: y(one[3]) }));
    group.append(mark(at, one));
  }
  if (span) {
    const [low, value, high, up] = span;
    group.append(
      svg("line", { class: "span", x1: x(low), x2: x(high), y1: y(up), y2: y(up) }),
      svg("line", { class: "drop", x1: x(value), x2: x(value), y1: y(up), y2: y(0) }),
    );
  }
  return group;
};

export const graph = ({ title, across, up, across_ticks, up_ticks, curves }) => {
  const picture = svg("svg", {
    viewBox: `0 0 ${WIDE} ${HIGH}`,
    class: "graph",
    role: "img",
    "aria-label": title,
  });
  for (const [at, name] of up_ticks) {
    picture.append(
      svg("line", { class: "grid", x1: LEFT, x2: WIDE - RIGHT, y1: y(at), y2: y(at) }),
      svg("text", { x: LEFT - 6, y: y(at) + 4, "text-anchor": "end" }, name),
    );
  }
  for (const [at, name] of across_ticks) {
    picture.append(svg("text", { x: x(at), y: HIGH - BOTTOM + 15, "text-anchor": "middle" }, name));
  }
  picture.append(
    svg("text", { class: "axis", x: WIDE - RIGHT, y: HIGH - 4, "text-anchor": "end" }, across),
    ...(up ? [svg("text", { class: "axis", x: LEFT + 4, y: TOP + 6 }, up)] : []),
    ...curves.map(curve),
  );
  const legend = make(
    "ul",
    { class: "legend" },
    ...curves.map(({ name, words }, at) => {
      const sample = svg(
        "svg",
        { viewBox: "0 0 30 12", "aria-hidden": "true" },
        svg(
          "g",
          { class: `curve-${at % 2}` },
          svg("line", {
            x1: 0,
            x2: 30,
            y1: 6,
            y2: 6,
            "stroke-dasharray": STROKES[Math.floor(at / 2) % STROKES.length] || "none",
          }),
          at % 2 ? svg("rect", { x: 11, y: 2, width: 8, height: 8 }) : svg("circle", { cx: 15, cy: 6, r: 4 }),
        ),
      );
      return make("li", {}, sample, make("b", {}, name), ` ${words}`);
    }),
  );
  return make("figure", { class: "drawn" }, make("figcaption", {}, title), picture, legend);
};
