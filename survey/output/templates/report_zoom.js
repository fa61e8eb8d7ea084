// The map zooms and pans: by buttons, by keys, by two fingers, by dragging. Without this script the whole site is shown.
function zoomable(map, figure) {
  const MOST = 12, STEP = 1.5;
  const whole = map.viewBox.baseVal, full = { x: 0, y: 0, width: whole.width, height: whole.height };
  const fingers = new Map();
  let start = null, moved = false;

  function zoomed() { return whole.width < full.width - 0.5; }
  function show(x, y, width) {
    width = Math.min(full.width, Math.max(full.width / MOST, width));
    const height = full.height * width / full.width;
    whole.x = Math.min(Math.max(x, 0), full.width - width);
    whole.y = Math.min(Math.max(y, 0), full.height - height);
    whole.width = width;
    whole.height = height;
    map.classList.toggle("zoomed", zoomed());
  }
  function zoom(by, at) { // keeps the point of the drawing where it is
    at = at || { x: whole.x + whole.width / 2, y: whole.y + whole.height / 2 };
    const width = Math.min(full.width, Math.max(full.width / MOST, whole.width / by)), share = width / whole.width;
    show(at.x - (at.x - whole.x) * share, at.y - (at.y - whole.y) * share, width);
  }
  function pan(x, y) { show(whole.x + x, whole.y + y, whole.width); }
  function reset() { show(0, 0, full.width); }
  function point(event) {
    return new DOMPoint(event.clientX, event.clientY).matrixTransform(map.getScreenCTM().inverse());
  }

  const bar = document.createElement("div");
  bar.className = "zoom screen";
  for (const [sign, words, act] of [["+", "zoom in", () => zoom(STEP)], ["−", "zoom out", () => zoom(1 / STEP)],
    ["⤢", "show the whole site", reset]]) {
    const button = document.createElement("button");
    button.type = "button";
    button.textContent = sign;
    button.setAttribute("aria-label", words);
    button.addEventListener("click", act);
    bar.append(button);
  }
  figure.querySelector("figcaption").prepend(bar); // beside the legend, where it covers nothing

  map.addEventListener("keydown", (event) => {
    const way = { ArrowRight: [1, 0], ArrowLeft: [-1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[event.key];
    if (event.key === "+" || event.key === "=") zoom(STEP);
    else if (event.key === "-") zoom(1 / STEP);
    else if (event.key === "0") reset();
    else if (way && event.shiftKey) pan(way[0] * whole.width / 5, way[1] * whole.height / 5);
    else return;
    event.preventDefault();
    event.stopImmediatePropagation();
  });
  map.addEventListener("wheel", (event) => { // a wheel alone scrolls the page; with Ctrl, as two fingers send it, it zooms
    if (!event.ctrlKey) return;
    event.preventDefault();
    zoom(Math.exp(-event.deltaY / 200), point(event));
  }, { passive: false });
  map.addEventListener("pointerdown", (event) => {
    fingers.set(event.pointerId, event);
    start = event;
    moved = false;
  });
  map.addEventListener("pointermove", (event) => {
    const before = fingers.get(event.pointerId);
    if (!before) return;
    if (fingers.size === 2) {
      const other = [...fingers.values()].find((one) => one.pointerId !== event.pointerId);
      const apart = (one) => Math.hypot(one.clientX - other.clientX, one.clientY - other.clientY);
      zoom(apart(event) / Math.max(apart(before), 1), point(other));
      moved = true;
    } else if (zoomed()) {
      const from = point(before), to = point(event);
      if (Math.hypot(event.clientX - start.clientX, event.clientY - start.clientY) > 4) moved = true;
      if (moved) pan(from.x - to.x, from.y - to.y);
    }
    fingers.set(event.pointerId, event);
  });
  for (const end of ["pointerup", "pointercancel", "pointerleave"]) {
    map.addEventListener(end, (event) => fingers.delete(event.pointerId));
  }
  map.addEventListener("click", (event) => { // the end of a drag chooses nothing
    if (!moved) return;
    moved = false;
    event.preventDefault();
    event.stopImmediatePropagation();
  }, true);
  return {
    to(x, y) { // into sight
      const inside = x > whole.x && x < whole.x + whole.width && y > whole.y && y < whole.y + whole.height;
      if (!inside) show(x - whole.width / 2, y - whole.height / 2, whole.width);
    },
  };
}
