// Drawing the field over the drive: corners are tapped, dragged, taken away; every change is saved at once.
import { CHOICE, INK, PaperMap, SLATE, SOFT, WASH, extentOf, nearestOn, paintField, widened } from "./paper_map.js";

const NEAR_PX = 22; // a finger takes a corner that is this near
const SNAP_PX = 12; // a tap this near the driven edge lies on it
const AROUND_M = 12; // the field's corners lie about half a boom outside the drive
const STEP_PX = 8; // an arrow key moves the cross so far

export class Drawing {
  constructor(box, sheet) {
    this.sheet = sheet;
    this.box = box;
    this.what = box.dataset.draws; // "field" or "no-spray"
    this.corners = this.noted();
    this.map = new PaperMap(box.querySelector("[data-map]"), {
      paint: (ctx, map) => this.paint(ctx, map),
      down: (at) => this.take(at),
      drag: (at) => this.drag(at),
      drop: () => { this.held = null; this.changed(); },
      cancel: () => { this.held = null; },
      tap: (at) => this.tap(at),
      units: () => sheet.map.units,
    });
    this.canvas = this.map.canvas;
    this.canvas.tabIndex = 0;
    this.canvas.setAttribute("role", "application");
    if (document.getElementById("draw-help")) this.canvas.setAttribute("aria-describedby", "draw-help");
    this.canvas.addEventListener("keydown", (event) => this.key(event));
    this.canvas.addEventListener("focus", () => this.map.draw());
    this.canvas.addEventListener("blur", () => this.map.draw());
    box.querySelectorAll("[data-draw]").forEach((one) => one.addEventListener("click", () => this.button(one.dataset.draw)));
    this.note(sheet.map.isEdge);
    this.map.show(this.extent());
    this.tell();
  }

  noted() {
    const { corners, cornersOff } = this.sheet.map;
    return (this.what === "field" ? corners : cornersOff).map((corner) => [...corner]);
  }

  note(shown) {
    const note = this.box.querySelector("[data-edge-note]");
    if (note) note.hidden = !shown;
  }

  extent() {
    const { ways, rings } = this.sheet.map;
    return this.what === "field" ? widened(extentOf(ways, [this.corners]), AROUND_M) : extentOf(rings);
  }

  // --- what fingers do ------------------------------------------------------------------------------

  near([x, y]) {
    let best = -1, least = NEAR_PX;
    this.corners.forEach(([cx, cy], k) => {
      const [sx, sy] = this.map.screen(cx, cy);
      const distance = Math.hypot(sx - x, sy - y);
      if (distance < least) { least = distance; best = k; }
    });
    return best;
  }

  take(at) {
    const found = this.near(at);
    if (found < 0) return false;
    this.held = found;
    return true;
  }

  drag(at) {
    if (this.held === null || this.held === undefined) return;
    this.corners[this.held] = this.snapped(at);
    this.tell();
    this.map.draw();
  }

  tap(at) {
    const found = this.near(at);
    if (found >= 0) this.corners.splice(found, 1);
    else this.put(this.snapped(at));
    this.held = null;
    this.changed();
  }

  put(corner) {
    // a corner beside an edge goes into it, any other one behind the last
    let place = this.corners.length, least = NEAR_PX / this.map.view.scale;
    if (place > 2) {
      this.corners.forEach((a, k) => {
        const b = this.corners[(k + 1) % this.corners.length];
        const { distance } = nearestOn([[a, b]], ...corner);
        if (distance < least) { least = distance; place = k + 1; }
      });
    }
    this.corners.splice(place, 0, corner);
  }

  snapped([x, y]) {
    const at = this.map.plane(x, y);
    const edge = this.sheet.map.edge;
    if (edge.length < 3 || this.what !== "field") return at;
    const found = nearestOn([[...edge, edge[0]]], ...at);
    return found.distance * this.map.view.scale < SNAP_PX ? [found.x, found.y] : at;
  }

  // --- what keys do -----------------------------------------------------------------------------------

  key(event) {
    const moves = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };
    this.cross ||= [this.map.width / 2, this.map.height / 2];
    const move = moves[event.key];
    if (move) {
      const step = event.shiftKey ? 1 : STEP_PX;
      this.cross = [
        Math.min(Math.max(this.cross[0] + move[0] * step, 0), this.map.width),
        Math.min(Math.max(this.cross[1] + move[1] * step, 0), this.map.height),
      ];
      this.map.draw();
    } else if (event.key === "Enter" || event.key === " ") this.tap(this.cross);
    else if (event.key === "Backspace") this.button("undo");
    else if (event.key === "+") this.map.zoomAt(...this.cross, 1.5);
    else if (event.key === "-") this.map.zoomAt(...this.cross, 1 / 1.5);
    else return;
    event.preventDefault();
  }

  async button(what) {
    if (what === "keep") {
      await this.saving;
      this.sheet.change("field", { what: this.what, name: this.box.querySelector("[data-name]").value });
    } else if (what === "edge") {
      await this.sheet.change("edge", {}, { quiet: true });
      this.corners = this.noted();
      this.note(true);
      this.map.show(this.extent());
      this.tell();
    } else {
      if (what === "clear") this.corners = [];
      else this.corners.pop();
      this.changed();
    }
  }

  changed() {
    this.tell();
    this.map.draw();
    this.saving = this.sheet.change("corners", { what: this.what, corners: this.corners }, { quiet: true });
  }

  // --- what is told -----------------------------------------------------------------------------------

  tell() {
    const n = this.corners.length;
    let twice = 0;
    this.corners.forEach(([x, y], k) => { const [u, v] = this.corners[(k + 1) % n]; twice += x * v - u * y; });
    const area = Math.abs(twice) / 2;
    const told = this.sheet.map.units === "us" ? `${(area / 4046.8564224).toFixed(2)} ac` : `${(area / 10000).toFixed(2)} ha`; // a pond of some steps has 0.01
    this.box.querySelector("[data-told]").textContent = n < 3 ? `${n} of at least 3 corners` : `${n} corners, ${told}`;
  }

  paint(ctx, map) {
    if (this.what !== "field") paintField(ctx, map, this.sheet.map);
    this.sheet.map.ways.forEach((way) => map.line(ctx, way, { stroke: SLATE, width: 1, alpha: 0.8 }));
    const n = this.corners.length;
    if (n > 2) map.line(ctx, this.corners, { stroke: INK, width: 2.4, fill: `${WASH}88` }, true);
    else if (n > 1) map.line(ctx, this.corners, { stroke: INK, width: 2.4 });
    this.corners.forEach(([x, y], k) => {
      const [sx, sy] = map.screen(x, y);
      ctx.beginPath();
      ctx.rect(sx - 6, sy - 6, 12, 12);
      ctx.fillStyle = k === n - 1 ? CHOICE : "#fff";
      ctx.fill();
      ctx.strokeStyle = INK;
      ctx.lineWidth = 2;
      ctx.stroke();
    });
    if (document.activeElement === this.canvas && this.canvas.matches(":focus-visible")) {
      const [x, y] = (this.cross ||= [map.width / 2, map.height / 2]);
      ctx.strokeStyle = SOFT;
      ctx.lineWidth = 2;
      ctx.beginPath();
      ctx.moveTo(x - 14, y); ctx.lineTo(x + 14, y); ctx.moveTo(x, y - 14); ctx.lineTo(x, y + 14);
      ctx.stroke();
    }
  }
}
