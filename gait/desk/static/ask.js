// Asks the desk for JSON; what it refuses becomes an Error with its sentence.

export async function ask(address, sent) {
  const headers = { accept: "application/json" };
  const options = { headers, credentials: "same-origin" };
  if (sent !== undefined) {
    headers["content-type"] = "application/json";
    headers["x-csrftoken"] = document.querySelector("meta[name=csrf-token]")?.content ?? "";
    Object.assign(options, { method: "POST", body: JSON.stringify(sent) });
  }
  let answer;
  try {
    answer = await fetch(address, options);
  } catch {
    throw new Error("The desk does not answer. Is pawfall desk still running?");
  }
  if (answer.status === 401) location.reload();  // the session is over: that page asks for the password
  const text = await answer.text();
  let told = {};
  try { told = JSON.parse(text); } catch { told = { error: text.trim() }; }
  if (!answer.ok) throw new Error(told.error || "That did not work.");
  return told;
}
