// The formula in plain view: a batch's own, a saved version, what changed, and the list of all.

import { ask } from "./ask.js";
import { element } from "./draw.js";
import { drawChanges } from "./changes.js";
import { drawSheet } from "./sheet.js";
import { KitchenClock } from "./units.js";

const page = Object.fromEntries(["sheets", "link", "back", "all"].map((id) => [id, document.getElementById(id)]));
const asked = new URLSearchParams(location.search);

function addressOf(name, version) {
  return `/formula?name=${encodeURIComponent(name)}${version === undefined ? "" : `&version=${version}`}`;
}

/** "version 2, saved 25 Nov, 15:42" */
function savedWords(saved, clock) {
  const own = saved.own_version === null ? "" : ` (\u201c${saved.own_version}\u201d)`;
  return `Version ${saved.version}${own}, saved ${clock.stamp(saved.saved_at)}`;
}

async function ofBatch(batch, clock) {
  const answer = await ask(`/api/batches/${encodeURIComponent(batch)}/sheet`);
  if (answer.sheets.length === 0) return [element("p", { className: "quiet" }, "This batch follows no formula.")];
  const { formulas } = await ask(`/api/batches/${encodeURIComponent(batch)}`);
  return answer.sheets.map((parts, i) => drawSheet(parts, [
    parts.sheet.version === null || parts.saved ? "" : `Version \u201c${parts.sheet.version}\u201d. `,
    parts.saved
      ? element("span", {}, "As this batch froze it; the same as ", element("a", { href: addressOf(parts.saved.address) }, savedWords(parts.saved, clock).replace("Version", "version")), ".")
      : keep(formulas[i], clock),
  ]));
}

/** A formula that only its batch holds: one quiet button keeps it. */
function keep(document, clock) {
  const line = element("span", { className: "keep" }, "As this batch froze it; not among the saved formulas. ");
  const button = element("button", { type: "button" }, "Save it");
  button.addEventListener("click", async () => {
    button.disabled = true;
    try {
      const saved = await ask("/api/formulas", { formula: document });
      line.replaceChildren("As this batch froze it; saved as ", element("a", { href: addressOf(saved.address) }, savedWords(saved, clock).replace("Version", "version")), ".");
    } catch (error) {
      complain(error);
      button.disabled = false;
    }
  });
  line.append(button);
  return line;
}

async function ofName(name, version, from, clock) {
  const found = await ask(`/api/formulas/${encodeURIComponent(name)}`);
  const latest = found.versions.at(-1).version;
  const shown = found.versions.find((one) => one.version === version) ?? found.versions.at(-1);
  const here = `/api/formulas/${encodeURIComponent(found.address)}`;
  const before = from ?? (shown.version > 1 ? shown.version - 1 : null);
  const [parts, changes] = await Promise.all([
    ask(`${here}/${shown.version}/sheet`),
    before === null ? null : ask(`${here}/diff?from=${before}&to=${shown.version}`),
  ]);
  const words = `${savedWords(shown, clock)}${shown.version === latest ? "" : `; the latest is version ${latest}`}.`;
  return [
    drawSheet(parts, [words]),
    element("section", { className: "after" }, ...[
      changes === null ? null : drawChanges(changes),
      versionList(found, shown, clock),
    ].filter(Boolean)),
  ];
}

function versionList(found, shown, clock) {
  const rows = [...found.versions].reverse().map((one) => {
    const item = element("li", {}, one.version === shown.version
      ? element("span", { ariaCurrent: "page" }, `${savedWords(one, clock)}: shown here`)
      : element("a", { href: addressOf(found.address, one.version) }, savedWords(one, clock)));
    if (one.version !== shown.version) {
      item.append(element("a", { className: "quiet", href: `${addressOf(found.address, shown.version)}&from=${one.version}#changes` }, `what changed against it`));
    }
    return item;
  });
  return element("div", { className: "versions" }, element("h2", {}, "Saved versions"), element("ul", {}, ...rows));
}

async function all(clock) {
  const { formulas } = await ask("/api/formulas");
  const heading = element("h1", {}, "Saved formulas");
  if (formulas.length === 0) {
    return [heading, element("p", { className: "quiet" }, "None yet. Save one with  coolcrumb formula save FILE,  or from a batch\u2019s formula.")];
  }
  return [heading, element("ul", { className: "names" }, ...formulas.map((one) => element("li", {},
    element("a", { href: addressOf(one.address) }, one.name),
    element("span", { className: "quiet" }, `${one.latest === 1 ? "1 version" : `${one.latest} versions`}, saved ${clock.stamp(one.saved_at)}`),
  )))];
}

function complain(error) {
  page.link.textContent = error.message;
  page.link.hidden = false;
}

function number(key) {
  const value = Number.parseInt(asked.get(key) ?? "", 10);
  return Number.isNaN(value) ? null : value;
}

try {
  const kitchen = await ask("/api/kitchen");
  const clock = new KitchenClock(kitchen.time_zone);
  clock.set(kitchen.now, kitchen.speed);
  const name = asked.get("name");
  const batch = asked.get("batch") ?? (name === null && !asked.has("all") ? kitchen.current : null);
  if (batch) page.back.href = `/?batch=${encodeURIComponent(batch)}`;
  let parts;
  if (batch) parts = await ofBatch(batch, clock);
  else if (name !== null) parts = await ofName(name, number("version"), number("from"), clock);
  else parts = await all(clock);
  page.all.hidden = !batch && name === null;
  page.sheets.replaceChildren(...parts);
  const title = page.sheets.querySelector("h1")?.textContent;
  if (title) document.title = `${title} \u2013 ${kitchen.title}`;
  document.body.dataset.drawn = "";
} catch (error) {
  complain(error);
}
