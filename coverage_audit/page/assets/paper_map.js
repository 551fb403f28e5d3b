// A map as on paper: local metres, north up, a scale bar; drawn on a canvas of our own.

export const INK = "#1f2937", SOFT = "#5b6472", WASH = "#e3dccd", PLUM = "#6a3d7c", SLATE = "#2f5d86", CHOICE = "#0b3c78";
const TAP_PX = 6; // a finger that moves less has tapped
const LARGEST = 60; // px a metre: a hand's breadth fills a finger

export const underlay = { image: null, corners: [], hidden: false };

export class PaperMap {
  constructor(box, hooks) {
    this.box = box;
    this.canvas = box.querySelector("canvas");
    this.hooks = hooks;
    this.pointers = new Map();
    this.view = null;
    this.extent = [-50, -50, 50, 50];
    box.querySelectorAll("[data-zoom]").forEach((button) => button.addEventListener("click", () => {
      const kind = button.dataset.zoom;
      if (kind === "all") this.fit();
      else this.zoomAt(this.width / 2, this.height / 2, kind === "in" ? 1.5 : 1 / 1.5);
    }));
    this.canvas.addEventListener("pointerdown", (event) => this.down(event));
    this.canvas.addEventListener("pointermove", (event) => this.move(event));
    for (const kind of ["pointerup", "pointercancel"]) this.canvas.addEventListener(kind, (event) => this.up(event, kind));
    this.canvas.addEventListener("wheel", (event) => {
      if (!event.ctrlKey) return; // the wheel alone turns the sheet; with Ctrl, as in every browser, it enlarges
      event.preventDefault();
      const [x, y] = this.place(event);
      this.zoomAt(x, y, Math.exp(-event.deltaY / 300));
    }, { passive: false });
    new ResizeObserver(() => this.resize()).observe(this.canvas);
  }

  show(extent) {
    this.extent = extent;
    if (this.view) this.draw();
    else this.fit();
  }

  resize() {
    const ratio = window.devicePixelRatio || 1;
    const box = this.canvas.getBoundingClientRect();
    if (!box.width) return;
    const before = this.width;
    this.width = box.width;
    this.height = box.height;
    this.canvas.width = Math.round(box.width * ratio);
    this.canvas.height = Math.round(box.height * ratio);
    this.ratio = ratio;
    if (!this.view || before !== this.width) this.fit();
    else this.draw();
  }

  fit() {
    if (!this.width) return;
    const [west, south, east, north] = this.extent;
    const scale = Math.min((this.width - 40) / Math.max(east - west, 5), (this.height - 60) / Math.max(north - south, 5));
    this.view = { x: (west + east) / 2, y: (south + north) / 2, scale };
    this.draw();
  }

  zoomAt(x, y, factor) {
    const [px, py] = this.plane(x, y);
    const scale = Math.min(Math.max(this.view.scale * factor, 0.01), LARGEST);
    this.view = { x: px - (x - this.width / 2) / scale, y: py + (y - this.height / 2) / scale, scale };
    this.draw();
  }

  screen(x, y) {
    return [(x - this.view.x) * this.view.scale + this.width / 2, (this.view.y - y) * this.view.scale + this.height / 2];
  }

  plane(x, y) {
    return [(x - this.width / 2) / this.view.scale + this.view.x, this.view.y - (y - this.height / 2) / this.view.scale];
  }

  place(event) {
    const box = this.canvas.getBoundingClientRect();
    return [event.clientX - box.left, event.clientY - box.top];
  }

  // --- fingers and mouse --------------------------------------------------------------------------

  down(event) {
    if (event.button > 0 || !this.view) return;
    const at = this.place(event);
    this.pointers.set(event.pointerId, at);
    if (this.pointers.size === 1) {
      this.start = at;
      this.moved = false;
      this.claimed = this.hooks.down?.(at, event.pointerType) || false;
      if (this.claimed || event.pointerType === "mouse" || this.hooks.tap) this.canvas.setPointerCapture(event.pointerId);
    } else if (this.claimed) {
      this.hooks.cancel?.();
      this.claimed = false;
    }
  }

