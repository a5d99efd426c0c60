// The curves of a burn: its panels over one axis of minutes, with its events.

import { clock, number, put } from "./readings.js";

const WINDOW_S = 1200;
const PANELS = [
  { title: "Water", unit: "°C", places: 1, series: [["water", "water", []]] },
  { title: "Flame", unit: "°C", places: 0, series: [["flame", "flame", []]] },
  { title: "On the scale", unit: "g", places: 1, series: [["mass", "load", []], ["pot_mass", "pot", [7, 4]]] },
  { title: "Burning rate", unit: "g/min", places: 1, floor: 0, span: true, series: [["burning_rate", "rate", []]] },
];
const DRAW_MS = 400;

/** Write the ticks of an axis with the fewest digits that tell them apart from what they are not. */
function written(ticks) {
  const places = [0, 1, 2].find((digits) => ticks.every((tick) => Math.abs(tick - Number(tick.toFixed(digits))) < 1e-6)) ?? 2;
  return ticks.map((tick) => number(tick, places));
}

export class Curves {
  constructor(place, aside) {
    this.place = place;
    this.aside = aside;
    this.rows = new Map();
    this.plots = [];
    this.drawn_ms = 0;
    this.waiting = 0;
    new ResizeObserver(() => this.resize()).observe(place);
  }

  /** Take in points: all there are, or those that have changed. */
  take(points, whole, live) {
    if (whole) this.rows.clear();
    let unsorted = false;
    let last = this.last ?? -Infinity;
    if (whole) last = -Infinity;
    points.t.forEach((t, index) => {
      const row = {};
      for (const [name, values] of Object.entries(points)) if (name !== "t") row[name] = values[index];
      if (!this.rows.has(t) && t < last) unsorted = true;
      this.rows.set(t, row);
      last = Math.max(last, t);
    });
    if (unsorted) this.rows = new Map([...this.rows].sort(([a], [b]) => a - b));
    this.last = last;
    if (live.trial === null) {
      for (const t of this.rows.keys()) {
        if (t >= last - WINDOW_S) break;
        this.rows.delete(t);
      }
    }
  }

  /** Draw soon; not more often than an eye can follow. */
  draw(live, events, lit_s) {
    this.live = live;
    this.events = events;
    this.lit_s = lit_s;
    if (this.waiting) return;
    const pause = Math.max(0, this.drawn_ms + DRAW_MS - performance.now());
    this.waiting = setTimeout(() => {
      this.waiting = 0;
      this.drawn_ms = performance.now();
      this.render();
    }, pause);
  }

  /** Build the panels anew, in the colours of the present scheme. */
  renew() {
    for (const { plot, box } of this.plots) {
      plot.destroy();
      box.remove();
    }
    this.plots = [];
    if (this.live) this.render();
  }

  resize() {
    for (const { plot } of this.plots) plot.setSize(this.size());
  }

  size() {
    const width = this.place.clientWidth;
    return { width, height: Math.round(Math.min(420, Math.max(190, innerHeight * 0.23))) };
  }

  /** Where the axis has its zero, seconds of the epoch. */
  zero() {
    if (this.live.trial === null) return this.last;
    return this.live.start_ns / 1e9 + (this.lit_s ?? 0);
  }

  render() {
    if (!this.rows.size) put(this.aside, Object.keys(this.live.values).length ? "The curves are on their way." : "No reading has come yet.");
    if (!this.rows.size || !this.place.clientWidth) return;
    const zero = this.zero();
    const minutes = [];
    const rows = [];
    let before = null;
    let step = 1;
    let gaps = 0;
    for (const [t, row] of this.rows) {
      // Where seconds are missing nothing was recorded, and no line is drawn.
      if (before !== null && t - before > Math.max(5, 4 * step)) {
        minutes.push(((t + before) / 2 - zero) / 60);
        rows.push({});
        gaps += 1;
      } else if (before !== null) {
        step = Math.max(1, t - before);
      }
      minutes.push((t - zero) / 60);
      rows.push(row);
      before = t;
    }
    const wanted = PANELS.map((panel) => panel.series.filter(([name]) => rows.some((row) => row[name] != null)))
      .map((series, index) => ({ ...PANELS[index], series }))
      .filter((panel) => panel.series.length);
    const shape = wanted.map((panel) => panel.series.map(([name]) => name).join()).join(";");
    if (shape !== this.shape) {
      this.shape = shape;
      for (const { plot, box } of this.plots) {
        plot.destroy();
        box.remove();
      }
      this.plots = [];
    }
    wanted.forEach((panel, index) => {
      const data = [minutes, ...panel.series.map(([name]) => rows.map((row) => row[name] ?? null))];
      const shown = this.plots[index];
      if (shown) shown.plot.setData(data);
      else this.plots.push(this.build(panel, data, index === 0, index === wanted.length - 1));
    });
    put(this.aside, `Minutes ${this.live.trial === null ? "before now" : this.lit_s === null ? "from the trial's start" : "from lit"}. `
      + (gaps === 0 ? "Nothing is missing. " : gaps === 1 ? "Nothing was recorded in 1 gap. " : `Nothing was recorded in ${gaps} gaps. `)
      + "Touch or point at the curves to read them off.");
  }

