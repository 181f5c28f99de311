// What is expected, right of now: the dashed way to each milestone, the 90 % interval as a soft
// fan, its time and range as a line, and earlier forecasts as faint traces.

import { shape, textWidth } from "./draw.js";
import { celsius } from "./units.js";

/** Every milestone of the batch, those of the bake first. */
export function milestonesOf(state) {
  return [
    ...(state.bake?.milestones ?? []).map((m) => ({ ...m, of: "bake" })),
    ...(state.cooling?.milestones ?? []).map((m) => ({ ...m, of: "cooling" })),
  ];
}

/** Milestones, reached and expected: their shapes and their captions; `core` is the core's curve. */
export function ahead(f, state, core, clock, words) {
  const milestones = milestonesOf(state);
  const shapes = [];
  const labels = [];
  for (const m of milestones) {
    if (m.target_c !== null && m.target_c !== undefined) {
      shapes.push(...traces(f, m, core, m.of === "bake" ? state.bake.in_at : state.cooling.started_at));
    }
    if (m.reached_at !== null) shapes.push(...reached(f, m, clock, labels, words));
  }
  const open = f.ended ? [] : milestones.filter((m) => m.reached_at === null && m.forecast);
  const last = core?.last;
  const now = last ? { x: f.x(Math.max(last.t, Math.min(f.now, last.t + 60))), y: f.y(last.mean), slope: slopeAt(f, core, last.t) } : null;
  const baking = open.filter((m) => m.of === "bake");
  shapes.push(...ways(f, baking, now));
  // While it still bakes, the cooling begins where the bake is expected to end.
  const done = baking.filter((m) => m.forecast.expected_at !== null && m.target_c !== null)
    .sort((a, b) => b.forecast.expected_at - a.forecast.expected_at)[0];
  const top = done ? { x: f.x(done.forecast.expected_at), y: f.y(done.target_c), slope: null } : now;
  shapes.push(...ways(f, open.filter((m) => m.of === "cooling"), top));
  for (const m of open) shapes.push(...expected(f, m, clock, labels, words));
  return { shapes, labels };
}

const MOST_TRACES = 8;

/** Earlier forecasts, each from where the core then was to when it was expected. */
function traces(f, m, core, began) {
  const said = (m.trace ?? []).filter((forecast) => began !== null && forecast.made_at >= began && forecast.expected_at !== null && forecast.expected_at <= f.to);
  const stride = Math.max(1, Math.ceil(said.length / MOST_TRACES));
  const out = [];
  for (let i = 0; i < said.length; i += stride) {
    const start = core?.at(said[i].made_at) ?? null;
    if (start === null || said[i].expected_at <= said[i].made_at) continue;
    const begin = { x: f.x(said[i].made_at), y: f.y(start) };
    const end = { x: f.x(said[i].expected_at), y: f.y(m.target_c) };
    out.push(shape("path", { class: "trace", d: bent([begin, end], slopeAt(f, core, said[i].made_at)) }));
  }
  return out;
}

/** The core's recorded steepness (pixels a pixel) over the minutes before t, null where unknown. */
function slopeAt(f, core, t) {
  const [now, before] = [core?.at(t) ?? null, core?.at(t - 300) ?? core?.at(t - 120) ?? null];
  if (now === null || before === null) return null;
  const span = core.at(t - 300) === null ? 120 : 300;
  return (f.y(now) - f.y(before)) / (f.x(t) - f.x(t - span));
}

