"use strict";
// Each figure carries its chart as JSON; it is drawn as SVG, so that the style sheet colours it.
// A chart that a reader moves says anew what it shows, once the hand rests; drawn anew it stays where it was put.
const follow = (figure, view, moved) => {
  const reading = figure.querySelector("figcaption");
  let rest;
  const say = () => {
    const words = [...figure.querySelectorAll(".sentence_marks text")].flatMap((text) =>
      text.querySelector("tspan") ? [...text.querySelectorAll("tspan")].map((line) => line.textContent) : [text.textContent]);
    if (reading && words.length) reading.textContent = words.join(" ");
  };
  const later = () => { clearTimeout(rest); rest = setTimeout(say, 300); };
  for (const param of moved) view.addSignalListener(param.name, later);
  if (figure.view) later();
};
const draw = async (figure) => {
  const place = figure.querySelector(".drawing");
  const spec = JSON.parse(figure.querySelector("script").textContent);
  // One view fits its container by itself; panels are given what their axes leave of it.
  const margin = figure.dataset.margin;
  if (margin) for (const panel of spec.vconcat) panel.width = Math.max(place.clientWidth - margin - 10, 80);
  const moved = figure.dataset.moves === undefined ? [] : spec.params.filter((param) => param.bind);
  if (figure.view) for (const param of moved) param.value = figure.view.signal(param.name);
  try {
    const { view } = await vegaEmbed(place, spec, { mode: "vega-lite", renderer: "svg", actions: false, tooltip: { theme: "custom" } });
    // The reading and the table of numbers say it in words: a listener need not hear every tick.
    const svg = place.querySelector("svg");
    svg.setAttribute("aria-hidden", "true");
    svg.setAttribute("focusable", "false");
    for (const name of ["role", "aria-label", "aria-roledescription"]) svg.parentElement.removeAttribute(name);
    if (moved.length) follow(figure, view, moved);
    if (figure.view) figure.view.finalize();
    figure.view = view;
    figure.dataset.state = "drawn";
  } catch (error) {
    figure.dataset.state = "failed";
    place.textContent = "This chart could not be drawn.";
    console.error(error);
  }
};
// What is not shown has no width to fit: it is drawn when it is first seen.
const begin = () => {
  for (const figure of document.querySelectorAll("figure.chart:not([data-begun])")) {
    if (!figure.clientWidth) continue;
    figure.dataset.begun = "";
    draw(figure);
    if (!figure.dataset.margin) continue;
    let width = figure.clientWidth;
    new ResizeObserver(() => {
      if (!figure.clientWidth || Math.abs(figure.clientWidth - width) < 8) return;
      width = figure.clientWidth;
      draw(figure);
    }).observe(figure);
  }
};
// Paper is narrower than a screen: a drawing is made little wider than its place there, so that its words stay legible.
const paper = { alone: 865, part: 400, moving: 900, tall: 0.5 };
// One view is told its whole width, panels the width that they share between their axes; on paper tall panels are lower.
const fit = (figure, width, tall = 1) => {
  if (!figure.view) return;
  const axes = figure.dataset.margin ? Number(figure.dataset.margin) + 10 : 0;
  if (axes) {
    for (const [name, height] of Object.entries(figure.view.getState().signals)) {
      if (!/^concat_\d+_height$/.test(name)) continue;
      figure.heights ??= {};
      figure.heights[name] ??= height;
      if (figure.heights[name] > 140) figure.view.signal(name, figure.heights[name] * tall);
    }
  }
  figure.view.width(Math.max(width - axes, 80)).run();
};
const figures = () => document.querySelectorAll("figure.chart");
addEventListener("beforeprint", () => {
  for (const figure of figures()) {
    const place = figure.closest(".beside, .columns") ? "part" : figure.dataset.moves === undefined ? "alone" : "moving";
    fit(figure, paper[place], paper.tall);
  }
});
addEventListener("afterprint", () => {
  for (const figure of figures()) fit(figure, figure.querySelector(".drawing").clientWidth);
});
const whole = document.title;
const arrive = () => {
  const page = document.getElementById(decodeURIComponent(location.hash.slice(1)));
  const heading = page && page.classList.contains("page") && page.querySelector("h1");
  document.title = heading ? heading.textContent.replace("¶", "").trim() : whole;
};
arrive();
addEventListener("hashchange", arrive);
begin();
// A page is shown, or a part unfolded, by the style sheet alone and at a moment of its own.
const shown = new ResizeObserver(begin);
for (const figure of document.querySelectorAll("figure.chart:not([data-begun])")) shown.observe(figure);
