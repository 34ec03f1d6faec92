"use strict";
// Reads the value under the pointer, or under the arrow keys, from the table below a figure.
(() => {
  for (const figure of document.querySelectorAll("[data-figure]")) {
    const plot = figure.querySelector(".plot"), out = plot.querySelector(".reading");
    const [width, height] = plot.dataset.size.split(" ").map(Number);
    const [, , top, bottom] = plot.dataset.frame.split(" ").map(Number);
    const along = plot.dataset.along === "x";
    const spots = plot.dataset.spots.split(",").filter(Boolean).map((s) => s.split(" ").map(Number));
    const head = [...figure.querySelectorAll("thead th")].map((c) => c.textContent);
    const rows = figure.querySelectorAll("tbody tr");
    if (spots.length === 0) continue;
    const mark = document.createElement("div");
    mark.className = along ? "mark line" : "mark ring";
    mark.hidden = true;
    plot.append(mark);
    let now = -1;
    const say = (i) => {
      now = i;
      const [x, y] = spots[i];
      mark.hidden = false;
      out.hidden = false;
      mark.style.left = `${(100 * x) / width}%`;
      mark.style.top = `${(100 * (along ? top : y)) / height}%`;
      if (along) mark.style.height = `${(100 * (bottom - top)) / height}%`;
      const cells = [...rows[i].children].map((c, k) => `${head[k]}: ${c.textContent}`);
      out.replaceChildren(...cells.map((text) => Object.assign(document.createElement("span"), { textContent: text })));
      out.classList.toggle("left", x > width / 2);
    };
    const quiet = () => { mark.hidden = true; out.hidden = true; };
    plot.addEventListener("pointermove", (event) => {
      const box = plot.getBoundingClientRect();
      const x = ((event.clientX - box.left) / box.width) * width, y = ((event.clientY - box.top) / box.height) * height;
      const away = (s) => (along ? Math.abs(s[0] - x) : Math.hypot(s[0] - x, s[1] - y));
      let best = 0;
      for (let i = 1; i < spots.length; i++) if (away(spots[i]) < away(spots[best])) best = i;
      if (best !== now || out.hidden) say(best);
    });
    plot.addEventListener("pointerleave", quiet);
    plot.addEventListener("blur", quiet);
    plot.addEventListener("keydown", (event) => {
      const step = { ArrowRight: 1, ArrowDown: 1, ArrowLeft: -1, ArrowUp: -1, Home: -Infinity, End: Infinity }[event.key];
      if (event.key === "Escape") quiet();
      if (step === undefined) return;
      say(Math.min(Math.max((now < 0 ? (step > 0 ? -1 : 1) : now) + step, 0), spots.length - 1));
      event.preventDefault();
    });
  }
})();
