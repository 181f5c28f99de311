// What changed between two versions of a formula: only the lines that did, in grams and per cent.

import { element } from "./draw.js";
import { fixed, mass } from "./units.js";
import { capital } from "./words.js";

function grams(kg) {
  if (kg === null || kg === undefined) return "";
  return mass(kg, Math.abs(kg * 1000 - Math.round(kg * 1000)) < 0.05 ? 0 : 1);
}

function signed(text, value) {
  return value > 0 ? `+${text}` : text;
}

function percent(value) {
  return value === null || value === undefined ? "" : `${fixed(value, 1)}\u00a0%`;
}

/** The section; `changes` as /api/formulas/{name}/diff answers. */
export function drawChanges(changes) {
  const heading = element("h2", {}, `What changed from version ${changes.from} to version ${changes.to}`);
  const rows = changes.lines.filter((line) => line.change !== "same").map(row);
  const others = changes.others.map((other) => element("li", {},
    `${capital(other.name)}: `,
    element("span", { className: "was" }, other.was ?? "nothing"), ` \u2192 ${other.now ?? "nothing"}`));
  const parts = [heading];
  if (rows.length === 0 && others.length === 0) parts.push(element("p", { className: "quiet" }, "Nothing that is weighed or done; only the way it is written."));
  if (rows.length > 0) {
    parts.push(element("table", { className: "changes" },
      element("thead", {}, element("tr", {}, ...["", `Version ${changes.from}`, `Version ${changes.to}`, "Grams", "Baker\u2019s %"].map((text) => element("th", { scope: "col" }, text)))),
      element("tbody", {}, ...rows)));
  }
  if (others.length > 0) parts.push(element("ul", { className: "sentences" }, ...others));
  return element("div", { id: "changes" }, ...parts);
}

function row(line) {
  const side = line.now ?? line.was;
  // A tolerance that only follows its mass is no news.
  const known = ["mass", "per cent", "amount", "ingredient", ...(line.what.includes("mass") ? ["tolerance"] : [])];
  const besides = line.what.filter((name) => !known.includes(name));
  const also = besides.length ? `, ${besides.join(", ")}` : "";
  const word = { added: "added", removed: "left out", changed: also.slice(2) }[line.change];
  return element("tr", {},
    element("th", { scope: "row" }, side.ingredient, word ? element("span", { className: "quiet small" }, ` ${word}`) : ""),
    element("td", { className: "was" }, line.was ? amount(line.was) : "\u2013"),
    element("td", {}, line.now ? amount(line.now) : "\u2013"),
    element("td", {}, line.difference_kg ? signed(grams(line.difference_kg), line.difference_kg) : ""),
    element("td", {}, line.difference_percent ? signed(percent(line.difference_percent), line.difference_percent) : ""),
  );
}

function amount(side) {
  return side.target_kg === null ? side.amount : grams(side.target_kg);
}
