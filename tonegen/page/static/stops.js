// Things that belong together are one Tab stop; arrow keys go from one to the next (WAI-ARIA Authoring
// Practices: toolbar, grid). The stop is where the focus was last, at first what is on.

const FOCUSED = "button, input, select, textarea, summary, a[href]";
const ON = "[aria-pressed=true], [aria-current=step], [aria-current=page]";
const WAYS = { ArrowLeft: -1, ArrowRight: 1, ArrowUp: -1, ArrowDown: 1 };

/** @returns {any[]}  whatever of a box can have the focus */
const there = (box, of) =>
  [...box.querySelectorAll(of)].filter((one) => {
    const hidden = one.closest("[hidden]");
    return !one.disabled && (!hidden || hidden === box || !box.contains(hidden));
  });
const stopAt = (elements, stops) => {
  for (const one of elements) {
    const next = stops(one) ? 0 : -1;
    if (one.tabIndex !== next) one.tabIndex = next;
  }
};
const watched = (box, settle) => {
  new MutationObserver(settle).observe(box, {
    subtree: true,
    childList: true,
    attributeFilter: ["disabled", "hidden"],
  });
  settle();
};
const goTo = (element, event) => {
  if (!element) return;
  event.preventDefault();
  event.stopPropagation();
  element.focus();
};
const middleOf = (element) => {
  const { left, top, width, height } = element.getBoundingClientRect();
  return { x: left + width / 2, y: top + height / 2 };
};
// The nearest above or below, as it is laid out on this screen.
const beyond = (all, from, way) => {
  const here = middleOf(from);
  const found = all
    .filter((one) => one.checkVisibility())
    .map((one) => ({ one, at: middleOf(one) }))
    .filter(({ at }) => way * (at.y - here.y) > from.offsetHeight / 2);
  const nearest = Math.min(...found.map(({ at }) => way * at.y));
  return found
    .filter(({ at }) => way * at.y < nearest + from.offsetHeight / 2)
    .sort((one, other) => Math.abs(one.at.x - here.x) - Math.abs(other.at.x - here.x))[0]?.one;
};

/**
 * @param {HTMLElement} box
 * @param {{ of?: string, name?: string, down?: boolean }} how  of : what is gone to
 *   name : of a bar of tools. down : a list, gone through by up and down alone
 */
export const oneStop = (box, { of = "button", name = "", down = false } = {}) => {
  let stop = null,
    place = 0;
  const settle = () => {
    const all = there(box, of);
    if (!all.includes(stop))
      stop = all.find((one) => one.matches(ON)) ?? all[Math.min(place, all.length - 1)] ?? null;
    place = Math.max(0, all.indexOf(stop));
    const passed = box.closest("[data-passed=true]");
    stopAt(all, (one) => one === stop && !passed);
  };
  box.dataset.keys = "arrows";
  box.dataset.stops = of;
  box.addEventListener("settle", settle);
  if (name) {
    box.setAttribute("role", "toolbar");
    box.setAttribute("aria-label", name);
  }
  box.addEventListener("focusin", ({ target }) => {
    if (!(target instanceof Element) || !target.matches(of)) return;
    stop = target;
    settle();
  });
  box.addEventListener("keydown", (event) => {
    const { target, key } = event;
    if (event.defaultPrevented || event.ctrlKey || event.metaKey || event.altKey) return;
    if (!(target instanceof HTMLElement) || !target.matches(of)) return;
    const all = there(box, of).filter((one) => one.checkVisibility()),
      at = all.indexOf(target);
    const across = key === "ArrowLeft" || key === "ArrowRight";
    if (key === "Home" || key === "End") goTo(all.at(key === "Home" ? 0 : -1), event);
    else if (across && !down) goTo(all[at + WAYS[key]], event);
    else if (key in WAYS && !across && !target.matches("select, [type=range]"))
      goTo(down ? all[at + WAYS[key]] : beyond(all, target, WAYS[key]), event);
  });
  watched(box, settle);
};

/**
 * Of rows with several fields, each list by itself, only the one that was last gone into is passed by Tab; up
 * and down go to the same field of the next, where the field has no use for them itself.
 *
 * @param {HTMLElement} box
 * @param {string} row
 */
export const oneRow = (box, row) => {
  const into = new Set();
  /** @type {number[]} */
  let places = []; // of each list, in their order
  const settle = () => {
    const all = there(box, row);
    const lists = [...new Set(all.map((one) => one.parentElement))];
    places = lists.map((list, at) => {
      const rows = all.filter((one) => one.parentElement === list);
      const now = rows.find((one) => into.has(one)) ?? rows[Math.min(places[at] ?? 0, rows.length - 1)];
      for (const one of rows) showRow(one, one === now);
      return rows.indexOf(now);
    });
  };
  box.dataset.keys = "rows";
  box.addEventListener("focusin", ({ target }) => {
    const gone = target instanceof Element && target.closest(row);
    if (!gone || into.has(gone)) return;
    for (const one of gone.parentElement.children) into.delete(one);
    into.add(gone);
    settle();
  });
  box.addEventListener("keydown", (event) => {
    const { target, key } = event;
    if (event.defaultPrevented || (key !== "ArrowUp" && key !== "ArrowDown")) return;
    if (!(target instanceof HTMLElement) || target.matches("select, textarea, [type=number], [type=range]"))
      return;
    const from = target.closest(row);
    if (!from) return;
    const rows = there(box, row).filter((one) => one.parentElement === from.parentElement),
      next = rows[rows.indexOf(from) + WAYS[key]];
    const fields = next ? there(next, FOCUSED) : [];
    goTo(fields[Math.min(there(from, FOCUSED).indexOf(target), fields.length - 1)], event);
  });
  watched(box, settle);
};
const ARROWS = "[data-keys=arrows]";
const showRow = (row, on) => {
  row.dataset.passed = String(!on);
  const inner = (one) => row.contains(one.closest(ARROWS));
  stopAt(
    there(row, FOCUSED).filter((one) => !inner(one)),
    () => on,
  );
  for (const one of row.querySelectorAll(ARROWS)) one.dispatchEvent(new Event("settle"));
};
