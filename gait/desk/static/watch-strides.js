// The strides of one paw as a table: what the machine says of each, what a person said, and going there.

import { answer, seconds, words } from "./watch-clip.js";

export class StrideTable {
  // act: { go(stride), loop(stride), overrule(stride) }
  constructor(body, clip, act) {
    Object.assign(this, { body, clip, act, paw: "near_hind", current: null });
    this.fill();
  }

  setPaw(paw) {
    this.paw = paw;
    this.fill();
  }

  fill() {
    const strides = this.clip.stridesOf(this.paw);
    this.rows = new Map(strides.map((stride) => [stride, this.row(stride)]));
    const none = document.createElement("tr");
    none.append(cell(`No stride of the ${words(this.paw)} paw was found.`, { colSpan: 4 }));
    this.body.replaceChildren(...(strides.length ? this.rows.values() : [none]));
    this.body.parentElement.classList.toggle("overruled", strides.some((stride) => stride.overruled));
    this.current = null;
  }

  row(stride) {
    const row = document.createElement("tr"), head = document.createElement("th"), time = document.createElement("span");
    head.scope = "row";
    head.textContent = `${stride.number} `;
    time.className = "time";
    time.textContent = span(stride);
    head.append(time);
    row.append(head, this.machine(stride), person(stride.overruled), this.buttons(stride));
    row.classList.toggle("dropped", Boolean(stride.dropped));
    return row;
  }

  machine(stride) {
    const said = cell(answer(stride), {});
    if (stride.probability !== null && !stride.dropped && stride.gait !== "unclear") {
      const sure = document.createElement("span");
      sure.className = "sd";
      sure.textContent = ` ${Math.round(100 * stride.probability)}\u00a0%`;
      said.append(sure);
    }
    if (stride.overruled) said.classList.add("set-aside");
    return said;
  }

  buttons(stride) {
    const held = cell("", {}), acts = document.createElement("div");
    acts.className = "acts";
    held.append(acts);
    const of = `stride ${stride.number} of the ${words(stride.paw)} paw`;
    for (const [act, label] of [["go", "Go"], ["loop", "Loop"], ["overrule", "Overrule"]]) {
      if (act === "overrule" && (stride.start === null || stride.end === null)) continue;  // cut off: never used
      const button = document.createElement("button");
      button.type = "button";
      button.textContent = label;
      button.setAttribute("aria-label", `${label}: ${of}`);
      button.addEventListener("click", () => this.act[act](stride));
      acts.append(button);
    }
    return held;
  }

  show(row) {
    const now = this.clip.strideAt(this.paw, row);
    if (now === this.current) return;
    this.rows.get(this.current)?.removeAttribute("aria-current");
    this.rows.get(now)?.setAttribute("aria-current", "true");
    this.current = now;
  }
}

function span(stride) {
  if (stride.start === null) return stride.end === null ? "the whole clip" : `to ${seconds(stride.end)}`;
  return stride.end === null ? `from ${seconds(stride.start)}` : `${stride.start.toFixed(2)} – ${seconds(stride.end)}`;
}

// What a person said of a stride; on a small screen the reason stands in the list of all alone.
function person(overruling) {
  const made = cell(overruling ? overruling.gait || "left out" : "", { className: "mine" });
  if (overruling) {
    const reason = document.createElement("span");
    reason.className = "reason";
    reason.textContent = `: ${overruling.reason}`;
    made.append(reason);
  }
  return made;
}

function cell(words, more) {
  return Object.assign(document.createElement("td"), { textContent: words, ...more });
}
