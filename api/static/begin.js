// A kitchen without an open batch: choose a plan (and its formulas, as files or saved ones) to begin.

import { element } from "./draw.js";

function chooser(label, id, required) {
  const input = element("input", { type: "file", id, accept: ".toml", required });
  const chosen = element("span", { className: "chosen" }, required ? "" : "if the plan names one");
  input.className = "only-heard";
  input.addEventListener("change", () => { chosen.textContent = [...input.files].map((file) => file.name).join(", "); });
  return { input, box: element("label", { className: "file", htmlFor: id }, `${label}\u2026`, input, chosen) };
}

/** The saved formulas to choose from; hidden where there is none. */
function shelf(saved) {
  const list = element("select", { id: "saved-formula" }, element("option", { value: "" }, "none"));
  const box = element("label", { className: "shelf", hidden: true, htmlFor: "saved-formula" }, "or a saved formula", list);
  saved().then(({ formulas }) => {
    box.hidden = formulas.length === 0;
    list.append(...formulas.map((one) => element("option", { value: JSON.stringify({ saved: one.address, version: one.latest }) }, `${one.name}, version ${one.latest}`)));
  }).catch(() => {}); // files can still be chosen
  return { box, chosen: () => (list.value === "" ? [] : [JSON.parse(list.value)]) };
}

/** The form; `open({plan, formulas})` resolves when the batch is stored; `saved()` lists what is saved. */
export function drawBegin(box, refused, open, saved) {
  if (box.childElementCount > 0) return;
  const plan = chooser("Plan", "plan-file", true);
  const formula = chooser("Formula", "formula-file", false);
  formula.input.multiple = true;
  const kept = shelf(saved);
  const button = element("button", { type: "submit", className: "next" }, "Open the batch");
  const said = element("p", {}, "A plan is a small text file: which scale and probes, which oven, which formula, which milestones.");
  const form = element("form", {}, plan.box, formula.box, kept.box, button);
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    refused.hidden = true;
    button.disabled = true;
    try {
      const files = await Promise.all([...formula.input.files].map((file) => file.text()));
      await open({ plan: await plan.input.files[0].text(), formulas: [...files, ...kept.chosen()] });
    } catch (error) {
      refused.textContent = error.message;
      refused.hidden = false;
    } finally {
      button.disabled = false;
    }
  });
  box.append(said, form);
}
