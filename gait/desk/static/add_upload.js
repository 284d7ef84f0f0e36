// Sends films by the open protocol tus 1.0.0 (https://tus.io): what arrived stays, whatever breaks.

const STEP = 8 * 1024 * 1024; // bytes sent at a time: a broken connection costs no more than these
const LONGEST_WAIT_MS = 10000;
const TUS = { "tus-resumable": "1.0.0" };

export const token = () => document.querySelector('meta[name="csrf-token"]').content;
const wait = (ms) => new Promise((done) => setTimeout(done, ms));

export class Refused extends Error {
  // `text` is what the desk answered: {"error": words}, or words for nobody in particular
  constructor(status, text) {
    let told = {};
    try { told = JSON.parse(text) ?? {}; } catch { /* no words: those below */ }
    super(told.error || (status === 401 ? "Sign in again, then go on." : `The desk refused this (${status}).`));
    this.status = status;
    this.told = told;
  }
}

// Asks the desk and gives back what it says as JSON. Throws Refused with its sentence, TypeError when it does not answer.
export async function ask(path, options = {}) {
  const headers = { accept: "application/json", "x-csrftoken": token(), ...options.headers };
  const answer = await fetch(path, { ...options, headers });
  if (answer.ok) return answer.status === 204 || options.method === "HEAD" ? answer : answer.json();
  throw new Refused(answer.status, await answer.text());
}

const base64 = (text) => btoa(String.fromCharCode(...new TextEncoder().encode(text)));

export async function begin(file) {
  const said = `filename ${base64(file.name.slice(-200))},changed ${base64(String(file.lastModified || 0))}`;
  const headers = { accept: "application/json", "x-csrftoken": token(), ...TUS, "upload-length": String(file.size), "upload-metadata": said };
  const answer = await fetch("/uploads", { method: "POST", headers });
  if (!answer.ok) throw new Refused(answer.status, await answer.text());
  return answer.headers.get("location").split("/").pop();
}

async function offsetOf(id) {
  const answer = await ask(`/uploads/${id}`, { method: "HEAD", headers: TUS });
  return Number(answer.headers.get("upload-offset"));
}

// One PATCH; fetch tells nothing of how far it is, so that it is done the old way. Gives back the new offset.
function patch(id, file, offset, tell, signal) {
  return new Promise((done, failed) => {
    const request = new XMLHttpRequest();
    request.open("PATCH", `/uploads/${id}`);
    const headers = { accept: "application/json", ...TUS, "content-type": "application/offset+octet-stream", "upload-offset": String(offset), "x-csrftoken": token() };
    Object.entries(headers).forEach(([name, value]) => request.setRequestHeader(name, value));
    request.upload.onprogress = (event) => tell(offset + event.loaded);
    request.onerror = () => failed(new TypeError("the connection broke"));
    request.onabort = () => failed(new DOMException("stopped", "AbortError"));
    request.onload = () => {
      if (request.status === 204) done(Number(request.getResponseHeader("upload-offset")));
      else failed(new Refused(request.status, request.responseText));
    };
    signal.addEventListener("abort", () => request.abort());
    request.send(file.slice(offset, offset + STEP));
  });
}

// Worth another try: no answer, another connection that is not given up yet, an offset that was wrong.
const passing = (error) => error instanceof TypeError || [409, 423].includes(error.status) || error.status >= 502;

// Sends `file` as the upload `id` to its end. `tell(bytes, words)` hears how far it is.
export async function send(id, file, tell, signal) {
  let tries = 0;
  for (;;) {
    try {
      let offset = await offsetOf(id);
      while (offset < file.size) {
        const next = await patch(id, file, offset, (bytes) => tell(Math.min(bytes, file.size), ""), signal);
        if (next > offset) tries = 0;
        offset = next;
        tell(offset, "");
      }
      return;
    } catch (error) {
      if (signal.aborted || !passing(error)) throw error;
      tries += 1;
      tell(null, "The connection broke. It goes on by itself when the desk answers.");
      await wait(Math.min(LONGEST_WAIT_MS, 500 * 2 ** tries));
    }
  }
}
