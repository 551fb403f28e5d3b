(() => {
  // The picture stands once in the page; the live map lays the same one over the field.
  const picture = document.getElementById("rate-picture");
  if (!picture) return;
  const [south, west, north, east] = picture.dataset.bounds.split(" ").map(Number);
  const pane = map_live.createPane("rate");
  pane.style.zIndex = 410; // above the ground layers, below the labels
  pane.style.pointerEvents = "none";
  const layer = L.imageOverlay(picture.getAttribute("href"), [[south, west], [north, east]], { pane: "rate", opacity: 0.9 });
  control_layers.addOverlay(layer, "<span>Rate: darker got more</span>");
  const legend = document.getElementById("rate-legend").cloneNode(true);
  legend.removeAttribute("id");
  map_live.on("overlayadd overlayremove", (event) => {
    if (event.layer !== layer) return;
    if (event.type === "overlayadd") document.getElementById("switches").append(legend);
    else legend.remove();
  });
})();
