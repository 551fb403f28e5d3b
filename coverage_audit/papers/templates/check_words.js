/* The words of a paper, made of its record: those of the command, by a second program. */
const fill = (text, values) => text.replace(/\{(\w+)\}/g, (_, name) => values[name]);
const inSpans = (spans, code) => {
  let low = 0, high = spans.length / 2;
  while (low < high) { const middle = (low + high) >> 1; if (spans[2 * middle + 1] < code) low = middle + 1; else high = middle; }
  return 2 * low < spans.length && spans[2 * low] <= code;
};
const hex = (code) => code < 0x10000 ? "\\u" + code.toString(16).padStart(4, "0") : "\\U" + code.toString(16).padStart(8, "0");
const visible = (letter) => {
  const code = letter.codePointAt(0);
  return inSpans(WORDS.blanks, code) ? " " : inSpans(WORDS.spelled, code) ? hex(code) : letter;
};
function oneLine(text, most) {
  const all = Array.from(text), line = Array.from(all.slice(0, most).map(visible).join("").split(" ").filter(Boolean).join(" "));
  return line.length <= most && all.length <= most ? line.join("") : line.slice(0, most).join("").trimEnd() + "... (cut; " + all.length + " letters)";
}
function otherScripts(text) {
  const found = new Set();
  for (const letter of text) {
    const code = letter.codePointAt(0);
    if (code > 0xff) for (const [script, spans] of Object.entries(WORDS.scripts)) if (inSpans(spans, code)) found.add(script);
  }
  return Array.from(found).sort().join(", ");
}
const typedRow = (name, value, origin = "typed") => {
  const scripts = otherScripts(value);
  return [name, oneLine(value, WORDS.row), scripts ? origin + "; with " + scripts + " letters" : origin];
};

/* value / size to so many digits, half to even: exact, where floating point is not. */
function divided(value, size, digits) {
  const parts = (text) => { const [whole, rest = ""] = text.split("."); return [BigInt(whole + rest), rest.length]; };
  const [top, topDigits] = parts(value), [low, lowDigits] = parts(size);
  const over = top * 10n ** BigInt(lowDigits + digits), under = low * 10n ** BigInt(topDigits);
  let whole = over / under;
  const rest = 2n * (over % under);
  if (rest > under || (rest === under && whole % 2n === 1n)) whole += 1n;
  return decimal(whole, digits);
}
const decimal = (whole, digits) => { const text = String(whole).padStart(digits + 1, "0"); return text.slice(0, -digits) + "." + text.slice(-digits); };
function shown(figure, units) {
  let {value, unit} = figure;
  if (value === null) return "not known";
  if (units === "us" && Object.hasOwn(WORDS.us, unit)) {
    const [size, digits, name] = WORDS.us[unit];
    value = divided(value, size, digits);
    unit = name;
  }
  if (value === "0.0" && (unit === "ha" || unit === "ac")) return "less than 0.1 " + unit;
  return value + " " + (own(WORDS.units, unit) ?? unit);
}
const hundredths = (figure) => BigInt(figure.value.replace(".", ""));
/* The share that is proven, down to a whole percent; the one as logged to the nearest, but not up to 100. */
const atLeast = (record) => hundredths(record.figures.proven_share) / 100n;
function nearest(figure) {
  const exact = hundredths(figure), near = (exact + 50n) / 100n;
  return exact < 10000n && near > 99n ? 99n : exact < 10000n ? near : exact / 100n;
}
function barOf(record) {
  const figure = record.figures.proven_share, rest = decimal(10000n - hundredths(figure), 2), whole = atLeast(record);
  return {proven: figure.value, rest, words: fill(WORDS.bar, {proven: whole, rest: 100n - whole})};
}
const landWords = (quantity) => { const place = quantity.lastIndexOf("\u00a0") + 1, unit = quantity.slice(place); return quantity.slice(0, place) + (own(WORDS.land, unit) ?? unit); };
const dayWords = (text) => { const [year, month, day] = text.split("-").map(Number); return day + " " + WORDS.months[month - 1] + " " + year; };
function sentenceOf(record) {
  const {is, target, passed} = record.says, days = new Set([record.what.date, ...record.later.map((job) => job.date)]);
  return fill(WORDS.says[is], {target: landWords(target), passed: landWords(passed), logged: nearest(record.figures.logged_share),
    proven: atLeast(record), date: Array.from(days, dayWords).join(" and ")});
}
function rowsOf(record) {
  const what = record.what, rows = [typedRow("Field", what.field), typedRow("Crop", what.crop), ["Sprayed on", what.date, record.rests[0].date.is === "typed" ? WORDS.typed : WORDS.log]];
  for (const one of what.products) rows.push(typedRow("Product", one.name + " (registration " + one.reg_no + "), " + one.rate),
    ["Earliest cut by the interval given", one.earliest_cut, WORDS.interval], ["Earliest grazing by the interval given", one.earliest_grazing, WORDS.interval]);
  if (!what.products.length) rows.push(["Product", WORDS.missing, "typed"]);
  for (const [key, name] of Object.entries(WORDS.figures)) rows.push([name, shown(record.figures[key], record.units), record.figures[key].origin]);
  for (const job of record.later) {
    rows.push(["Touch-up job, counted above", job.date, "measured"]);
    if (job.products.length) rows.push(typedRow("Products of that job", job.products.join(", ")));
  }
  for (const [key, name] of Object.entries(WORDS.label)) rows.push(typedRow(name, what.label[key], WORDS.typed));
  const lacking = rows.filter((row) => WORDS.unstated.includes(row[1])).map((row) => row[0]);
  const said = rows.filter((row) => !WORDS.unstated.includes(row[1]));
  return lacking.length ? [...said, ["Not stated, or not known", lacking.join("; "), ""]] : said;
}
function restsRows(record) {
  const rows = [];
  record.rests.forEach((rests, place) => {
    for (const [key, [name, origin, cases]] of Object.entries(WORDS.rests)) rows.push([(place ? "Touch-up " + place + ": " : "") + name, fill(cases[rests[key].is], rests[key]), origin]);
  });
  const [name, origin, cases] = WORDS.made;
  return [...rows, [name, fill(cases[record.time.is], {made: record.made, stamp: record.time_stamp ? record.time_stamp.time : ""}), origin]];
}
const checkingWords = (record) => fill(WORDS.checking, {version: record.software["coverage-audit"], checker: record.checker});
const withheldWords = (record) => WORDS.withheld[record.place === "exact" ? "exact" : "hidden"];

