// Carbon monoxide against its limits: above, below, or not known.

import { number, put, span } from "./readings.js";

/** What is said of a limit; where its mean is not known, how much of it was measured. */
function words(one) {
  if (one.state !== "not known" || !one.period_s) return one.state;
  const measured_s = Math.floor((one.measured * one.period_s) / 60) * 60;
  return `not known, ${span(measured_s).replace(" 0 s", "")} measured`;
}

export class Air {
  constructor(root) {
    this.place = root.querySelector("[data-air]");
    this.rows = root.querySelector("[data-air-rows]");
  }

  show(live) {
    this.place.hidden = !live.co.length;
    if (this.rows.rows.length !== live.co.length) {
      this.rows.replaceChildren(...live.co.map((one) => {
        const row = document.createElement("tr");
        row.title = one.source;
        const head = document.createElement("th");
        head.scope = "row";
        row.append(head);
        for (const style of ["n", "n", ""]) row.insertCell().className = style;
        return row;
      }));
    }
    live.co.forEach((one, index) => {
      const row = this.rows.rows[index];
      row.className = one.state.replace(" ", "-");
      const told = [one.title, number(one.limit_ppm, one.limit_ppm < 10 ? 1 : 0), one.ppm === null ? "–" : number(one.ppm, 0), words(one)];
      told.forEach((text, column) => put(row.cells[column], text));
    });
  }
}
