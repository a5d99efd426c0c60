// The live page of one bench.

import { Air } from "./air.js";
import { Alarms } from "./alarms.js";
import { Curves } from "./curves.js";
import { keepWho, tell } from "./frame.js";
import { allOld, clock, phase, put, showReadings, showRecording, span } from "./readings.js";
import { follow } from "./stream.js";

const root = document.getElementById("main");
const bench = root.dataset.bench;
const find = (name) => root.querySelector(`[data-${name}]`);
const burn = find("burn");
const alarms = new Alarms(root);
const air = new Air(root);
const curves = new Curves(find("curves"), find("curves-aside"));

let live = JSON.parse(document.getElementById("now").textContent);
let marks = null;
let events = [];
let lit_s = null;

// What belongs to the burn: events, remarks, photos

function readBurn() {
  const lit = burn.querySelector("[data-lit-s]").dataset.litS;
  lit_s = lit === "" ? null : Number(lit);
  events = [...burn.querySelectorAll("[data-kind]")].map(({ dataset }) => ({
    kind: dataset.kind, t_s: Number(dataset.tS), name: dataset.name,
  }));
}

const key = (event) => `${event.kind} ${event.name}`;

/** Put what is other than it was in its place, and leave alone what a hand may be reaching for. */
function putBurn(text) {
  const fresh = document.createElement("template");
  fresh.innerHTML = text;
  const [before, after] = [[...burn.children], [...fresh.content.children]];
  if (before.map((part) => part.dataset.part).join() !== after.map((part) => part.dataset.part).join()) {
    burn.replaceChildren(fresh.content);
    keepWho(burn);
    return;
  }
  after.forEach((part, index) => {
    if ("still" in part.dataset) return;
    for (const told of before[index].querySelectorAll("[data-refusal]")) {
      put(part.querySelector(`[data-refusal="${CSS.escape(told.dataset.refusal)}"]`), told.textContent);
    }
    if (part.isEqualNode(before[index])) return;
    const at = before[index].contains(document.activeElement) ? document.activeElement.id : "";
    before[index].replaceWith(part);
    keepWho(part);
    if (at) part.querySelector(`#${CSS.escape(at)}`)?.focus({ preventScroll: true });
  });
}

async function renewBurn() {
  const answer = await fetch(`/bench/${bench}/burn`).catch(() => null);
  if (!answer?.ok) return;
  const text = await answer.text();
  // A form that waits for its answer stays, since the answer is shown in it.
  while (burn.querySelector("[data-sending]")) await new Promise((go) => setTimeout(go, 50));
  const known = new Set(events.map(key));
  putBurn(text);
  readBurn();
  const fresh = events.filter((event) => event.kind !== "note" && !known.has(key(event)));
  if (fresh.length) tell(fresh.map((event) => `${event.name}, ${clock(event.t_s - (lit_s ?? 0))}`).join("; "));
}

// The state now

/** Grey a part of the stage where it is not of now. */
function grey(name, old) {
  find(name).closest(".stage > div").classList.toggle("stale", old);
}

function forecast(name, given, lost) {
  const place = find(name);
  grey(name, lost || (given.absent ?? "").startsWith("not known"));
  if (lost && given.absent === undefined) {
    put(place, "–");
    put(find(`${name}-aside`), "not known: the daemon cannot be reached");
    return;
  }
  if (given.absent !== undefined) {
    put(place, "–");
    put(find(`${name}-aside`), given.absent);
    return;
  }
  const [low, high] = given.interval_95.map((end) => end - live.t_s);
  put(place, clock(given.t_s - live.t_s));
  put(find(`${name}-aside`), `95 %: ${clock(Math.max(low, 0))} to ${clock(high)} from now`);
}

function showStage(late_s, lost) {
  const until_s = live.trial ? live.known_until_s ?? (lost ? live.t_s : null) : null;
  grey("phase", until_s !== null);
  put(find("phase"), phase(live, lost));
  put(find("phase-aside"), until_s !== null ? `${live.phase} until ${clock(until_s)} of record`
    : live.progress === null ? "" : `${Math.round(100 * live.progress)} % of it has passed`);
  const old = live.t_s !== null && allOld(live, lost);
  const age_s = (live.time_ns - live.start_ns) / 1e9 - live.t_s + late_s;
  grey("since-lit", old);
  put(find("since-lit"), lit_s === null || live.t_s === null ? "–" : clock(live.t_s - lit_s));
  put(find("since-aside"), live.t_s === null ? "" : old ? `at the last reading, ${span(age_s)} ago` : `${clock(live.t_s)} of record`);
}

function show(late_s, lost) {
  find("lost").hidden = !lost;
  showRecording(root, live, lost);
  alarms.show(live, late_s);
  air.show(live);
  put(find("link"), live.samples_lost ? ` ${live.link}, ${live.samples_lost} samples lost` : ` ${live.link}`);
  put(find("label"), live.label ?? bench);
  const where = find("where");
  put(where, (live.trial ? `Trial ${live.trial}` : "No trial is open") + (live.label ? ` on ${where.dataset.where}` : ""));
  showReadings(root, live, late_s, lost);
  showStage(late_s, lost);
  const behind_s = live.t_s === null || live.followed_s === null ? 0 : live.t_s - live.followed_s;
  put(find("behind"), behind_s > 60 ? `Events are looked for ${span(behind_s)} behind the readings.` : "");
  forecast("boil", live.boil_forecast, lost);
  forecast("flameout", live.flameout_forecast, lost);
  find("hot").hidden = live.phase !== "char";
  const alarm = live.alarms.find((one) => one.acknowledged_ns === null);
  document.title = `${alarm ? `! ${alarm.title} – ` : ""}${live.values.water?.value?.toFixed(1) ?? "–"} °C, ${phase(live, lost)} – ${bench} – Emberline`;
}

readBurn();
show(0, false);
burn.addEventListener("sent", renewBurn);

follow(`/bench/${bench}/stream`, async (message) => {
  live = message.live;
  curves.take(message.points, message.whole, live);
  if (marks !== message.marks) {
    const first = marks === null;
    marks = message.marks;
    if (!first || live.trial) await renewBurn();
  }
  curves.draw(live, events, lit_s);
}, show);

addEventListener("schemechange", () => curves.renew());
matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => curves.renew());
