// The Compare page: waits for the answer and for its pictures, and shows two clips in step once they come into view.

import { openStage } from "./in-step.js";
import { ask } from "./ask.js";

const EVERY_MS = 500, PICTURES_MS = 1000;
const by = (id) => document.getElementById(id);

async function wait(line) {
  for (;;) {
    try {
      const now = await ask(line.dataset.state);
      if (now.ready) break;
      by("how-far").value = now.done;
      const words = now.done < now.total ? `Clip ${now.done + 1} of ${now.total} is being looked at.` : "The answer is being drawn.";
      if (now.total && line.textContent !== words) line.textContent = words;
    } catch (error) {
      line.textContent = `${error.message} This page goes on by itself when it does.`;
    }
    await new Promise((done) => setTimeout(done, EVERY_MS));
  }
  location.reload();
}

if (by("waiting")) wait(by("waiting"));

async function fill(section) {
  try {
    for (;;) {
      const now = await ask(section.dataset.address);
      if (now.ready) {
        section.insertAdjacentHTML("afterend", now.html);
        section.remove();
        return;
      }
      await new Promise((done) => setTimeout(done, PICTURES_MS));
    }
  } catch (error) {
    section.querySelector("[role=status]").textContent = `${error.message} Load this page again to try once more.`;
  }
}

const pictures = document.querySelector("#pictures[data-address]");
if (pictures) fill(pictures);

// Films are made and fetched for whoever looks at them, not for whoever reads the answer alone.
const stage = by("stage");
if (stage) {
  const watcher = new IntersectionObserver((seen) => {
    if (!seen.some((one) => one.isIntersecting)) return;
    watcher.disconnect();
    openStage(stage);
  }, { rootMargin: "200px" });
  watcher.observe(stage);
}