  move(event) {
    const before = this.pointers.get(event.pointerId);
    if (!before) return;
    const at = this.place(event);
    if (Math.hypot(at[0] - this.start[0], at[1] - this.start[1]) > TAP_PX) this.moved = true;
    if (this.pointers.size === 2) {
      const other = [...this.pointers].find(([id]) => id !== event.pointerId)[1];
      const gap = (a, b) => Math.hypot(a[0] - b[0], a[1] - b[1]) || 1;
      this.zoomAt((at[0] + other[0]) / 2, (at[1] + other[1]) / 2, gap(at, other) / gap(before, other));
      this.moved = true;
    } else if (this.claimed) {
      if (this.moved) this.hooks.drag?.(at);
    } else if (this.moved && this.hooks.tap) {
      this.view.x -= (at[0] - before[0]) / this.view.scale;
      this.view.y += (at[1] - before[1]) / this.view.scale;
      this.draw();
    }
    this.pointers.set(event.pointerId, at);
  }

  up(event, kind) {
    const at = this.pointers.get(event.pointerId);
    if (!this.pointers.delete(event.pointerId) || this.pointers.size) return;
    if (kind === "pointercancel") {
      if (this.claimed) this.hooks.cancel?.();
    } else if (this.claimed && this.moved) this.hooks.drop?.(at);
    else if (!this.moved) this.hooks.tap?.(at);
    this.claimed = false;
  }

  // --- drawing ------------------------------------------------------------------------------------

  draw() {
    if (!this.width || !this.view) return;
    const ctx = this.canvas.getContext("2d");
    ctx.setTransform(this.ratio, 0, 0, this.ratio, 0, 0);
    ctx.clearRect(0, 0, this.width, this.height);
    ctx.lineJoin = "round";
    this.under(ctx);
    this.hooks.paint(ctx, this);
    this.furniture(ctx);
    this.canvas.dataset.view = [this.view.x, this.view.y, this.view.scale].join(" "); // where what lies, for tests
  }

  // a picture of the field, pale enough for what is drawn over it; its three corners tell where it lies
  under(ctx) {
    if (!underlay.image || underlay.hidden) return;
    const [[ax, ay], [bx, by], [cx, cy]] = underlay.corners.map((corner) => this.screen(...corner));
    const { width, height } = underlay.image;
    ctx.save();
    ctx.globalAlpha = 0.55;
    ctx.transform((bx - ax) / width, (by - ay) / width, (cx - ax) / height, (cy - ay) / height, ax, ay);
    ctx.drawImage(underlay.image, 0, 0);
    ctx.restore();
  }

  trace(ctx, points, closed = false) {
    points.forEach(([x, y], k) => {
      const [sx, sy] = this.screen(x, y);
      if (k) ctx.lineTo(sx, sy);
      else ctx.moveTo(sx, sy);
    });
    if (closed) ctx.closePath();
  }

  line(ctx, points, style, closed = false) {
    ctx.save();
    ctx.beginPath();
    this.trace(ctx, points, closed);
    ctx.lineWidth = style.width || 1;
    ctx.strokeStyle = style.stroke || INK;
    ctx.setLineDash(style.dash || []);
    ctx.lineCap = style.cap || "butt";
    ctx.globalAlpha = style.alpha || 1;
    if (style.fill) { ctx.fillStyle = style.fill; ctx.fill("evenodd"); }
    ctx.stroke();
    ctx.restore();
  }

  lines(ctx, rings, style) { // rings of one ground, of which inner ones are holes
    ctx.save();
    ctx.beginPath();
    rings.forEach((ring) => this.trace(ctx, ring, true));
    ctx.lineWidth = style.width;
    ctx.strokeStyle = style.stroke;
    ctx.fillStyle = style.fill;
    ctx.fill("evenodd");
    ctx.stroke();
    ctx.restore();
  }

