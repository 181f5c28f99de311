// The formula: one row a line, each weighed line closed with its measure and its word.

import { drawBudget } from "./budget.js";
import { element } from "./draw.js";
import { smallMeasure } from "./measure.js";
import { asksForRecovery } from "./recovery.js";
import { mass } from "./units.js";
import { into } from "./words.js";

const COARSE_KG = 0.01;

/** The word that closes a line: "within", "over by 6 g", "this scale can't tell". */
export function verdictWord(line) {
  if (line.event !== null && line.mass_kg === null && line.by === "count") return "in, by count";
  if (line.event !== null && line.mass_kg === null && line.by === "measure") return "in, by measure";
  if (line.verdict === null || line.verdict === undefined) return line.mass_kg === null ? "" : "weighed";
  const off = line.mass_kg === null || line.target_kg === null ? null : line.mass_kg - line.target_kg;
  const decimals = line.target_kg !== null && line.target_kg < COARSE_KG * 2 ? 1 : 0;
  if (line.verdict === "over" && off !== null) return `over by ${mass(off, decimals)}`;
  if (line.verdict === "under" && off !== null) return `under by ${mass(-off, decimals)}`;
  if (line.verdict === "undecidable") return line.mass_kg === null ? "not weighed" : "this scale can\u2019t tell";
  return line.verdict;
}

/** The target as the list shows it. */
function amount(line) {
  if (line.target_kg === null) return line.amount;
  const whole = Math.abs(line.target_kg * 1000 - Math.round(line.target_kg * 1000)) < 0.05;
  return mass(line.target_kg, line.target_kg < COARSE_KG * 2 && !whole ? 1 : 0);
}

/** The key of the line in hand, null when every line is decided. */
export function openLine(state) {
  const lines = state.lines ?? [];
  if (state.pouring && lines.some((line) => line.key === state.pouring.line)) return state.pouring.line;
  if (state.stage && state.stage !== "weighing") return null;
  const waiting = lines.find((line) => line.event === null && line.verdict === null);
  return waiting ? waiting.key : null;
}

/** Draw the list; `choose(key)` is called when a person picks the line that comes next. */
export function drawLines(list, state, choose) {
  const now = openLine(state);
  const choosable = !state.closed_at && (state.stage === null || state.stage === "weighing");
  const lines = state.lines ?? [];
  const several = new Set(lines.map((line) => line.formula)).size > 1;
  const rows = [];
  let [bowl, formula] = [null, null];
  for (const line of lines) {
    if (several && line.formula !== formula) {
      formula = line.formula;
      bowl = null;
      rows.push(element("li", { className: "of" }, element("h2", {}, formula)));
    }
    if (line.bowl !== bowl) {
      bowl = line.bowl;
      if (bowl) rows.push(element("li", { className: "bowl" }, into(bowl)));
    }
    rows.push(row(list, line, state, line.key === now, choosable ? choose : null));
  }
  const scrolled = list.dataset.open;
  const held = list.contains(document.activeElement) ? document.activeElement.dataset.holds : null;
  list.replaceChildren(...rows);
  if (held) list.querySelector(`[data-holds="${CSS.escape(held)}"]`)?.focus({ preventScroll: true });
  if ((now ?? "") !== scrolled) {
    list.dataset.open = now ?? "";
    keepInSight(list, list.querySelector(".open"));
  }
}

function row(list, line, state, open, choose) {
  const weighed = line.mass_kg !== null || line.verdict !== null;
  const asking = asksForRecovery(state);
  const classes = ["line"];
  if (open) classes.push("open");
  else if (!weighed) classes.push("coming");
  if (line.verdict === "over" || line.verdict === "under") classes.push("off");
  const box = element("div", { className: classes.join(" ") },
    name(line, weighed, open ? null : choose),
    element("span", { className: "amount" }, amount(line)),
    weighed && !open ? picture(list, line) : null,
    element("span", { className: "verdict" }, open && !weighed ? "now" : verdictWord(line)),
  );
  if (open) box.setAttribute("aria-current", "step");
  const item = element("li", {}, box);
  // What was done about an over-pour; while that is asked, the question stands under the number.
  if (line.way_back && !(asking && state.recovery.line === line.key)) item.append(element("p", { className: "aside" }, line.way_back));
  if (line.top_up_kg) item.append(element("p", { className: "aside" }, `${mass(line.top_up_kg, line.top_up_kg < COARSE_KG * 2 ? 1 : 0)} more, by the new target.`));
  if (list.dataset.told === line.key && line.budget) item.append(drawBudget(line));
  return item;
}

/** The ingredient; where another line can be picked, its button reaches over the whole row. */
function name(line, weighed, choose) {
  if (choose === null) return element("span", { className: "name" }, line.ingredient);
  const button = element("button", { type: "button", className: "name pick" }, line.ingredient);
  button.title = weighed ? "Weigh this line again" : "Weigh this line next";
  button.dataset.holds = `pick ${line.key}`;
  button.addEventListener("click", () => choose(line.key));
  return button;
}

/** The measure in small; it opens the budget of its uncertainty where the event brought one. */
function picture(list, line) {
  if (!line.budget) return smallMeasure(line);
  const told = list.dataset.told === line.key;
  const button = element("button", { type: "button", className: "picture" }, smallMeasure(line));
  button.dataset.holds = `told ${line.key}`;
  button.setAttribute("aria-label", `What the uncertainty of ${line.ingredient} is made of`);
  button.setAttribute("aria-expanded", String(told));
  button.addEventListener("click", () => {
    list.dataset.told = told ? "" : line.key;
    list.dispatchEvent(new CustomEvent("told"));
  });
  return button;
}

/** Scroll the list so that the line in hand is seen. */
export function keepInSight(list, open) {
  const room = list.parentElement;
  if (room.scrollHeight <= room.clientHeight) return;
  if (!open) {
    room.scrollTop = 0;
    return;
  }
  const top = open.getBoundingClientRect().top - room.getBoundingClientRect().top;
  if (top < 40 || top > room.clientHeight - 90) room.scrollTop += top - room.clientHeight / 3;
}
