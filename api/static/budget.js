// What the uncertainty of a weighed line is made of: a small breakdown, on request.

import { element } from "./draw.js";
import { mass } from "./units.js";

const PARTS = {
  resolution_kg: "the scale\u2019s steps, at zero and at load",
  repeatability_kg: "how steadily it repeats",
  class_error_kg: "its accuracy class",
  calibration_kg: "its calibration",
  drift_kg: "drift since the tare",
  splice_kg: "a zero set while pouring",
};

/** Decimals that show a small uncertainty with two figures. */
function fine(kg) {
  return kg < 0.0001 ? 3 : kg < 0.01 ? 2 : 1;
}

/** The probability in words that never say more than is known. */
export function chance(probability) {
  if (probability > 0.999) return "over 99.9\u00a0%";
  if (probability < 0.001) return "under 0.1\u00a0%";
  return `${(probability * 100).toFixed(1)}\u00a0%`;
}

/** The breakdown of a line with `budget` (standard uncertainties in kg). */
export function drawBudget(line) {
  const rows = Object.entries(PARTS)
    .filter(([key]) => line.budget[key])
    .map(([key, words]) => [words, mass(line.budget[key], fine(line.budget[key]))]);
  const u = line.expanded_uncertainty_kg;
  if (u !== null) rows.push(["together, doubled (U, k\u00a0=\u00a02)", `\u00b1\u00a0${mass(u, fine(u))}`]);
  if (line.probability_within !== null) rows.push(["chance that the true amount is inside", chance(line.probability_within)]);
  return element("table", { className: "budget" }, element("caption", { className: "only-heard" }, `What the uncertainty of ${line.ingredient} is made of`), element("tbody", {}, ...rows.map(([words, value], i) => element(
    "tr", { className: u !== null && i >= rows.length - (line.probability_within === null ? 1 : 2) ? "sum" : "" },
    element("th", { scope: "row" }, words), element("td", {}, value),
  ))));
}
