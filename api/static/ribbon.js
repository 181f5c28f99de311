// The ribbon: time on one axis from the batch's beginning to its serving. Left of now what was
// recorded, right of it what is expected. The record of a batch is the same ribbon with everything
// left of now; the plan of a day the same with everything right of it.

import { ahead, arrange, captions, milestonesOf } from "./ahead.js";
import { Curve } from "./curves.js";
import { redraw, scale, shape, textWidth } from "./draw.js";
import { celsius } from "./units.js";
import { capital } from "./words.js";

const STEPS_MIN = [1, 2, 5, 10, 15, 30, 60, 120, 240, 480];
const STAGE_WORDS = { weighing: "weighing", baking: "baking", cooling: "cooling", ready: "ready" };

export class Ribbon {
  constructor(svg, told, clock) {
    this.svg = svg;
    this.told = told;
    this.clock = clock;
    this.answer = null;
    this.curves = [];
    this.state = null;
    this.look = null;
    svg.addEventListener("pointermove", (event) => this.lookAt(event.clientX - svg.getBoundingClientRect().left));
    svg.addEventListener("pointerleave", () => this.lookAt(null));
    svg.addEventListener("keydown", (event) => this.keys(event));
    svg.addEventListener("blur", () => this.lookAt(null));
  }

  /** A new answer of /ribbon. */
  load(answer) {
    this.answer = answer;
    this.state = answer.state;
    this.curves = answer.curves.map((curve) => new Curve(curve));
  }

  /** A live reading: moves the end of its curve. */
  live(reading) {
    if (reading.value === null) return;
    this.curves.find((curve) => curve.channel === reading.channel)?.add(reading.t, reading.value);
  }

  lookAt(px) {
    this.look = px;
    if (this.frame) this.draw(this.frame.now);
  }

  keys(event) {
    const step = { ArrowLeft: -8, ArrowRight: 8 }[event.key];
    if (!step || !this.frame) return;
    event.preventDefault();
    const start = this.look ?? this.frame.x(this.frame.now);
    this.lookAt(Math.min(this.frame.right, Math.max(this.frame.left, start + step)));
  }

  /** Draw everything for the kitchen time `now` (seconds). */
  draw(now) {
    if (!this.answer) return;
    const width = this.svg.clientWidth;
    const height = this.svg.clientHeight;
    if (width < 50 || height < 50) return;
    const ended = this.state.closed_at !== null;
    const frame = this.layout(width, height, ended ? Math.min(now, this.state.closed_at) : now, ended);
    this.frame = frame;
    const words = [];
    const core = this.curves.find((curve) => curve.role === "core");
    // Captions need rows of their own above the plot: how many, their places along time tell.
    const rows = arrange(frame, ahead(frame, this.state, core, this.clock, []).labels);
    if (rows > 0) frame.top += rows * (frame.size + 3) + 4;
    frame.y = scale(frame.floor, frame.ceiling, frame.bottom, frame.top);
    const { shapes: expected, labels } = ahead(frame, this.state, core, this.clock, words);
    arrange(frame, labels);
    redraw(this.svg, width, height, [
      hatch(),
      ...this.axes(frame),
      ...this.stages(frame, words),
      ...this.doors(frame, words),
      ...this.recorded(frame, words),
      ...expected,
      ...this.names(frame),
      ...captions(frame, labels),
      ...this.marks(frame, words),
      ...(ended ? [] : this.nowLine(frame)),
      ...this.readout(frame),
    ]);
    this.tell(words);
  }

