/* The code to photograph (QR, ISO/IEC 18004) of 64 hex digits in capitals: version 4, level M, mask 0, alphanumeric. */
const [EXP, LOG2] = (() => {
  const powers = [], logs = [];
  for (let k = 0, value = 1; k < 255; k++) { powers[k] = value; logs[value] = k; value = value < 128 ? 2 * value : 2 * value ^ 0x11d; }
  return [powers, logs];
})();
const times = (a, b) => a && b ? EXP[(LOG2[a] + LOG2[b]) % 255] : 0;
function corrected(data, count) {
  let generator = [1];
  for (let k = 0; k < count; k++) { const next = [...generator, 0]; generator.forEach((one, place) => { next[place + 1] ^= times(one, EXP[k]); }); generator = next; }
  const rest = [...data, ...Array(count).fill(0)];
  for (let k = 0; k < data.length; k++) { const lead = rest[k]; generator.forEach((one, place) => { rest[k + place] ^= times(one, lead); }); }
  return rest.slice(data.length);
}
function codewords(text) {
  let bits = "0010" + text.length.toString(2).padStart(9, "0");
  for (const two of text.match(/../g)) bits += (45 * parseInt(two[0], 16) + parseInt(two[1], 16)).toString(2).padStart(11, "0");
  bits += "0000";
  bits = bits.padEnd(8 * Math.ceil(bits.length / 8), "0");
  const data = bits.match(/.{8}/g).map((one) => parseInt(one, 2));
  for (let k = 0; data.length < 64; k++) data.push(k % 2 ? 0x11 : 0xec);
  const blocks = [data.slice(0, 32), data.slice(32)], extra = blocks.map((one) => corrected(one, 18)), all = [];
  for (const parts of [blocks, extra]) for (let k = 0; k < parts[0].length; k++) for (const one of parts) all.push(one[k]);
  return all.map((one) => one.toString(2).padStart(8, "0")).join("") + "0000000";
}
function codeOf(text) {
  const size = 33, dark = Array.from({length: size}, () => Array(size).fill(null));
  const square = (top, left, reach, colour) => {
    for (let y = -reach; y <= reach; y++) for (let x = -reach; x <= reach; x++)
      if (dark[top + y] && left + x >= 0 && left + x < size) dark[top + y][left + x] = colour(Math.max(Math.abs(x), Math.abs(y)));
  };
  for (const [top, left] of [[3, 3], [3, size - 4], [size - 4, 3]]) square(top, left, 4, (ring) => ring !== 2 && ring !== 4);
  square(size - 7, size - 7, 2, (ring) => ring !== 1);
  for (let k = 8; k < size - 8; k++) dark[6][k] = dark[k][6] = k % 2 === 0;
  const format = 0b101010000010010;  // level M, mask 0 (table C.1)
  for (let k = 0; k < 15; k++) {
    const bit = Boolean(format >> k & 1);
    dark[k < 6 ? k : k < 8 ? k + 1 : size - 15 + k][8] = bit;
    dark[8][k < 8 ? size - 1 - k : k < 9 ? 7 : 14 - k] = bit;
  }
  dark[size - 8][8] = true;
  const bits = codewords(text);
  let place = 0;
  for (let right = size - 1, up = true; right > 0; right -= 2, up = !up) {
    if (right === 6) right = 5;
    for (let k = 0; k < size; k++) for (const x of [right, right - 1]) {
      const y = up ? size - 1 - k : k;
      if (dark[y][x] === null) dark[y][x] = (bits[place++] === "1") !== ((x + y) % 2 === 0);
    }
  }
  return dark;
}
function runsOf(dark) {
  const found = [];
  dark.forEach((line, top) => {
    let left = 0;
    for (let place = 0; place <= line.length; place++) if (!line[place]) { if (place > left) found.push([left, top, place - left]); left = place + 1; }
  });
  return found;
}

/* Where everything of the PDF stands, in hundredths of a point. */
const latinWords = (words) => Array.from(words, (letter) => letter.codePointAt(0) < 256 ? letter
  : Array.from(letter.normalize("NFKD")).filter((one) => one.codePointAt(0) < 256).join("") || "?").join("");
