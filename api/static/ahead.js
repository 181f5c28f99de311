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

/** Shapes of milestones, reached and expected; `core` is the core's recorded curve, if any. */
export function ahead(f, state, core, clock, words) {
  const milestones = milestonesOf(state);
  const out = [];
  const labels = [];
  for (const m of milestones) {
    if (m.target_c !== null && m.target_c !== undefined) out.push(...traces(f, m, core));
    if (m.reached_at !== null) out.push(...reached(f, m, clock, labels, words));
  }
  const open = f.ended ? [] : milestones.filter((m) => m.reached_at === null && m.forecast);
  out.push(...ways(f, open.filter((m) => m.of === "bake"), core));
  out.push(...ways(f, open.filter((m) => m.of === "cooling"), core));
  for (const m of open) out.push(...expected(f, m, clock, labels, words));
  return [...out, ...captions(f, labels)];
}

function traces(f, m, core) {
  const out = [];
  const y = f.y(m.target_c);
  for (const forecast of m.trace ?? []) {
    const start = core?.at(forecast.made_at) ?? null;
    if (forecast.expected_at === null || start === null || forecast.expected_at > f.to) continue;
    out.push(shape("path", { class: "trace", d: `M${f.x(forecast.made_at)} ${f.y(start)}L${f.x(forecast.expected_at)} ${y}` }));
  }
  return out;
}

function reached(f, m, clock, labels, words) {
  const x = f.x(m.reached_at);
  const y = f.y(m.temperature_c);
  const out = [
    shape("path", { class: "reached", d: `M${x} ${f.top}V${y}` }),
    shape("path", { class: "solid", d: `M${x} ${y - 7}l6 7l-6 7l-6 -7z` }),
  ];
  const lines = [`${m.name} ${clock.time(m.reached_at)}`];
  const early = m.first_quarter;
  words.push(`${m.name} reached at ${clock.time(m.reached_at)}${early?.expected_at ? `, said early: ${clock.time(early.expected_at)}` : ""}`);
  if (early && early.expected_at !== null && early.expected_at <= f.to) {
    // What was said at a quarter of the way stands beside what came true.
    const said = f.x(early.expected_at);
    const high = early.high_at === null ? f.right : Math.min(f.right, f.x(early.high_at));
    out.push(shape("path", { class: "range", d: `M${f.x(early.low_at)} ${y - 5}v10M${f.x(early.low_at)} ${y}H${high}M${high} ${y - 5}v10` }));
    out.push(shape("circle", { class: "said", cx: said, cy: y, r: 4.5 }));
    lines.push(`said ${clock.time(early.expected_at)}`);
  }
  labels.push({ x, lines, tone: "strong" });
  return out;
}

/** From the core now through the open milestones in their order: dashed, with a fan around it. */
function ways(f, milestones, core) {
  const start = core?.last;
  const usable = milestones.filter((m) => m.target_c !== null && m.target_c !== undefined && m.forecast.expected_at !== null && m.forecast.expected_at > f.now);
  if (!start || usable.length === 0) return settles(f, milestones, start);
  usable.sort((a, b) => a.forecast.expected_at - b.forecast.expected_at);
  const begin = { x: f.x(Math.max(start.t, Math.min(f.now, start.t + 60))), y: f.y(start.mean) };
  const at = (t, m) => ({ x: t === null ? f.right : Math.min(f.right, f.x(Math.max(t, f.now))), y: f.y(m.target_c) });
  const early = [begin, ...usable.map((m) => at(m.forecast.low_at, m))];
  const middle = [begin, ...usable.map((m) => at(m.forecast.expected_at, m))];
  const late = [begin, ...usable.map((m) => at(m.forecast.high_at, m))];
  return [
    shape("path", { class: "fan", d: `${smooth(early)}L${late.at(-1).x} ${late.at(-1).y}${smooth(late.reverse()).replace("M", "L")}Z` }),
    shape("path", { class: "ahead", d: smooth(middle) }),
    ...settles(f, milestones, start),
  ];
}

function settles(f, milestones, start) {
  const out = [];
  for (const m of milestones) {
    if (m.forecast.reachable || m.forecast.settles_c === null || !start) continue;
    const y = f.y(m.forecast.settles_c);
    out.push(shape("path", { class: "ahead", d: `M${f.x(start.t)} ${f.y(start.mean)}Q${f.x(start.t) + (f.right - f.x(start.t)) * 0.3} ${y} ${f.right} ${y}` }));
  }
  return out;
}

/** A curve through points whose steepness fades from one to the next, without overshooting. */
function smooth(points) {
  let d = `M${points[0].x.toFixed(1)} ${points[0].y.toFixed(1)}`;
  const slopes = points.slice(1).map((p, i) => (p.x === points[i].x ? 0 : (p.y - points[i].y) / (p.x - points[i].x)));
  const tangent = (i) => {
    if (slopes.length === 1) return slopes[0];
    if (i === 0) return slopes[0] * 1.25 - slopes[1] * 0.25;
    if (i === points.length - 1) return slopes[i - 1];
    return slopes[i - 1] * slopes[i] <= 0 ? 0 : (2 * slopes[i - 1] * slopes[i]) / (slopes[i - 1] + slopes[i]);
  };
  for (let i = 1; i < points.length; i += 1) {
    const [a, b] = [points[i - 1], points[i]];
    const third = (b.x - a.x) / 3;
    d += `C${(a.x + third).toFixed(1)} ${(a.y + tangent(i - 1) * third).toFixed(1)} ${(b.x - third).toFixed(1)} ${(b.y - tangent(i) * third).toFixed(1)} ${b.x.toFixed(1)} ${b.y.toFixed(1)}`;
  }
  return d;
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
  const high = forecast.high_at === null ? f.right : f.x(forecast.high_at);
  const until = forecast.high_at === null ? "perhaps never" : clock.time(forecast.high_at);
  words.push(`${m.name} expected at ${clock.time(forecast.expected_at)}, between ${clock.time(forecast.low_at)} and ${until}`);
  labels.push({ x, lines: [`${m.name} ${clock.time(forecast.expected_at)}`, `${clock.time(forecast.low_at)}\u2013${until}`], tone: "sure" });
  return [
    shape("path", { class: "expected", d: `M${x} ${f.top}V${y}` }),
    shape("path", { class: "range", d: `M${f.x(forecast.low_at)} ${y - 6}v12M${f.x(forecast.low_at)} ${y}H${high}M${high} ${y - 6}v12` }),
    shape("circle", { class: "said", cx: x, cy: y, r: 4.5 }),
  ];
}

/** The captions of the milestones, side by side where there is room, else one below the other. */
function captions(f, labels) {
  const out = [];
  const taken = [];
  for (const label of labels.sort((a, b) => a.x - b.x)) {
    const lines = label.lines.filter((text) => text !== "");
    const width = Math.max(...lines.map((text) => textWidth(text, f.size))) + 8;
    const flip = label.x + width > f.width - 4;
    const x = flip ? label.x - 7 : label.x + 7;
    const [a, b] = flip ? [x - width, x] : [x, x + width];
    let row = 0;
    while (taken.some((t) => t.row === row && a < t.b && b > t.a)) row += 1;
    taken.push({ row, a, b });
    lines.forEach((text, i) => {
      const y = f.top + f.size - 2 + (row * 2 + i) * (f.size + 3);
      out.push(shape("text", { class: `halo ${label.tone} ${i === 0 ? "bold" : ""}`, x, y, "text-anchor": flip ? "end" : "start" }, text));
    });
  }
  return out;
}
