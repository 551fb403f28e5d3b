// One job's sheet: what is typed or tapped is saved at once, and what it changes is shown.
import { endButton, get, keepLogs, questionMarks, say, sayBrought, send, sendFile, takesFiles } from "./asking.js";
import { Drawing } from "./drawing.js";
import { Passes } from "./passes.js";
import { INK, PLUM, PaperMap, SLATE, extentOf, paintField, underlay } from "./paper_map.js";

const main = document.getElementById("main");
const POLL_MS = 1000;

const EMPTY = {
  ways: [], rings: [], off: [], corners: [], cornersOff: [], edge: [], stretches: [], on: [], said: [], found: [], named: [],
};

const sheet = {
  job: main.dataset.job,
  mark: main.dataset.mark,
  map: EMPTY,
  waiting: Promise.resolve(),

  // changes go one after the other, so that each knows what the one before it left
  change(what, words, { quiet = false } = {}) {
    return this.next(() => this.changeNow(what, words, quiet));
  },

  next(work) {
    this.waiting = this.waiting.then(work).catch((error) => say(`A fault of this page: ${error}. Load it again.`));
    return this.waiting;
  },

  async changeNow(what, words, quiet) {
    const found = await send(`/job/${this.job}/${what}`, { ...words, mark: this.mark });
    if (found.changed) {
      say(found.changed);
      await this.reload();
      return false;
    }
    if (found.fault) {
      const kept = found.place ? `${found.fault.replace(/\.$/, "")}. Until it is put right the job keeps what it had.` : found.fault;
      fault(found.place, kept);
      return false;
    }
    fault("", "");
    this.mark = found.mark;
    if (quiet) await this.loadMap();
    else await this.take(found);
    follow(found);
    return true;
  },

  // what was typed into these is taken: they show again what comes back
  settle(...ids) {
    ids.forEach((id) => unsaved.delete(id));
    showLate();
  },

  async reload() {
    const found = await get(`/job/${this.job}/parts`);
    if (found.fault) { say(found.fault); return; }
    this.mark = found.mark;
    await this.take(found);
    follow(found);
  },

  async loadMap() {
    const found = await get(`/job/${this.job}/map`);
    if (found.fault) return;
    this.map = { ...EMPTY, ...found };
    await loadPicture(this.job, found.picture);
  },

  // show what came back; a part that is as it was stays, with whoever types in it
  async take(found) {
    await this.loadMap();
    for (const [name, html] of Object.entries(found.parts || {})) show(name, html);
    maps.splice(0, maps.length, ...maps.filter((map) => map.canvas.isConnected));
    if (navigator.canShare) document.querySelectorAll("[data-send]").forEach((one) => { one.hidden = false; });
    if (found.title) document.getElementById("job-title").textContent = found.title;
    const picture = document.getElementById("show-picture");
    if (picture) picture.checked = !underlay.hidden;
    draw();
  },
};

let pictured = "";

async function loadPicture(job, corners) {
  if (JSON.stringify(corners) === pictured) return;
  pictured = JSON.stringify(corners);
  underlay.image = null;
  if (!corners) return;
  const image = new Image();
  image.src = `/job/${job}/picture`;
  try { await image.decode(); } catch { return; }
  underlay.image = image;
  underlay.corners = corners;
}

const shown = {};
const later = {}; // parts that came back while somebody typed in them: shown when he leaves the field
const unsaved = new Set(); // ids of what is being typed: what comes back from the server never takes its place

function show(name, html) {
  delete later[name];
  if (shown[name] === html) return;
  const part = document.getElementById(`part-${name}`);
  if (part.contains(document.activeElement) && unsaved.has(document.activeElement.id)) {
    later[name] = html;
    return;
  }
  shown[name] = html;
  const held = part.contains(document.activeElement) ? document.activeElement.id : "";
  const open = [...part.querySelectorAll("details")].map((one) => one.open);
  const typed = [...part.querySelectorAll("input, select")].filter((one) => unsaved.has(one.id)).map((one) => [one.id, one.value]);
  part.innerHTML = html;
  [...part.querySelectorAll("details")].forEach((one, k) => { if (k in open && name !== "field") one.open = open[k]; });
  typed.forEach(([id, value]) => { const one = document.getElementById(id); if (one) one.value = value; });
  if (held) document.getElementById(held)?.focus({ preventScroll: true });
  const [id, words] = sheet.keepWords || [];
  if (id && part.querySelector(`#${id}`)) part.querySelector(`#${id}`).textContent = words;
}

