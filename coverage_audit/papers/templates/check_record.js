"use strict";
const WORDS = JSON.parse(document.getElementById("words").textContent);
const at = (id) => document.getElementById(id);
const TAG = '<script type="application/json" id="record">', END = "<" + "/script>";
const HEAD = "\n/Type /EmbeddedFile\n>>\nstream\n", TAIL = "\nendstream\n";
const P = 2n ** 255n - 19n;
class NoProof extends Error {}
class Broken extends Error {}

const latin = (bytes) => { let text = ""; for (let k = 0; k < bytes.length; k += 8192) text += String.fromCharCode(...bytes.subarray(k, k + 8192)); return text; };
const bytesOf = (hex) => Uint8Array.from(hex.match(/../g), (two) => parseInt(two, 16));
const hexOf = (bytes) => Array.from(new Uint8Array(bytes), (one) => one.toString(16).padStart(2, "0")).join("");
const sha256 = async (bytes) => hexOf(await crypto.subtle.digest("SHA-256", bytes));
const utf8 = (bytes) => { try { return new TextDecoder("utf-8", {fatal: true, ignoreBOM: true}).decode(bytes); } catch { throw new NoProof("it is not text"); } };

/* The text of the record inside a file, and what kind of file that is: known by its content, never by its name. */
function recordText(bytes) {
  const raw = latin(bytes);
  if (raw.startsWith("%PDF")) {
    const start = raw.indexOf(HEAD), end = raw.indexOf(TAIL, start + HEAD.length);
    if (start < 0 || end < 0 || raw.indexOf(HEAD, start + HEAD.length) >= 0) throw new NoProof("this PDF does not hold one record");
    return ["pdf", utf8(bytes.subarray(start + HEAD.length, end))];
  }
  const text = utf8(bytes);
  const start = text.lastIndexOf(TAG);
  if (start < 0) return ["record", text];
  const end = text.indexOf(END, start);
  if (end < 0) throw new NoProof("the record in this page has no end");
  return ["page", text.slice(start + TAG.length, end)];
}

const sorted = (value) => Array.isArray(value) ? value.map(sorted)
  : value && typeof value === "object" ? Object.fromEntries(Object.keys(value).sort().map((key) => [key, sorted(value[key])])) : value;
/* RFC 8785: keys by UTF-16, no blanks. Objects with keys like numbers would be put in another order: none is of its form. */
const canonical = (value) => Array.isArray(value) ? "[" + value.map(canonical).join(",") + "]"
  : value && typeof value === "object" ? "{" + Object.keys(value).sort().map((key) => JSON.stringify(key) + ":" + canonical(value[key])).join(",") + "}" : JSON.stringify(value);
/* The one text of a record: what has a key twice, 1.0 for 1 or a blank too many is another text. */
const written = (record) => JSON.stringify(sorted(record), null, 1).replace(/[\u007f-\uffff]/g, (one) => "\\u" + one.charCodeAt(0).toString(16).padStart(4, "0"))
  .replaceAll("<", "\\u003c").replaceAll("%PDF", "\\u0025PDF") + "\n";

function properKey(raw) {
  let number = 0n;
  for (let k = 31; k >= 0; k--) number = number * 256n + BigInt(raw[k]);
  const y = number & (2n ** 255n - 1n), d = BigInt(WORDS.d);
  return y < P && y * (y * y - 1n) * (d * y ** 4n + 2n * y * y - 1n) % P !== 0n;
}
const numberOf = (hex) => (BigInt("0x" + hex) % 10n ** 24n).toString().padStart(24, "0");
const grouped = (digits) => digits.match(/.{4}/g).join(" ");

/* Whether a signature (hex) of a value is by a key (hex). */
async function verified(value, publicKey, signature) {
  let key;
  try { key = await crypto.subtle.importKey("raw", bytesOf(publicKey), {name: "Ed25519"}, false, ["verify"]); }
  catch (error) { throw new NoProof("this browser cannot check Ed25519 signatures (" + error.name + "); use a newer one, or the command"); }
  return crypto.subtle.verify({name: "Ed25519"}, key, bytesOf(signature), new TextEncoder().encode(canonical(value)));
}

/* The signer's key, as bytes, of a record or a notice whose signature holds. */
async function signed(record) {
  const own = record.signature;
  if (!own) throw new Broken("the record is not signed");
  if (Object.keys(own).sort().join() !== "algorithm,public_key,value" || own.algorithm !== "Ed25519") throw new Broken("the signature is not of the form that this program writes");
  if (!/^[0-9a-f]{64}$/.test(own.public_key) || !/^[0-9a-f]{128}$/.test(own.value)) throw new Broken("key and signature must be hex in small letters");
  const raw = bytesOf(own.public_key), body = {...record, signature: {algorithm: own.algorithm, public_key: own.public_key}};
  if (!properKey(raw)) throw new Broken("the record is signed by a key that anybody can sign for");
  delete body.time_stamp;
  if (!await verified(body, own.public_key, own.value)) throw new Broken("the signature does not fit the record: it was changed after signing, or signed by another key");
  return raw;
}
