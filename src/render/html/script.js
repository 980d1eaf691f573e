// Beside what the page says without script: a read-out of the rows below each plot at the cursor (or by the arrow keys),
// and boxes that hide single pulls.
for (const plot of document.querySelectorAll("figure[data-rows]")) {
  const rows = JSON.parse(plot.dataset.rows);
  const svg = plot.querySelector("svg");
  const cursor = svg.querySelector(".cursor");
  const readout = plot.querySelector(".readout");
  let at = -1;
  const show = (index) => {
    at = index;
    cursor.setAttribute("x1", rows[at][0]);
    cursor.setAttribute("x2", rows[at][0]);
    cursor.style.visibility = "visible";
    readout.textContent = rows[at][1];
  };
  const hide = () => {
    at = -1;
    cursor.style.visibility = "hidden";
    readout.textContent = "";
  };
  if (rows.length === 0) continue;
  svg.addEventListener("pointermove", (event) => {
    const point = new DOMPoint(event.clientX, event.clientY).matrixTransform(svg.getScreenCTM().inverse());
    let near = 0;
    rows.forEach((row, index) => {
      if (Math.abs(row[0] - point.x) < Math.abs(rows[near][0] - point.x)) near = index;
    });
    show(near);
  });
  svg.addEventListener("pointerleave", hide);
  plot.addEventListener("keydown", (event) => {
    const step = { ArrowLeft: -1, ArrowRight: 1 }[event.key];
    if (event.key === "Escape") hide();
    if (!step) return;
    event.preventDefault();
    show(Math.min(rows.length - 1, Math.max(0, at + step)));
  });
  plot.addEventListener("blur", hide);
}
const pulls = new Map();
for (const path of document.querySelectorAll("[data-pull]")) {
  pulls.set(path.dataset.pull, [...(pulls.get(path.dataset.pull) ?? []), path]);
}
if (pulls.size > 0) {
  const box = document.createElement("fieldset");
  box.className = "pulls";
  box.append(Object.assign(document.createElement("legend"), { textContent: "Single pulls shown" }));
  for (const [pull, paths] of pulls) {
    const label = document.createElement("label");
    const tick = Object.assign(document.createElement("input"), { type: "checkbox", checked: true });
    tick.addEventListener("change", () => {
      for (const path of paths) path.style.display = tick.checked ? "" : "none";
    });
    label.append(tick, " " + pull);
    box.append(label);
  }
  document.querySelector("[data-pull]").closest("figure").before(box);
}
