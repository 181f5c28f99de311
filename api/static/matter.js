// The sentence, the number with its measure line, the word: what matters now.

import { drawMeasure } from "./measure.js";
import { duration, grams, massDecimals } from "./units.js";

// A value older than this (or than ten of its own usual intervals) goes quiet and says its age.
const OLD_S = 10;
const SPEAK_MS = 4_000;

/** The one place on the page that shows what is to be done. */
export class Matter {
  constructor(page, clock) {
    this.page = page;
    this.clock = clock;
    this.state = null;
    this.readings = new Map();
    this.spokenAt = 0;
  }

  show(state) {
    this.state = state;
    this.draw();
  }

  /** A live reading; while something is poured the number follows it at once. */
  live(reading) {
    this.readings.set(reading.channel, reading);
    if (this.state?.pouring?.scale === reading.channel) this.draw();
  }

  /** While pouring: net and what is missing from the newest reading, else null. */
  pouring() {
    const pouring = this.state?.pouring;
    const reading = pouring ? this.readings.get(pouring.scale) : undefined;
    if (!reading || reading.value === null || reading.t < this.state.at - 1) return null;
    const line = this.state.lines.find((l) => l.key === pouring.line);
    const net = reading.value - pouring.zero_kg;
    return { net, missing: line && line.target_kg !== null ? line.target_kg - net : null, line, division: reading.division };
  }

  draw() {
    const { sentence } = this.state;
    let { now } = sentence;
    let { value, word } = sentence.number;
    const { unit, kind } = sentence.number;
    let measure = sentence.measure;
    const live = this.pouring();
    if (live !== null && (kind === "missing" || kind === "mass")) {
      const decimals = live.division === null ? (value.includes(".") ? 1 : 0) : massDecimals(live.division);
      const shown = kind === "mass" ? live.net : live.missing;
      if (shown !== null && now.includes(`${value} ${unit} more`)) {
        // The next state says the same; this only comes sooner.
        const fresh = grams(Math.max(0, shown), decimals);
        now = now.replace(`${value} ${unit} more`, `${fresh} ${unit} more`);
        value = fresh;
      }
      if (measure) measure = { ...measure, value: live.net, low: live.net, high: live.net };
    }
    const page = this.page;
    setText(page.now, now.replace(/(\d) (g|°C|min)\b/g, "$1\u00a0$2"));
    setText(page.then, sentence.then);
    page.number.hidden = kind === "none";
    setText(page.digits, value);
    setText(page.unit, unit);
    const age = this.age();
    page.number.className = age !== null ? "old" : tone(sentence, kind);
    setText(page.word, age === null ? word : `${word}${word ? ", " : ""}${duration(age)} old`);
    page.measure.toggleAttribute("hidden", !measure);
    page.measure.setAttribute("class", sentence.act && kind === "missing" && word !== "next" ? "act" : kind === "temperature" ? "heat" : "");
    if (measure && page.measure.clientWidth > 0) drawMeasure(page.measure, measure, page.measure.clientWidth, this.clock);
    this.speak(now);
  }

  /** Age of the value behind the number where it is old, else null. */
  age() {
    const role = { missing: "scale", mass: "scale", temperature: "core" }[this.state.sentence.number.kind];
    if (!role || this.state.closed_at !== null || this.state.sentence.number.word === "next") return null;
    const wanted = role === "core" && this.state.bake.in_at === null ? "oven" : role;
    const channel = Object.entries(this.state.channels ?? {}).find(([, r]) => r === wanted)?.[0];
    const reading = this.readings.get(channel);
    const now = this.clock.now();
    if (!reading || now === null) return null;
    const age = now - reading.t;
    return age > OLD_S * Math.max(1, this.clock.speed) ? age : null;
  }

  /** Screen readers hear the sentence when it changes in kind, not with every gram. */
  speak(now) {
    const bare = now.replace(/\d[\d.:]*/g, "#");
    if (bare === this.spoken || performance.now() - this.spokenAt < SPEAK_MS) return;
    this.spoken = bare;
    this.spokenAt = performance.now();
    this.page.spoken.textContent = now;
  }
}

function tone(sentence, kind) {
  if (sentence.act && kind === "missing" && sentence.number.word !== "next") return "act";
  if (kind === "temperature") return "heat";
  if (kind === "time" || (kind === "clock" && sentence.number.word.startsWith("to "))) return "sure";
  return "";
}

function setText(node, text) {
  if (node.textContent !== text) node.textContent = text;
}
