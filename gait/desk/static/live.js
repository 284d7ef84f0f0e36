// Shows what the camera that is being watched gives; the desk goes on without this page.

const EVERY_MS = 100, AGAIN_MS = 1000;
const by = (id) => document.getElementById(id);
let shown = "", told = -1;

function put(id, words) {
  if (by(id).textContent !== words) by(id).textContent = words;
}

function picture(number) {
  const image = by("picture");
  if (!number || number === shown || (image.dataset.loading === "yes")) return;
  shown = number;
  image.dataset.loading = "yes";
  image.src = `/live/picture.jpg?at=${encodeURIComponent(number)}`;
}

function place(share) {
  by("belt").hidden = share === null;
  if (share !== null) by("spot").style.left = `${Math.min(100, Math.max(0, 100 * share))}%`;
}

function history(said) {
  if (said.length === told) return;
  told = said.length;
  by("none").hidden = told > 0;
  by("said").replaceChildren(...said.map((words) => {
    const line = document.createElement("li");
    line.textContent = words;
    return line;
  }));
}

function clock(seconds) {
  const whole = Math.floor(seconds);
  return `${Math.floor(whole / 60)}:${String(whole % 60).padStart(2, "0")}`;
}

function show(now) {
  put("gait", now.gait);
  by("gait").classList.toggle("unsure", !now.sure);
  put("gait-more", now.gait_more);
  put("topline", now.dog ? now.topline : "");
  put("topline-more", now.dog ? now.topline_more : "");
  put("place", now.dog ? now.place_words : "");
  place(now.dog ? now.place : null);
  const lost = now.lost ? `; ${now.lost} could not be recorded` : "";
  put("recording", `Recording ${now.camera}, ${clock(now.t_s ?? 0)}, ${now.written} pictures${lost}`);
  const dropped = now.dropped ? ` ${now.dropped} were left out of the reading, as they came too fast.` : "";
  put("age", now.latency_ms === null ? "" : `This answer came ${now.latency_ms} ms after its picture. ${now.latency}.${dropped}`);
  by("trouble").hidden = !now.trouble;
  put("trouble", now.trouble);
  history(now.said);
  picture(now.picture);
}

async function look() {
  let wait = EVERY_MS;
  try {
    const answer = await fetch("/live/now.json", { headers: { accept: "application/json" } });
    if (answer.status === 401) { location.reload(); return; }
    const now = await answer.json();
    if (!now.running) { location.reload(); return; }
    show(now);
  } catch {
    put("age", "The desk does not answer. When it does again, this goes on by itself.");
    wait = AGAIN_MS;
  }
  setTimeout(look, wait);
}

const image = by("picture");
image.addEventListener("load", () => { image.hidden = false; image.dataset.loading = ""; });
image.addEventListener("error", () => { image.dataset.loading = ""; });
look();
