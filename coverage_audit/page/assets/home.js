// The list of all jobs.
import { endButton, keepLogs, say, send, takesFiles } from "./asking.js";

endButton();
takesFiles(async (files) => {
  const logs = await keepLogs(files);
  if (!logs.length) return;
  const found = await send("/jobs", { logs });
  if (found.go) location.assign(found.go);
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
