// The live stream: opens it, keeps it open while the page is seen, and knows how old the newest news is.

const staleAfterS = 3;

export class Stream {
  constructor({ state, curve, age }) {
    this.on = { state, curve, age };
    this.heard = 0; // performance.now() of the newest state
    this.opened = performance.now();
    document.addEventListener('visibilitychange', () => (document.hidden ? this.close() : this.open()));
    // A page put away or brought back by the browser's history keeps its script but not its connection.
    addEventListener('pagehide', () => this.close());
    addEventListener('pageshow', () => this.open());
    setInterval(() => this.tell(), 500);
    this.open();
  }

  open() {
    if (this.source || document.hidden) return;
    const source = new EventSource('/api/v1/live');
    this.source = source;
    source.addEventListener('state', (e) => {
      this.heard = performance.now();
      this.on.state(JSON.parse(e.data));
      if (this.stale !== false) this.tell();
    });
    source.addEventListener('curve', (e) => this.on.curve(JSON.parse(e.data)));
    source.addEventListener('error', () => {
      // A refusal (too many pages, a restart behind a proxy) closes the stream for good; ask again.
      if (source.readyState !== EventSource.CLOSED) return;
      this.close();
      clearTimeout(this.again);
      this.again = setTimeout(() => this.open(), 3000);
    });
  }

  close() {
    this.source?.close();
    this.source = null;
  }

  tell() {
    const s = (performance.now() - (this.heard || this.opened)) / 1000;
    this.stale = s >= staleAfterS;
    this.on.age({ seconds: s, stale: this.stale, ever: this.heard > 0 });
  }
}
