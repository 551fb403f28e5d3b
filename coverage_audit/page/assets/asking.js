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
  // an answer may end in its midst too, as when the page is left
  try {
    const answer = await ask();
    const kind = answer.headers.get("content-type") || "";
    if (kind.startsWith("application/json")) return await answer.json();
    return { fault: (await answer.text()).replace(/<[^>]*>/g, " ").trim() || "This did not work.", place: "" };
  } catch {
    return { fault: "The program has ended, or the computer slept. Start it again; everything you entered is saved.", place: "" };
  }
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
  return { logs: kept, faults: faults.join(" ") };
}

// words about one file must outlive the way that the others take to another screen
export function go(path, words) {
  if (words) sessionStorage.setItem("said", words);
  location.assign(path);
}

export function sayBrought() {
  const words = sessionStorage.getItem("said");
  sessionStorage.removeItem("said");
  if (words) say(words);
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

// the one paragraph of the manual behind a question mark, where the question stands; again, or Escape, and it is gone
export function questionMarks() {
  document.addEventListener("click", async (event) => {
    const mark = event.target.closest("[data-why]");
    if (!mark) return;
    if (shut(mark)) return;
    const found = await get(`/manual/${mark.dataset.why}`);
    const place = mark.closest(".field, h2, h3, p");
    const told = document.createElement("div");
    told.className = "told";
    told.setAttribute("role", "note");
    told.innerHTML = found.words || "";
    if (!found.words) told.textContent = found.fault;
    const more = document.createElement("p");
    more.innerHTML = `<a href="/manual#${mark.dataset.why}" target="_blank" rel="noopener">In the manual</a>`;
    told.append(more);
    if (place.tagName === "H2") place.parentElement.querySelector(".body").prepend(told);
    else place.after(told);
    mark.setAttribute("aria-expanded", "true");
    mark.told = told;
    told.tabIndex = -1;
    told.scrollIntoView({ block: "nearest" });
  });
  document.addEventListener("keydown", (event) => {
    if (event.key === "Escape") document.querySelectorAll("[data-why][aria-expanded=true]").forEach(shut);
  });
}

function shut(mark) {
  if (!mark.told?.isConnected) { mark.told = null; return false; }
  mark.told.remove();
  mark.told = null;
  mark.setAttribute("aria-expanded", "false");
  return true;
}
