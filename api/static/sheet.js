// The sheet of a formula: what goes in, what it is, how it is made. Calm enough to print.

import { element } from "./draw.js";
import { ratioMeasure } from "./measure.js";
import { fixed, mass } from "./units.js";
import { capital, into } from "./words.js";

const FIT_WORDS = {
  "other scale": (remedy) => `on ${remedy.scale}`,
  count: () => "by count",
  spoon: () => "by spoon",
  premix: () => "in a premix",
  "finer scale": () => "on a finer scale",
  parts: () => "in parts",
  "another bowl": () => "in another bowl",
};

/** Grams as a bench reads them: tenths below a kilogram, where there are any. */
function grams(kg) {
  const whole = Math.abs(kg * 1000 - Math.round(kg * 1000)) < 0.05;
  return mass(kg, whole || kg >= 1 ? 0 : 1);
}

/** A spread or a tolerance: two figures at most. */
function plusMinus(kg) {
  const g = kg * 1000;
  return `\u00b1\u00a0${mass(kg, g < 10 && Math.abs(g - Math.round(g)) > 0.04 ? 1 : 0)}`;
}

function percent(value) {
  if (value === null) return "";
  const decimals = value < 9.95 && Math.abs(value - Math.round(value)) > 0.04 ? 1 : 0;
  return `${fixed(value, decimals)}\u00a0%`;
}

/** How the line is decided, in two words; '' where the first scale does. */
function fitWord(fit) {
  const first = fit?.remedies?.[0];
  return first ? FIT_WORDS[first.kind]?.(first) ?? "" : "";
}

/** The whole sheet; `under` is what stands in the quiet line below the name. */
export function drawSheet(parts, under) {
  const { sheet } = parts;
  const makes = [parts.makes, sheet.portions && !parts.makes ? `${sheet.portions} portions` : ""].filter(Boolean).join("; ");
  return element("article", { className: "sheet" },
    element("h1", {}, sheet.formula),
    element("p", { className: "quiet" }, ...under),
    makes ? element("p", {}, `Makes ${makes}.`) : null,
    ...[parts.fill, sheet.deposit?.sentence].filter(Boolean).map((text) => element("p", { className: "quiet" }, tidy(text))),
    ...sheet.problems.map((text) => element("p", { className: "wrong" }, capital(text))),
    element("div", { className: "columns" },
      element("div", {}, table(parts), unfit(parts), method(parts.steps)),
      element("div", {}, balance(sheet), whole(sheet), declare(sheet)),
    ),
  );
}

/** A sentence whose numbers keep their units on the same line. */
function tidy(text) {
  return text.replace(/(\d) (%|g|kg|mg|kcal|kJ|mm|°C|min|s)(?![\w])/g, "$1\u00a0$2");
}

function table(parts) {
  const { sheet } = parts;
  const fits = Object.fromEntries(parts.fit.map((one) => [one.key, one]));
  const any = (test) => sheet.lines.some(test);
  const shows = {
    amount: any((line) => line.by !== "mass" || line.mass_kg === null),
    fit: parts.fit.some((one) => fitWord(one) !== ""),
  };
  const flour = sheet.total_percent !== null;
  const columns = [
    ["", "name"], shows.amount ? ["As written", "amount"] : null, ["Grams", "grams"],
    [flour ? "Baker\u2019s %" : "Of the whole", "percent"], ["Tolerance", "tolerance"], shows.fit ? ["Weigh it", "fit"] : null,
  ].filter(Boolean);
  const rows = [];
  let bowl = null;
  for (const line of sheet.lines) {
    if (line.bowl !== bowl) {
      bowl = line.bowl;
      if (bowl) rows.push(element("tr", { className: "bowl" }, element("th", { colSpan: columns.length, scope: "rowgroup" }, into(bowl))));
    }
    rows.push(row(line, fits[line.key], shows, flour));
    const notes = besides(line);
    if (notes) rows.push(element("tr", { className: "told" }, element("td", { colSpan: columns.length }, notes)));
  }
  rows.push(element("tr", { className: "sum" },
    element("th", { scope: "row", className: "name" }, "Together"),
    shows.amount ? element("td", { className: "amount" }) : null,
    element("td", { className: "grams" }, grams(sheet.total_kg)),
    element("td", { className: "percent" }, percent(sheet.total_percent ?? 100)),
    element("td", { className: "tolerance" }),
    shows.fit ? element("td", { className: "fit" }) : null,
  ));
  const head = element("thead", {}, element("tr", {}, ...columns.map(([text, name]) => element("th", { scope: "col", className: name }, text))));
  const out = [element("table", { className: "goes-in" }, head, element("tbody", {}, ...rows))];
  if (any((line) => line.spread_kg !== null)) {
    out.push(element("p", { className: "quiet small" }, "\u00b1 beside the grams: how far one cup, spoon or piece differs from the next (one standard deviation). It says why one weighs; the tolerance is what the scale is held to."));
  }
  return element("div", {}, ...out);
}

