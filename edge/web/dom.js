// Elements: made, filled and kept. Everything that comes from outside is written as text, never as markup.

const SVG = "http://www.w3.org/2000/svg";

// Marks by name, drawn on 24 x 24. A mark is never alone: a word stands beside it.
const MARKS = {
  met: { line: "M5 13l4.5 4.5L19 8" },
  by_eye: { line: "M2.5 12s3.5-5.5 9.5-5.5 9.5 5.5 9.5 5.5-3.5 5.5-9.5 5.5S2.5 12 2.5 12z", dot: [12, 12, 2.6] },
  unmet: { fill: "M12 1.5L22.5 12 12 22.5 1.5 12z", cut: "M12 6.8v6.4M12 16.6v.4" },
  unknown: { dash: [12, 12, 9.5], line: "M9.3 9.7a2.8 2.8 0 115 1.8c-1.1 1-2.3 1.4-2.3 2.9M12 17.3v.3" },
  beyond: { line: "M4 12h9M9 7l5 5-5 5M19 4v16" },
  bad: { line: "M5 5l14 14M19 5L5 19" },
  trend: { line: "M3 20h18M3 15l5-5 4 3 8-9" },
  off: { line: "M5 12h14" },
  high: { fill: "M7.5 1.5h9L22.5 7.5v9l-6 6h-9l-6-6v-9z", cut: "M9 6.8v6.4M9 16.6v.4M15 6.8v6.4M15 16.6v.4" },
  medium: { fill: "M12 2L23 21.5H1z", cut: "M12 9v5.2M12 17.7v.4" },
  low: { line: "M12 3.5L21.5 20h-19zM12 10v4.5M12 17.3v.3" },
  aside: { line: "M4 18h16M7 18V6h10v12" },
  gone: { line: "M4 12a8 8 0 1013.7-5.7M18 2v5h-5" },
  ready: { fill: "M12 1a11 11 0 100 22 11 11 0 000-22z", cut: "M6.5 12.6l3.8 3.8 7.2-8" },
  not_ready: { fill: "M12 .5L23.5 12 12 23.5.5 12z", cut: "M12 6.2v7M12 17v.5" },
  waiting: { ring: [12, 12, 10], line: "M12 6v6.5l4.2 2.5" },
  cant_tell: { dash: [12, 12, 10], line: "M9 9.5a3.1 3.1 0 115.6 1.9c-1.2 1.1-2.6 1.6-2.6 3.3M12 17.8v.3" },
  in_use: { ring: [12, 12, 10], line: "M6 10c2-2 4-2 6 0s4 2 6 0M6 14.5c2-2 4-2 6 0s4 2 6 0" },
  reheating: { ring: [12, 12, 10], line: "M12 17.5V7M8 10.8L12 6.8l4 4" },
  by_hand: { line: "M4 12.5l4.5 4.5L20 5.5M4 21h16" },
  person: { line: "M12 12.5a4.2 4.2 0 100-8.4 4.2 4.2 0 000 8.4zM4 21c.6-4.4 4-6.2 8-6.2s7.4 1.8 8 6.2" },
  key: { line: "M8 12a4 4 0 11-.01 0M11.5 12.5L21 12.5v4M17 12.5v3" },
  at_rest: { fill: "M20.5 15.5A10 10 0 118.5 3.5a8 8 0 0012 12z" },
};

export const $ = (id) => document.getElementById(id);

export function make(tag, className, ...children) {
  const element = document.createElement(tag);
  if (className) element.className = className;
  element.append(...children);
  return element;
}

/** A button that does something. */
export function button(className, text, does) {
  const element = make("button", className, text);
  element.type = "button";
  element.addEventListener("click", does);
  return element;
}

/** Its first descendant of a class. */
export const part = (element, name) => element.querySelector("." + name);

export function put(element, text) {
  const plain = text === null || text === undefined ? "" : String(text);
  if (element.textContent !== plain) element.textContent = plain;
}

export function set(element, name, value) {
  if (value === null || value === undefined) element.removeAttribute(name);
  else if (element.getAttribute(name) !== String(value)) element.setAttribute(name, value);
}

/** Show or hide. */
export function show(element, is) {
  if (element.hidden === Boolean(is)) element.hidden = !is;
}

function shape(tag, looks) {
  const element = document.createElementNS(SVG, tag);
  for (const [name, value] of Object.entries(looks)) element.setAttribute(name, value);
  return element;
}
const STROKE = { fill: "none", stroke: "currentColor", "stroke-width": 2.6, "stroke-linecap": "round", "stroke-linejoin": "round" };

/** Draw a mark into an element, unless it is there already. */
export function draw(element, name) {
  if (element.dataset.mark === name) return;
  element.dataset.mark = name;
  const mark = MARKS[name] || MARKS.unknown;
  const svg = shape("svg", { viewBox: "0 0 24 24", "aria-hidden": "true", focusable: "false" });
  if (mark.fill) svg.append(shape("path", { d: mark.fill, fill: "currentColor" }));
  if (mark.ring) svg.append(shape("circle", { ...STROKE, cx: mark.ring[0], cy: mark.ring[1], r: mark.ring[2] }));
  if (mark.dash) svg.append(shape("circle", { ...STROKE, cx: mark.dash[0], cy: mark.dash[1], r: mark.dash[2], "stroke-dasharray": "4.2 3.6" }));
  if (mark.dot) svg.append(shape("circle", { cx: mark.dot[0], cy: mark.dot[1], r: mark.dot[2], fill: "currentColor" }));
  if (mark.line) svg.append(shape("path", { ...STROKE, d: mark.line }));
  if (mark.cut) svg.append(shape("path", { ...STROKE, d: mark.cut, class: "cut" }));
  element.replaceChildren(svg);
}

/** An element with a mark in it, for the eye alone. */
export function markOf(name) {
  const element = make("span", "mark");
  element.setAttribute("aria-hidden", "true");
  if (name) draw(element, name);
  return element;
}

/** Keep one element per key, in order, so that focus and reading position stay where they are. */
export function keep(list, items, key, create, update) {
  const old = new Map([...list.children].map((element) => [element.dataset.key, element]));
  items.forEach((item, at) => {
    const name = String(key(item));
    let element = old.get(name);
    old.delete(name);
    if (!element) {
      element = create(item);
      element.dataset.key = name;
    }
    if (list.children[at] !== element) list.insertBefore(element, list.children[at] || null);
    update(element, item, at);
  });
  for (const element of old.values()) element.remove();
}

/** A heading with what belongs under it. */
export function section(className, id, title, ...children) {
  const heading = make("h2", "", title);
  heading.id = `${id}-heading`;
  const element = make("section", className, heading, ...children);
  element.id = id;
  element.setAttribute("aria-labelledby", heading.id);
  return element;
}
