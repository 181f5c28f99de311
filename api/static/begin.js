// A kitchen without an open batch: choose a plan (and its formula) to begin.

import { element } from "./draw.js";

function chooser(label, id, required) {
  const input = element("input", { type: "file", id, accept: ".toml", required });
  const chosen = element("span", { className: "chosen" }, required ? "" : "if the plan names one");
  input.className = "only-heard";
  input.addEventListener("change", () => { chosen.textContent = [...input.files].map((file) => file.name).join(", "); });
  return { input, box: element("label", { className: "file", htmlFor: id }, `${label}\u2026`, input, chosen) };
}

/** The form; `open({plan, formulas})` resolves when the batch is stored. */
export function drawBegin(box, refused, open) {
  if (box.childElementCount > 0) return;
  const plan = chooser("Plan", "plan-file", true);
  const formula = chooser("Formula", "formula-file", false);
  formula.input.multiple = true;
  const button = element("button", { type: "submit", className: "next" }, "Open the batch");
  const said = element("p", {}, "A plan is a small text file: which scale and probes, which oven, which formula, which milestones.");
  const form = element("form", {}, said, plan.box, formula.box, button);
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    refused.hidden = true;
    button.disabled = true;
    try {
      await open({ plan: await plan.input.files[0].text(), formulas: await Promise.all([...formula.input.files].map((file) => file.text())) });
    } catch (error) {
      refused.textContent = error.message;
      refused.hidden = false;
    } finally {
      button.disabled = false;
    }
  });
  box.append(form);
}
