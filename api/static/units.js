// Numbers with units and times with the kitchen's own zone, formatted in one place.

const THIN = "\u00a0"; // no line break between a number and its unit
const MINUS = "\u2212";

/** A number with fixed decimals and a true minus sign; "-0.0" becomes "0.0". */
export function fixed(value, decimals) {
  const text = Math.abs(value).toFixed(decimals);
  return (value < 0 && Number(text) !== 0 ? MINUS : "") + text;
}

/** Decimals shown for a scale: one below a division of 1 g, none from there on. */
export function massDecimals(divisionKg) {
  return divisionKg !== null && divisionKg !== undefined && divisionKg < 0.000999 ? 1 : 0;
}

/** Grams without the unit. */
export function grams(kg, decimals = 0) {
  return fixed(kg * 1000, decimals);
}

/** A mass as people at the bench say it: "240 g". */
export function mass(kg, decimals = 0) {
  return grams(kg, decimals) + THIN + "g";
}

/** A temperature; whole degrees for an oven, one decimal for a core. */
export function celsius(value, decimals = 0) {
  return fixed(value, decimals) + THIN + "°C";
}

/** A value in its SenML unit, as the page shows it. */
export function shown(value, unit, division = null) {
  if (unit === "kg") return mass(value, massDecimals(division));
  if (unit === "Cel") return celsius(value, 1);
  if (unit === "%RH") return fixed(value, 0) + THIN + "% RH";
  return fixed(value, 1) + THIN + unit;
}

/** A duration in words short enough for a line: "8 s", "12 min", "1 h 05". */
export function duration(seconds) {
  const s = Math.max(0, Math.round(seconds));
  if (s < 60) return `${s}${THIN}s`;
  if (s < 3600) return `${Math.round(s / 60)}${THIN}min`;
  return `${Math.floor(s / 3600)}${THIN}h${THIN}${String(Math.floor((s % 3600) / 60)).padStart(2, "0")}`;
}

/** The kitchen's clock: server time carried forward between pings, in the kitchen's zone. */
export class KitchenClock {
  constructor(timeZone) {
    this.base = null;
    this.speed = 1;
    const options = { hour: "2-digit", minute: "2-digit", hourCycle: "h23" };
    this.minutes = formatter(options, timeZone);
    this.withSeconds = formatter({ ...options, second: "2-digit" }, timeZone);
    this.date = formatter({ weekday: "long", day: "numeric", month: "long" }, timeZone);
    this.short = formatter({ day: "numeric", month: "short", ...options }, timeZone);
  }

  /** A ping said it is `now` (seconds since the epoch), running at `speed`. */
  set(now, speed) {
    this.base = { now, at: performance.now() };
    this.speed = speed;
  }

  /** Kitchen seconds since the epoch, null before the first ping. */
  now() {
    return this.base === null ? null : this.base.now + ((performance.now() - this.base.at) / 1000) * this.speed;
  }

  /** "15:42" */
  time(t) {
    return this.minutes.format(t * 1000);
  }

  /** "15:42:07" */
  exact(t) {
    return this.withSeconds.format(t * 1000);
  }

  /** "Wednesday, 25 November" */
  day(t) {
    return this.date.format(t * 1000);
  }

  /** "25 Nov, 15:42" */
  stamp(t) {
    return this.short.format(t * 1000);
  }
}

function formatter(options, timeZone) {
  try {
    return new Intl.DateTimeFormat("en-GB", { ...options, timeZone: timeZone || undefined });
  } catch {
    return new Intl.DateTimeFormat("en-GB", options); // a zone this browser does not know
  }
}