function showLate() {
  Object.entries(later).forEach(([name, html]) => show(name, html));
}

function fault(place, words) {
  document.querySelectorAll("[data-fault-of]").forEach((one) => { one.textContent = ""; });
  const known = document.querySelector(`[data-fault-of="${CSS.escape(place)}"]`);
  if (known) known.textContent = words;
  say(known ? "" : words);
}

// --- maps -------------------------------------------------------------------------------------------

const drawn = new WeakSet();
const maps = [];

function draw() {
  for (const box of document.querySelectorAll("[data-map]")) {
    if (drawn.has(box)) continue;
    drawn.add(box);
    const part = box.closest(".part");
    if (box.dataset.map.startsWith("draw")) maps.push(new Drawing(box.closest("details"), sheet).map);
    else if (box.dataset.map === "boom") maps.push((sheet.passes = new Passes(part, sheet)).map);
    else maps.push(still(box, box.dataset.map === "drive" ? paintDrive : paintAnswer));
  }
}

function still(box, paint) {
  const map = new PaperMap(box, { paint, units: () => sheet.map.units });
  map.show(extentOf(sheet.map.ways, sheet.map.rings));
  return map;
}

function paintDrive(ctx, map) {
  paintField(ctx, map, sheet.map);
  sheet.map.ways.forEach((way) => map.line(ctx, way, { stroke: SLATE, width: 1.4 }));
}

function paintAnswer(ctx, map) {
  paintField(ctx, map, sheet.map);
  sheet.map.ways.forEach((way) => map.line(ctx, way, { stroke: SLATE, width: 1, alpha: 0.5 }));
  for (const one of sheet.map.found) {
    one.rings.forEach((rings) => map.hatched(ctx, rings, one.kind === "missed" ? { stroke: INK } : { stroke: PLUM, both: true }));
  }
  ctx.font = "700 14px Georgia, serif";
  ctx.lineWidth = 4;
  ctx.strokeStyle = "#fbf9f4";
  ctx.fillStyle = INK;
  for (const one of sheet.map.found.filter(({ id }) => sheet.map.named.includes(id))) {
    const ring = one.rings[0]?.[0] || [];
    if (!ring.length) continue;
    const [x, y] = map.screen(...ring[Math.floor(ring.length / 2)]);
    const [left, base] = [Math.min(x + 4, map.width - 34), Math.max(y, 16)];
    ctx.strokeText(one.id, left, base);
    ctx.fillText(one.id, left, base);
  }
}

// --- typing -----------------------------------------------------------------------------------------

const OWN = "[data-key]:not([type=radio]), [data-unit-of], [data-name], [data-time], #machine-name";
const sent = new Map();

document.addEventListener("input", (event) => { if (event.target.matches(OWN)) unsaved.add(event.target.id); });
document.addEventListener("change", (event) => save(event.target));
// a browser tells no change of an input that was drawn anew while somebody typed in it
document.addEventListener("focusout", (event) => {
  if (unsaved.has(event.target.id)) save(event.target);
  setTimeout(showLate); // the focus has moved on by then
});

async function save(input) {
  const key = input.dataset.key || input.dataset.unitOf;
  if (!key) return;
  const field = input.type === "radio" ? input : document.getElementById(key);
  const unit = document.getElementById(`unit-${key}`);
  if (input.dataset.unitOf && !field.value) return;
  const value = told(field, unit);
  if (sent.get(key) === value) return;
  sent.set(key, value);
  const taken = await sheet.change("set", { keys: { [key]: value } });
  sent.delete(key);
  const now = document.getElementById(key);
  if (taken && now && told(now, document.getElementById(`unit-${key}`)) === value) sheet.settle(key, `unit-${key}`);
}

