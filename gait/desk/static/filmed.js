// What was filmed, at a clip: the form opens when an address leads to it, and asks for the slow motion that is meant.

import { slowness } from "/static/slowness.js";

const form = document.querySelector("#filmed form[action$='/filmed']");
const details = document.querySelector("details.filmed");
const open = () => { if (location.hash === "#filmed") { details.open = true; details.scrollIntoView(); } };

addEventListener("hashchange", open);
open();
if (form) {
  const pace = () => slowness(form.elements.pace.value, form.querySelector(".how"));
  form.elements.pace.addEventListener("change", pace);
  pace();
}
