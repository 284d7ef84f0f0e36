// What a person says instead of the machine: a dialog for one stride, the list of all, taking back and doing again.

import { answer, seconds, words } from "./watch-clip.js";
import { ask } from "./ask.js";

export class Overruling {
  // changed(): strides have other answers now.
  constructor(page, clip, address, changed) {
    Object.assign(this, { page, clip, address, changed });
    const { dialog, undo, redo } = page;
    dialog.querySelector("form").addEventListener("submit", (event) => { event.preventDefault(); this.send(); });
    dialog.querySelector("[value=cancel]").addEventListener("click", () => dialog.close());
    undo.addEventListener("click", () => this.post("/undo"));
    redo.addEventListener("click", () => this.post("/redo"));
  }

  async load() {
    try { this.take(await ask(this.address)); } catch (error) { this.page.words.textContent = error.message; }
  }

  take(told) {
    for (const stride of this.clip.strides) stride.overruled = told.overrulings.findLast((one) => covers(one, stride)) ?? null;
    this.page.undo.disabled = !told.undo;
    this.page.redo.disabled = !told.redo;
    this.page.words.textContent = told.words || "Nothing was overruled in this clip.";
    this.page.report.hidden = !told.page;
    this.page.report.firstElementChild.href = told.page || "";
    this.page.list.replaceChildren(...told.overrulings.map((one) => this.item(one)));
    this.changed();
  }

  item(one) {
    const made = document.createElement("li");
    const stride = this.clip.strides.find((other) => other.overruled === one);
    const machine = stride ? `Machine: ${answer(stride)}` : one.idle || "no longer matches any stride";
    const by = [one.by, one.at && one.at.slice(0, 10)].filter(Boolean).join(", ");
    made.textContent = `${words(one.paw)} paw, ${one.start_s.toFixed(2)} – ${seconds(one.end_s)}. ${machine}. `
      + `Person: ${one.gait || "left out"}. Why: ${one.reason}${by ? ` (${by})` : ""}`;
    return made;
  }

  open(stride) {
    const { dialog } = this.page, form = dialog.querySelector("form");
    this.stride = stride;
    this.opener = document.activeElement?.getAttribute("aria-label");
    form.reset();
    form.querySelector("output").textContent =
      `Stride ${stride.number} of the ${words(stride.paw)} paw, ${stride.from.toFixed(2)} to ${seconds(stride.to)}. `
      + `The machine says: ${answer(stride)}.`;
    this.say("");
    dialog.showModal();
  }

  say(words) { this.page.dialog.querySelector("[role=alert]").textContent = words; }

  async send() {
    const { dialog } = this.page, form = new FormData(dialog.querySelector("form"));
    const reason = form.get("reason").trim(), what = form.get("what");
    if (what === "name" && !form.get("gait")) { this.say("Choose the gait, or leave the stride out."); return; }
    if (!reason) { this.say("Say why: whoever reads the report shall understand it."); return; }
    const { paw, from, to } = this.stride;
    const said = { paw, start_s: from, end_s: to, gait: what === "name" ? form.get("gait") : null, reason };
    try {
      this.take(await ask(this.address, said));
      dialog.close();
      this.toOpener();
    } catch (error) { this.say(error.message); }
  }

  // The table was made anew, and with it the button that opened the dialog: whoever works by keyboard goes on there.
  toOpener() {
    const buttons = [...document.querySelectorAll(".strides button")];
    buttons.find((button) => button.getAttribute("aria-label") === this.opener)?.focus();
  }

  async post(step) {
    this.page.undo.disabled = this.page.redo.disabled = true;  // until the answer says what can be done
    try {
      this.take(await ask(this.address + step, {}));
    } catch (error) {
      this.page.words.textContent = error.message;
      this.page.undo.disabled = this.page.redo.disabled = false;
    }
  }
}

// Whether an overruling is about this stride: more than half of the stride lies in it.
function covers(one, stride) {
  if (one.paw !== stride.paw || stride.start === null || stride.end === null) return false;
  const both = Math.min(one.end_s, stride.to) - Math.max(one.start_s, stride.from);
  return both > (stride.to - stride.from) / 2;
}
