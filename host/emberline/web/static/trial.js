// A trial's page: curves to look closer at, moments picked on them, and a summary that renews itself.

import { tell } from "./frame.js";
import { Closer } from "./closer.js";

const main = document.querySelector("main");
const given = JSON.parse(document.getElementById("marks").textContent);

// Which form takes a picked moment: the one that is open and was touched last, or the one that moves an event.

let taking = document.querySelector("details[open] form [data-moment]")?.form ?? null;
document.addEventListener("focusin", (event) => {
  const form = event.target.closest("form");
  if (form?.querySelector("[data-moment]")) taking = form;
});

function field() {
  const form = taking?.isConnected ? taking : document.querySelector("#form-event") ?? document.querySelector("#form-new");
  const found = form?.querySelector("[data-moment]");
  const details = found?.closest("details");
  if (details) details.open = true;
  return found;
}

function text(t_s) {
  const tenths = Math.round(Math.abs(t_s) * 10);
  const sign = t_s < 0 && tenths ? "-" : "";
  return `${sign}${Math.floor(tenths / 600)}:${String(Math.floor(tenths / 10) % 60).padStart(2, "0")}.${tenths % 10}`;
}

function choose(reference) {
  const form = document.getElementById("form-event");
  if (!form) return;
  form.closest("details").open = true;
  form.elements.event.value = reference;
  taking = form;
  const mark = given.marks.find((one) => one.reference === reference);
  for (const row of document.querySelectorAll("tr[data-number]")) {
    row.classList.toggle("chosen", Number(row.dataset.number) === mark?.number);
  }
  closer?.select(mark?.number ?? null);
}

for (const link of document.querySelectorAll("[data-choose]")) {
  link.addEventListener("click", (event) => {
    event.preventDefault();
    choose(link.dataset.choose);
    const moment = document.querySelector("#form-event [data-moment]");
    if (!moment.value) moment.value = link.dataset.field;
    document.getElementById("correct").scrollIntoView();
    moment.focus({ preventScroll: true });
  });
}
document.querySelector("#form-event select[name=event]")?.addEventListener("change", (event) => choose(event.target.value));

// Curves

let closer = null;
const place = document.querySelector("[data-curves]");
if (place) {
  addEventListener("load", async () => {
    const answer = await fetch(place.dataset.curves);
    if (!answer.ok) return;
    place.hidden = false;
    for (const hint of document.querySelectorAll("[data-pick-hint]")) hint.hidden = false;
    closer = new Closer(place, await answer.json(), given, {
      picked(t_s) {
        const found = field();
        place.querySelector("[data-picked]").textContent = `Picked ${text(t_s)}.`;
        if (!found) return;
        found.value = text(t_s);
        found.dispatchEvent(new Event("change", { bubbles: true }));
        tell(`${text(t_s)} is in the form below.`);
      },
      chosen(mark) {
        if (mark.reference) choose(mark.reference);
        document.getElementById(`event-${mark.number}`)?.scrollIntoView({ block: "nearest" });
      },
    });
  });
}

// A form that was taken shows the page anew, with what it changed.

document.addEventListener("sent", (event) => {
  if (event.target.matches("[data-correction]")) location.assign(event.detail.to);
  else location.reload();
});

// What a link names opens.

function openNamed() {
  const named = location.hash ? document.getElementById(location.hash.slice(1)) : null;
  const details = named?.closest("details");
  if (details) {
    details.open = true;
    details.scrollIntoView();
  }
}
addEventListener("hashchange", openNamed);
openNamed();

// While the summary is worked out, ask for it; a form in which something was typed is not taken away.

const ASK_MS = 1500;
let typed = false;
document.addEventListener("input", () => { typed = true; });

async function ask() {
  try {
    const answer = await fetch(`/trials/${main.dataset.trial}/state`, { headers: { Accept: "application/json" } });
    const state = await answer.json();
    if (answer.ok && state.behind === false) {
      const waiting = document.querySelector("[data-waiting]");
      if (!typed) {
        location.reload();
      } else {
        waiting.textContent = "The summary is new. ";
        const button = document.createElement("button");
        button.type = "button";
        button.textContent = "Show it";
        button.addEventListener("click", () => location.reload());
        waiting.append(button);
      }
      return;
    }
  } catch {
    // The daemon is away for a moment; it is asked again.
  }
  setTimeout(ask, ASK_MS);
}
if ("waitedFor" in main.dataset) setTimeout(ask, ASK_MS);
