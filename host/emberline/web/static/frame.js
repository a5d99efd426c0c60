// What every page does: the switch of schemes, announcements, and forms that are sent without leaving the page.

const root = document.documentElement;

// Schemes

const dark = () => root.dataset.scheme
  ? root.dataset.scheme === "dark"
  : matchMedia("(prefers-color-scheme: dark)").matches;

for (const button of document.querySelectorAll("[data-scheme]")) {
  if (button === root) continue;
  const name = () => button.setAttribute("aria-label", dark() ? "Show this site light" : "Show this site dark");
  button.hidden = false;
  button.addEventListener("click", () => {
    root.dataset.scheme = dark() ? "light" : "dark";
    localStorage.setItem("scheme", root.dataset.scheme);
    name();
    dispatchEvent(new Event("schemechange"));
  });
  name();
}

// Announcements, read out and shown for a moment

const told = document.querySelector("[data-told]");
let fading = 0;

export function tell(words) {
  told.textContent = words;
  clearTimeout(fading);
  fading = setTimeout(() => { told.textContent = ""; }, 6000);
}

// Forms

/** Show why a form was refused: beside the fields that are named, and the rest at its end. */
export function showRefusals(form, refusals) {
  for (const place of form.querySelectorAll("[data-refusal]")) {
    const field = place.dataset.refusal;
    place.textContent = refusals[field] ?? "";
    for (const input of form.querySelectorAll(`[name="${CSS.escape(field)}"]`)) {
      input.toggleAttribute("aria-invalid", Boolean(refusals[field]));
    }
  }
  const rest = Object.entries(refusals).filter(([field]) => !form.querySelector(`[data-refusal="${CSS.escape(field)}"]`));
  if (rest.length) tell(rest.map(([, words]) => words).join(" "));
  form.querySelector("[aria-invalid]")?.focus();
}

/** Send a form in the background; returns what the page answered, or null where it was refused or not reached. */
export async function send(form, submitter) {
  const data = new FormData(form, submitter);
  const body = form.enctype === "multipart/form-data" ? data : new URLSearchParams(data);
  let answer;
  try {
    answer = await fetch(form.action, { method: "POST", body, headers: { Accept: "application/json" } });
  } catch {
    tell("The daemon cannot be reached: nothing was kept. Try again when the page has found it.");
    return null;
  }
  const said = await answer.json().catch(() => ({}));
  showRefusals(form, said.refused ?? {});
  if (!answer.ok || said.refused) return null;
  tell(said.done ?? "Done.");
  return said;
}

// A form marked data-quiet stays on its page, emptied where it says "clear", or goes on with the next one where it says
// "go"; it tells of its success by the event "sent".
document.addEventListener("submit", async (event) => {
  const form = event.target;
  if (!form.matches("[data-quiet]")) return;
  event.preventDefault();
  // Begun before its buttons are locked: what a locked button says is not sent.
  form.dataset.sending = "";
  const sending = send(form, event.submitter);
  const buttons = [...form.querySelectorAll("button")].filter((button) => !button.disabled);
  for (const button of buttons) button.disabled = true;
  const said = await sending;
  delete form.dataset.sending;
  for (const button of buttons) button.disabled = false;
  event.submitter?.focus({ preventScroll: true });
  if (!said) return;
  if (form.dataset.quiet === "go") location.assign(said.to);
  if (form.dataset.quiet === "clear") form.reset();
  form.dispatchEvent(new CustomEvent("sent", { bubbles: true, detail: said }));
});

// A form with one field that says it all is sent as soon as the field is filled.
document.addEventListener("change", (event) => {
  const form = event.target.form;
  if (form?.matches("[data-at-once]")) form.requestSubmit();
});

// The name of whoever corrects something is kept on this device.
export function keepWho(place) {
  for (const field of place.querySelectorAll('input[name="who"]')) {
    if (!field.value) field.value = localStorage.getItem("who") ?? "";
    field.addEventListener("change", () => localStorage.setItem("who", field.value.trim()));
  }
}
keepWho(document);

// A form that cannot be undone asks first.
document.addEventListener("submit", (event) => {
  const words = event.submitter?.dataset.ask ?? event.target.dataset.ask;
  if (words && !confirm(words)) {
    event.preventDefault();
    event.stopImmediatePropagation();
  }
}, { capture: true });
