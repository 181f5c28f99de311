// Ways back from an over-pour: what the kitchen log offers, each with its button and its sentence.

import { element } from "./draw.js";
import { capital } from "./words.js";

const LABELS = { leave: "Leave it", "take back": "Take back", rescale: "Make all larger" };

/** What the button says; the sentence beside it does not say it again. */
function worded(choice, name) {
  const label = choice.choice === "reassign" ? `It was ${name(choice.line)}` : LABELS[choice.choice] ?? capital(choice.choice);
  const text = choice.text.startsWith(`${label}: `) ? choice.text.slice(label.length + 2) : choice.text;
  return [label, capital(text.replace(/(\d) (g|kg|%)(?!\w)/g, "$1\u00a0$2"))];
}

/** Whether a way back is asked for now. */
export function asksForRecovery(state) {
  const recovery = state.recovery;
  return Boolean(recovery) && recovery.chosen === null && recovery.choices.length > 0 && state.closed_at === null;
}

/** Draw the open choice, if there is one; `choose(mark)` sends what was picked. */
export function drawRecovery(box, state, choose) {
  const recovery = state.recovery;
  const open = asksForRecovery(state);
  const shape = open ? JSON.stringify(recovery) : "";
  if (shape === box.dataset.shape) return;
  box.dataset.shape = shape;
  box.hidden = !open;
  document.body.classList.toggle("choosing", open);
  if (!open) {
    box.replaceChildren();
    return;
  }
  const name = (key) => (state.lines ?? []).find((one) => one.key === key)?.ingredient ?? key;
  const rows = recovery.choices.map((choice) => {
    const [label, text] = worded(choice, name);
    const button = element("button", { type: "button" }, label);
    button.addEventListener("click", () => choose({ mark: "recover", line: recovery.line, choice: choice.choice }));
    return element("li", {}, button, element("span", {}, text));
  });
  const withheld = (recovery.withheld ?? []).map((way) => element("li", { className: "withheld" }, way.text));
  box.setAttribute("aria-label", `A way back for ${name(recovery.line)}`);
  box.replaceChildren(element("p", {}, `${capital(name(recovery.line))} went over. A way back:`), element("ul", {}, ...rows, ...withheld));
}
