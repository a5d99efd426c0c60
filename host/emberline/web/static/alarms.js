// The alarms of a bench: raised, told again until somebody has seen them, gone.

import { keepWho } from "./frame.js";
import { put, span } from "./readings.js";

const key = (alarm) => `${alarm.kind} ${alarm.raised_ns}`;

function words(alarm, live, late_s) {
  const age = `${span((live.time_ns - alarm.raised_ns) * 1e-9 + late_s)} ago`;
  const seen = alarm.acknowledged_ns === null ? "" : ` Acknowledged${alarm.acknowledged_by ? ` by ${alarm.acknowledged_by}` : ""}.`;
  const gone = alarm.cleared_ns === null ? "" : " Its cause has gone.";
  return `Raised ${age}.${seen}${gone}`;
}

function element(name, attributes, ...children) {
  const made = document.createElement(name);
  for (const [attribute, value] of Object.entries(attributes)) made.setAttribute(attribute, value);
  made.append(...children);
  return made;
}

function raised(alarm, bench) {
  const mark = element("span", { "aria-hidden": "true" }, "! ");
  const title = element("h2", { id: `alarm-${alarm.kind}` }, mark, alarm.title);
  const name = element("label", {}, "Your name ", element("input", { name: "who", autocomplete: "name", maxlength: "80" }));
  const form = element("form", { method: "post", action: `/bench/${bench}/acknowledge`, "data-quiet": "" },
    element("input", { type: "hidden", name: "alarm", value: alarm.kind }), name,
    element("button", {}, "I have seen it"), element("span", { "data-refusal": "", role: "alert" }));
  const made = element("section", { class: "alarm", "data-alarm": key(alarm), "aria-labelledby": `alarm-${alarm.kind}` },
    title, element("p", {}, alarm.text), element("p", { class: "state", "data-state": "" }), form);
  keepWho(made);
  return made;
}

export class Alarms {
  constructor(root) {
    this.place = root.querySelector("[data-alarms]");
    this.voice = root.querySelector("[data-alarms-told]");
    this.told = new Map();
  }

  /** Show the alarms of a live document whose message came `late_s` ago. */
  show(live, late_s) {
    const standing = new Map(live.alarms.map((alarm) => [key(alarm), alarm]));
    for (const place of this.place.querySelectorAll("[data-alarm]")) {
      if (!standing.has(place.dataset.alarm)) place.remove();
    }
    for (const [name, alarm] of standing) {
      let place = this.place.querySelector(`[data-alarm="${CSS.escape(name)}"]`);
      if (!place) this.place.append(place = raised(alarm, live.bench));
      put(place.querySelector("[data-state]"), words(alarm, live, late_s));
      const seen = alarm.acknowledged_ns !== null;
      place.classList.toggle("seen", seen);
      if (seen) place.querySelector("form")?.remove();
    }
    this.tell(live.alarms.filter((alarm) => alarm.acknowledged_ns === null));
  }

  /** Have a screen reader say what was told, and again each time it is told again. */
  tell(unseen) {
    const again = unseen.filter((alarm) => alarm.told > (this.told.get(key(alarm)) ?? 0));
    this.told = new Map(unseen.map((alarm) => [key(alarm), alarm.told]));
    if (!again.length) return;
    this.voice.textContent = "";
    this.voice.textContent = again.map((alarm) => `Alarm${alarm.told > 1 ? ", still" : ""}: ${alarm.title}. ${alarm.text}`).join(" ");
  }
}