function reached(f, m, clock, labels, words) {
  const x = f.x(m.reached_at);
  const y = f.y(m.temperature_c);
  const out = [
    shape("path", { class: "reached", d: `M${x} ${f.captions}V${y}` }),
    shape("path", { class: "solid", d: `M${x} ${y - 7}l6 7l-6 7l-6 -7z` }),
  ];
  const lines = [`${m.name} ${clock.time(m.reached_at)}`, lastCore(m)];
  const early = m.first_quarter;
  words.push(`${m.name}${lastCore(m, " of ")} reached at ${clock.time(m.reached_at)}${early?.expected_at ? `, said early: ${clock.time(early.expected_at)}` : ""}`);
  if (early && early.expected_at !== null && early.expected_at <= f.to) {
    // What was said at a quarter of the way stands beside what came true.
    const said = f.x(early.expected_at);
    const high = early.high_at === null ? f.right : Math.min(f.right, f.x(early.high_at));
    out.push(shape("path", { class: "range", d: `M${f.x(early.low_at)} ${y - 5}v10M${f.x(early.low_at)} ${y}H${high}M${high} ${y - 5}v10` }));
    out.push(shape("circle", { class: "said", cx: said, cy: y, r: 4.5 }));
    if (f.wide) lines.push(`said ${clock.time(early.expected_at)}`);
  }
  labels.push({ x, lines, tone: "strong" });
  return out;
}

/** From the core now through the open milestones in their order: dashed, with a fan around it. */
function ways(f, milestones, begin) {
  const usable = milestones.filter((m) => m.target_c !== null && m.target_c !== undefined && m.forecast.expected_at !== null && m.forecast.expected_at > f.now);
  if (!begin || usable.length === 0) return settles(f, milestones, begin);
  usable.sort((a, b) => a.forecast.expected_at - b.forecast.expected_at);
  const { slope } = begin;
  const at = (t, m) => ({ x: t === null ? f.right : Math.min(f.right, Math.max(begin.x, f.x(t))), y: f.y(m.target_c) });
  const early = [begin, ...usable.map((m) => at(m.forecast.low_at, m))];
  const middle = [begin, ...usable.map((m) => at(m.forecast.expected_at, m))];
  const late = [begin, ...usable.map((m) => at(m.forecast.high_at, m))];
  return [
    shape("path", { class: "fan", d: `${bent(early, slope)}${bent(late, slope, true)}Z` }),
    shape("path", { class: "ahead", d: bent(middle, slope) }),
    ...settles(f, milestones, begin),
  ];
}

function settles(f, milestones, begin) {
  const out = [];
  for (const m of milestones) {
    if (m.forecast.reachable || m.forecast.settles_c === null || !begin) continue;
    const y = f.y(m.forecast.settles_c);
    out.push(shape("path", { class: "ahead", d: `M${begin.x} ${begin.y}Q${begin.x + (f.right - begin.x) * 0.3} ${y} ${f.right} ${y}` }));
  }
  return out;
}

/**
 * A curve through points that leaves the first with the steepness `slope` and bends one way only:
 * what is forecast are the points; the way between them is drawn as heat usually goes.
 */
function bent(points, slope, backwards = false) {
  const means = points.slice(1).map((p, i) => (p.x === points[i].x ? 0 : (p.y - points[i].y) / (p.x - points[i].x)));
  const tangents = points.map((_, i) => {
    if (i === 0) return within(slope, means[0]);
    const last = i === points.length - 1;
    return last ? 0 : (2 * means[i - 1] * means[i]) / (means[i - 1] + means[i] || 1);
  });
  const n = points.length - 1;
  tangents[n] = tangents[n - 1] === 0 ? means[n - 1] : (means[n - 1] * means[n - 1]) / tangents[n - 1];
  tangents[n] = Math.sign(means[n - 1]) * Math.min(Math.abs(tangents[n]), 2.9 * Math.abs(means[n - 1]));
  const pieces = [];
  for (let i = 1; i < points.length; i += 1) {
    const [a, b] = [points[i - 1], points[i]];
    const third = (b.x - a.x) / 3;
    pieces.push([a, { x: a.x + third, y: a.y + tangents[i - 1] * third }, { x: b.x - third, y: b.y - tangents[i] * third }, b]);
  }
  const text = (p) => `${p.x.toFixed(1)} ${p.y.toFixed(1)}`;
  if (backwards) return `L${text(points[n])}${pieces.reverse().map(([a, c, d]) => `C${text(d)} ${text(c)} ${text(a)}`).join("")}`;
  return `M${text(points[0])}${pieces.map(([, c, d, b]) => `C${text(c)} ${text(d)} ${text(b)}`).join("")}`;
}

