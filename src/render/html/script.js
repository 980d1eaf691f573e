// A read-out of the rows below each plot at the cursor. Without script the table says the same.
for (const plot of document.querySelectorAll("figure[data-rows]")) {
  const rows = JSON.parse(plot.dataset.rows);
  const svg = plot.querySelector("svg");
  const cursor = svg.querySelector(".cursor");
  const readout = plot.querySelector(".readout");
  svg.addEventListener("pointermove", (event) => {
    const point = new DOMPoint(event.clientX, event.clientY).matrixTransform(svg.getScreenCTM().inverse());
    let near = rows[0];
    for (const row of rows) {
      if (Math.abs(row[0] - point.x) < Math.abs(near[0] - point.x)) near = row;
    }
    cursor.setAttribute("x1", near[0]);
    cursor.setAttribute("x2", near[0]);
    cursor.style.visibility = "visible";
    readout.textContent = near[1];
  });
  svg.addEventListener("pointerleave", () => {
    cursor.style.visibility = "hidden";
    readout.textContent = "";
  });
}