  layout(width, height, now, ended) {
    const wide = width >= 700;
    const size = wide ? 15 : 14;
    const [left, right] = [wide ? 56 : 38, width - (wide ? 28 : 10)];
    const targets = milestonesOf(this.state);
    const from = this.state.opened_at ?? this.answer.from_at;
    const times = targets.flatMap((m) => [m.reached_at, ...reach(m, from)]).filter((t) => t !== null && t !== undefined);
    const ahead = ended ? now : Math.max(now + Math.max(300, (now - from) * 0.18), ...times);
    const to = ended ? Math.max(now, ...times) : Math.ceil((ahead + (ahead - from) * 0.04) / 300) * 300;
    const values = this.curves.flatMap((curve) => curve.points.flatMap((p) => [p.min, p.max]));
    const wanted = targets.map((m) => m.target_c).filter((c) => c !== null && c !== undefined);
    const all = [...values, ...wanted];
    const low = all.length ? Math.min(...all) : 0;
    const high = all.length ? Math.max(...all) : 0;
    const captionsAt = size * 2 + 20;
    const top = captionsAt + size - 2;
    const bottom = height - size - 16;
    const [floor, ceiling] = [Math.floor(Math.min(low - 4, 15) / 5) * 5, high + (high - low) * 0.04 + 3];
    return {
      width, height, wide, size, left, right, top, bottom, from, to, now, ended, low, high, floor, ceiling,
      captions: captionsAt, any: all.length > 0, x: scale(from, to, left, right), y: scale(floor, ceiling, bottom, top),
    };
  }

  axes(f) {
    const out = [];
    if (f.any) {
      const room = f.bottom - f.top;
      const step = [5, 10, 20, 25, 50, 100].find((s) => ((f.high - f.low) / s) * 27 < room) ?? 100;
      for (let c = Math.ceil((f.low - 4) / step) * step; f.y(c) > f.top + 3; c += step) {
        const y = f.y(c);
        if (y > f.bottom) continue;
        out.push(shape("path", { class: "grid", d: `M${f.left} ${y}H${f.right}` }));
        out.push(shape("text", { x: f.left - 7, y: y + 5, "text-anchor": "end" }, String(c)));
      }
      out.push(shape("text", { x: f.left - 7, y: f.top - 9, "text-anchor": "end" }, "°C"));
    }
    out.push(shape("path", { class: "grid", d: `M${f.left} ${f.bottom}H${f.right}` }));
    const apart = textWidth("00:00", f.size) * (f.wide ? 2.2 : 1.7);
    const step = (STEPS_MIN.find((m) => f.x(f.from + m * 60) - f.left > apart) ?? 480) * 60;
    const nowAt = f.ended ? -1e9 : f.x(f.now);
    for (let t = Math.ceil(f.from / step) * step; t <= f.to; t += step) {
      const px = f.x(t);
      out.push(shape("path", { class: "grid", d: `M${px} ${f.bottom}v6` }));
      const half = textWidth("00:00", f.size) / 2;
      if (px + half > f.width || px - half < 0 || Math.abs(px - nowAt) < half + textWidth("now 00:00", f.size) / 2 + 6) continue;
      out.push(shape("text", { x: px, y: f.bottom + f.size + 7, "text-anchor": "middle" }, this.clock.time(t)));
    }
    return out;
  }

  stages(f, words) {
    const out = [];
    const y = f.size + 8;
    for (const span of this.answer.stages) {
      const end = span.to_at ?? f.now;
      const [a, b] = [f.x(span.from_at), f.x(Math.min(end, f.to))];
      const word = STAGE_WORDS[span.stage] ?? span.stage;
      words.push(`${word} from ${this.clock.time(span.from_at)}${span.to_at === null ? "" : ` to ${this.clock.time(span.to_at)}`}`);
      out.push(shape("path", { class: "reached", d: `M${a} ${y + 6}v-6H${b}` }));
      if (b - a > textWidth(word, f.size) + 8) out.push(shape("text", { x: a + 5, y: y - 6 }, word));
    }
    return out;
  }

  doors(f, words) {
    return (this.state.oven?.doors ?? []).map((door) => {
      const [a, b] = [f.x(door.start_at), f.x(door.end_at)];
      words.push(`oven door open at ${this.clock.time(door.start_at)}`);
      const rect = shape("rect", { class: "door", x: a, y: f.top, width: Math.max(2, b - a), height: f.bottom - f.top });
      rect.append(shape("title", {}, `Door open, ${this.clock.exact(door.start_at)}`));
      return rect;
    });
  }

