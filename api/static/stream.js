// The live stream: resumes by event id, says when it is broken, and comes back when the tab wakes.

const SILENT_MS = 12_000; // the server pings every 5 s at the latest
const AGAIN_MS = 1_000;

/**
 * Keep one EventSource open.
 *
 * `handlers`: event, reading, state, clock, reset — each called with the parsed message;
 * `link(up)` when the connection comes or goes.
 */
export class Stream {
  constructor(address, handlers, link) {
    this.address = address;
    this.handlers = handlers;
    this.link = link;
    this.last = null;
    this.heard = 0;
    this.source = null;
    this.watch = setInterval(() => this.check(), 2_000);
    this.wake = () => {
      if (document.visibilityState === "visible") this.open();
    };
    document.addEventListener("visibilitychange", this.wake);
  }

  /** (Re)connect, going on after the last event seen. */
  open() {
    this.source?.close();
    clearTimeout(this.timer);
    const url = new URL(this.address, location.href);
    if (this.last !== null) url.searchParams.set("after", this.last);
    const source = new EventSource(url);
    this.source = source;
    this.heard = performance.now();
    source.onopen = () => this.link(true);
    source.onerror = () => {
      this.link(false);
      // The browser retries by itself unless the answer was an error: then we do.
      if (source.readyState === EventSource.CLOSED && source === this.source) {
        this.timer = setTimeout(() => this.open(), AGAIN_MS);
      }
    };
    for (const [name, handle] of Object.entries(this.handlers)) {
      source.addEventListener(name, (message) => {
        if (source !== this.source) return;
        this.heard = performance.now();
        if (message.lastEventId) this.last = message.lastEventId;
        handle(JSON.parse(message.data));
      });
    }
  }

  /** Whether the server is connected now. */
  get up() {
    return this.source?.readyState === EventSource.OPEN;
  }

  check() {
    if (this.source && document.visibilityState === "visible" && performance.now() - this.heard > SILENT_MS) {
      this.link(false);
      this.open();
    }
  }

  close() {
    clearInterval(this.watch);
    clearTimeout(this.timer);
    document.removeEventListener("visibilitychange", this.wake);
    this.source?.close();
    this.source = null;
  }
}
