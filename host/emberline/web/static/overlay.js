// A bench's figures over a film, and each event for some seconds.

import { allOld, clock, put, showReadings } from "./readings.js";
import { follow } from "./stream.js";

const EVENT_MS = 8000;

const root = document.querySelector("[data-overlay]");
const bench = encodeURIComponent(root.dataset.overlay);
const told = root.querySelector("[data-event]");

let live = null;
let marks = null;
let lit_s = null;
let known = new Set();
let hiding = 0;

/** Look what has happened; an event that is new is shown for a while, the first time none is. */
async function look(first) {
  const answer = await fetch(`/bench/${bench}/burn`).catch(() => null);
  if (!answer?.ok) return;
  const burn = new DOMParser().parseFromString(await answer.text(), "text/html");
  const lit = burn.querySelector("[data-lit-s]")?.dataset.litS ?? "";
  lit_s = lit === "" ? null : Number(lit);
  const events = [...burn.querySelectorAll("[data-kind]")].map(({ dataset }) => dataset);
  const fresh = events.filter(({ kind, name }) => kind !== "note" && !known.has(`${kind} ${name}`));
  known = new Set(events.map(({ kind, name }) => `${kind} ${name}`));
  if (first || !fresh.length) return;
  put(told, fresh.map(({ name }) => name).join(", "));
  clearTimeout(hiding);
  hiding = setTimeout(() => put(told, ""), EVENT_MS);
}

function show(late_s, lost) {
  if (!live) return;
  showReadings(root, live, late_s, lost);
  root.querySelector(".moment").classList.toggle("stale", allOld(live, lost));
  put(root.querySelector("[data-since-lit]"), lit_s === null || live.t_s === null ? "–" : clock(live.t_s - lit_s));
}

follow(`/bench/${bench}/stream`, async (message) => {
  live = message.live;
  if (marks === message.marks) return;
  const first = marks === null;
  marks = message.marks;
  await look(first);
}, show);
