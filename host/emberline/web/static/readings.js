// Readings as a person reads them: a number, its ±, its age where it is old.

const MINUS = "\u2212";
const COVERAGE_95 = 1.96;
const AGED_S = 3;

export function number(value, places) {
  const text = Math.abs(value).toFixed(places);
  const [whole, fraction] = text.split(".");
  const grouped = whole.length > 4 ? whole.replace(/\B(?=(\d{3})+$)/g, "\u202f") : whole;
  return (value < 0 && Number(text) ? MINUS : "") + grouped + (fraction ? `.${fraction}` : "");
}

/** A time as m:ss; minutes run on past 59. */
export function clock(seconds) {
  const whole = Math.round(Math.abs(seconds));
  return `${seconds < 0 && whole ? MINUS : ""}${Math.floor(whole / 60)}:${String(whole % 60).padStart(2, "0")}`;
}

/** A length of time in its two largest units. */
export function span(seconds) {
  const whole = Math.round(seconds);
  if (whole < 60) return `${whole} s`;
  if (whole < 3600) return `${Math.floor(whole / 60)} min ${whole % 60} s`;
  return `${Math.floor(whole / 3600)} h ${Math.floor((whole % 3600) / 60)} min`;
}

export function put(place, text) {
  if (place && place.textContent !== text) place.textContent = text;
}

/** Show a reading: {value, u, age_s, stale}, or null where there is none. */
export function showReading(place, reading, aside = "") {
  const places = Number(place.dataset.places);
  const known = reading && reading.value !== null && reading.value !== undefined;
  put(place.querySelector("[data-value]"), known ? number(reading.value, places) : "–");
  const half = known && reading.u ? COVERAGE_95 * reading.u : 0;
  put(place.querySelector("[data-half]"), half ? `± ${number(half, half * 10 ** places < 0.5 ? places + 1 : places)}` : "");
  place.classList.toggle("stale", Boolean(reading?.stale));
  place.classList.toggle("absent", !known);
  const old = known && (reading.stale || reading.age_s >= AGED_S) ? `${span(reading.age_s)} old` : "";
  put(place.querySelector("[data-aside]"), [old, reading?.stale ? "" : aside].filter(Boolean).join("; "));
}

/** Show the readings, the rate and the firepower of a live document whose message came `late_s` ago. */
export function showReadings(root, live, late_s, lost) {
  // Without readings of the scale, what was estimated from them is as old as they are.
  const scale = live.values.mass ?? live.values.pot_mass;
  const silent_s = scale?.stale ? scale.age_s : 0;
  const behind = live.t_s !== null && live.followed_s !== null && live.t_s - live.followed_s > 60;
  for (const place of root.querySelectorAll("[data-reading]")) {
    const name = place.dataset.reading;
    if ("ifAny" in place.dataset) place.hidden = !(name in live.values);
    if (name in live.values) {
      const reading = live.values[name];
      const age_s = reading.age_s + late_s;
      const broken = reading.value === null ? "the probe reports a fault" : "";
      showReading(place, { ...reading, age_s, stale: reading.stale || lost }, broken);
    } else if (name.endsWith("_g_min") || name.endsWith("_w")) {
      const estimate = live[name];
      const aside = estimate === null ? "not known yet"
        : live.burning_rate_held ? "steam hides it: by the pot's heat balance"
        : name === "firepower_w" && live.phase === "char" ? "of glowing char, at most" : "";
      showReading(place, estimate && { ...estimate, age_s: silent_s + late_s, stale: lost || behind || silent_s > 0 }, aside);
    } else {
      showReading(place, null, "no reading");
    }
  }
}

/** The phase in words; it is not known once what tells it has stopped coming. */
export function phase(live, lost) {
  if (!live.trial) return "no trial";
  return lost || live.known_until_s !== null ? "not known" : live.phase;
}

/** Whether the newest reading is not of now, and with it what is counted up to it. */
export function allOld(live, lost) {
  return lost || Object.values(live.values).every((value) => value.stale);
}

/** Show whether readings reach the disk. */
export function showRecording(root, live, lost) {
  const place = root.querySelector("[data-recording]");
  place.dataset.recording = lost ? "unknown" : live.recording;
  put(root.querySelector("[data-recording-words]"), lost ? "not known" : live.recording);
  const trouble = root.querySelector("[data-trouble]");
  put(trouble, live.trouble);
  trouble.hidden = !live.trouble;
}
