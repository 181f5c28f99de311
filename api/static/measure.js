// The measure line, drawn to scale: what is there as a thick line, the target as a pair of square
// brackets as wide as the tolerance, the value as a point with whiskers as long as its expanded
// uncertainty. The picture is the verdict.

import { redraw, scale, shape } from "./draw.js";
import { fixed } from "./units.js";

// Brackets closer together than this cannot be read: their surroundings are drawn again, larger.
const READABLE_PX = 90;

function brackets(x, low, high, y, half, lip, stroke) {
  const [a, b] = [x(low), x(high)];
  return [
    shape("path", { class: "bracket", d: `M${a + lip} ${y - half}H${a}V${y + half}H${a + lip}`, "stroke-width": stroke }),
    shape("path", { class: "bracket", d: `M${b - lip} ${y - half}H${b}V${y + half}H${b - lip}`, "stroke-width": stroke }),
  ];
}

function point(x, m, y, { radius, cap, stroke, left, right }) {
  const inside = (px) => Math.min(right, Math.max(left, px));
  const px = inside(x(m.value));
  const out = [];
  if (m.low !== null && m.high !== null && m.high > m.low && x(m.high) > left + 2 * cap && x(m.low) < right - 2 * cap) {
    const [a, b] = [inside(x(m.low)), inside(x(m.high))];
    const d = `M${a} ${y - cap}V${y + cap}M${a} ${y}H${b}M${b} ${y - cap}V${y + cap}`;
    out.push(shape("path", { class: "under-whisker", d, "stroke-width": stroke + 4, fill: "none" }));
    out.push(shape("path", { class: "whisker", d, "stroke-width": stroke }));
  }
  if (x(m.value) > right || x(m.value) < left) {
    // Beyond the drawing: an arrow at its edge says on which side.
    const s = x(m.value) > right ? 1 : -1;
    const tip = s > 0 ? right : left;
    out.push(shape("path", { class: "point", d: `M${tip} ${y}l${-s * radius * 2} ${-radius * 1.3}v${radius * 2.6}z` }));
  } else {
    out.push(shape("circle", { class: "point", cx: px, cy: y, r: radius, "stroke-width": stroke }));
  }
  return out;
}

function thick(x, from, value, y, width, left, right) {
  const end = Math.min(right, Math.max(left, x(value)));
  return shape("path", { class: "there", d: `M${Math.max(left, x(from))} ${y}H${end}`, "stroke-width": width });
}

/** The measure in the unit the page shows: grams for kilograms; times stay seconds. */
function inShownUnit(m) {
  if (m.unit !== "kg") return m;
  const grams = (value) => (value === null ? null : value * 1000);
  return {
    unit: "g", value: grams(m.value), low: grams(m.low), high: grams(m.high), from: grams(m.from), to: grams(m.to),
    target_low: grams(m.target_low), target_high: grams(m.target_high),
  };
}

/**
 * The large measure line under the number.
 *
 * `measure`: {value, low, high, target_low, target_high, unit, from, to}; low, high and the target may be null.
 */
export function drawMeasure(svg, measure, width, clock) {
  const m = inShownUnit(measure);
  if (m.unit === "time") {
    drawTimes(svg, m, width, clock);
    return;
  }
  const hasTarget = m.target_low !== null && m.target_high !== null;
  const left = 8;
  const right = width - 8;
  const from = Math.min(m.from, m.value);
  const to = Math.max(m.to, m.value);
  const x = scale(from, to, left, right);
  const y = 26;
  const shapes = [
    shape("path", { class: "axis", d: `M${left} ${y}H${right}` }),
    thick(x, from, m.value, y, 12, left, right),
  ];
  const apart = hasTarget ? x(m.target_high) - x(m.target_low) : READABLE_PX;
  const look = { radius: 7, cap: 13, stroke: 2.5, left, right };
  let height = 74;
  if (hasTarget) shapes.push(...brackets(x, m.target_low, m.target_high, y, 20, Math.min(8, apart / 3), 3));
  if (apart >= READABLE_PX || !hasTarget) {
    if (m.value > m.from) shapes.push(...point(x, m, y, look));
    shapes.push(...ends(x, m, y + 40, from, left, right, hasTarget));
  } else {
    shapes.push(...lens(x, m, y, width, left, right, look));
    shapes.push(shape("text", { x: left, y: y + 30 }, `${label(from, m)} ${m.unit}`));
    height = 126;
  }
  svg.style.height = `${height}px`;
  redraw(svg, width, height, shapes);
  svg.setAttribute("aria-label", inWords(m));
}

/** A time that is expected: from now on, the point with whiskers as long as the 90 % interval. */
function drawTimes(svg, m, width, clock) {
  const [left, right, y] = [8, width - 8, 26];
  const x = scale(m.from, m.to, left, right);
  const shapes = [
    shape("path", { class: "axis", d: `M${left} ${y}H${right}M${left} ${y - 7}V${y + 7}` }),
    ...point(x, m, y, { radius: 7, cap: 13, stroke: 2.5, left, right }),
    shape("text", { x: left, y: y + 40 }, "now"),
  ];
  const apart = x(m.high) - x(m.low) > 96;
  const ends = apart
    ? [[m.low, "middle", clock.time(m.low)], [m.high, "middle", clock.time(m.high)]]
    : [[(m.low + m.high) / 2, "middle", `${clock.time(m.low)}\u2013${clock.time(m.high)}`]];
  for (const [t, anchor, text] of ends) {
    const half = text.length * 4.2;
    const px = Math.min(right - half, Math.max(left + 40 + half, x(t)));
    shapes.push(shape("text", { x: px, y: y + 40, "text-anchor": anchor }, text));
  }
  svg.style.height = "74px";
  redraw(svg, width, 74, shapes);
  svg.setAttribute("aria-label", `Expected at ${clock.time(m.value)}, between ${clock.time(m.low)} and ${clock.time(m.high)}.`);
}

