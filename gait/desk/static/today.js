// Keeps "what is being read" true while the page is open; the list itself is loaded anew when a clip is done.

const EVERY_MS = 2000;
const by = (id) => document.getElementById(id);
let last = null;

function left(seconds) {
  if (seconds === null) return "";
  if (seconds < 100) return `, about ${Math.max(1, Math.round(seconds))} s left`;
  const minutes = Math.round(seconds / 60);
  return minutes < 60 ? `, about ${minutes} min left` : `, about ${Math.floor(minutes / 60)} h ${minutes % 60} min left`;
}

function words(now) {
  const all = now.done + now.waiting + now.running + now.failed, open = now.waiting + now.running;
  const failed = now.failed ? `; ${now.failed} could not be read` : "";
  const pause = now.paused && open ? " The reading is paused." : "";
  const busy = open ? left(now.left_s) : "";
  return `${now.done} of ${all} clip${all === 1 ? " is" : "s are"} read${failed}${busy}.${pause} ${now.words}`.trim();
}

function line(clip) {
  const item = document.createElement("li"), bar = document.createElement("progress");
  item.textContent = `${clip.name} `;
  bar.max = 1;
  if (clip.share !== null) bar.value = clip.share;
  bar.setAttribute("aria-label", clip.name);
  item.append(bar);
  return item;
}

function show(now) {
  const all = now.done + now.waiting + now.running + now.failed;
  by("reading").hidden = !all;
  if (by("reading-words").textContent !== words(now)) by("reading-words").textContent = words(now);
  by("reading-bar").hidden = !(now.waiting + now.running);
  by("reading-bar").value = all ? (now.done + now.failed) / all : 0;
  by("reading-clips").replaceChildren(...now.clips.map(line));
  by("pause").hidden = now.paused || !(now.waiting + now.running);
  by("resume").hidden = !now.paused;
  by("retry").hidden = !now.failed;
}

async function look() {
  try {
    const answer = await fetch("/reading.json", { headers: { accept: "application/json" } });
    if (answer.status === 401) { location.reload(); return; }
    const now = await answer.json();
    show(now);
    const done = `${now.done} ${now.failed}`;
    // the list is made a moment after the last clip is read
    if (last !== null && last !== done && !(now.waiting + now.running)) setTimeout(() => location.reload(), 4000);
    last = done;
  } catch {
    by("reading-words").textContent = "The desk does not answer. When it runs again, this goes on by itself.";
  }
  setTimeout(look, EVERY_MS);
}

look();
