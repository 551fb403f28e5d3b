// How the page asks its own server: one header that no other page can set, and words instead of error numbers.

const OWN = { "x-coverage-audit": "page" };

export function say(text) {
  const notice = document.getElementById("notice");
  notice.textContent = text;
  notice.hidden = !text;
  if (text) notice.scrollIntoView({ block: "nearest" });
}

export async function send(path, words) {
  return told(() => fetch(path, {
    method: "POST", headers: { ...OWN, "content-type": "application/json" }, body: JSON.stringify(words),
  }));
}

export async function sendFile(path, file) {
  const headers = { ...OWN, "content-type": "application/octet-stream", "x-file-name": encodeURIComponent(file.name) };
  return told(() => fetch(path, { method: "POST", headers, body: file }));
}

export async function get(path) {
  return told(() => fetch(path));
}

async function told(ask) {
  let answer;
  try {
    answer = await ask();
  } catch {
    return { fault: "The program has ended, or the computer slept. Start it again; everything you entered is saved.", place: "" };
  }
  const kind = answer.headers.get("content-type") || "";
  if (kind.startsWith("application/json")) return answer.json();
  return { fault: (await answer.text()).replace(/<[^>]*>/g, " ").trim() || "This did not work.", place: "" };
}

// --- files, dropped or chosen -------------------------------------------------------------------

export function takesFiles(take) {
  const drop = document.getElementById("drop");
  let depth = 0;
  const holdsFiles = (event) => [...(event.dataTransfer?.types || [])].includes("Files");
  window.addEventListener("dragenter", (event) => { if (holdsFiles(event)) { depth += 1; drop.hidden = false; } });
  window.addEventListener("dragleave", () => { depth = Math.max(0, depth - 1); drop.hidden = depth === 0; });
  window.addEventListener("dragover", (event) => event.preventDefault());
  window.addEventListener("drop", (event) => {
    event.preventDefault();
    depth = 0;
    drop.hidden = true;
    if (event.dataTransfer.files.length) take([...event.dataTransfer.files]);
  });
  document.addEventListener("change", (event) => {
    if (event.target.id === "files" && event.target.files.length) take([...event.target.files]);
  });
}

export async function keepLogs(files) {
  const progress = document.getElementById("progress");
  const kept = [];
  const faults = [];
  for (const [number, file] of files.entries()) {
    progress.textContent = `Reading ${file.name}, ${number + 1} of ${files.length}.`;
    const found = await sendFile("/upload", file);
    if (found.logs) kept.push(...found.logs);
    else faults.push(`${file.name}: ${found.fault}`);
  }
  progress.textContent = "";
  say(faults.join(" "));
  return kept;
}

// --- what every screen has ----------------------------------------------------------------------

export function endButton() {
  document.getElementById("end").addEventListener("click", async () => {
    await send("/end", {});
    document.body.replaceChildren();
    const words = document.createElement("p");
    words.className = "stop";
    words.textContent = "The program has ended. Everything is saved; you may close this window.";
    document.body.append(words);
  });
}
