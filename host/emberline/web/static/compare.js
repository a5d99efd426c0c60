// Burning rates of several trials over one another, aligned at an event.

import { clock } from "./readings.js";

const DASHES = [[], [9, 5], [2, 4], [12, 4, 2, 4], [4, 4], [16, 6]];
const COLOURS = ["--flame", "--water", "--rate", "--mass"];
const BEFORE_S = 60;
const HEIGHT = 320;
const STEPS_S = [10, 15, 30, 60, 120, 300, 600, 900, 1800, 3600];

const place = document.querySelector("[data-burns]");
if (place) overlay(place, document.querySelector("[data-overlay-told]"), document.querySelector("#align"));

async function overlay(place, told, align) {
  const burns = JSON.parse(place.dataset.burns);
  const groups = JSON.parse(place.dataset.groups);
  const curves = new Map();
  told.textContent = "The curves are fetched.";
  for (const burn of burns) {
    const answer = await fetch(`/trials/${encodeURIComponent(burn.trial)}/files/curves.json`);
    if (answer.ok) curves.set(burn.trial, rate_of(await answer.json()));
  }
  keys(groups);
  let plot = null;

  function draw() {
    plot?.destroy();
    const at = align.value;
    const shown = burns.filter((burn) => curves.get(burn.trial) && burn[at] !== null);
    const left = burns.length - shown.length;
    const end_s = Math.max(0, ...shown.map((burn) => curves.get(burn.trial).t_s.at(-1) - burn[at]));
    const axis = Array.from({ length: Math.ceil(end_s + BEFORE_S) + 1 }, (_, index) => index - BEFORE_S);
    const lines = shown.map((burn) => moved(curves.get(burn.trial), burn[at], axis));
    told.textContent = shown.length
      ? `${shown.length} ${shown.length === 1 ? "burn" : "burns"}, minutes from ${align.selectedOptions[0].text}; g/min.${left ? ` ${left} without a curve or without that event.` : ""}`
      : "No burn has a burning rate and that event.";
    if (!shown.length) return;
    plot = new uPlot(options(shown), [axis, ...lines], place);
  }

  function options(shown) {
    const ink = colour("--ink");
    const rule = colour("--rule");
    return {
      width: place.clientWidth,
      height: HEIGHT,
      legend: { show: false },
      scales: { x: { time: false }, y: { range: (_, low, high) => [0, Math.max(1, high * 1.08)] } },
      axes: [
        { stroke: ink, grid: { show: false }, ticks: { stroke: rule }, font: "14px sans-serif", incrs: STEPS_S, values: (_, marks) => marks.map(clock) },
        { stroke: ink, grid: { stroke: rule, width: 1 }, ticks: { show: false }, font: "14px sans-serif", size: 44 },
      ],
      series: [{}, ...shown.map((burn) => ({
        label: burn.label,
        stroke: colour(COLOURS[burn.group % COLOURS.length]),
        dash: DASHES[burn.group % DASHES.length],
        width: 1.6,
        points: { show: false },
      }))],
    };
  }

  align.addEventListener("change", draw);
  new ResizeObserver(() => plot?.setSize({ width: place.clientWidth, height: HEIGHT })).observe(place);
  new MutationObserver(() => { keys(groups); draw(); }).observe(document.documentElement, { attributeFilter: ["data-scheme"] });
  draw();
}

/** The burning rate of a trial's curves, or nothing. */
function rate_of(curves) {
  const line = curves.panels.flatMap((panel) => panel.lines).find((one) => one.name === "burning rate");
  return line ? { t_s: curves.t_s, values: line.values } : undefined;
}

/** A curve on another axis of seconds, its zero at an event. */
function moved(curve, zero_s, axis) {
  const first_s = curve.t_s[0];
  const step_s = curve.t_s.length > 1 ? curve.t_s[1] - first_s : 1;
  return axis.map((t) => curve.values[Math.round((t + zero_s - first_s) / step_s)] ?? null);
}

function keys(groups) {
  const list = document.querySelector("[data-keys]");
  list.replaceChildren(...groups.map((name, index) => {
    const item = document.createElement("li");
    const svg = document.createElementNS("http://www.w3.org/2000/svg", "svg");
    const line = document.createElementNS("http://www.w3.org/2000/svg", "line");
    const set = { x1: 0, x2: 42, y1: 6, y2: 6, stroke: colour(COLOURS[index % COLOURS.length]), "stroke-width": 2.5, "stroke-dasharray": DASHES[index % DASHES.length].join(" ") };
    for (const [key, value] of Object.entries(set)) line.setAttribute(key, value);
    svg.setAttribute("aria-hidden", "true");
    svg.append(line);
    item.append(svg, name);
    return item;
  }));
}

function colour(name) {
  return getComputedStyle(document.documentElement).getPropertyValue(name).trim();
}
