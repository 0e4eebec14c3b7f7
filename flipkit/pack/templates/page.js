"use strict";
// only page
// In one file with others a page shows when the address names it. The style sheet sees to that without scripts; what
// a reader has moved stands in the address behind the page's name, where the style sheet no longer knows it.
const whole = document.title;
const place = () => decodeURIComponent(location.hash.slice(1)).split("?")[0];
const arrive = () => {
  const at = place() && document.getElementById(place());
  const page = at && at.closest(".page");
  for (const shown of document.querySelectorAll(".page.shown")) shown.classList.remove("shown");
  if (page) page.classList.add("shown");
  const heading = page && page.querySelector("h1");
  document.title = heading ? heading.textContent.trim() : whole;
};
// Back leads to where the reader was: the browser looks for the place before the page shows.
addEventListener("click", (event) => {
  if (event.target.closest("a[href^='#']")) history.replaceState({ ...history.state, at: scrollY }, "");
}, true);
addEventListener("popstate", ({ state }) => {
  if (state && "at" in state) requestAnimationFrame(() => scrollTo(0, state.at));
});
// end
// only sortable
// A table of more rows than a screen holds is sorted by a press on a heading: up, down, as it came.
const worth = (cell, figures) => {
  const text = cell.textContent.trim().replace(/\u2212/g, "-");
  const day = /^\d{1,2} [A-Z][a-z]{2} \d{4}$/.test(text) ? Date.parse(`${text} UTC`) : NaN;
  if (!Number.isNaN(day)) return day;
  const number = figures && text.match(/-?[^\d-]{0,4}\d[\d,]*(\.\d+)?/);
  return number ? Number(number[0].replace(/[^\d.-]/g, "")) : text.toLowerCase();
};
// What has no figure stands last, whichever way the figures go.
const before = (a, b, turn) => typeof a === typeof b ? turn * (a < b ? -1 : a > b ? 1 : 0) : typeof a === "number" ? -1 : 1;
const sortable = (table) => {
  const body = table.tBodies[0];
  const rows = [...body.rows];
  const heads = [...table.tHead.rows[0].cells];
  heads.forEach((head, k) => {
    const button = document.createElement("button");
    button.type = "button";
    button.append(...head.childNodes);
    head.append(button);
    button.addEventListener("click", () => {
      const next = { ascending: "descending", descending: null }[head.ariaSort];
      const order = next === undefined ? "ascending" : next;
      for (const other of heads) other.removeAttribute("aria-sort");
      if (order) head.setAttribute("aria-sort", order);
      const turn = order === "descending" ? -1 : 1;
      // Money with words beside it ("$29: leave it") goes by its money.
      const priced = rows.filter((row) => /^[-\u2212]?\p{Sc}\s?\d/u.test(row.cells[k].textContent.trim())).length * 2 > rows.length;
      const found = rows.map((row) => [worth(row.cells[k], priced || head.classList.contains("figure")), row]);
      if (order) found.sort((a, b) => before(a[0], b[0], turn));
      body.append(...found.map((pair) => pair[1]));
    });
  });
};
for (const table of document.querySelectorAll("table.sortable")) sortable(table);
// end
// only many
// In what is folded, a row of many cells becomes a card on a phone as elsewhere; there the cells get their headings here.
const phone = matchMedia("(max-width: 36rem)");
const cards = () => {
  if (!phone.matches) return;
  for (const table of document.querySelectorAll("table.many")) {
    const heads = [...table.tHead.rows[0].cells].map((head) => head.textContent);
    for (const row of table.tBodies[0].rows) [...row.cells].forEach((cell, k) => { if (cell.tagName === "TD") cell.dataset.h = heads[k]; });
    table.classList.replace("many", "cards");
  }
};
phone.addEventListener("change", cards);
cards();
// end
// only moves
// Sliders: each kind's hour from sums, as flipkit/analysis/what_if.py computes it.
const sign = (value, text) => (value < 0 && Number(text.replace(/,/g, "")) ? "\u2212" : "");
const grouped = (text) => text.replace(/\B(?=(\d{3})+(?!\d))/, ",");
const written = (value, unit) => unit === "%" ? `${value}%` : unit === "points" ? `${value} points`.replace("-", "\u2212") : `${unit}${value.toFixed(2)}`;
const sliders = (section) => {
  const told = JSON.parse(section.querySelector(".sums").textContent);
  const inputs = [...section.querySelectorAll("input, select")];
  const start = Object.fromEntries(inputs.filter((input) => input.type !== "radio" || input.checked).map((input) => [input.name, input.value]));
  const body = section.querySelector("tbody");
  const headline = section.querySelector(".moved");
  // Each row keeps its name, which leads to its page.
  const rows = new Map([...body.rows].map((line) => [line.cells[0].textContent, line]));
  const empty = body.rows[0];
  const cents = (value) => { const text = Math.abs(value).toFixed(2); return sign(value, text) + told.mark + grouped(text.split(".")[0]) + text.slice(-3); };
  const whole = (value) => { const text = String(Math.floor(Math.abs(value) + 0.5)); return sign(value, text) + told.mark + grouped(text); };
  const place = (value) => (100 * Math.min(Math.max((value - told.reach[0]) / (told.reach[1] - told.reach[0]), 0), 1)).toFixed(1);
  const settings = () => Object.fromEntries(inputs.filter((input) => input.type !== "radio" || input.checked).map((input) => [input.name, input.value]));
  const weights = (at) => {
    const points = Number(at.points);
    const postage = at.postage / 100;
    const anew = at.wage === start.wage ? 0 : 1;
    return [1, at.price / 100 - 1, postage - 1, at.cost / 100 - 1, anew, anew * at.wage, points * (at.price / 100), points,
      ...told.divisors.map((divisor) => divisor === Number(at.divisor) ? postage : 0)];
  };
  const dot = (of, sums) => of.reduce((total, weight, k) => total + weight * sums[k], 0);
  const error = (of, sums, products) => {
    const v = [...of, -dot(of, sums) / sums[of.length]];
    let k = 0, squares = 0;
    for (let i = 0; i < v.length; i++) for (let j = i; j < v.length; j++) squares += (i === j ? 1 : 2) * v[i] * v[j] * products[k++];
    return Math.sqrt(Math.max(squares, 0)) / sums[of.length];
  };
  const still = weights(start);
  const rowOf = ([category, items, claimed, low, high, ...numbers], of, factor) => {
    const sums = numbers.slice(0, of.length + 1);
    const products = numbers.slice(of.length + 1);
    const net = dot(of, sums);
    const hours = sums[of.length] * factor;
    const known = error(still, sums, products);
    const stretch = known > 0 ? error(of, sums, products) / factor / known : 1;
    const at = (bound) => net / hours + (bound - sums[0] / sums[of.length]) * stretch;
    return { category, items, claimed, sums, net, hours, hourly: net / hours, at, from: at(low), to: at(high) };
  };
  // The decision's rule is a table; here its bounds are moved along.
  const verdicts = (at, of) => new Map(told.bases.bought.filter(([category, items]) => items && told.bounds[category]).map((numbers) => {
    const row = rowOf(numbers, of, at.factor / 100);
    const [sure, hopeful, forTarget, forLoss, price, few, least] = told.bounds[row.category];
    const target = Number(at.target);
    const gain = 100 * (row.net - of[3] * row.sums[3] - row.sums[0]) / row.items;
    const work = 100 * (target * row.hours - start.target * row.sums[of.length]) / row.items;
    const most = Math.min(forTarget + gain - work, forLoss + gain, price * (at.price / 100));
    const enough = most >= few * (at.cost / 100) ? 2 : most >= least * (at.cost / 100) ? 1 : 0;
    const likely = target <= row.at(sure) ? 2 : target < row.at(hopeful) ? 1 : 0;
    return [row.category, told.rule[likely][most >= told.least ? enough : 0]];
  }));
  const moved = (at) => {
    const of = weights(at);
    const said = verdicts(at, of);
    return told.bases[at.basis].map((numbers) => rowOf(numbers, of, at.factor / 100))
      .map((row) => ({ ...row, verdict: said.get(row.category) ?? told.few }))
      .sort((a, b) => b.hourly - a.hourly || (a.category < b.category ? -1 : 1));
  };
  const all = (found) => found.reduce((sum, row) => sum + row.net, 0) / found.reduce((sum, row) => sum + row.hours, 0);
  const show = () => {
    const at = settings();
    const found = moved(at);
    const now = all(found);
    const before = all(moved({ ...start, basis: at.basis }));
    const more = Math.abs(now - before);
    const [buy, below, leave] = told.counts.map((verdict) => found.filter((row) => row.verdict === verdict).length);
    headline.textContent = (more.toFixed(2) === "0.00" ? `An hour of your work brings about ${whole(now)} as things stand.` :
      `An hour of your work would bring about ${whole(now)}, ${cents(more)} ${now > before ? "more" : "less"} than as things stand.`) +
      (buy + below + leave ? ` Buy ${buy} of ${found.length} kinds, buy ${below} only below a price, and leave ${leave}. ` : " Too few to tell which kinds to buy. ") +
      told.counted[at.basis];
    for (const input of inputs) {
      if (input.type !== "range") continue;
      const said = written(Number(input.value), input.dataset.unit);
      input.closest("label").querySelector("output").textContent = said;
      input.setAttribute("aria-valuetext", said);
    }
    body.replaceChildren(...found.map((row) => {
      const line = rows.get(row.category) || empty.cloneNode(true);
      const [name, hour, between, verdict] = line.cells;
      if (!rows.has(row.category)) name.textContent = row.category;
      rows.set(row.category, line);
      hour.firstChild.textContent = whole(row.hourly);
      between.textContent = row.claimed ? `${whole(row.from)} to ${whole(row.to)}` : "\u2013";
      verdict.textContent = row.verdict;
      line.dataset.moved = [row.hourly, row.from, row.to].map((value) => value.toFixed(2)).join(" ");
      const ends = row.claimed ? [row.from, row.to] : [row.hourly, row.hourly];
      const [span, aim, point] = line.querySelectorAll("line");
      for (const [mark, from, to] of [[span, ...ends], [aim, Number(at.target), Number(at.target)], [point, row.hourly, row.hourly]]) {
        mark.setAttribute("x1", place(from));
        mark.setAttribute("x2", place(to));
      }
      return line;
    }));
  };
  // What is moved stands in the address, so that a link carries it; a browser bears some changes a second.
  let resting;
  const keep = () => {
    const page = section.closest(".page");
    const at = settings();
    const changed = Object.entries(at).filter(([name, value]) => value !== start[name]);
    const asked = changed.length ? `?${new URLSearchParams(changed)}` : "";
    const anchor = page ? page.id : location.hash.slice(1).split("?")[0];
    history.replaceState(history.state, "", `#${anchor}${asked}`);
    if (page) arrive();
  };
  const take = () => {
    const asked = new URLSearchParams(location.hash.split("?")[1] || "");
    const page = section.closest(".page");
    if (page && location.hash.slice(1).split("?")[0] !== page.id) return;
    for (const input of inputs) {
      const value = asked.get(input.name) ?? start[input.name];
      if (input.type === "radio") input.checked = input.value === value;
      else input.value = value;
    }
    show();
  };
  section.addEventListener("input", () => { show(); clearTimeout(resting); resting = setTimeout(keep, 300); });
  section.querySelector("button").addEventListener("click", () => {
    for (const input of inputs) if (input.type === "radio") input.checked = input.value === start.basis; else input.value = start[input.name];
    show();
    keep();
  });
  addEventListener("hashchange", take);
  section.classList.add("live");
  take();
};
for (const section of document.querySelectorAll(".moves")) sliders(section);
// end
// only page
addEventListener("hashchange", arrive);
arrive();
// end
