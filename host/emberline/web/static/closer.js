// Curves to look closer at: panels over one axis, zoomed together by dragging, two fingers, the wheel, buttons or keys.

const HEIGHT_PX = { Water: 210, Flame: 150, "Load cell": 170, "Told apart": 170, "Burning rate": 190 };
const LEAST_SPAN_S = 10;
const WIDE_PX = 62;
const DASHES = [[], [7, 4], [2, 3]];
const COLOURS = { water: "--water", "water in the pot": "--water", flame: "--flame", "burning rate": "--rate" };
const MAIN = ["lit", "pot_on", "boil", "pot_off", "flameout"];

function clock(t_s) {
  const whole = Math.floor(Math.abs(t_s) + 0.5);
  return `${t_s < 0 && whole ? "−" : ""}${Math.floor(whole / 60)}:${String(whole % 60).padStart(2, "0")}`;
}

/** A number as our pages write it: a true minus, and thin spaces in what has five digits. */
function grouped(value) {
  const text = Math.abs(value) >= 10000 ? String(Math.abs(value)).replace(/\B(?=(\d{3})+$)/g, "\u202f") : String(Math.abs(value));
  return value < 0 ? `−${text}` : text;
}

function colour(name) {
  return getComputedStyle(document.documentElement).getPropertyValue(COLOURS[name] ?? "--mass").trim();
}

export class Closer {
  /**
   * place: the element that holds tools, marks and plots; data: curves by panel; given: marks and the zero of the axis;
   * told: picked(seconds from lit) when a moment was picked, chosen(mark) when an event was.
   */
  constructor(place, data, given, told) {
    this.data = data;
    this.given = given;
    this.told = told;
    this.plots = [];
    this.selected = null;
    this.picked = null;
    this.box = place.querySelector("[data-plots]");
    this.whole = [data.t_s[0] ?? 0, data.t_s.at(-1) ?? 1];
    this.span = this.whole;
    this.marks = place.querySelector("[data-marks]");
    this.showMarks();
    this.draw();
    new ResizeObserver(() => this.resize()).observe(this.box);
    addEventListener("schemechange", () => this.draw());
    for (const button of place.querySelectorAll("[data-zoom]")) {
      button.addEventListener("click", () => this.step(button.dataset.zoom));
    }
    this.box.addEventListener("keydown", (event) => this.key(event));
    // What ends a drag is no click: only what begins anew may be one.
    this.box.addEventListener("pointerdown", () => { this.wasDragged = false; }, { capture: true });
    this.box.addEventListener("wheel", (event) => this.wheel(event), { passive: false });
    this.pinch();
  }

  // Events

  showMarks() {
    for (const mark of this.given.marks) {
      const item = document.createElement("li");
      const button = document.createElement("button");
      button.type = "button";
      button.className = "small";
      button.dataset.number = mark.number;
      button.textContent = `${mark.number} ${mark.name} ${clock(mark.t_s - this.given.zero_s)}`;
      button.setAttribute("aria-pressed", "false");
      button.addEventListener("click", () => {
        this.select(mark.number);
        this.told.chosen(mark);
      });
      item.append(button);
      this.marks.append(item);
    }
  }

  /** Mark an event, and bring it into view. */
  select(number) {
    this.selected = number;
    for (const button of this.marks.querySelectorAll("button")) {
      button.setAttribute("aria-pressed", String(Number(button.dataset.number) === number));
    }
    const mark = this.given.marks.find((one) => one.number === number);
    if (mark && (mark.t_s < this.span[0] || mark.t_s > this.span[1])) {
      const half = (this.span[1] - this.span[0]) / 2;
      this.show(mark.t_s - half, mark.t_s + half);
    } else {
      this.redraw();
    }
  }

  // Drawing

  draw() {
    for (const { plot, figure } of this.plots) {
      plot.destroy();
      figure.remove();
    }
    const style = getComputedStyle(document.documentElement);
    this.ink = style.getPropertyValue("--ink").trim();
    this.faint = style.getPropertyValue("--faint").trim();
    this.rule = style.getPropertyValue("--rule").trim();
    this.warm = style.getPropertyValue("--warm").trim();
    this.plots = this.data.panels.map((panel, index) => this.panel(panel, index));
    this.show(...this.span);
  }

