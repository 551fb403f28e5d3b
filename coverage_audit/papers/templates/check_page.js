const plain = (text) => oneLine(String(text), WORDS.row);
async function keyGiven() {
  const typed = at("number").value.replace(/[ .\u00a0-]/g, ""), file = at("key").files[0];
  if (typed && !/^[0-9]{24}$/.test(typed)) throw new NoProof("a key's number has 24 digits, in groups of four");
  if (!file) return typed;
  const found = (await file.text()).match(/-----BEGIN PUBLIC KEY-----([\sA-Za-z0-9+\/=]+)-----END PUBLIC KEY-----/);
  const der = found ? Uint8Array.from(atob(found[1].replace(/\s/g, "")), (one) => one.charCodeAt(0)) : new Uint8Array();
  if (der.length !== 44 || hexOf(der.subarray(0, 12)) !== "302a300506032b6570032100") throw new NoProof("this is not the grower's key; give seller.public");
  const digits = numberOf(await sha256(der.subarray(12)));
  if (typed && typed !== digits) throw new NoProof("the number and the key that you gave are not of one key");
  return digits;
}

/* Key and first day of the notice that a key has ended, null when none was given. */
async function noticeGiven() {
  const file = at("ended").files[0];
  if (!file) return null;
  try {
    const text = utf8(new Uint8Array(await file.arrayBuffer())), notice = JSON.parse(text);
    if (Object.keys(notice).sort().join() !== "from,schema,signature" || notice.schema !== WORDS.ended || written(notice) !== text) throw new NoProof("");
    if (!fits(["day", "2026-06-30", null], notice.from)) throw new NoProof("");
    await signed(notice);
    return {key: notice.signature.public_key, day: notice.from};
  } catch { throw new NoProof("the notice that a key has ended is not one, or nobody signed it"); }
}

/* A time stamp is signed by the seller too, so that nobody takes it off or exchanges it. Whether its service is one to trust is not checked here. */
async function stampHolds(record) {
  const own = record.time_stamp;
  if (own === undefined) return;
  const form = ["members", {token: ["like", "[A-Za-z0-9+/]+={0,2}", false], time: ["day", "2026-06-30T12:00:00Z", null], value: ["like", "[0-9a-f]{128}", false]}, null];
  if (!fits(form, own) || own.token.length > WORDS.token) throw new Broken("the time stamp is not of the form that this program writes");
  if (!await verified({...record, time_stamp: {token: own.token, time: own.time}}, record.signature.public_key, own.value))
    throw new Broken("the time stamp was put on, changed or exchanged by somebody else than the signer");
}

/* Everything about one file: what holds of it, and what does not. */
async function judged(bytes) {
  const [kind, text] = recordText(bytes);
  let record;
  try { record = JSON.parse(text); } catch { throw new NoProof("it holds no record"); }
  if (!record || record.schema !== WORDS.schema || record.copy !== "buyer") throw new NoProof("it does not say that it is a buyer's copy of a proof");
  const wanted = await keyGiven(), notice = await noticeGiven();
  checkForm(record);
  const raw = await signed(record);
  await stampHolds(record);
  if (written(record) !== text) throw new Broken("the record is not written as this program writes it");
  const digits = numberOf(await sha256(raw));
  if (wanted && wanted !== digits) throw new Broken("the record was signed by another key than the one given");
  const body = {...record};
  delete body.signature;
  delete body.time_stamp;
  const mark = await sha256(new TextEncoder().encode(canonical(body)));
  const found = {kind, record, known: Boolean(wanted), keyNumber: grouped(digits), number: grouped(numberOf(mark)), mark, ended: ""};
  if (notice && notice.key === record.signature.public_key) found.ended = notice.day;
  const made = [record.made, record.time_stamp ? record.time_stamp.time.slice(0, 10) : ""].sort()[1];
  if (found.ended && made >= found.ended)
    throw new Broken("the key " + found.keyNumber + " was ended from " + found.ended + " on, by a notice that it signed itself; this was made on " + made);
  found.same = kind === "record" || (kind === "page" ? pageOf(record, text, found) === utf8(bytes) : pdfOf(record, text, found) === latin(bytes));
  return found;
}

function told(found) {
  if (!found.same) return ["DOES NOT HOLD", "This paper is not the one of the record inside it: changed, were it by a blank or a line end, or made by other versions. Do not go by it. The record itself holds; its own words stand below."];
  const why = [found.known ? "Signed by the key you gave." : "Signer unknown to you: compare this number of the key with the grower: " + found.keyNumber + "."];
  why.push("Number of this record: " + found.number + ".");
  if (found.kind !== "record") why.push("The paper is the one of its record, to the last byte.");
  if (found.record.made > new Date().toISOString().slice(0, 10)) why.push(fill(WORDS.tocome, {made: found.record.made}));
  if (found.record.time_stamp) why.push("The service that stamped its time was not checked here: the command proof check does that, with the certificates of the service.");
  if (found.ended) why.push("Its key was ended from " + found.ended + " on. This says that it was made before, which a thief could say too: it counts only if you had it in hand before that day.");
  return [found.ended ? "HOLDS IF YOU HAD IT BEFORE " + found.ended : "HOLDS", why.join("\n")];
}

let turn = 0;
async function check() {
  const file = at("file").files[0];
  if (!file) return;
  const own = ++turn;
  const show = (verdict, why, sentence, rows) => {
    if (own !== turn) return;
    at("verdict").textContent = verdict; at("verdict").dataset.file = verdict ? file.name : ""; at("why").textContent = why; at("sentence").textContent = sentence;
    at("rows").replaceChildren(...rows.map((row) => { const line = document.createElement("tr"); for (const cell of row) line.insertCell().textContent = cell; return line; }));
    at("limits").replaceChildren(...(rows.length ? WORDS.limits : []).map((text) => { const one = document.createElement("li"); one.textContent = text; return one; }));
  };
  show("", "", "", []);
  try {
    if (file.size > WORDS.largest) throw new NoProof("the file is too large");
    const found = await judged(new Uint8Array(await file.arrayBuffer()));
    show(...told(found), sentenceOf(found.record), [...rowsOf(found.record), ...restsRows(found.record)]);
  } catch (error) {
    show(error instanceof Broken ? "DOES NOT HOLD" : "NOT CHECKED", error instanceof Broken || error instanceof NoProof ? error.message : "this file cannot be read as a proof", "", []);
  }
}
for (const id of ["file", "key", "number", "ended"]) at(id).addEventListener("input", check);
for (const name of ["dragover", "drop"]) document.addEventListener(name, (event) => {
  event.preventDefault();
  if (name === "drop" && event.dataTransfer.files.length) { at("file").files = event.dataTransfer.files; check(); }
});
