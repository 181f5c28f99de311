// After the end: what was said beside what came true, and how the oven held.

import { element } from "./draw.js";
import { milestonesOf } from "./ahead.js";
import { celsius, duration, fixed } from "./units.js";
import { capital } from "./words.js";

/** Draw the summary of a batch whose milestones are all reached, or that was closed. */
export function drawSummary(box, state, clock) {
  const milestones = milestonesOf(state);
  const over = state.stage === "ready" || state.closed_at !== null;
  box.hidden = !over || (milestones.length === 0 && !state.oven?.cycles);
  const shape = box.hidden ? "" : JSON.stringify([milestones, state.oven]);
  if (shape === box.dataset.shape) return;
  box.dataset.shape = shape;
  if (box.hidden) return;
  const rows = milestones.map((m) => milestoneRow(m, clock));
  const parts = [element("table", {},
    element("thead", {}, element("tr", {}, ...["", "Came true", "Said at a quarter of the way"].map((text) => element("th", { scope: "col" }, text)))),
    element("tbody", {}, ...rows, ovenRow(state)),
  )];
  box.replaceChildren(...parts);
}

function milestoneRow(m, clock) {
  const came = m.reached_at === null ? "not reached" : clock.time(m.reached_at);
  const said = m.first_quarter;
  const cell = element("td");
  if (said === null || said === undefined) cell.append(element("span", { className: "small" }, "nothing yet by then"));
  else if (said.expected_at === null) cell.append("would not be reached");
  else {
    const until = said.high_at === null ? "perhaps never" : clock.time(said.high_at);
    cell.append(
      element("span", { className: "said" }, clock.time(said.expected_at)),
      element("span", { className: "small" }, ` between ${clock.time(said.low_at)} and ${until}${m.reached_at === null ? "" : `; ${difference(m.reached_at - said.expected_at)}`}`),
    );
  }
  return element("tr", {},
    element("th", { scope: "row" }, capital(m.name)),
    element("td", {}, element("span", { className: "true" }, came),
      m.temperature_c === null ? null : element("span", { className: "small" }, ` at ${celsius(m.temperature_c, 1)}${m.core ? `, the last was ${m.core}` : ""}`)),
    cell,
  );
}

function difference(seconds) {
  if (Math.abs(seconds) < 30) return "came true to the minute";
  return `came true ${duration(Math.abs(seconds))} ${seconds > 0 ? "later" : "earlier"}`;
}

function ovenRow(state) {
  const oven = state.oven;
  if (!oven || oven.mean_c === null) return null;
  const dial = oven.set_point_c === null ? "" : `dial ${celsius(oven.set_point_c)}`;
  const offset = oven.offset_c === null ? "" : `${oven.offset_c > 0 ? "+" : ""}${fixed(oven.offset_c, 1)}\u00a0K`;
  const swing = oven.swing_c === null ? "" : `swings ${fixed(oven.swing_c, 0)}\u00a0K`;
  return element("tr", {},
    element("th", { scope: "row" }, "Oven"),
    element("td", {}, element("span", { className: "true" }, celsius(oven.mean_c)), element("span", { className: "small" }, dial && ` ${dial}`)),
    element("td", {}, offset ? `${offset} from its dial` : "", element("span", { className: "small" }, ` ${[swing, `${oven.cycles} cycles`].filter(Boolean).join(", ")}`)),
  );
}