/** What stands below a line: its note, its lot, where the conversion of a measure comes from. */
function besides(line) {
  const parts = [line.note, line.lot ? `lot ${line.lot}` : null, line.by === "mass" ? null : line.conversion];
  return tidy(parts.filter(Boolean).join("; "));
}

function row(line, fit, shows, flour) {
  const weight = element("td", { className: "grams" }, line.mass_kg === null ? "\u2013" : grams(line.mass_kg));
  if (line.spread_kg) weight.append(element("span", { className: "quiet spread" }, ` ${plusMinus(line.spread_kg)}`));
  return element("tr", {},
    element("th", { scope: "row", className: "name" }, line.ingredient),
    shows.amount ? element("td", { className: "amount" }, line.by === "mass" && line.mass_kg !== null ? "" : line.amount) : null,
    weight,
    element("td", { className: "percent" }, percent(flour ? line.percent : line.of_total)),
    element("td", { className: "tolerance" }, line.tolerance_kg === null ? "" : plusMinus(line.tolerance_kg)),
    shows.fit ? element("td", { className: "fit" }, fitWord(fit)) : null,
  );
}

/** Lines that the first scale cannot decide: the sentence that says what can. */
function unfit(parts) {
  const names = Object.fromEntries(parts.sheet.lines.map((line) => [line.key, line.ingredient]));
  const told = parts.fit.filter((one) => fitWord(one) !== "");
  if (told.length === 0) return null;
  return element("details", {},
    element("summary", {}, `What the scale here cannot decide, and what can (${told.length})`),
    element("ul", { className: "sentences" }, ...told.map((one) => element("li", {}, element("strong", {}, `${capital(names[one.key] ?? one.key)}. `), tidy(one.sentence)))),
  );
}

function balance(sheet) {
  const { ratios, leavening, flour_asked: asked, assumed } = sheet.balance;
  const said = ratios.filter((ratio) => ratio.value !== null);
  if (sheet.flour_kg === 0 || said.length === 0) return notes(sheet);
  return element("section", {},
    element("h2", {}, "Balance"),
    ...sheet.notes.map((text) => element("p", { className: "quiet" }, text)),
    element("ul", { className: "ratios" }, ...said.map((ratio) => element("li", { className: ratio.stands === "below" || ratio.stands === "above" ? "off" : "" },
      ratio.usual ? ratioMeasure(ratio.value, ratio.usual.low, ratio.usual.high) : element("span"), element("span", {}, tidy(ratio.sentence))))),
    leavening.sentence ? element("p", {}, tidy(leavening.sentence)) : null,
    asked ? element("p", {}, tidy(asked.sentence)) : null,
    ...assumed.map((text) => element("p", { className: "quiet" }, capital(text))),
    sources(said),
  );
}

function notes(sheet) {
  return sheet.notes.length === 0 ? null : element("section", {}, ...sheet.notes.map((text) => element("p", { className: "quiet" }, text)));
}

/** Where the ranges come from, ratio by ratio. */
function sources(ratios) {
  const told = ratios.filter((ratio) => ratio.usual?.source);
  if (told.length === 0) return null;
  return element("details", {},
    element("summary", {}, "Where the ranges come from"),
    element("p", { className: "quiet small" }, "The brackets are the classical range. It tells a baker where to look; a cake that comes out well is right."),
    element("ul", { className: "sentences quiet small" }, ...told.map((ratio) => element("li", {}, `${capital(ratio.name)}: ${ratio.usual.source}.`))),
  );
}

function whole(sheet) {
  const parts = sheet.whole.parts.filter((part) => part.known_kg > 0);
  if (parts.length === 0) return null;
  // One "at least" for all of them, where something of every part is unknown.
  const all = parts.every((part) => part.unknown.length > 0);
  const said = parts.map((part) => `${part.unknown.length && !all ? "at least " : ""}${percent(part.percent)} ${part.name}`).join(", ");
  const starch = parts.some((part) => part.by_difference.length) ? " Starch is partly by difference." : "";
  return element("section", {},
    element("h2", {}, "What it is made of"),
    element("p", {}, `As weighed in${all ? ", at least" : ""}: ${said}.${starch}`),
    sheet.whole.sentence ? element("p", { className: "quiet" }, tidy(sheet.whole.sentence)) : null,
    element("p", {}, tidy(sheet.whole.energy.sentence)),
    sheet.cost.known === null ? null : element("p", {}, sheet.cost.sentence),
  );
}

function declare(sheet) {
  const [caution, ...rest] = [...sheet.allergens.sentences].reverse();
  return element("section", {},
    element("h2", {}, "Allergens"),
    ...rest.reverse().map((text) => element("p", {}, text)),
    element("p", { className: "caution" }, caution),
  );
}

function method(steps) {
  if (steps.length === 0) return null;
  return element("section", {}, element("h2", {}, "Method"), element("ol", { className: "steps" }, ...steps.map((text) => element("li", {}, `${capital(text)}.`))));
}
