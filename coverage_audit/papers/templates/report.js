"use strict";
(() => {
  const status = document.getElementById("status");
  const calm = window.matchMedia("(prefers-reduced-motion: reduce)").matches;
  const room = { animate: !calm, paddingBottomRight: [0, 36] };
  const nearest = 34; // Labels closer than this many pixels cannot be read.
  const named = 12; // Missed strips that are named while the whole field is in view.
  const near = 1.5; // Zoom steps closer than the whole field from which on everything is named.
  const findings = new Map();
  const labels = [];
  let chosen = null;
  let openingZoom = 0;

  const whole = () => map_live.fitBounds(map_opening, room);

  const describe = (row) =>
    [row.dataset.find, ...Array.from(row.querySelectorAll("td"), (cell) => {
      const text = cell.textContent.trim();
      return ["Length", "Mean width", "Widest", "Visits", "Runs", "Began", "Heading", "Speed", "Deviation", "Spacing", "Boom"].includes(cell.dataset.label)
        ? `${cell.dataset.label.toLowerCase()} ${text}` : text;
    })].filter(Boolean).join(" · ");

  const unchoose = () => {
    document.querySelectorAll("tr.chosen").forEach((row) => row.classList.remove("chosen"));
    if (chosen) chosen.remove();
    chosen = null;
  };

  // The outline is a copy on top: it shows even when the layer of the finding is switched off.
  const choose = (id, move) => {
    const row = document.querySelector(`tr[data-find="${CSS.escape(id)}"]`);
    if (!row) return;
    unchoose();
    row.classList.add("chosen");
    status.textContent = describe(row);
    const shape = findings.get(id);
    const place = L.latLng(Number(row.dataset.lat), Number(row.dataset.lon));
    chosen = shape
      ? L.geoJSON(shape.feature, { style: { className: "map-chosen", interactive: false } })
      : L.circleMarker(place, { radius: 22, className: "map-chosen", interactive: false });
    chosen.addTo(map_live);
    if (!move) return;
    const bounds = shape ? shape.getBounds() : place.toBounds(30);
    map_live.fitBounds(bounds.pad(0.15), { ...room, maxZoom: 21 });
  };

  const label = (id, row) => {
    const words = document.createElement("span");
    words.textContent = id;
    const icon = L.divIcon({ html: words, className: "tag", iconSize: [40, 20] });
    const place = [Number(row.dataset.lat), Number(row.dataset.lon)];
    return L.marker(place, { icon, interactive: false, keyboard: false });
  };

  // Missed before double and largest first: a smaller finding gives way, and is named on zooming in.
  const placeLabels = () => {
    const taken = [];
    const close = map_live.getZoom() >= openingZoom + near;
    labels.forEach(({ layer, marker }, rank) => {
      const point = map_live.latLngToContainerPoint(marker.getLatLng());
      const wanted = map_live.hasLayer(layer) && (close || (layer === map_order[0] && rank < named));
      const free = wanted && taken.every((other) => other.distanceTo(point) >= nearest);
      if (free) taken.push(point);
      if (free !== map_live.hasLayer(marker)) (free ? marker.addTo(map_live) : marker.remove());
    });
  };

  const stack = () => {
    [...map_order].reverse().forEach((layer) => { if (map_live.hasLayer(layer)) layer.bringToFront(); });
    if (chosen) chosen.bringToFront();
  };

  map_order.forEach((layer) => layer.eachLayer((shape) => {
    if (!shape.feature.properties.finding) return;
    const id = String(shape.feature.id);
    const row = document.querySelector(`tr[data-find="${CSS.escape(id)}"]`);
    findings.set(id, shape);
    labels.push({ layer, marker: label(id, row) });
    shape.on("click", () => choose(id, false));
  }));

  document.querySelectorAll("[data-goto]").forEach((place) => {
    place.querySelector("a.jump").addEventListener("click", (event) => {
      event.preventDefault();
      choose(place.dataset.goto, true);
      document.getElementById("map").scrollIntoView({ behavior: calm ? "auto" : "smooth" });
    });
  });

  // On paper the folded lists are an appendix that is asked for.
  const folds = Array.from(document.querySelectorAll("details"));
  document.getElementById("appendix").hidden = false;
  document.getElementById("print-all").addEventListener("click", () => {
    const closed = folds.filter((fold) => !fold.open);
    closed.forEach((fold) => { fold.open = true; });
    window.addEventListener("afterprint", () => closed.forEach((fold) => { fold.open = false; }), { once: true });
    window.print();
  });

  document.querySelectorAll("tr[data-find]").forEach((row) => {
    row.addEventListener("click", (event) => {
      if (event.target.closest("a.geo, .coords")) return;
      event.preventDefault();
      choose(row.dataset.find, true);
      document.getElementById("map").scrollIntoView({ behavior: calm ? "auto" : "smooth" });
    });
  });

  L.control.scale({ metric: reportUnits !== "us", imperial: reportUnits === "us", maxWidth: 160 }).addTo(map_live);
  document.getElementById("switches").append(control_layers.getContainer());
  document.getElementById("whole").addEventListener("click", () => {
    unchoose();
    whole();
  });
  map_live.on("overlayadd", stack);
  map_live.on("zoomend overlayadd overlayremove", placeLabels);
  // Turning the wheel scrolls the page until the person has taken hold of the map.
  map_live.on("click focus", () => map_live.scrollWheelZoom.enable());
  map_live.on("blur", () => map_live.scrollWheelZoom.disable());

  stack();
  const open = () => {
    map_live.fitBounds(map_opening, { ...room, animate: false });
    openingZoom = map_live.getZoom();
    placeLabels();
  };
  // A phone that is turned shows the whole field again, unless the person looks closer.
  map_live.on("resize", () => {
    if (!chosen && map_live.getZoom() === openingZoom) open();
  });
  open();
  // Only now: had anything above failed, the still picture would remain.
  document.documentElement.classList.add("scripted");
})();
