// The list of all jobs.
import { endButton, get, go, keepLogs, questionMarks, say, send, takesFiles } from "./asking.js";

endButton();
questionMarks();
takesFiles(async (files) => {
  const { logs, faults } = await keepLogs(files);
  if (!logs.length) return;
  const found = await send("/jobs", { logs });
  if (found.go) go(found.go, faults);
  else say(found.fault);
});

document.addEventListener("click", async (event) => {
  const button = event.target.closest("[data-bin], [data-unbin]");
  if (!button) return;
  const found = button.dataset.bin
    ? await send("/bin", { job: button.dataset.bin })
    : await send("/unbin", { name: button.dataset.unbin });
  if (found.go) location.assign(found.go);
  else say(found.fault);
});

document.getElementById("together")?.addEventListener("click", async () => {
  const jobs = [...document.querySelectorAll("[data-compare]:checked")].map((one) => one.dataset.compare);
  const found = await send("/together", { jobs });
  if (found.go) location.assign(found.go);
  else say(found.fault);
});

const told = document.getElementById("season-told");

async function follow(state) {
  if (state.fault) { say(state.fault); return; }
  told.textContent = state.words;
  const bar = document.getElementById("season-bar");
  bar.hidden = !state.working;
  bar.querySelector("progress").value = state.part;
  if (state.working) setTimeout(async () => follow(await get("/season/state")), 1000);
  else if (state.stage === "done") location.reload();
}

document.getElementById("season")?.addEventListener("click", async () => follow(await send("/season", {})));
document.getElementById("season-stop")?.addEventListener("click", async () => follow(await send("/season", { do: "stop" })));
