// What happened, as a quiet list: one plain sentence an event, newest first.

import { element } from "./draw.js";
import { celsius, duration, mass } from "./units.js";
import { capital } from "./words.js";

const KEEP = 80;

const CHOSEN = { leave: "left as it is", "take back": "taken back", rescale: "all made larger", reassign: "it was another line\u2019s", container: "it was a container" };

function oneLine(event, name) {
  switch (event.kind) {
    case "batch.opened": return `Batch opened${event.title ? `: ${event.title}` : ""}.`;
    case "batch.stage": return { weighing: "Weighing began.", baking: "Baking.", cooling: "Cooling.", ready: "Ready to frost." }[event.stage] ?? `${event.stage}.`;
    case "batch.closed": return "Batch closed.";
    case "weighing.container": return `Bowl on the scale, ${mass(event.mass_kg)}.`;
    case "weighing.removed": return event.line ? `${name(event.line)}: ${mass(Math.abs(event.mass_kg))} taken back.` : "Bowl lifted off.";
    case "weighing.addition": return addition(event, name);
    case "weighing.recovery": return event.chosen ? `${name(event.line)} over: ${CHOSEN[event.chosen] ?? event.chosen}.` : `${name(event.line)} went over; choose a way back.`;
    case "oven.preheated": return `Oven holds ${celsius(event.set_point_c)} (mean ${celsius(event.mean_c, 1)}).`;
    case "oven.door": return event.depth_c === 0 ? "Door opened (as marked)." : `Door open ${duration(event.end_at - event.start_at)}, down ${Math.round(Math.abs(event.depth_c))}\u00a0K.`;
    case "oven.recovered": return `Oven back at its mean after ${duration(event.after_s)}.`;
    case "oven.drift": return `The oven has moved ${event.shift_c.toFixed(1)}\u00a0K since ${event.since_batch ?? "earlier bakes"}${event.dial_advice_c === null ? "" : `; set the dial to ${celsius(event.dial_advice_c)}`}.`;
    case "bake.in": return `Into the oven${event.how === "noticed" ? " (noticed)" : ""}.`;
    case "bake.window": case "bake.threshold": return `${capital(event.text)}${event.text.endsWith(".") ? "" : "."}`;
    case "bake.test": return `Centre test: ${event.result}${event.core_c === null ? "" : ` at ${celsius(event.core_c, 1)}`}.`;
    case "bake.out": return `Out of the oven${event.how === "noticed" ? " (noticed)" : ""}.`;
    case "bake.reached": case "cooling.reached": return `${capital(event.milestone)}: ${celsius(event.temperature_c, 1)} reached${event.core ? `, ${event.core} the last` : ""}.`;
    case "cooling.started": return "Cooling began.";
    case "cooling.changed": return `${capital(event.what)}${event.place ? `: ${event.place}` : ""}.`;
    case "safety.cooling": case "alert": return event.text;
    case "instrument.state": return `${event.instrument} is ${event.state}.`;
    case "clock.jump": return `The clock at ${event.instrument} stepped by ${duration(Math.abs(event.jump_s))}.`;
    default: return null; // pouring, cycles and forecasts are drawn, not listed
  }
}

function addition(event, name) {
  const what = event.line === null ? "Weighed" : name(event.line);
  if (event.mass_kg === 0 && event.scale === null) return `${what}: it was another line\u2019s; open again.`;
  if (event.mass_kg === null) return `${what}: confirmed without weighing.`;
  const decimals = event.mass_kg < 0.02 ? 1 : 0;
  const word = { within: "within", over: "over", under: "under", undecidable: "this scale can\u2019t tell" }[event.verdict];
  return `${what}: ${mass(event.mass_kg, decimals)}${word ? `, ${word}` : ""}.`;
}

const LOUD = new Set(["alert", "safety.cooling", "oven.drift", "bake.in", "bake.out", "bake.reached", "cooling.reached", "batch.opened", "batch.closed"]);

/** The list of what happened; keeps only the newest lines. */
export class Happenings {
  constructor(section, list, clock) {
    this.section = section;
    this.list = list;
    this.clock = clock;
    this.names = new Map();
    this.rows = new Map();
    this.asked = new Map();
    this.batch = null;
  }

  /** Begin anew for another batch. */
  of(batch) {
    if (batch === this.batch) return;
    this.batch = batch;
    this.rows.clear();
    this.asked.clear();
    this.list.replaceChildren();
    this.section.hidden = true;
  }

  /** Whether it only asks again what was asked before: the ways back change, the question does not. */
  askedAgain(event) {
    if (event.kind !== "weighing.recovery") return false;
    const first = this.asked.get(event.line);
    if (event.chosen !== null) this.asked.delete(event.line);
    else if (first === undefined || event.id < first) this.asked.set(event.line, event.id);
    return event.chosen === null && first !== undefined && event.id > first;
  }

  /** Ingredient names of the lines, by key. */
  know(lines) {
    for (const line of lines) this.names.set(line.key, line.ingredient);
  }

  /** Add an event of the batch; one that is known already (live and fetched) changes nothing. */
  add(event) {
    if (event.batch !== this.batch || this.rows.has(event.id)) return;
    const text = oneLine(event, (key) => capital(this.names.get(key) ?? key));
    if (text === null || this.askedAgain(event)) return;
    const row = element(
      "li", { className: LOUD.has(event.kind) ? "loud" : "" },
      element("time", {}, this.clock.time(event.at)), element("span", {}, text),
    );
    this.rows.set(event.id, row);
    const newer = [...this.rows.keys()].filter((id) => id > event.id);
    if (newer.length === 0) this.list.prepend(row);
    else this.rows.get(Math.min(...newer)).after(row);
    while (this.rows.size > KEEP) {
      const oldest = Math.min(...this.rows.keys());
      this.rows.get(oldest).remove();
      this.rows.delete(oldest);
    }
    this.section.hidden = false;
  }
}
