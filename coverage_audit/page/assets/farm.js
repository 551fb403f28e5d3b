// The first question: where the jobs are kept.
import { endButton, say, send } from "./asking.js";

endButton();
const zone = Intl.DateTimeFormat().resolvedOptions().timeZone;
if (zone) document.getElementById("farm-zone").value = zone;
document.getElementById("farm-units").value = /^en-US|^en$/.test(navigator.language) ? "us" : "metric";
document.getElementById("farm").addEventListener("submit", async (event) => {
  event.preventDefault();
  const value = (id) => document.getElementById(id).value;
  const found = await send("/farm", { name: value("farm-name"), units: value("farm-units"), timezone: value("farm-zone") });
  if (found.go) location.assign(found.go);
  else say(found.fault);
});