function wrapped(words, style, size, room) {
  const wide = WORDS.widths[style], most = Math.floor(room * 1000 / size), lines = [];
  const length = (text) => { let sum = 0; for (let k = 0; k < text.length; k++) sum += wide[text.charCodeAt(k)]; return sum; };
  let line = "";
  for (const word of latinWords(words).split(" ")) {
    const joined = line ? line + " " + word : word;
    if (length(joined) <= most) { line = joined; continue; }
    if (line) lines.push(line);
    line = word;
    while (length(line) > most) {
      let cut = 1;
      while (cut + 1 < line.length && length(line.slice(0, cut + 1)) <= most) cut++;
      lines.push(line.slice(0, cut));
      line = line.slice(cut);
    }
  }
  return [...lines, line];
}
function laidOut(record, marks) {
  const form = WORDS.pdf, [width, height] = form.sheets[record.units], pages = [[]];
  let down = form.margin;
  const add = (...op) => pages[pages.length - 1].push(op);
  const room = (high) => { if (down + high > height - form.bottom) { pages.push([]); down = form.margin; } };
  const line = (left, top, high, words, style, size) => { add("font", style, size); add("text", left, top + Math.floor(high / 2) + Math.floor(3 * size / 10), words); };
  const paragraph = (words, [style, size, high], left = form.margin) => {
    for (const one of wrapped(words, style, size, width - form.margin - left - 2 * form.inset)) { room(high); line(left + form.inset, down, high, one, style, size); down += high; }
  };
  const heading = (words) => { const [style, size, high] = form.heading; room(high + 2 * form.line); line(form.margin + form.inset, down, high, words, style, size); down += high; };
  const table = (rows, columns) => {
    for (const row of rows) {
      const cells = row.map((words, k) => wrapped(words, columns[k][1], columns[k][2], columns[k][0] - 2 * form.inset));
      const high = form.line * Math.max(...cells.map((lines) => lines.length));
      room(high);
      let left = form.margin + form.inset;
      cells.forEach((lines, k) => {
        const [wide, style, size] = columns[k];
        lines.forEach((one, place) => line(left, down + place * form.line, form.line, one, style, size));
        left += wide;
      });
      down += high;
    }
    down += form.gap;
  };
  const [style, size, high] = form.title_line;
  line(form.margin + form.inset, down, high, WORDS.title, style, size);
  down += high;
  paragraph(sentenceOf(record), form.large);
  down += form.gap;
  const bar = barOf(record), wide = width - 2 * form.margin, black = Math.floor(wide * Number(bar.rest.replace(".", "")) / 10000);
  add("grey", "0.8392");
  add("box", form.margin, down, wide, form.bar, "B");
  add("grey", "0");
  add("box", form.margin + wide - black, down, black, form.bar, "f");
  down += form.bar + form.inset;
  paragraph(bar.words, form.small);
  down += form.gap;
  if (record.place === "exact") {
    room(form.map);
    const placed = (shape) => shape.map(([x, y]) => [form.margin + Math.floor(x * form.map / 1000), down + form.map - Math.floor(y * form.map / 1000)]);
    add("shape", placed(record.map.outline), "S");
    for (const shape of record.map.missed) add("shape", placed(shape), "f");
    down += form.map + form.inset;
  }
  paragraph(WORDS.map[record.place], form.small);
  down += form.gap;
  heading("What was done");
  table(rowsOf(record), form.done);
  heading("What it rests on");
  table(restsRows(record), form.resting);
  for (const [words, lines] of [["How it was measured", [WORDS.how]], ["What this does not say", WORDS.limits]]) { heading(words); for (const one of lines) paragraph(one, form.small); }
  paragraph(withheldWords(record), form.small);
  down += form.gap;
  room(form.code + form.gap + 4 * form.line);
  const top = down, module = Math.floor(form.code / 33);
  for (const [left, below, long] of runsOf(codeOf(marks.mark))) add("box", form.margin + left * module, top + below * module, long * module, module, "f");
  for (const one of ["Number of this record: " + marks.number, marks.mark, "Number of the key it is signed with: " + marks.keyNumber, record.signature.public_key, "Made on " + record.made + "."])
    paragraph(one, form.numbers, form.margin + form.beside);
  down = Math.max(down, top + form.code) + form.gap;
  paragraph(checkingWords(record), form.small);
  return pages;
}