function told(field, unit) {
  const typed = field.value.trim();
  return unit && typed ? `${typed.replace(/^(-?\d+),(\d+)$/, "$1.$2")} ${unit.value}` : typed;
}

document.addEventListener("change", async (event) => {
  const what = event.target.dataset.for;
  if (!what) return;
  const files = [...event.target.files];
  let found = {};
  for (const [number, file] of files.entries()) {
    const more = number + 1 < files.length ? "&more=yes" : "";
    found = await sendFile(`/job/${sheet.job}/outline?for=${what}${more}`, file);
    if (found.fault) break;
  }
  if (found.fault) { fault(what, found.fault); return; }
  fault("", "");
  sheet.mark = found.mark;
  await sheet.take(found);
  follow(found);
});

document.addEventListener("click", async (event) => {
  const button = event.target.closest("button");
  if (!button) return;
  if (button.dataset.field) sheet.change("use-field", { file: button.dataset.field });
  if (button.id === "driven") sheet.change("driven", {});
  if (button.dataset.unlog) sheet.change("unlog", { number: Number(button.dataset.unlog) });
  if (button.dataset.sprayIt) sheet.change("spray-it", { number: Number(button.dataset.sprayIt) });
  if (button.dataset.product) sheet.change("product", { use: button.dataset.product });
  if (button.dataset.keepProduct) sheet.change("product", { number: Number(button.dataset.keepProduct), keep: "" });
  if (button.dataset.doubt) answered(button);
  if (button.dataset.send) share(button.dataset.send);
  if (button.dataset.machine) sheet.change("machine", { use: button.dataset.machine });
  if (button.dataset.keep) sheet.change("machine", { keep: document.getElementById("machine-name").value });
  if (button.dataset.work) {
    const found = await send(`/job/${sheet.job}/work`, { do: button.dataset.work });
    if (found.fault) { say(found.fault); return; }
    await sheet.take(found);
    follow(found);
  }
});

// yes, no, or nobody knows
function answered(button) {
  const { from, to } = button.closest("[data-from]").dataset;
  const time = { from: Number(from), to: Number(to) };
  const said = button.dataset.doubt;
  sheet.change("said", said === "unsure" ? { ...time, unsure: true } : { ...time, on: said === "yes" });
}

document.addEventListener("change", (event) => {
  if (event.target.id !== "show-picture") return;
  underlay.hidden = !event.target.checked;
  maps.forEach((map) => map.draw());
});

// what the computer or phone can hand on by itself: to a message, to another phone
async function share(path) {
  const name = path.split("/").pop();
  try {
    const answer = await fetch(path);
    const file = new File([await answer.blob()], name, { type: answer.headers.get("content-type") || "" });
    await navigator.share({ files: [file], title: name });
  } catch (error) {
    if (error.name !== "AbortError") say("It cannot be sent from here; save it, and send the file.");
  }
}

takesFiles(async (files) => {
  const { logs, faults } = await keepLogs(files);
  if (logs.length) await sheet.change("logs", { logs });
  if (faults) say(faults);
});

// --- following the work -----------------------------------------------------------------------------

let stream = null;
let stage = "";

function follow(state) {
  tell(state);
  if (!state.working || stream) return;
  stream = new EventSource(`/job/${sheet.job}/events`);
  stream.onmessage = (event) => tell(JSON.parse(event.data));
  stream.onerror = () => { close(); poll(); };
}

function close() {
  stream?.close();
  stream = null;
}

async function poll() {
  const state = await get(`/job/${sheet.job}/state`);
  if (state.fault) { say(state.fault); return; }
  tell(state);
  if (state.working && !stream) setTimeout(poll, POLL_MS);
}

function tell(state) {
  const words = document.getElementById("work");
  const bar = document.getElementById("bar");
  if (words) words.textContent = state.words;
  if (bar) {
    bar.hidden = !state.working;
    bar.querySelector("progress").value = state.part;
  }
  const before = stage;
  stage = state.stage;
  if (!state.working) close();
  if (before && before !== stage && (stage === "sure" || stage === "done" || stage === "failed")) sheet.next(() => sheet.reload());
}

endButton();
questionMarks();
sheet.reload().then(sayBrought);
