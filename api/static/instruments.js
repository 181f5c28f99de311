// The instruments' newest values, each with its age once it is old: under the formula, quietly.

import { element } from "./draw.js";
import { duration, shown } from "./units.js";

const OLD_S = 10;

export class Instruments {
  constructor(list, clock) {
    this.list = list;
    this.clock = clock;
    this.readings = new Map();
    this.roles = {};
    this.states = {};
  }

  show(state) {
    this.roles = state.channels ?? {};
    this.states = state.instruments ?? {};
  }

  live(reading) {
    this.readings.set(reading.channel, reading);
  }

  draw() {
    const now = this.clock.now();
    const rows = [...this.readings.values()].sort((a, b) => (a.channel < b.channel ? -1 : 1)).map((reading) => {
      const age = now - reading.t;
      const old = age > OLD_S * Math.max(1, this.clock.speed);
      const role = this.roles[reading.channel];
      const value = reading.value === null ? reading.state : shown(reading.value, reading.unit, reading.division);
      const spoken = this.states[reading.channel.split("/")[0]]?.state;
      const away = spoken && spoken !== "online" ? `, ${spoken}` : "";
      return element("li", { className: old || away ? "old" : "" },
        element("span", {}, role ? `${role}, ${reading.channel}` : reading.channel),
        element("span", { className: "value" }, `${value}${old ? `, ${duration(age)} old` : ""}${away}`));
    });
    const shape = rows.map((row) => row.textContent + row.className).join("|");
    if (shape === this.shape) return;
    this.shape = shape;
    this.list.replaceChildren(...rows);
  }
}