/** The surroundings of the target, drawn again at a scale at which whiskers can be seen. */
function lens(x, m, y, width, left, right, look) {
  const tolerance = (m.target_high - m.target_low) / 2;
  const middle = (m.target_high + m.target_low) / 2;
  const span = 3 * tolerance;
  const size = Math.min(width * 0.62, 420);
  const centre = Math.min(right - size / 2, Math.max(left + size / 2, x(middle)));
  const [a, b] = [centre - size / 2, centre + size / 2];
  const z = scale(middle - span, middle + span, a, b);
  const yy = y + 54;
  const out = [
    shape("path", { class: "lens", d: `M${x(m.target_low) - 4} ${y + 24}L${a} ${yy - 26}M${x(m.target_high) + 4} ${y + 24}L${b} ${yy - 26}` }),
    shape("path", { class: "axis", d: `M${a} ${yy}H${b}` }),
  ];
  const near = m.value > middle - span && m.value < middle + span;
  if (m.value > middle - span) out.push(thick(z, middle - span, m.value, yy, 12, a, b));
  out.push(...brackets(z, m.target_low, m.target_high, yy, 20, 9, 3));
  if (near || m.value > middle) out.push(...point(z, m, yy, { ...look, left: a, right: b }));
  for (const value of [m.target_low, m.target_high]) {
    out.push(shape("text", { x: z(value), y: yy + 40, "text-anchor": "middle" }, label(value, m)));
  }
  return out;
}

function ends(x, m, y, from, left, right, hasTarget) {
  const out = [];
  const marks = hasTarget ? [m.target_low, m.target_high] : [];
  const near = hasTarget && x(m.target_high) - x(m.target_low) < 110;
  if (!hasTarget || x(m.target_low) > left + 90) out.push(shape("text", { x: left, y }, `${label(from, m)} ${m.unit}`));
  marks.forEach((value, i) => {
    const px = Math.min(right - 24, Math.max(left + 24, x(value)));
    const anchor = near ? (i === 0 ? "end" : "start") : "middle";
    out.push(shape("text", { x: px, y, "text-anchor": anchor }, label(value, m)));
  });
  return out;
}

function label(value, m) {
  const fine = m.target_high !== null && m.target_low !== null && m.target_high - m.target_low < 12;
  return fixed(value, fine && Math.abs(value - Math.round(value)) > 0.04 ? 1 : 0);
}

/** What the drawing shows, said in words. */
export function inWords(m) {
  const parts = [`${label(m.value, m)} ${m.unit} there`];
  if (m.low !== null && m.high !== null && m.high > m.low) parts.push(`true value between ${fixed(m.low, 1)} and ${fixed(m.high, 1)}`);
  if (m.target_low !== null && m.target_high !== null) {
    parts.push(`target ${fixed(m.target_low, 1)} to ${fixed(m.target_high, 1)} ${m.unit}`);
  }
  return `${parts.join(", ")}.`;
}

/** The same drawing in small, for a weighed line of the formula (masses in kg). */
export function smallMeasure(line) {
  const [width, height, y] = [104, 20, 10];
  const svg = shape("svg", { viewBox: `0 0 ${width} ${height}`, "aria-hidden": "true" });
  if (line.lower_kg === null || line.upper_kg === null) return svg;
  const tolerance = (line.upper_kg - line.lower_kg) / 2;
  const middle = (line.upper_kg + line.lower_kg) / 2;
  const x = scale(middle - 3.2 * tolerance, middle + 3.2 * tolerance, 3, width - 3);
  svg.append(shape("path", { class: "axis", d: `M3 ${y}H${width - 3}` }));
  if (line.mass_kg !== null) svg.append(thick(x, middle - 3.2 * tolerance, line.mass_kg, y, 4, 3, width - 3));
  svg.append(...brackets(x, line.lower_kg, line.upper_kg, y, 8, 4, 1.75));
  if (line.mass_kg !== null) {
    const u = line.expanded_uncertainty_kg;
    const m = { value: line.mass_kg, low: u === null ? null : line.mass_kg - u, high: u === null ? null : line.mass_kg + u };
    svg.append(...point(x, m, y, { radius: 3.25, cap: 5, stroke: 1.5, left: 3, right: width - 3 }));
  }
  return svg;
}

/**
 * A ratio held against its classical range, in small; an end that no rule gives is null.
 *
 * The brackets stand at the same place in every row, so that what lies outside shows down a list.
 */
export function ratioMeasure(value, low, high) {
  const [width, height, y] = [104, 20, 10];
  const svg = shape("svg", { viewBox: `0 0 ${width} ${height}`, width, height, "aria-hidden": "true" });
  svg.append(shape("path", { class: "axis", d: `M3 ${y}H${width - 3}` }));
  if (low === null && high === null) return svg;
  const from = low ?? 0;
  const to = high ?? 2 * from;
  const [half, middle] = [(to - from) / 2, (to + from) / 2];
  const x = scale(middle - 3.2 * half, middle + 3.2 * half, 3, width - 3);
  const pair = brackets(x, from, to, y, 8, 4, 1.75);
  svg.append(thick(x, middle - 3.2 * half, value, y, 4, 3, width - 3));
  if (low !== null) svg.append(pair[0]);
  if (high !== null) svg.append(pair[1]);
  svg.append(...point(x, { value, low: null, high: null }, y, { radius: 3.25, cap: 5, stroke: 1.5, left: 3, right: width - 3 }));
  return svg;
}