  recorded(f, words) {
    const out = [];
    for (const curve of this.curves) {
      const kind = curve.role?.startsWith("oven") ? "oven" : curve.role?.startsWith("core") ? "core" : "other";
      for (const gap of curve.gaps) {
        const [a, b] = [f.x(Math.max(gap.from, f.from)), f.x(Math.min(gap.to, f.to))];
        if (b - a >= 2 && kind !== "other") out.push(shape("rect", { class: "missing", x: a, y: f.top, width: b - a, height: f.bottom - f.top }));
      }
      for (const stretch of curve.stretches()) {
        if (stretch.length > 1) out.push(shape("path", { class: `spread ${kind}`, d: area(stretch, f) }));
        out.push(shape("path", { class: kind, d: line(stretch, f) }));
      }
      const last = curve.last;
      if (last) words.push(`${curve.role ?? curve.channel} ${celsius(last.mean, 1)} at ${this.clock.time(last.t)}`);
    }
    return out;
  }

  /** Names and values at the ends of the curves: right of now, where only the dashed way is. */
  names(f) {
    const labels = [];
    for (const curve of this.curves) {
      const { last } = curve;
      const kind = curve.role?.startsWith("oven") ? "oven" : curve.role?.startsWith("core") ? "core" : "other";
      if (!last || (kind === "other" && !f.wide)) continue;
      if (f.ended) {
        const t = f.from + (f.to - f.from) * 0.6;
        const value = curve.at(t);
        if (value !== null) labels.push({ text: curve.role ?? curve.channel, x: f.x(t), y: f.y(value) - 9, kind });
        continue;
      }
      const text = `${curve.role ?? curve.channel} ${celsius(last.mean, kind === "oven" ? 0 : 1)}`;
      const before = curve.at(last.t - 240) ?? last.mean;
      const rising = kind === "core" && last.mean > before + 0.3;
      labels.push({ text, x: Math.max(f.x(last.t), f.ended ? 0 : f.x(f.now)), y: f.y(last.mean) + (rising ? f.size + 6 : kind === "core" ? -9 : 5), kind });
    }
    return placed(labels, f);
  }

  marks(f, words) {
    const out = [];
    const y = f.size + 26;
    const times = this.answer.additions.map((a) => f.x(a.at));
    const crowded = times.some((x, i) => i > 0 && x - times[i - 1] < 12);
    const r = crowded ? 3.5 : 5;
    for (const a of this.answer.additions) {
      const x = f.x(a.at);
      const name = (this.state.lines ?? []).find((l) => l.key === a.line)?.ingredient ?? a.line ?? "weighed";
      words.push(`${name} weighed at ${this.clock.time(a.at)}: ${a.verdict ?? "no target"}`);
      const mark = a.verdict === "over" ? shape("path", { class: "off", d: `M${x} ${y - r - 1}l${r + 1} ${r * 2}h${-2 * r - 2}z` })
        : a.verdict === "under" ? shape("path", { class: "off", d: `M${x} ${y + r + 1}l${r + 1} ${-2 * r}h${-2 * r - 2}z` })
        : shape("circle", { class: a.verdict === "within" ? "solid" : "hollow", cx: x, cy: y, r });
      mark.append(shape("title", {}, `${name}: ${a.verdict ?? "weighed"}`));
      out.push(mark);
    }
    const changes = this.state.cooling?.changes ?? [];
    let free = -1e9;
    for (const [i, change] of changes.entries()) {
      const x = f.x(change.changed_at);
      const text = change.place ?? change.what;
      words.push(`${change.what}${change.place ? ` to ${change.place}` : ""} at ${this.clock.time(change.changed_at)}`);
      out.push(shape("path", { class: "solid", d: `M${x} ${y - 7}l6 7l-6 7l-6 -7z` }));
      const room = (i + 1 < changes.length ? f.x(changes[i + 1].changed_at) - 8 : f.right) - x - 12;
      if (x > free && textWidth(text, f.size) < room) {
        out.push(shape("text", { class: "halo", x: x + 10, y: y + 5 }, text));
        free = x + 16 + textWidth(text, f.size);
      }
    }
    return out;
  }

