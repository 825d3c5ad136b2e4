// Small pieces of page: an element with its attributes and children, and changes that touch only what
// changed.

/**
 * @template {keyof HTMLElementTagNameMap} Name
 * @param {Name} name
 * @param {Record<string, any>} attributes
 * @param {(Node | string)[]} children
 * @returns {HTMLElementTagNameMap[Name]}
 */
export const make = (name, attributes = {}, ...children) => {
  const element = document.createElement(name);
  for (const [key, value] of Object.entries(attributes)) {
    if (key.startsWith("on")) element.addEventListener(key.slice(2), value);
    else if (typeof value === "boolean" && /^(aria|data)-/.test(key))
      element.setAttribute(key, String(value));
    else if (value === true) element.setAttribute(key, "");
    else if (value !== false && value !== null && value !== undefined) element.setAttribute(key, value);
  }
  element.append(...children);
  return element;
};

/** @param {string[]} words */
export const tableHead = (words) =>
  make("thead", {}, make("tr", {}, ...words.map((each) => make("th", { scope: "col" }, each))));

export const say = (element, text) => {
  if (element.textContent !== text) element.textContent = text;
};

export const mark = (element, name, value) => {
  const text = String(value);
  if (element.getAttribute(name) !== text) element.setAttribute(name, text);
};

// A slider or a choice shows what the engine has, but not while a hand is on it: an answer to an earlier
// place of the hand must not push it back.
export const HAND_MS = 400;
export const follows = (control) => {
  let value = null,
    touchedAt = -HAND_MS,
    later = null;
  const show = () => {
    if (value !== null && control.value !== value) control.value = value;
  };
  const passesBy = ({ key }) => key === "Tab" || key === "Shift";
  for (const hand of ["input", "keydown", "pointerdown"]) {
    control.addEventListener(hand, (event) => {
      if (!passesBy(event)) touchedAt = performance.now();
    });
  }
  return (next) => {
    value = String(next);
    clearTimeout(later);
    const left = touchedAt + HAND_MS - performance.now();
    if (left > 0) later = setTimeout(show, left);
    else show();
  };
};

/**
 * What a choice offers, each its value and its words, made anew only where that changes; and what the engine
 * has of them, where it has any. Gives whether it was made anew.
 * @param {HTMLSelectElement} select
 * @returns {(options: string[][], value?: string | null) => boolean}
 */
export const offers = (select) => {
  const follow = follows(select);
  let shape = "";
  return (options, value = null) => {
    const next = JSON.stringify(options);
    const anew = next !== shape;
    if (anew) {
      shape = next;
      const kept = select.value;
      select.replaceChildren(...options.map(([one, words]) => make("option", { value: one }, words)));
      if (options.some(([one]) => one === kept)) select.value = kept;
    }
    if (value !== null) follow(value);
    return anew;
  };
};

// Other children in a box; the focus stays, and what was unfolded or scrolled stays so. A child that is among
// them again is not taken out in between: it would lose a press that is under way.
const wayTo = (element, box) =>
  element === box
    ? []
    : [...wayTo(element.parentElement, box), [...element.parentElement.children].indexOf(element)];
const fill = (box, children) => {
  const staying = new Set(children);
  for (const child of [...box.childNodes]) if (!staying.has(child)) child.remove();
  for (const [at, child] of children.entries())
    if (box.childNodes[at] !== child) box.insertBefore(child, box.childNodes[at] ?? null);
};
export const refill = (box, ...children) => {
  const folds = () => [...box.querySelectorAll("details")],
    regions = () => [...box.querySelectorAll("[role=region]")];
  const open = folds().map((one) => one.open),
    scrolled = regions().map((one) => one.scrollTop);
  const held = document.activeElement;
  const way = held !== box && box.contains(held) ? wayTo(held, box) : null;
  fill(box, children);
  folds().forEach((one, at) => {
    one.open = open[at] ?? one.open;
  });
  regions().forEach((one, at) => {
    one.scrollTop = scrolled[at] ?? 0;
  });
  if (!way) return;
  const again = (held.id && byId(held.id)) || way.reduce((element, at) => element?.children[at], box);
  (again?.disabled ? again.parentElement.querySelector("button:not(:disabled)") : again)?.focus();
};

// What has the focus.
export const held = () => /** @type {HTMLElement} */ (document.activeElement);

/**
 * @param {string} id
 * @returns {any}  whatever the page has there
 */
export const byId = (id) => document.getElementById(id);
