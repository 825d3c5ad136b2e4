// Small pieces of page: an element with its attributes and children, and changes that touch only what changed.

export const make = (name, attributes = {}, ...children) => {
  const element = document.createElement(name);
  for (const [key, value] of Object.entries(attributes)) {
    if (key.startsWith("on")) element.addEventListener(key.slice(2), value);
    else if (value === true) element.setAttribute(key, "");
    else if (value !== false && value !== null && value !== undefined) element.setAttribute(key, value);
  }
  element.append(...children);
  return element;
};

export const say = (element, text) => { if (element.textContent !== text) element.textContent = text; };

export const mark = (element, name, value) => {
  const text = String(value);
  if (element.getAttribute(name) !== text) element.setAttribute(name, text);
};

export const byId = (id) => document.getElementById(id);