/** The steepness at the start, kept near the mean `m` of the way: heating bends less than cooling. */
function within(slope, m) {
  const [least, most] = m < 0 ? [0.7, 1.5] : [1, 2.8]; // on the screen, up is negative
  const size = slope === null || slope * m <= 0 ? Math.abs(m) : Math.abs(slope);
  return Math.sign(m) * Math.min(most * Math.abs(m), Math.max(least * Math.abs(m), size));
}

function expected(f, m, clock, labels, words) {
  const forecast = m.forecast;
  if (!forecast.reachable || forecast.expected_at === null) {
    const where = forecast.settles_c === null ? "" : `, settles at ${celsius(forecast.settles_c, 1)}`;
    words.push(`${m.name} will not be reached${where}${forecast.proposal ? `: ${forecast.proposal}` : ""}`);
    labels.push({ x: f.right, lines: [`${m.name}: not reached`, forecast.settles_c === null ? "" : `settles at ${celsius(forecast.settles_c)}`], tone: "sure" });
    return [];
  }
  const x = f.x(forecast.expected_at);
  const y = m.target_c === null || m.target_c === undefined ? f.bottom - 12 : f.y(m.target_c);
  const open = forecast.high_at === null || f.x(forecast.high_at) > f.right; // runs off the edge
  const high = open ? f.width : f.x(forecast.high_at);
  const until = forecast.high_at === null ? "perhaps never" : clock.time(forecast.high_at);
  words.push(`${m.name}${lastCore(m, " of ")} expected at ${clock.time(forecast.expected_at)}, between ${clock.time(forecast.low_at)} and ${until}`);
  labels.push({ x, lines: [`${m.name} ${clock.time(forecast.expected_at)}`, `${clock.time(forecast.low_at)}\u2013${until}`, lastCore(m)], tone: "sure" });
  return [
    shape("path", { class: "expected", d: `M${x} ${f.captions}V${y}` }),
    shape("path", { class: "range", d: `M${f.x(forecast.low_at)} ${y - 6}v12M${f.x(forecast.low_at)} ${y}H${high}${open ? "" : `M${high} ${y - 6}v12`}` }),
    shape("circle", { class: "said", cx: x, cy: y, r: 4.5 }),
  ];
}

/** Which core is the last, where there are several. */
function lastCore(m, before = "") {
  return m.core ? `${before}${m.core}` : "";
}

/** Give each caption its row: side by side where there is room, else one below the other. */
export function arrange(f, labels) {
  const taken = [];
  for (const label of labels.sort((a, b) => a.x - b.x)) {
    label.lines = label.lines.filter((text) => text !== "");
    const width = Math.max(...label.lines.map((text) => textWidth(text, f.size))) * 1.06 + 8;
    label.flip = label.x + width > f.width - 4;
    const x = label.flip ? label.x - 7 : label.x + 7;
    const [a, b] = label.flip ? [x - width, x] : [x, x + width];
    label.row = 0;
    while (taken.some((t) => t.row === label.row && a < t.b && b > t.a)) label.row += 1;
    taken.push({ row: label.row, a, b });
    label.at = x;
  }
  const tall = [];
  for (const label of labels) tall[label.row] = Math.max(tall[label.row] ?? 0, label.lines.length);
  labels.tops = tall.map((_, row) => tall.slice(0, row).reduce((sum, n) => sum + n, 0));
  return tall.reduce((sum, n) => sum + n, 0);
}

/** The captions of the milestones, in the rows that `arrange` gave them. */
export function captions(f, labels) {
  return labels.flatMap((label) => label.lines.map((text, i) => {
    const y = f.captions + (labels.tops[label.row] + i + 1) * (f.size + 3) - 4;
    const tone = i === 0 ? `${label.tone} bold` : "sure";
    return shape("text", { class: `halo ${tone}`, x: label.at, y, "text-anchor": label.flip ? "end" : "start" }, text);
  }));
}
