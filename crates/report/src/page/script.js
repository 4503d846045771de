(() => {
  const $ = (id) => document.getElementById(id);
  const back = $("back"), tip = $("tip"), contents = $("contents");

  // Links to bars ("#bars-3-7_9-9", played bars from 0) mark those columns on every map.
  const mark = () => {
    document.querySelectorAll(".marked").forEach((old) => old.remove());
    if (!location.hash.startsWith("#bars-")) return false;
    const spans = [...location.hash.matchAll(/(\d+)-(\d+)/g)].map(([, first, last]) => [Number(first), Number(last) + 1]);
    for (const field of document.querySelectorAll("svg[data-first]")) {
      const start = Number(field.dataset.first), count = Number(field.dataset.count);
      for (const [first, end] of spans) {
        const from = Math.max(first, start), to = Math.min(end, start + count);
        if (from >= to) continue;
        const box = document.createElementNS("http://www.w3.org/2000/svg", "rect");
        box.setAttribute("class", "marked");
        box.setAttribute("x", `${((from - start) / count) * 100}%`);
        box.setAttribute("width", `${((to - from) / count) * 100}%`);
        box.setAttribute("height", field.getAttribute("height"));
        field.append(box);
      }
    }
    return true;
  };
  const open = (element) => {
    for (let fold = element.closest("details"); fold; fold = fold.parentElement.closest("details")) fold.open = true;
  };
  const arrive = () => {
    if (mark()) {
      document.querySelector("#map .picture").scrollIntoView({ block: "nearest" });
      return;
    }
    const target = location.hash.length > 1 && $(decodeURIComponent(location.hash.slice(1)));
    if (target) {
      open(target);
      target.scrollIntoView({ block: target.matches("tr") ? "center" : "start" });
    }
  };

  // The way back: from where the last link was followed, several steps deep.
  const left = [];
  const told = () => {
    const from = left.at(-1);
    back.hidden = !from;
    if (from) back.textContent = `Back to “${from.name}”`;
  };
  const leave = (element) => {
    const section = element.closest("section");
    const name = section ? section.querySelector("h2, h3").textContent : "top";
    left.push({ element, name, y: element.getBoundingClientRect().top });
    told();
  };
  back.addEventListener("click", () => {
    const { element, y } = left.pop();
    open(element);
    scrollBy(0, element.getBoundingClientRect().top - y);
    element.focus?.({ preventScroll: true });
    told();
  });
  document.addEventListener("click", (event) => {
    const link = event.target.closest('a[href^="#"]');
    if (!link) {
      if (!event.target.closest("#contents")) contents.open = false;
      return;
    }
    if (contents.contains(link)) contents.open = false;
    else leave(link);
    // The same bars once more: no change of address, but the map is wanted all the same.
    if (link.hash === location.hash) arrive();
  });
  addEventListener("keydown", (event) => {
    if (event.key === "Escape") contents.open = false;
  });
  addEventListener("hashchange", arrive);

  // A cell of the map tells what its row in the list of roles says, and leads there.
  const rowOf = (cell) => $(`role-${cell.dataset.more}`);
  addEventListener("pointermove", (event) => {
    const cell = event.target.closest?.(".cell[data-more]");
    const row = cell && rowOf(cell);
    tip.hidden = !row;
    if (!row) return;
    if (tip.dataset.row !== row.id) {
      tip.dataset.row = row.id;
      const part = row.closest("details").querySelector("summary b").textContent;
      const [bars, line, role, sure, together, because] = [...row.cells].map((one) => one.textContent);
      tip.textContent = `${part}, ${bars}: ${role} (${sure})${line > 1 ? `, line ${line}` : ""} – ${[because, together].filter(Boolean).join("; ")}`;
    }
    const box = tip.getBoundingClientRect();
    tip.style.left = `${Math.max(4, Math.min(event.clientX + 14, innerWidth - box.width - 8))}px`;
    tip.style.top = `${event.clientY + box.height + 24 > innerHeight ? event.clientY - box.height - 12 : event.clientY + 16}px`;
  });
  document.addEventListener("click", (event) => {
    const cell = event.target.closest(".cell[data-more]");
    const row = cell && rowOf(cell);
    if (!row) return;
    leave(cell);
    document.querySelectorAll("tr.found").forEach((old) => old.classList.remove("found"));
    row.classList.add("found");
    open(row);
    tip.hidden = true;
    row.scrollIntoView({ block: "center" });
  });

  // For paper and for searching: everything open at once.
  $("unfold").addEventListener("click", (event) => {
    const opens = event.target.textContent.startsWith("Open");
    document.querySelectorAll("main details").forEach((fold) => (fold.open = opens));
    event.target.textContent = opens ? "Close all folds" : "Open all folds";
  });
  arrive();
})();
