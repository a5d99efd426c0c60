// The stream of server-sent events of a page: opened again by itself, and watched for silence.

const SILENT_MS = 3500;
const AGAIN_MS = 1500;

/**
 * Follow a stream.
 *
 * `show(message)` is called with each; `tick(late_s, lost)` about twice a second, with the seconds since the last one and
 * whether the daemon has fallen silent.
 */
export function follow(address, show, tick) {
  let source = null;
  let heard_ms = performance.now();
  let opened_ms = 0;

  function open() {
    source?.close();
    opened_ms = performance.now();
    source = new EventSource(address);
    source.addEventListener("message", (event) => {
      heard_ms = performance.now();
      show(JSON.parse(event.data));
      tick(0, false);
    });
  }

  function look() {
    const now_ms = performance.now();
    const silent = now_ms - heard_ms > SILENT_MS;
    tick((now_ms - heard_ms) / 1000, silent);
    // The browser opens a broken stream again; one that was refused, or that is silent, it leaves alone.
    const stuck = source.readyState === EventSource.CLOSED || silent && source.readyState === EventSource.OPEN;
    if (stuck && now_ms - opened_ms > AGAIN_MS) open();
  }

  open();
  setInterval(look, 500);
  // A page that was put aside is shown as it is now.
  addEventListener("pageshow", look);
  document.addEventListener("visibilitychange", look);
}
