// The few strokes from which measure line and ribbon are drawn.

const SVG = "http://www.w3.org/2000/svg";

/** An SVG element with attributes; `text` becomes its text. */
export function shape(name, attributes = {}, text = null) {
  const element = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) {
    if (value === null || value === undefined) continue;
    element.setAttribute(key, typeof value === "number" ? String(Math.round(value * 100) / 100) : value);
  }
  if (text !== null) element.textContent = text;
  return element;
}

/** Replace what is in `svg` by `shapes`, drawn in pixels of its own size. */
export function redraw(svg, width, height, shapes) {
  svg.setAttribute("viewBox", `0 0 ${width} ${height}`);
  svg.replaceChildren(...shapes);
}

/** An HTML element with properties and children. */
export function element(name, properties = {}, ...children) {
  const node = document.createElement(name);
  for (const [key, value] of Object.entries(properties)) {
    if (value === null || value === undefined) continue;
    if (key in node && key !== "list") node[key] = value;
    else node.setAttribute(key, value);
  }
  node.append(...children.filter((child) => child !== null && child !== undefined));
  return node;
}

/** A linear scale from [from, to] to [left, right]. */
export function scale(from, to, left, right) {
  const factor = to === from ? 0 : (right - left) / (to - from);
  return (value) => left + (value - from) * factor;
}

/** Width in pixels that a text of `--small` size takes, near enough to keep labels apart. */
export function textWidth(text, size = 15) {
  return text.length * size * 0.53;
}
