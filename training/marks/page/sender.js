// Sends every step in order until the server has confirmed it. What is unconfirmed outlives the page.

const FIRST_WAIT_MS = 300, LONGEST_WAIT_MS = 4000, PATIENCE_MS = 8000;

export class Sender {
  // told(state, words): "saving", "saved", "gone" (retried), "refused" (needs the page to be loaded again)
  constructor({ key, token }, told) {
    this.token = token;
    this.shelf = `pawfall-unsent:${key}`;
    this.told = told;
    this.queue = JSON.parse(localStorage.getItem(this.shelf) ?? "[]");
    this.busy = false;
    this.stopped = false;
  }

  // Steps of an earlier page that were never confirmed; those in `known` were, and only their answer was lost.
  left(known) {
    this.queue = this.queue.filter((step) => !known.has(step.op));
    this.#keep();
    return [...this.queue];
  }

  add(step) {
    if (this.stopped) return;
    this.queue.push(step);
    this.#keep();
    this.run();
  }

  async run() {
    if (this.busy || this.stopped || !this.queue.length) return;
    this.busy = true;
    let wait = FIRST_WAIT_MS;
    while (this.queue.length && !this.stopped) {
      this.told("saving", "");
      const answer = await post(this.queue[0], this.token);
      if (answer.ok) {
        this.queue.shift();
        this.#keep();
        wait = FIRST_WAIT_MS;
      } else if (answer.refused) {
        this.stopped = true;
        localStorage.setItem(`${this.shelf}:refused`, JSON.stringify(this.queue));
        this.queue = [];
        this.#keep();
        this.told("refused", answer.words);
      } else {
        this.told("gone", answer.words);
        await new Promise((go) => setTimeout(go, wait));
        wait = Math.min(2 * wait, LONGEST_WAIT_MS);
      }
    }
    this.busy = false;
    if (!this.stopped) this.told("saved", "");
  }

  #keep() {
    if (this.queue.length) localStorage.setItem(this.shelf, JSON.stringify(this.queue));
    else localStorage.removeItem(this.shelf);
  }
}

async function post(step, token) {
  try {
    const answer = await fetch("edits", {
      method: "POST", headers: { "Content-Type": "application/json", "X-CSRFToken": token }, body: JSON.stringify(step),
      signal: AbortSignal.timeout(PATIENCE_MS),
    });
    if (answer.ok) return { ok: true };
    const words = (await answer.json().catch(() => ({}))).error ?? `answer ${answer.status}`;
    return { ok: false, refused: answer.status >= 400 && answer.status < 500, words };
  } catch {
    return { ok: false, refused: false, words: "" };
  }
}
