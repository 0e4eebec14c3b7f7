"use strict";
// Each figure carries its chart as JSON; it is drawn as SVG, so that the style sheet colours it.
const draw = async (figure) => {
  const place = figure.querySelector(".drawing");
  const spec = JSON.parse(figure.querySelector("script").textContent);
  // One view fits its container by itself; panels are given what their axes leave of it.
  const margin = figure.dataset.margin;
  if (margin) for (const panel of spec.vconcat) panel.width = Math.max(place.clientWidth - margin - 10, 80);
  try {
    await vegaEmbed(place, spec, { mode: "vega-lite", renderer: "svg", actions: false, tooltip: { theme: "custom" } });
    // The reading and the table of numbers say it in words: a listener need not hear every tick.
    const svg = place.querySelector("svg");
    svg.setAttribute("aria-hidden", "true");
    svg.setAttribute("focusable", "false");
    for (const name of ["role", "aria-label", "aria-roledescription"]) svg.parentElement.removeAttribute(name);
    figure.dataset.state = "drawn";
  } catch (error) {
    figure.dataset.state = "failed";
    place.textContent = "This chart could not be drawn.";
    console.error(error);
  }
};
for (const figure of document.querySelectorAll("figure.chart")) {
  draw(figure);
  if (!figure.dataset.margin) continue;
  let width = figure.clientWidth;
  new ResizeObserver(() => {
    if (Math.abs(figure.clientWidth - width) < 8) return;
    width = figure.clientWidth;
    draw(figure);
  }).observe(figure);
}