/* The bytes of the PDF, as fpdf2 lays a file out: one letter a byte. */
const points = (hundredths) => (hundredths < 0 ? "-" : "") + Math.floor(Math.abs(hundredths) / 100) + "." + String(Math.abs(hundredths) % 100).padStart(2, "0");
const FONTS = {B: "Helvetica-Bold", "": "Helvetica", I: "Helvetica-Oblique"};
function pdfOf(record, text, marks) {
  const [width, height] = WORDS.pdf.sheets[record.units], fonts = [], pages = [];
  let font = null;
  for (const ops of laidOut(record, marks)) {
    const out = ["2 J", "1.13 w"], used = new Set();
    let set = false;
    const setFont = () => { out.push(font[1]); used.add(font[0]); set = true; };
    for (const [what, ...how] of ops) {
      if (what === "font") {
        if (!fonts.includes(how[0])) fonts.push(how[0]);
        const next = "BT /F" + (fonts.indexOf(how[0]) + 1) + " " + points(how[1]) + " Tf ET";
        const other = !font || font[1] !== next;
        font = [how[0], next];
        if (other) setFont();
      } else if (what === "text") { if (!set) setFont(); out.push("BT " + points(how[0]) + " " + points(height - how[1]) + " Td (" + how[2].replace(/[\\()]/g, "\\$&") + ") Tj ET"); }
      else if (what === "grey") out.push(how[0] + " g");
      else if (what === "box") out.push([points(how[0]), points(height - how[1]), points(how[2]), points(-how[3]), "re", how[4]].join(" "));
      else { how[0].forEach(([x, y], place) => out.push(points(x) + " " + points(height - y) + (place ? " l" : " m"))); out.push(" h", " " + how[1]); }
    }
    pages.push([out.join("\n") + "\n", used]);
  }
  const count = pages.length, file = 3 + 2 * count, first = file + 2, resources = first + fonts.length, info = resources + count;
  const ref = (number) => number + " 0 R", stream = (inside) => "stream\n" + inside + "\nendstream\n";
  const objects = [
    `<<\n/Count ${count}\n/Kids [${pages.map((_, k) => ref(3 + 2 * k)).join("\n")}]\n/MediaBox [0 0 ${points(width)} ${points(height)}]\n/Type /Pages\n>>\n`,
    `<<\n/AF [${ref(file + 1)}]\n/Lang (en)\n/Names <</EmbeddedFiles <</Names [(proof-buyer.json) ${ref(file + 1)}]>>>>\n/OpenAction [3 0 R /FitH null]\n/PageLayout /OneColumn\n/Pages 1 0 R\n/Type /Catalog\n>>\n`,
  ];
  pages.forEach(([inside], k) => objects.push(
    `<<\n/Contents ${ref(4 + 2 * k)}\n/Group <</Type /Group /S /Transparency /CS /DeviceRGB>>\n/Parent 1 0 R\n/Resources ${ref(resources + k)}\n/Type /Page\n>>\n`,
    `<<\n/Length ${inside.length}\n>>\n` + stream(inside)));
  objects.push(`<<\n/Length ${text.length}\n/Params <</Size ${text.length}>>\n/Subtype /application#2Fjson\n/Type /EmbeddedFile\n>>\n` + stream(text),
    `<<\n/Desc (The record that this paper was made from)\n/EF <</F ${ref(file)}>>\n/F (proof-buyer.json)\n/Type /Filespec\n/UF (proof-buyer.json)\n>>\n`);
  for (const one of fonts) objects.push(`<<\n/BaseFont /${FONTS[one]}\n/Encoding /WinAnsiEncoding\n/Subtype /Type1\n/Type /Font\n>>\n`);
  for (const [, used] of pages) objects.push(`<<\n/Font <<${fonts.flatMap((one, k) => used.has(one) ? ["/F" + (k + 1) + " " + ref(first + k)] : []).join("\n")}>>\n/ProcSet [/PDF /Text /ImageB /ImageC /ImageI]\n>>\n`);
  objects.push(`<<\n/CreationDate (D:${record.made.replaceAll("-", "")}000000Z)\n/Title (${WORDS.title})\n>>\n`);
  let out = "%PDF-1.4\n%\u00e9\u00eb\u00f1\u00bf\n";
  const starts = objects.map((body, k) => { const start = out.length; out += (k + 1) + " 0 obj\n" + body + "endobj\n"; return start; });
  const table = out.length;
  return out + `xref\n0 ${objects.length + 1}\n0000000000 65535 f \n` + starts.map((start) => String(start).padStart(10, "0") + " 00000 n \n").join("")
    + `trailer\n<<\n/Size ${objects.length + 1}\n/Root 2 0 R\n/Info ${ref(info)}\n>>\nstartxref\n${table}\n%%EOF\n`;
}
