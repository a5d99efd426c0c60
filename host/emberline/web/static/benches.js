// The page of all benches: a few figures of each.

import { phase, put, showReadings, showRecording } from "./readings.js";
import { follow } from "./stream.js";

let benches = JSON.parse(document.getElementById("now").textContent);
const lostBanner = document.querySelector("[data-lost]");

follow("/stream", (message) => { benches = message; }, (late_s, lost) => {
  lostBanner.hidden = !lost;
  for (const live of benches) {
    const root = document.querySelector(`.bench[data-bench="${CSS.escape(live.bench)}"]`);
    if (!root) {
      location.reload(); // a bench that has come since
      return;
    }
    put(root.querySelector("[data-phase]"), phase(live, lost));
    put(root.querySelector("[data-label]"), live.label ?? "");
    put(root.querySelector("[data-alarm-line]"), live.alarms.map((alarm) => alarm.title + (alarm.cleared_ns ? " (its cause has gone)" : "")).join("; "));
    showRecording(root, live, lost);
    showReadings(root, live, late_s, lost);
  }
});
