// Links to bars ("#bars-3-7", played bars from 0) mark those columns on the map and bring them into view.
(() => {
  const map = document.querySelector("svg.role-map");
  if (!map) return;
  const left = Number(map.dataset.left), bar = Number(map.dataset.bar);
  // The names of the parts stay in view when the map is moved sideways.
  const frame = map.closest(".scroll"), names = map.querySelector(".names");
  frame.addEventListener("scroll", () => names.setAttribute("transform", `translate(${frame.scrollLeft} 0)`), { passive: true });
  const show = () => {
    map.querySelectorAll(".marked").forEach((old) => old.remove());
    const spans = [...location.hash.matchAll(/(\d+)-(\d+)/g)];
    if (!location.hash.startsWith("#bars-") || spans.length === 0) return;
    for (const [, first, last] of spans) {
      const mark = document.createElementNS("http://www.w3.org/2000/svg", "rect");
      mark.setAttribute("class", "marked");
      mark.setAttribute("x", left + first * bar);
      mark.setAttribute("y", 0);
      mark.setAttribute("width", (last - first + 1) * bar);
      mark.setAttribute("height", map.getAttribute("height"));
      map.insertBefore(mark, names);
    }
    frame.scrollTo({ left: left + spans[0][1] * bar - frame.clientWidth / 3 });
    frame.scrollIntoView({ block: "nearest" });
  };
  addEventListener("hashchange", show);
  show();
})();