  panel(panel, index) {
    const figure = document.createElement("figure");
    const title = document.createElement("figcaption");
    title.textContent = `${panel.title}, ${panel.unit}`;
    figure.append(title);
    this.box.append(figure);
    const columns = [this.data.t_s];
    const series = [{ label: this.given.lit ? "from lit" : "from the first sample", value: (_, t) => (t === null ? "–" : clock(t - this.data.zero_s)) }];
    const bands = [];
    panel.lines.forEach((line, number) => {
      const stroke = colour(line.name);
      columns.push(line.values);
      series.push({
        label: line.name, stroke, width: 1.8, dash: DASHES[number % DASHES.length], points: { show: false },
        value: (_, value) => (value === null ? "–" : `${value.toFixed(1).replace("-", "−")} ${panel.unit}`),
      });
      if (!line.low) return;
      const high = columns.push(line.high) - 1;
      const low = columns.push(line.low) - 1;
      for (const end of ["high", "low"]) series.push({ label: end, class: "end", stroke: "transparent", points: { show: false }, legend: false });
      bands.push({ series: [high, low], fill: `${stroke}30` });
    });
    const axis = { stroke: this.ink, font: "13px sans-serif", grid: { stroke: this.rule, width: 1 }, ticks: { stroke: this.rule, size: 4 } };
    const plot = new uPlot({
      ...this.size(panel),
      series,
      bands,
      scales: { x: { time: false }, y: panel.title === "Burning rate" ? { range: (_, low, high) => [Math.min(0, Math.max(low, -2)), high * 1.06 || 1] } : {} },
      axes: [
        { ...axis, values: (_, ticks) => ticks.map((t) => clock(t - this.data.zero_s)), splits: (_, __, low, high) => this.splits(low, high), size: 30 },
        { ...axis, size: WIDE_PX, values: (_, ticks) => ticks.map(grouped) },
      ],
      cursor: { sync: { key: "burn", scales: ["x", null] }, drag: { x: true, y: false, dist: 6 }, points: { size: 7 } },
      legend: { live: true },
      hooks: {
        draw: [(drawn) => this.drawMarks(drawn, index === 0)],
        setSelect: [(drawn) => this.dragged(drawn)],
      },
    }, columns, figure);
    plot.over.addEventListener("click", (event) => this.click(plot, event));
    return { plot, figure, panel };
  }

  /** Ticks at whole minutes, or at seconds where there are few. */
  splits(low, high) {
    const zero = this.data.zero_s;
    const wanted = (high - low) / Math.max(3, this.box.clientWidth / 75);
    const step = [1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200].find((one) => one >= wanted) ?? 14400;
    const ticks = [];
    for (let t = Math.ceil((low - zero) / step) * step + zero; t <= high; t += step) ticks.push(t);
    return ticks;
  }

  drawMarks(plot, first) {
    const { ctx } = plot;
    const { left, top, width, height } = plot.bbox;
    const ratio = devicePixelRatio;
    ctx.save();
    ctx.font = `${12 * ratio}px sans-serif`;
    ctx.textAlign = "center";
    let free = -Infinity;
    for (const mark of this.given.marks) {
      const x = Math.round(plot.valToPos(mark.t_s, "x", true));
      if (x < left || x > left + width) continue;
      const chosen = mark.number === this.selected;
      ctx.strokeStyle = chosen ? this.warm : this.ink;
      ctx.globalAlpha = chosen ? 1 : MAIN.includes(mark.kind) ? 0.75 : 0.45;
      ctx.lineWidth = (chosen ? 3 : 1) * ratio;
      ctx.setLineDash(MAIN.includes(mark.kind) || chosen ? [] : [2 * ratio, 3 * ratio]);
      ctx.beginPath();
      ctx.moveTo(x, top);
      ctx.lineTo(x, top + height);
      ctx.stroke();
      if (first && (x > free || chosen)) {
        ctx.globalAlpha = 1;
        ctx.fillStyle = chosen ? this.warm : this.ink;
        ctx.fillText(String(mark.number), x, top - 4 * ratio);
        free = x + 12 * ratio;
      }
    }
    if (this.picked !== null) {
      const x = Math.round(plot.valToPos(this.picked, "x", true));
      if (x >= left && x <= left + width) {
        ctx.globalAlpha = 1;
        ctx.strokeStyle = this.warm;
        ctx.lineWidth = 2 * ratio;
        ctx.setLineDash([6 * ratio, 4 * ratio]);
        ctx.beginPath();
        ctx.moveTo(x, top);
        ctx.lineTo(x, top + height);
        ctx.stroke();
      }
    }
    ctx.restore();
  }

  size(panel) {
    return { width: this.box.clientWidth, height: HEIGHT_PX[panel.title] ?? 170 };
  }

  resize() {
    for (const { plot, panel } of this.plots) {
      const size = this.size(panel);
      if (size.width && size.width !== plot.width) plot.setSize(size);
    }
  }