  build(panel, data, first, last) {
    const style = getComputedStyle(document.documentElement);
    const colour = (name) => style.getPropertyValue(`--${name}`).trim();
    const scale = parseFloat(style.fontSize) / 16;
    const font = `${Math.round(13 * scale)}px "Helvetica Neue", "Liberation Sans", Arial, sans-serif`;
    const colours = { water: "water", flame: "flame", mass: "mass", pot_mass: "water", burning_rate: "rate" };
    const box = document.createElement("div");
    const head = document.createElement("p");
    head.className = "panel";
    this.place.append(box);
    box.append(head);
    const names = panel.series.map(([, name]) => name);
    const axis = {
      stroke: colour("faint"), font, grid: { stroke: colour("rule"), width: 1 }, ticks: { stroke: colour("rule"), width: 1, size: 5 },
    };
    const write = (plot) => {
      const at = plot?.cursor.idx;
      const parts = panel.series.map(([, name], index) => {
        const value = at == null ? null : plot.data[index + 1][at];
        const called = panel.series.length > 1 ? name : "";
        return value == null ? called : `${called} ${number(value, panel.places)}`.trim();
      });
      const when = at == null ? "" : ` at ${clock(60 * plot.data[0][at])}`;
      put(head.querySelector("span"), ` ${parts.join(", ")} ${panel.unit}${when}`);
    };
    head.innerHTML = "<b></b><span></span>";
    put(head.querySelector("b"), panel.title);
    head.title = names.join(", ");
    const plot = new uPlot({
      ...this.size(),
      padding: [8 * scale, 8 * scale, 0, 0],
      legend: { show: false },
      cursor: { sync: { key: "burn" }, drag: { x: false, y: false }, points: { size: 7 } },
      scales: {
        x: { time: false },
        y: { range: (_, low, high) => {
          const least = panel.floor === undefined ? low : Math.min(low, panel.floor);
          const room = Math.max((high - least) * 0.06, 0.5);
          // Names of events stand in the first panel, above its curves.
          const names = first ? (high - least) * 0.22 : 0;
          return [panel.floor === undefined ? least - room : least, high + room + names];
        } },
      },
      axes: [
        { ...axis, size: last ? 30 * scale : 12, values: (_, ticks) => last ? written(ticks) : ticks.map(() => "") },
        { ...axis, size: 52 * scale, values: (_, ticks) => written(ticks) },
      ],
      series: [{}, ...panel.series.map(([name, , dash]) => ({
        stroke: colour(colours[name]), width: 2 * scale, dash: dash.map((length) => length * scale), points: { show: false }, spanGaps: Boolean(panel.span),
      }))],
      hooks: {
        setCursor: [write],
        draw: [(drawn) => this.mark(drawn, colour("ink"), colour("warm"), colour("sheet"), font)],
      },
    }, data, box);
    write(null);
    return { plot, box };
  }

  /** Draw an upright line for each event, with its name beside it at the top where there is room. */
  mark(plot, ink, warm, sheet, font) {
    if (this.live.trial === null) return;
    const { ctx, bbox } = plot;
    const ratio = devicePixelRatio;
    const ends = [];
    ctx.save();
    ctx.font = font.replace(/^\d+/, (size) => String(Math.round(Number(size) * ratio)));
    ctx.textBaseline = "top";
    ctx.textAlign = "left";
    const height = 15 * ratio * (parseInt(font, 10) / 13);
    for (const event of [...(this.events ?? [])].sort((a, b) => a.t_s - b.t_s)) {
      const x = Math.round(plot.valToPos((event.t_s - (this.lit_s ?? 0)) / 60, "x", true));
      if (x < bbox.left || x > bbox.left + bbox.width) continue;
      const quiet = event.kind === "step" || event.kind === "note" || event.kind === "refuel";
      ctx.strokeStyle = quiet ? ink : warm;
      ctx.lineWidth = ratio;
      ctx.setLineDash(quiet ? [2 * ratio, 3 * ratio] : []);
      ctx.beginPath();
      ctx.moveTo(x + 0.5, bbox.top);
      ctx.lineTo(x + 0.5, bbox.top + bbox.height);
      ctx.stroke();
      if (plot !== this.plots[0]?.plot && this.plots.length) continue;
      const name = event.name.length > 18 ? `${event.name.slice(0, 17)}…` : event.name;
      const width = ctx.measureText(name).width + 6 * ratio;
      const left = x + width > bbox.left + bbox.width ? x - width : x + 3 * ratio;
      let row = ends.findIndex((end) => end <= left);
      if (row === -1) row = ends.length;
      if (row > 2) continue;
      ends[row] = left + width;
      ctx.fillStyle = sheet;
      ctx.globalAlpha = 0.8;
      ctx.fillRect(left - ratio, bbox.top + row * height, width, height);
      ctx.globalAlpha = 1;
      ctx.fillStyle = quiet ? ink : warm;
      ctx.fillText(name, left, bbox.top + row * height + ratio);
    }
    ctx.restore();
  }
}