  hatched(ctx, rings, { stroke, both = false, gap = 7 }) {
    ctx.save();
    ctx.beginPath();
    rings.forEach((ring) => this.trace(ctx, ring, true));
    ctx.strokeStyle = stroke;
    ctx.lineWidth = 1;
    ctx.stroke();
    ctx.clip("evenodd");
    ctx.beginPath();
    const reach = this.width + this.height;
    for (let at = -this.height; at < this.width; at += gap) {
      ctx.moveTo(at, this.height);
      ctx.lineTo(at + this.height, 0);
      if (both) { ctx.moveTo(at, 0); ctx.lineTo(Math.min(at + this.height, reach), this.height); }
    }
    ctx.lineWidth = both ? 1.1 : 1.8;
    ctx.stroke();
    ctx.restore();
  }

  furniture(ctx) {
    const feet = this.hooks.units?.() === "us";
    const metre = feet ? 0.3048 : 1;
    const most = this.width / 4 / this.view.scale / metre;
    const power = 10 ** Math.floor(Math.log10(most));
    const length = [5, 2, 1].map((k) => k * power).find((one) => one <= most) || power;
    const px = length * metre * this.view.scale;
    ctx.save();
    ctx.strokeStyle = ctx.fillStyle = INK;
    ctx.font = "14px Georgia, serif";
    ctx.lineWidth = 2;
    ctx.beginPath();
    ctx.moveTo(12, this.height - 16);
    ctx.lineTo(12, this.height - 10);
    ctx.lineTo(12 + px, this.height - 10);
    ctx.lineTo(12 + px, this.height - 16);
    ctx.stroke();
    ctx.fillText(`${length} ${feet ? "ft" : "m"}`, 16, this.height - 16);
    ctx.beginPath();
    ctx.moveTo(this.width - 18, 8);
    ctx.lineTo(this.width - 12, 26);
    ctx.lineTo(this.width - 18, 22);
    ctx.lineTo(this.width - 24, 26);
    ctx.closePath();
    ctx.fill();
    ctx.fillText("N", this.width - 23, 42);
    ctx.restore();
  }
}

// the field as on every map: its outline, and what must not be sprayed in it
export function paintField(ctx, map, { rings, off }) {
  if (rings.length) map.lines(ctx, rings, { stroke: INK, width: 2, fill: `${WASH}66` });
  off.forEach((ring) => map.line(ctx, ring, { stroke: INK, width: 1.4, dash: [5, 3], fill: "#fbf9f4" }, true));
}

// what is drawn lies outside what was driven: half a boom and a finger's breadth
export function widened([west, south, east, north], by) {
  return [west - by, south - by, east + by, north + by];
}

export function extentOf(...groups) {
  let [west, south, east, north] = [Infinity, Infinity, -Infinity, -Infinity];
  for (const points of groups.flat()) {
    for (const [x, y] of points) {
      west = Math.min(west, x); east = Math.max(east, x);
      south = Math.min(south, y); north = Math.max(north, y);
    }
  }
  return west < east ? [west, south, east, north] : [-50, -50, 50, 50];
}

export function nearestOn(ways, x, y) {
  let best = { distance: Infinity };
  ways.forEach((way, number) => {
    for (let k = 0; k + 1 < way.length; k += 1) {
      const [ax, ay] = way[k], [bx, by] = way[k + 1];
      const dx = bx - ax, dy = by - ay, size = dx * dx + dy * dy;
      const part = size ? Math.min(1, Math.max(0, ((x - ax) * dx + (y - ay) * dy) / size)) : 0;
      const px = ax + part * dx, py = ay + part * dy;
      const distance = Math.hypot(x - px, y - py);
      if (distance < best.distance) {
        const time = way[k].length > 2 ? way[k][2] + part * (way[k + 1][2] - way[k][2]) : 0;
        best = { distance, x: px, y: py, time, number };
      }
    }
  });
  return best;
}
