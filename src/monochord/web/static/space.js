// Draws the survey in space with the chart library of the installed package. Positions are z (along the beam), x (left), y (up) in m.
const place = document.getElementById("space");
const order = (p) => [p[2], p[0], p[1]];
const split = (points) => [0, 1, 2].map((i) => points.map((p) => (p === null ? null : order(p)[i])));
const trace = (points, more) => { const [x, y, z] = split(points); return { type: "scatter3d", x, y, z, hoverinfo: "skip", ...more }; };

fetch(place.dataset.from).then((answer) => answer.json()).then((seen) => {
  const stations = Object.fromEntries(seen.stations.map((s) => [s.name, s.place]));
  const targets = Object.fromEntries(seen.targets.map((t) => [t.name, t.place]));
  const rays = (pairs) => pairs.flatMap(([s, t]) => [stations[s], targets[t], null]);
  const um = (u) => u.map((v) => v.toFixed(1)).join(" / ");
  const carriers = [...new Set(seen.targets.map((t) => t.carrier))];
  const marks = ["circle", "diamond", "square", "cross", "x", "circle-open", "diamond-open", "square-open"];
  const drawn = [
    trace(rays(seen.sightings), { mode: "lines", name: "sightings", line: { color: "#8a97a5", width: 1 } }),
    trace(rays(seen.left_out), { mode: "lines", name: "left out", line: { color: "#b0480a", width: 4, dash: "dash" } }),
    trace(seen.rings.flatMap((ring) => [...ring, null]), { mode: "lines", name: "95 % ellipsoids", line: { color: "#0b5394", width: 2 } }),
    trace(seen.stations.map((s) => s.place), {
      mode: "markers+text", name: "stations", text: seen.stations.map((s) => s.name), marker: { symbol: "square", size: 6, color: "#1b2430" },
    }),
    ...carriers.map((carrier, i) => {
      const mine = seen.targets.filter((t) => t.carrier === carrier);
      return trace(mine.map((t) => t.place), {
        mode: "markers", name: `targets on ${carrier || "nothing named"}`, hoverinfo: "text",
        text: mine.map((t) => `${t.name}<br>u of x, y, z: ${um(t.u)} µm`), marker: { symbol: marks[i % marks.length], size: 3.5 },
      });
    }),
  ].filter((one) => one.x.length);
  const axis = (words) => ({ title: { text: words }, backgroundcolor: "#ffffff", gridcolor: "#dde3ea" });
  Plotly.newPlot(place, drawn, {
    scene: { aspectmode: "data", xaxis: axis("z along the beam [m]"), yaxis: axis("x left [m]"), zaxis: axis("y up [m]"),
      camera: { eye: { x: -1.1, y: -1.6, z: 1.0 } } },
    legend: { orientation: "h" }, margin: { l: 0, r: 0, t: 0, b: 0 }, font: { family: "system-ui, Liberation Sans, sans-serif", size: 13 },
  }, { responsive: true, displaylogo: false, modeBarButtonsToRemove: ["toImage"] });
}).catch((error) => { document.getElementById("said").textContent = `The view cannot be drawn (${error}); the flat views and tables hold the same.`; });
