// The link and the code by which a tablet comes to this page.

import { hear } from "./wire.js";
import { byId, make } from "./parts.js";

const QUIET = 4; // rows left white around a code: ISO/IEC 18004

const picture = (code) => {
  const svg = (name, attributes) => {
    const element = document.createElementNS("http://www.w3.org/2000/svg", name);
    for (const [key, value] of Object.entries(attributes)) element.setAttribute(key, value);
    return element;
  };
  const dark = code.flatMap((row, y) =>
    [...row].flatMap((one, x) => (one === "1" ? `M${x + QUIET} ${y + QUIET}h1v1h-1z` : [])),
  );
  const side = code.length + 2 * QUIET;
  const drawn = svg("svg", {
    viewBox: `0 0 ${side} ${side}`,
    class: "code",
    role: "img",
    "aria-label": "The link as a QR code",
  });
  drawn.append(
    svg("rect", { width: side, height: side, fill: "#fff" }),
    svg("path", { d: dark.join(""), fill: "#000" }),
  );
  return drawn;
};

hear("tablets", ({ link, code }) => {
  byId("tablets").replaceChildren(
    make(
      "details",
      {},
      make("summary", {}, "On a tablet"),
      ...(link
        ? [
            make("p", {}, "On a tablet in the same network, scan this code or open this link."),
            picture(code),
            make("p", {}, make("a", { href: link }, link)),
            make("p", { class: "hint" }, "Anyone with this link can play and retune."),
          ]
        : [
            make(
              "p",
              {},
              "This page is open on this machine only. To have it on a tablet as well, start it with",
            ),
            make("p", {}, make("code", {}, "tonegen page --lan")),
          ]),
    ),
  );
});