/* --- the page ----------------------------------------------------------------------------------- */
const escaped = (text) => text.replace(/[&<>"']/g, (one) => "&#" + one.charCodeAt(0) + ";").replaceAll("&#38;", "&amp;").replaceAll("&#60;", "&lt;").replaceAll("&#62;", "&gt;");
const row = (form, values) => { let place = 0; return form.replace(/\{\}/g, () => escaped(values[place++])); };
const pathOf = (shapes) => shapes.filter((shape) => shape.length > 2).map((shape) => "M" + shape.map(([x, y]) => x + "," + (1000 - y)).join(" ") + "Z").join("");
/* The page of a record; `marks` has its fingerprint and its numbers. */
function pageOf(record, text, marks) {
  const bar = barOf(record), forms = WORDS.page;
  const slots = {
    title: escaped(WORDS.title), sentence: escaped(sentenceOf(record)), bar: escaped(bar.words), proven: bar.proven, rest: bar.rest,
    map: record.place === "exact" ? row(forms.field, [pathOf([record.map.outline]), pathOf(record.map.missed)]) : "",
    map_words: escaped(WORDS.map[record.place]),
    done: rowsOf(record).map((one) => row(forms.done, one)).join(""), rests: restsRows(record).map((one) => row(forms.rest, one)).join(""),
    how: escaped(WORDS.how), limits: WORDS.limits.map((one) => row(forms.limit, [one])).join(""), withheld: escaped(withheldWords(record)),
    code: runsOf(codeOf(marks.mark)).map(([left, top, wide]) => "M" + (left + 4) + "," + (top + 4) + "h" + wide + "v1h-" + wide + "z").join(""),
    number: marks.number, mark: marks.mark, key: row(forms.key, [marks.keyNumber, record.signature.public_key]), checking: escaped(checkingWords(record)), data: text,
  };
  return forms.whole.replace(/\{\{ (\w+) \}\}/g, (_, name) => slots[name]);
}