  nowLine(f) {
    const x = f.x(f.now);
    const text = `now ${this.clock.time(f.now)}`;
    const half = textWidth(text, f.size) / 2;
    const at = Math.min(f.width - half - 4, Math.max(half + 4, x));
    return [
      shape("path", { class: "nowline", d: `M${x} ${f.size + 14}V${f.bottom + 6}` }),
      shape("text", { class: "nowtext", x: at, y: f.bottom + f.size + 7, "text-anchor": "middle" }, text),
    ];
  }

  /** Time and temperatures under the pointer (or moved to with the arrow keys). */
  readout(f) {
    if (this.look === null || this.look < f.left || this.look > f.right) return [];
    const t = f.from + ((this.look - f.left) / (f.right - f.left)) * (f.to - f.from);
    const parts = [this.clock.time(t)];
    for (const curve of this.curves) {
      const value = curve.at(t);
      if (value !== null) parts.push(`${curve.role ?? curve.channel} ${celsius(value, 1)}`);
    }
    const text = parts.join("  \u00b7  ");
    const wide = textWidth(text, f.size) + 18;
    const x = Math.min(f.right - wide, Math.max(f.left, this.look - wide / 2));
    return [
      shape("path", { class: "hair", d: `M${this.look} ${f.top - 6}V${f.bottom}` }),
      shape("rect", { class: "readout", x, y: f.bottom - f.size - 18, width: wide, height: f.size + 12, rx: 2 }),
      shape("text", { class: "strong", x: x + wide / 2, y: f.bottom - 10, "text-anchor": "middle" }, text),
    ];
  }

  tell(words) {
    const text = words.join("; ");
    if (text === this.said) return;
    this.said = text;
    this.svg.setAttribute("aria-label", `Ribbon: ${text}. The arrow keys read values off it.`);
    this.told.replaceChildren(...words.map((word) => {
      const row = document.createElement("li");
      row.textContent = `${capital(word)}.`;
      return row;
    }));
    this.told.parentElement.hidden = words.length === 0;
  }
}

function line(points, f) {
  return points.map((p, i) => `${i === 0 ? "M" : "L"}${f.x(p.t).toFixed(1)} ${f.y(p.mean).toFixed(1)}`).join("");
}

function area(points, f) {
  const up = points.map((p, i) => `${i === 0 ? "M" : "L"}${f.x(p.t).toFixed(1)} ${f.y(p.max).toFixed(1)}`);
  const down = [...points].reverse().map((p) => `L${f.x(p.t).toFixed(1)} ${f.y(p.min).toFixed(1)}`);
  return `${up.join("")}${down.join("")}Z`;
}

/** Names at the ends of the curves, moved apart where they would meet. */
function placed(labels, f) {
  const apart = f.size + 2;
  labels.sort((a, b) => a.y - b.y);
  let above = f.top - 6;
  for (const label of labels) above = label.y = Math.max(label.y, above + apart);
  let below = f.bottom - 4 + apart;
  for (const label of [...labels].reverse()) below = label.y = Math.min(label.y, below - apart);
  return labels.map((label) => {
    const room = f.right - label.x > textWidth(label.text, f.size) + 14;
    const tone = label.kind === "other" ? "" : "heat";
    const place = { x: room ? label.x + 9 : label.x - 8, y: label.y, "text-anchor": room ? "start" : "end" };
    return shape("text", { class: `halo ${tone} ${label.kind === "core" ? "bold" : ""}`, ...place }, label.text);
  });
}

/** How far along time a forecast is drawn: a wide interval runs off the edge before it squeezes all else. */
function reach(m, from) {
  const forecast = m.reached_at === null ? m.forecast : null;
  if (!forecast || forecast.expected_at === null) return [];
  const most = forecast.expected_at + 0.3 * (forecast.expected_at - from);
  return [forecast.expected_at, Math.min(forecast.high_at ?? most, most)];
}

function hatch() {
  const defs = shape("defs");
  const pattern = shape("pattern", { id: "hatch", width: 6, height: 6, patternUnits: "userSpaceOnUse", patternTransform: "rotate(45)" });
  pattern.append(shape("path", { class: "grid", d: "M0 0V6" }));
  defs.append(pattern);
  return defs;
}
