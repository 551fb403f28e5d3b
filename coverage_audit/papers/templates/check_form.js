/* The form of a record, rule by rule: the same data as the command goes by, read by a second program. */
const FORM_BROKEN = "the record is not of the form that this program writes: ";
const isObject = (value) => value !== null && typeof value === "object" && !Array.isArray(value);
const letters = (text) => Array.from(text).length;
const matches = (pattern, value) => new RegExp("^(?:" + pattern + ")$").test(value);

const RULES = {
  text: ([, most], value) => typeof value === "string" && letters(value) <= most && !/\p{Surrogate}/u.test(value),
  like: ([, pattern, empty], value) => (value === null && empty) || (typeof value === "string" && matches(pattern, value)),
  day: ([, like, unstated], value) => (unstated !== null && value === unstated) ||
    (typeof value === "string" && value.length === like.length && matches(WORDS.day, value) && isDay(value)),
  members: ([, wanted, more], value) => isObject(value) && Object.keys(wanted).every((key) => Object.hasOwn(value, key))
    && Object.keys(value).every((key) => fits(own(wanted, key) ?? own(more ?? {}, key), value[key])),
  list: ([, one, most], value) => Array.isArray(value) && value.length <= most && value.every((entry) => fits(one, entry)),
  mapping: ([, one, most], value) => isObject(value) && Object.keys(value).length <= most
    && Object.entries(value).every(([key, entry]) => fits(["text", WORDS.text, null], key) && fits(one, entry)),
  line: ([, cases], value) => isObject(value) && typeof value.is === "string" && Object.hasOwn(cases, value.is)
    && fits(["members", {is: ["text", WORDS.text, null], ...Object.fromEntries(cases[value.is].map((name) => [name, ["like", WORDS.quantity, false]]))}, null], value),
  corner: (_, value) => Array.isArray(value) && value.length === 2 && value.every((one) => Number.isInteger(one) && one >= 0 && one <= WORDS.box),
  own: () => true,
};
const own = (object, key) => Object.hasOwn(object, key) ? object[key] : null;
const fits = (rule, value) => rule !== null && RULES[rule[0]](rule, value);

function isDay(text) {
  const [year, month, day, hour = 0, minute = 0, second = 0] = text.match(/[0-9]+/g).map(Number);
  const days = [31, year % 4 === 0 && (year % 100 !== 0 || year % 400 === 0) ? 29 : 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31];
  return year > 0 && month >= 1 && month <= 12 && day >= 1 && day <= days[month - 1] && hour < 24 && minute < 60 && second < 60;
}

/* What is wrong with the form of a buyer's copy: the part it is in, or what no member shows alone. */
function checkForm(record) {
  const [, wanted, more] = WORDS.form;
  for (const key of Object.keys(record)) if (!fits(own(wanted, key) ?? own(more, key), record[key])) throw new Broken(FORM_BROKEN + plain(key));
  for (const key of Object.keys(wanted)) if (!Object.hasOwn(record, key)) throw new Broken(FORM_BROKEN + key + " is missing");
  const corners = record.map.outline.length + record.map.missed.reduce((sum, shape) => sum + shape.length, 0);
  const hidden = record.place !== "exact";
  const good = {
    withheld: JSON.stringify(record.withheld) === JSON.stringify(Object.keys(record.commitments).sort()),
    rests: record.rests.length === 1 + record.later.length,
    time_stamp: (record.time.is === "stamped") === Object.hasOwn(record, "time_stamp"),
    map: corners <= WORDS.corners && !(hidden && corners + record.map.missed.length),
    figures: Object.entries(record.figures).every(([name, one]) => (one.unit === "ha") === (hidden && WORDS.area.includes(name) && one.value !== null)),
  };
  for (const [key, fine] of Object.entries(good)) if (!fine) throw new Broken(FORM_BROKEN + key);
}
