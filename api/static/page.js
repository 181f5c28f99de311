// The page: one sentence, one number, one ribbon, kept up to date by the live stream.

import { Actions } from "./actions.js";
import { ask } from "./ask.js";
import { drawBegin } from "./begin.js";
import { element } from "./draw.js";
import { Happenings } from "./happenings.js";
import { Instruments } from "./instruments.js";
import { drawLines, keepInSight } from "./lines.js";
import { Matter } from "./matter.js";
import { drawRecovery } from "./recovery.js";
import { Ribbon } from "./ribbon.js";
import { Stream } from "./stream.js";
import { drawSummary } from "./summary.js";
import { KitchenClock } from "./units.js";

const RIBBON_EVERY_MS = 1_000;
const RIBBON_AGAIN_MS = 60_000;
const ids = [
  "now", "then", "spoken", "number", "digits", "unit", "measure", "word", "actions", "places", "refused", "begin",
  "summary", "lines", "instruments", "ribbon", "band", "told-lines", "events", "happenings", "link", "choose", "batches", "clock", "whole", "recovery",
];
const page = Object.fromEntries(ids.map((id) => [id, document.getElementById(id)]));

const kitchen = await ask("/api/kitchen");
const clock = new KitchenClock(kitchen.time_zone);
clock.set(kitchen.now, kitchen.speed);

const asked = new URLSearchParams(location.search).get("batch");
const ribbon = new Ribbon(page.band, page["told-lines"], clock);
const matter = new Matter(page, clock);
const happenings = new Happenings(page.happenings, page.events, clock);
const instruments = new Instruments(page.instruments, clock);
const actions = new Actions(page.actions, page.places, page.refused, send);
let state = null;
let loading = null;

async function send(action) {
  if (action.command) {
    await ask(`/api/instruments/${encodeURIComponent(action.command.instrument)}/commands`, { command: action.command.command });
  } else {
    await ask(`/api/batches/${encodeURIComponent(state.batch)}/marks`, action.mark);
  }
}

/** Take a new state: everything but the curves is drawn from it. */
function show(next) {
  const changed = state === null || state.batch !== next.batch;
  state = next;
  document.body.dataset.stage = next.stage ?? (next.batch ? "weighing" : "none");
  document.body.classList.toggle("pouring", Boolean(next.pouring));
  document.body.classList.toggle("over", next.closed_at !== null || next.stage === "ready");
  document.title = next.batch ? `${next.sentence.now} \u2013 ${kitchen.title}` : kitchen.title;
  happenings.of(next.batch);
  happenings.know(next.lines ?? []);
  matter.show(next);
  drawFormula();
  actions.show(next);
  drawRecovery(page.recovery, next, (mark) => actions.run({ mark }));
  drawSummary(page.summary, next, clock);
  instruments.show(next);
  if (changed) page.begin.hidden = next.batch !== null;
  if (next.batch === null || next.closed_at !== null) drawBegin(page.begin, page.refused, (body) => ask("/api/batches", body), () => ask("/api/formulas"));
  if (changed) load();
  else if (ribbon.answer) ribbon.state = next;
}

function drawFormula() {
  drawLines(page.lines, state, (key) => actions.run({ mark: { mark: "line", line: key } }));
  page.whole.hidden = (state.lines ?? []).length === 0;
  page.whole.firstElementChild.href = `/formula?batch=${encodeURIComponent(state.batch ?? "")}`;
}
page.lines.addEventListener("told", drawFormula);

/** Fetch what the ribbon shows and what happened, for the batch that is shown. */
async function load() {
  clearTimeout(loading);
  loading = null;
  page.ribbon.hidden = state.batch === null;
  if (state.batch === null) return;
  const batch = state.batch;
  try {
    const [answer, events] = await Promise.all([
      ask(`/api/batches/${encodeURIComponent(batch)}/ribbon`),
      ask(`/api/batches/${encodeURIComponent(batch)}/events?quiet=true&limit=10000`),
    ]);
    if (batch !== state.batch) return;
    ribbon.load(answer);
    for (const event of events.events.slice(-100)) happenings.add(event.document);
    ribbon.draw(clock.now());
    await listBatches();
    if (stream.up) page.link.hidden = true;
  } catch (error) {
    page.link.textContent = error.message;
    page.link.hidden = false;
  }
  loading ??= setTimeout(load, RIBBON_AGAIN_MS); // unless something that happened meanwhile asked for it sooner
}

async function listBatches() {
  const { batches } = await ask("/api/batches");
  page.choose.hidden = batches.length < 2;
  page.batches.replaceChildren(...batches.map((b) => element(
    "option", { value: b.batch, selected: b.batch === state.batch },
    `${clock.stamp(b.opened_at)}${b.closed_at === null ? ", open" : ""}: ${b.title ?? b.batch}`,
  )));
}

page.batches.addEventListener("change", () => {
  location.search = `?batch=${encodeURIComponent(page.batches.value)}`;
});

/** A minute's worth of forecasts is drawn, not listed; stage changes redraw the record. */
function happened(event) {
  if (state === null || event.batch !== state.batch) return;
  happenings.add(event);
  if (["batch.stage", "weighing.addition", "bake.in", "bake.out", "batch.closed"].includes(event.kind)) {
    clearTimeout(loading);
    loading = setTimeout(load, 300);
  }
}

/** Live values are drawn with the next frame of the screen, however many arrive before it. */
let waiting = false;
function drawSoon() {
  if (waiting) return;
  waiting = true;
  requestAnimationFrame(() => {
    waiting = false;
    instruments.draw();
  });
}

const stream = new Stream(asked === null ? "/api/stream" : `/api/stream?batch=${encodeURIComponent(asked)}`, {
  state: show,
  event: happened,
  reading: (reading) => {
    instruments.live(reading);
    matter.live(reading);
    ribbon.live(reading);
    drawSoon();
  },
  clock: (ping) => clock.set(ping.now, ping.speed),
  reset: () => { if (state !== null) load(); },
}, (up) => {
  page.link.hidden = up;
  if (!up) page.link.textContent = "no connection to the kitchen log; trying again";
});
stream.open();

function tick() {
  const now = clock.now();
  page.clock.firstElementChild.textContent = clock.exact(now);
  page.clock.title = clock.day(now);
  if (state !== null) matter.draw();
  instruments.draw();
  if (state?.batch) ribbon.draw(now);
}
setInterval(tick, RIBBON_EVERY_MS);
new ResizeObserver(() => { if (state !== null) tick(); }).observe(document.body);
new ResizeObserver(() => keepInSight(page.lines, page.lines.querySelector(".open"))).observe(page.lines.parentElement);
