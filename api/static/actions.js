// What a hand can tell the kitchen log: the next thing as one large button (and any key), the rest
// beside it, quieter.

import { element } from "./draw.js";
import { openLine } from "./lines.js";

export const PLACES = [
  "in pan, on rack", "in pan, on counter", "out of pan, on rack", "rack with fan", "refrigerator", "freezer", "ice bath",
];
const TESTS = ["wet", "moist crumbs", "clean"];
const ARMED_MS = 5_000;

/** What can be done in this state: the first is what comes next. Each {label, mark | command | choices, twice}. */
export function possible(state) {
  if (!state || !state.batch) return [];
  if (state.closed_at !== null) return [{ label: "Open another batch\u2026", reveals: "begin", quiet: true }];
  const close = { label: "Close the batch", mark: { mark: "close batch" }, twice: true };
  if (state.stage === "cooling" || state.stage === "ready") {
    const moved = { label: "Moved\u2026", choices: PLACES.map((place) => ({ label: place, mark: { mark: "moved", place } })) };
    return state.stage === "ready" ? [close, moved] : [moved, { ...close, quiet: true }];
  }
  if (state.stage === "baking") {
    return [
      { label: "Out of the oven", mark: { mark: "out of oven" }, twice: true },
      { label: "Centre test\u2026", choices: TESTS.map((result) => ({ label: result, mark: { mark: "centre test", result } })) },
    ];
  }
  return weighing(state);
}

function weighing(state) {
  const key = openLine(state);
  const line = (state.lines ?? []).find((l) => l.key === key);
  const scale = Object.entries(state.channels ?? {}).find(([, role]) => role === "scale")?.[0];
  const tare = scale ? { label: "Tare", command: { instrument: scale.split("/")[0], command: "tare" } } : null;
  const into = { label: "Into the oven", mark: { mark: "into oven" }, twice: true };
  if (!line) return [into, tare].filter(Boolean);
  // What is counted or spooned goes in without a weighing; put on the scale, it is weighed all the same.
  const counted = line.by === "count" || line.by === "measure";
  const confirm = { label: counted && !state.pouring ? `In: ${line.amount}` : `Confirm ${line.ingredient}`, mark: { mark: "confirm", line: key } };
  const list = state.pouring || line.by === "count" ? [confirm, tare] : [tare, confirm];
  if (state.lines.every((l) => l.target_kg === null || l.verdict !== null || l.key === key)) list.push(into);
  return list.filter(Boolean);
}

/** The buttons. `send(action)` sends a mark or a command and resolves when it is stored or answered. */
export class Actions {
  constructor(box, choices, refused, send) {
    this.box = box;
    this.choices = choices;
    this.refused = refused;
    this.send = send;
    this.list = [];
    this.busy = false;
    this.armed = null;
    document.addEventListener("keydown", (event) => this.key(event));
  }

  show(state) {
    const list = possible(state);
    const shape = JSON.stringify(list);
    if (shape === this.shape) return;
    this.shape = shape;
    this.list = list;
    this.disarm();
    this.choices.hidden = true;
    this.draw();
  }

  draw() {
    const focused = this.box.contains(document.activeElement) ? document.activeElement.dataset.label : null;
    this.box.replaceChildren(...this.list.map((action, i) => {
      const text = this.armed === action ? `${action.label}: press again` : action.label;
      const button = element("button", { type: "button", className: i === 0 && !action.quiet ? "next" : "" }, text);
      button.dataset.label = action.label;
      if (action.title) button.title = action.title;
      if (action.choices) button.setAttribute("aria-expanded", String(!this.choices.hidden));
      button.disabled = this.busy;
      button.addEventListener("click", () => this.take(action, false));
      return button;
    }));
    if (focused) this.box.querySelector(`[data-label="${CSS.escape(focused)}"]`)?.focus();
  }

  /** A stage is not left by one stray key: the second press within five seconds does it. */
  take(action, byKey) {
    if (this.busy) return;
    if (action.choices) {
      this.open(action);
      return;
    }
    if (action.reveals) {
      const part = document.getElementById(action.reveals);
      part.hidden = !part.hidden;
      return;
    }
    if (action.twice && byKey && this.armed !== action) {
      this.armed = action;
      clearTimeout(this.timer);
      this.timer = setTimeout(() => { this.disarm(); this.draw(); }, ARMED_MS);
      this.draw();
      return;
    }
    this.disarm();
    this.run(action);
  }

  disarm() {
    this.armed = null;
    clearTimeout(this.timer);
  }

  open(action) {
    const same = !this.choices.hidden && this.choices.dataset.of === action.label;
    this.choices.hidden = same;
    this.choices.dataset.of = action.label;
    this.choices.replaceChildren(...action.choices.map((choice) => {
      const button = element("button", { type: "button" }, choice.label);
      button.addEventListener("click", () => this.run(choice));
      return button;
    }));
    this.draw();
    if (!same) this.choices.querySelector("button")?.focus();
  }

  async run(action) {
    this.busy = true;
    this.refused.hidden = true;
    this.draw();
    try {
      await this.send(action);
      this.choices.hidden = true;
    } catch (error) {
      this.refused.textContent = error.message;
      this.refused.hidden = false;
    } finally {
      this.busy = false;
      this.draw();
    }
  }

  /** Any key is 'next', except those that belong to the browser or to a control in hand. */
  key(event) {
    if (event.defaultPrevented || event.repeat || event.ctrlKey || event.metaKey || event.altKey) return;
    if (event.key === "Escape") {
      this.choices.hidden = true;
      this.disarm();
      this.draw();
      return;
    }
    const printable = event.key.length === 1 || event.key === "Enter";
    // Enter and space press the control that has the focus; letters belong to what is written in.
    const pressing = event.key === "Enter" || event.key === " ";
    const controls = pressing ? "button, a, summary, label, input, select, textarea" : "input, select, textarea";
    const own = event.target instanceof Element && event.target.closest(controls);
    if (!printable || own || this.list.length === 0) return;
    event.preventDefault();
    this.take(this.list[0], true);
  }
}
