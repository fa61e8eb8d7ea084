// Map and table work together: choose an inverter in one, see it in the other and its link beside. Without this script
// the table is whole, and every link can be opened below.
(function () {
  const byId = (id) => document.getElementById(id);
  const map = byId("map"), panel = byId("panel"), body = byId("table").tBodies[0];
  const rows = Array.from(body.rows);
  const rowOf = new Map(rows.map((row) => [row.dataset.n, row]));
  const markOf = new Map(Array.from(map.querySelectorAll("a.inv"), (mark) => [mark.dataset.n, mark]));
  const linkIn = (row) => row.querySelector("a");
  const sight = zoomable(map, byId("figure"));
  let picked = null, pickedIn = "";

  function stopAt(number) { // of all rows and marks one each can be reached with Tab; arrow keys move on from there
    for (const row of rows) linkIn(row).tabIndex = row.dataset.n === number ? 0 : -1;
    for (const [key, mark] of markOf) mark.setAttribute("tabindex", key === number ? "0" : "-1");
  }

  function choose(number, from) {
    if (picked !== null) {
      rowOf.get(picked).classList.remove("picked");
      linkIn(rowOf.get(picked)).removeAttribute("aria-current");
      markOf.get(picked).removeAttribute("aria-current");
      byId("k" + picked).classList.remove("picked");
    }
    const cameFrom = pickedIn;
    [picked, pickedIn] = [number, from];
    map.classList.toggle("one", number !== null);
    panel.hidden = number === null;
    const ring = byId("ring"), label = byId("picked");
    if (number === null) {
      ring.setAttribute("cx", "-99");
      label.setAttribute("x", "-99");
      label.textContent = "";
      const stop = body.querySelector("a[tabindex='0']");
      if (stop && cameFrom === "table") stop.focus();
      return;
    }
    const row = rowOf.get(number), mark = markOf.get(number), details = byId("b" + number);
    row.classList.add("picked");
    linkIn(row).setAttribute("aria-current", "true");
    mark.setAttribute("aria-current", "true");
    byId("k" + number).classList.add("picked");
    ring.setAttribute("cx", mark.dataset.x);
    ring.setAttribute("cy", mark.dataset.y);
    label.textContent = linkIn(row).textContent;
    putLabel(label, Number(mark.dataset.x), Number(mark.dataset.y));
    byId("panel-title").textContent = details.querySelector("summary").textContent;
    byId("panel-body").replaceChildren(...Array.from(details.querySelector("div").cloneNode(true).childNodes));
    panel.scrollTop = 0;
    stopAt(number);
    sight.to(Number(mark.dataset.x), Number(mark.dataset.y));
    const box = map.getBoundingClientRect(), over = getComputedStyle(panel).position === "fixed";
    const end = over ? panel.getBoundingClientRect().top : window.innerHeight;
    if (box.top < 0 || box.bottom > end) map.scrollIntoView({ block: "start" });
    if (from === "map") into(byId("scroll"), row);
  }

  function putLabel(label, x, y) { // on the side where it covers the fewest other marks
    const font = parseFloat(getComputedStyle(label).fontSize), half = 0.32 * font * label.textContent.length + 4;
    const { x: west, y: north, width: wide, height: tall } = map.viewBox.baseVal;
    let best = null, least = Infinity;
    for (const [left, foot] of [[x, y - 20], [x, y + 15 + font], [x - half - 18, y + 6], [x + half + 18, y + 6]]) {
      const outside = left < west + half || left > west + wide - half || foot < north + font || foot > north + tall - 50;
      let cost = outside ? 1000 : 0;
      for (const one of markOf.values()) {
        cost += Math.abs(one.dataset.x - left) < half + 6 && Math.abs(one.dataset.y - foot + font / 3) < font;
      }
      if (cost < least) [best, least] = [[left, foot], cost];
    }
    label.setAttribute("x", String(best[0]));
    label.setAttribute("y", String(best[1]));
  }

  function into(box, row) { // scrolls the box alone, not the page
    const head = byId("table").tHead.offsetHeight;
    const top = row.offsetTop - head, bottom = row.offsetTop + row.offsetHeight;
    if (top < box.scrollTop) box.scrollTop = top;
    else if (bottom > box.scrollTop + box.clientHeight) box.scrollTop = bottom - box.clientHeight;
  }

  body.addEventListener("click", (event) => {
    const row = event.target.closest("tr");
    if (!row) return;
    event.preventDefault();
    choose(row.dataset.n, "table");
  });
  body.addEventListener("keydown", (event) => {
    const step = { ArrowDown: 1, ArrowUp: -1 }[event.key], row = event.target.closest("tr");
    if (!step || !row) return;
    event.preventDefault();
    const shown = Array.from(body.rows).filter((one) => !one.hidden);
    const next = shown[shown.indexOf(row) + step];
    if (!next) return;
    stopAt(next.dataset.n);
    linkIn(next).focus({ preventScroll: true });
    into(byId("scroll"), next);
  });

  map.addEventListener("click", (event) => { // the nearest inverter, so that a finger need not hit it
    const mark = event.target.closest("a.inv");
    event.preventDefault();
    if (mark) return choose(mark.dataset.n, "map");
    const at = new DOMPoint(event.clientX, event.clientY).matrixTransform(map.getScreenCTM().inverse());
    const reach = 22 / map.getScreenCTM().a;
    let best = null, least = reach;
    for (const [number, one] of markOf) {
      const away = Math.hypot(one.dataset.x - at.x, one.dataset.y - at.y);
      if (away < least && !one.classList.contains("faded")) [best, least] = [number, away];
    }
    if (best !== null) choose(best, "map");
  });
  map.addEventListener("keydown", (event) => {
    const way = { ArrowRight: [1, 0], ArrowLeft: [-1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[event.key];
    const mark = event.target.closest("a.inv");
    if (!way || !mark) return;
    event.preventDefault();
    let best = null, least = Infinity;
    for (const one of markOf.values()) {
      const x = one.dataset.x - mark.dataset.x, y = one.dataset.y - mark.dataset.y;
      const along = x * way[0] + y * way[1], aside = Math.abs(x * way[1]) + Math.abs(y * way[0]);
      const cost = along + 3 * aside;
      if (along > 0.05 && cost < least && !one.classList.contains("faded")) [best, least] = [one, cost];
    }
    if (!best) return;
    stopAt(best.dataset.n);
    best.focus();
  });
  byId("close").addEventListener("click", () => choose(null, ""));
  document.addEventListener("keydown", (event) => { if (event.key === "Escape" && picked !== null) choose(null, ""); });

  function show() {
    const words = byId("find").value.trim().toLowerCase(), state = byId("only").value;
    let count = 0;
    for (const row of rows) {
      const fits = (!state || row.dataset.state === state) && (!words || row.textContent.toLowerCase().includes(words));
      row.hidden = !fits;
      markOf.get(row.dataset.n).classList.toggle("faded", !fits);
      count += fits;
    }
    byId("count").textContent = count + " of " + rows.length + " shown";
    const stop = rows.find((row) => row.dataset.n === picked && !row.hidden) || Array.from(body.rows).find((row) => !row.hidden);
    if (stop) stopAt(stop.dataset.n);
  }
  byId("find").addEventListener("input", show);
  byId("only").addEventListener("change", show);
  byId("filter").addEventListener("submit", (event) => event.preventDefault());

  const heads = Array.from(byId("table").tHead.rows[0].cells);
  heads.forEach((head, column) => {
    const button = document.createElement("span"); // a real button keeps the heading from standing on each printed page
    button.setAttribute("role", "button");
    button.tabIndex = 0;
    button.textContent = head.textContent;
    button.addEventListener("keydown", (event) => {
      if (event.key !== "Enter" && event.key !== " ") return;
      event.preventDefault();
      button.click();
    });
    head.replaceChildren(button);
    button.addEventListener("click", () => {
      const down = head.getAttribute("aria-sort") === "ascending";
      for (const one of heads) one.removeAttribute("aria-sort");
      head.setAttribute("aria-sort", down ? "descending" : "ascending");
      const value = (row) => row.cells[column].dataset.v ?? row.cells[column].textContent.trim();
      const numbers = rows[0] && rows[0].cells[column].dataset.v !== undefined;
      const compare = (a, b) => (numbers ? value(a) - value(b) : value(a).localeCompare(value(b), "en", { numeric: true }));
      const ordered = rows.slice().sort(compare);
      body.append(...(down ? ordered.reverse() : ordered));
    });
  });

  document.documentElement.classList.add("js");
  byId("filter").hidden = false;
  show();
})();
