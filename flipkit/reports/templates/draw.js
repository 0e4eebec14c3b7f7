"use strict";
// Each figure carries its chart as JSON; it is drawn as SVG, so that the style sheet colours it.
for (const figure of document.querySelectorAll("figure.chart")) {
  const place = figure.querySelector(".drawing");
  const spec = JSON.parse(figure.querySelector("script").textContent);
  vegaEmbed(place, spec, { mode: "vega-lite", renderer: "svg", actions: false, tooltip: { theme: "custom" } })
    .then(() => {
      // The reading and the table of numbers say it in words: a listener need not hear every tick.
      const svg = place.querySelector("svg");
      svg.setAttribute("aria-hidden", "true");
      svg.setAttribute("focusable", "false");
      const box = svg.parentElement;
      for (const name of ["role", "aria-label", "aria-roledescription"]) box.removeAttribute(name);
      figure.dataset.state = "drawn";
    })
    .catch((error) => {
      figure.dataset.state = "failed";
      place.textContent = "This chart could not be drawn.";
      console.error(error);
    });
}
