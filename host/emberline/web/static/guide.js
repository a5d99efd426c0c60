// The guided burn: what the scale shows, as it changes. Answers are plain forms.

import { follow } from "./stream.js";

const main = document.querySelector("[data-step]");
const find = (name) => main.querySelector(`[data-${name}]`);
const lost = find("lost");
let leaving = false;

function set(place, words) {
  if (place && place.textContent !== words) place.textContent = words;
}

function list(place, all) {
  if (!place) return;
  if ([...place.children].map((one) => one.textContent).join("\n") !== all.join("\n")) {
    place.replaceChildren(...all.map((words) => Object.assign(document.createElement("li"), { textContent: words })));
  }
}

function offer(look) {
  const take = find("take");
  if (!take) return;
  const [first, other] = look.offers;
  const idle = look.reading?.steady ? "Nothing to take yet" : "Wait until it is steady";
  set(take, first?.label ?? (look.takes ? "Take it" : idle));
  take.disabled = !look.takes;
  set(find("offer-words"), first?.words ?? "");
  const second = find("other");
  second.hidden = !other;
  set(second, other?.label ?? "");
}

function show(look) {
  if (leaving) return;
  if (look.step !== main.dataset.step) {
    leaving = true;
    location.reload();
    return;
  }
  const reading = look.reading;
  if (reading && find("reading")) {
    set(find("value"), reading.value);
    set(find("unit"), reading.unit);
    set(find("half"), reading.half);
    set(find("words"), reading.words);
    find("reading").classList.toggle("moving", !reading.steady);
  }
  offer(look);
  set(find("wait"), look.wait);
  find("wait").hidden = !look.wait;
  list(find("warnings"), look.warnings);
  find("warnings").hidden = !look.warnings.length;
  if (look.burn) {
    set(find("phase"), look.burn.phase);
    list(find("marks"), look.burn.marks);
  }
  if (look.finish && find("advice")) {
    list(find("advice-list"), look.finish.advice);
    find("advice").hidden = !look.finish.advice.length;
  }
}

document.addEventListener("sent", () => { leaving = true; });
follow(`/bench/${encodeURIComponent(main.dataset.bench)}/guide/stream`, show, (_, silent) => { lost.hidden = !silent; });