  redraw() {
    for (const { plot } of this.plots) plot.redraw(false);
  }

  // Looking closer

  show(low, high) {
    const [first, last] = this.whole;
    const span = Math.min(Math.max(high - low, LEAST_SPAN_S), last - first);
    const middle = (low + high) / 2;
    const start = Math.min(Math.max(middle - span / 2, first), last - span);
    this.span = [start, start + span];
    for (const { plot } of this.plots) plot.setScale("x", { min: this.span[0], max: this.span[1] });
    this.box.dataset.span = this.span.map((t_s) => clock(t_s - this.data.zero_s)).join(" to ");
  }

  zoom(factor, about = (this.span[0] + this.span[1]) / 2) {
    this.show(about - (about - this.span[0]) * factor, about + (this.span[1] - about) * factor);
  }

  step(what) {
    const quarter = (this.span[1] - this.span[0]) / 4;
    if (what === "in") this.zoom(0.5);
    else if (what === "out") this.zoom(2);
    else if (what === "left") this.show(this.span[0] - quarter, this.span[1] - quarter);
    else if (what === "right") this.show(this.span[0] + quarter, this.span[1] + quarter);
    else this.show(...this.whole);
  }

  key(event) {
    const steps = { ArrowLeft: "left", ArrowRight: "right", "+": "in", "=": "in", "-": "out", "−": "out", 0: "all", Home: "all" };
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    if (event.key === "Enter") this.pick((this.span[0] + this.span[1]) / 2);
    else if (steps[event.key]) this.step(steps[event.key]);
    else return;
    event.preventDefault();
  }

  /** The wheel scrolls the page; with Ctrl, as a pinch on a touchpad sends it, it looks closer. */
  wheel(event) {
    if (!event.ctrlKey) return;
    event.preventDefault();
    this.zoom(Math.exp(event.deltaY / 200), this.at(event.clientX));
  }

  at(clientX) {
    const { plot } = this.plots[0];
    return plot.posToVal(clientX - plot.over.getBoundingClientRect().left, "x");
  }

  dragged(plot) {
    const { left, width } = plot.select;
    if (width < 6) return;
    const low = plot.posToVal(left, "x");
    const high = plot.posToVal(left + width, "x");
    this.wasDragged = true;
    plot.setSelect({ left: 0, top: 0, width: 0, height: 0 }, false);
    // After the plot has done what it does of itself with a selection.
    setTimeout(() => this.show(low, high));
  }

  click(plot, event) {
    if (this.wasDragged) return;
    const t_s = this.at(event.clientX);
    const near = this.given.marks
      .map((mark) => [Math.abs(plot.valToPos(mark.t_s, "x") - plot.valToPos(t_s, "x")), mark])
      .sort(([a], [b]) => a - b)[0];
    const { top } = plot.over.getBoundingClientRect();
    if (near && near[0] < 8 && event.clientY - top < 24) {
      this.select(near[1].number);
      this.told.chosen(near[1]);
      return;
    }
    this.pick(t_s);
  }

  pick(t_s) {
    this.picked = t_s;
    this.redraw();
    this.told.picked(t_s - this.data.zero_s);
  }

  /** Fingers: two look closer and wider, one moves sideways what was looked at closely; up and down is the page's. */
  pinch() {
    let held = null;
    const hold = (event) => {
      // What is under each finger stays under it.
      held = [...event.touches].slice(0, 2).map((touch) => ({ x: touch.clientX, t_s: this.at(touch.clientX) }));
    };
    this.box.addEventListener("touchstart", hold, { passive: true });
    this.box.addEventListener("touchend", hold, { passive: true });
    this.box.addEventListener("touchmove", (event) => {
      const box = this.plots[0].plot.over.getBoundingClientRect();
      const fingers = [...event.touches].slice(0, 2);
      if (!held || fingers.length !== held.length) return;
      const moved = Math.abs(fingers[0].clientX - held[0].x);
      if (fingers.length === 1 && moved < 8 && !this.moving) return;
      if (event.cancelable) event.preventDefault();
      this.moving = true;
      this.wasDragged = true;
      let per_px = (this.span[1] - this.span[0]) / box.width;
      if (fingers.length === 2) {
        const apart = fingers[1].clientX - fingers[0].clientX;
        if (Math.abs(apart) < 10) return;
        per_px = Math.abs((held[1].t_s - held[0].t_s) / apart);
      }
      const start = held[0].t_s - (fingers[0].clientX - box.left) * per_px;
      this.show(start, start + box.width * per_px);
    }, { passive: false });
    this.box.addEventListener("touchend", () => { this.moving = false; });
  }
}
