// When the boom was on: a pass is tapped, a part of the drive dragged along; the list below says the same by keyboard.
import { INK, PLUM, PaperMap, SLATE, SOFT, extentOf, nearestOn, paintField } from "./paper_map.js";

const NEAR_PX = 24; // a finger means what lies this near

export class Passes {
  constructor(box, sheet) {
    this.sheet = sheet;
    this.box = box;
    this.pick = box.querySelector("#pick");
    this.map = new PaperMap(box.querySelector("[data-map]"), {
      paint: (ctx, map) => this.paint(ctx, map),
      down: (at) => { this.from = this.near(at); return Boolean(this.from); },
      drag: (at) => { this.to = this.near(at) || this.to; this.map.draw(); },
      drop: () => this.dragged(),
      cancel: () => { this.from = this.to = null; this.map.draw(); },
      tap: (at) => this.tap(at),
      units: () => sheet.map.units,
    });
    this.map.show(extentOf(sheet.map.ways, sheet.map.rings));
    box.querySelectorAll("tr[data-from]").forEach((row, k) => this.rowOf(row, k));
    box.querySelectorAll("[data-said]").forEach((one) => one.addEventListener("click", () => {
      sheet.change("said", { [one.dataset.said]: true });
    }));
  }

  near([x, y]) {
    const found = nearestOn(this.sheet.map.stretches.map((one) => one.way), ...this.map.plane(x, y));
    return found.distance * this.map.view.scale < NEAR_PX ? found : null;
  }

  isOn(time) {
    return this.sheet.map.on.some(([a, b]) => time >= a && time <= b);
  }

  tap(at) {
    const found = this.near(at);
    this.from = this.to = null;
    if (!found) return;
    const one = this.sheet.map.stretches[found.number];
    const on = !this.isOn((one.from + one.to) / 2);
    this.say(`${one.pass ? "Pass" : "The turn after pass"} ${one.number}: ${on ? "on" : "off"}, as you remember it.`);
    this.sheet.change("said", { from: one.from, to: one.to, on });
  }

  dragged() {
    const { from, to } = this;
    this.from = this.to = null;
    if (!from || !to || Math.abs(to.time - from.time) < 1) { this.map.draw(); return; }
    const [start, end] = from.time < to.time ? [from.time, to.time] : [to.time, from.time];
    const on = !this.isOn((start + end) / 2);
    this.say(`From ${this.clock(start)} to ${this.clock(end)}: ${on ? "on" : "off"}, as you remember it.`);
    this.sheet.change("said", { from: start, to: end, on });
  }

  // a tick speaks for the whole pass, two times for a part of it; a time is said when it is left, not digit by digit
  rowOf(row, pass) {
    const tick = row.querySelector("input[type=checkbox]");
    const times = [...row.querySelectorAll("[data-time]")];
    tick.addEventListener("change", () => this.sheet.change("said", { pass, on: tick.checked }));
    const say = () => {
      const [from, to] = times.map((one) => one.value);
      this.sheet.settle(...times.map((one) => one.id));
      if (!from || !to || times.every((one) => one.value === one.defaultValue)) return;
      times.forEach((one) => { one.defaultValue = one.value; });
      this.sheet.change("said", { pass, from, to, on: tick.checked });
    };
    times.forEach((one) => {
      one.addEventListener("focusout", say);
      one.addEventListener("keydown", (event) => { if (event.key === "Enter") say(); });
    });
  }

  say(words) {
    this.pick.textContent = words;
    this.sheet.keepWords = ["pick", words];
  }

  clock(time) {
    return new Intl.DateTimeFormat("en-GB", { timeStyle: "medium", timeZone: this.sheet.map.timezone }).format(time * 1000);
  }

  part(way, from, to) {
    const found = [];
    for (let k = 0; k + 1 < way.length; k += 1) {
      const [ax, ay, at] = way[k], [bx, by, bt] = way[k + 1];
      if (bt <= from || at >= to || bt === at) continue;
      const place = (time) => { const u = (time - at) / (bt - at); return [ax + u * (bx - ax), ay + u * (by - ay)]; };
      if (!found.length) found.push(place(Math.max(at, from)));
      found.push(place(Math.min(bt, to)));
    }
    return found;
  }

  paint(ctx, map) {
    const { stretches, on, said } = this.sheet.map;
    paintField(ctx, map, this.sheet.map);
    stretches.forEach(({ way }) => map.line(ctx, way, { stroke: SOFT, width: 2, dash: [1, 5], cap: "round" }));
    stretches.forEach(({ way, from, to }) => on.forEach(([a, b]) => {
      if (b > from && a < to) map.line(ctx, this.part(way, a, b), { stroke: SLATE, width: 5 });
    }));
    stretches.forEach(({ way, from, to }) => said.forEach(([a, b]) => {
      if (b > from && a < to) this.ticks(ctx, map, this.part(way, a, b));
    }));
    if (this.from && this.to) {
      const [a, b] = [Math.min(this.from.time, this.to.time), Math.max(this.from.time, this.to.time)];
      stretches.forEach(({ way }) => map.line(ctx, this.part(way, a, b), { stroke: PLUM, width: 9, alpha: 0.5 }));
    }
    ctx.font = "600 13px Georgia, serif";
    ctx.fillStyle = INK;
    ctx.strokeStyle = "#fbf9f4";
    ctx.lineWidth = 4;
    let last = null;
    stretches.filter((one) => one.pass).forEach(({ number, way }) => {
      const [x, y] = map.screen(...way[0]);
      if (last && Math.hypot(x - last[0], y - last[1]) < 16) return;
      last = [x, y];
      ctx.strokeText(number, x - 4, y - 4);
      ctx.fillText(number, x - 4, y - 4);
    });
  }

  ticks(ctx, map, points) {
    map.line(ctx, points, { stroke: PLUM, width: 2 });
    ctx.strokeStyle = PLUM;
    ctx.lineWidth = 1.6;
    ctx.beginPath();
    for (let k = 0; k + 1 < points.length; k += 1) {
      const [ax, ay] = map.screen(...points[k]), [bx, by] = map.screen(...points[k + 1]);
      const length = Math.hypot(bx - ax, by - ay);
      for (let at = 5; at < length; at += 12) {
        const x = ax + (bx - ax) * at / length, y = ay + (by - ay) * at / length;
        const nx = -(by - ay) / length * 6, ny = (bx - ax) / length * 6;
        ctx.moveTo(x - nx, y - ny);
        ctx.lineTo(x + nx, y + ny);
      }
    }
    ctx.stroke();
  }
}
