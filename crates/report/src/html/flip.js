"use strict";
// Draws ramps and pictures through the LUTs that the page carries. Plain numbers in, 8-bit pixels out.
(() => {
  const at = (id) => document.getElementById(id);
  const canvas = at("look-canvas");
  const pen = canvas.getContext("2d", { colorSpace: "srgb", willReadFrequently: true });
  const data = JSON.parse(at("look-data").textContent || "null");
  if (!pen || !data || data.luts.length === 0) {
    at("look-missing").hidden = false;
    at("look-controls").hidden = true;
    at("look-frame").hidden = true;
    return;
  }
  const W = canvas.width, H = canvas.height;

  // Rows of a table as numbers, three a row.
  const unpack = (table) => {
    if (!table) return null;
    const text = atob(table.rows);
    const rows = new Float64Array((8 * text.length) / table.bits);
    const bytes = new DataView(Uint8Array.from(text, (c) => c.charCodeAt(0)).buffer);
    const step = (table.high - table.low) / 65535;
    for (let i = 0; i < rows.length; i++) {
      rows[i] = table.bits === 32 ? bytes.getFloat32(4 * i, true) : table.low + step * bytes.getUint16(2 * i, true);
    }
    return { ...table, rows };
  };
  const views = [{ name: "uncorrected", lut: null, hue: "#6B7178" }].concat(
    data.luts.map((l) => ({
      name: l.name, hue: l.hue, lut: { curves: unpack(l.curves), lattice: unpack(l.lattice) },
    })));

  // Cell and place in it along one axis; outside the domain the nearest end answers.
  const locate = (table, channel, value) => {
    const last = table.size - 1;
    const span = table.max[channel] - table.min[channel];
    const t = Math.min(Math.max((value - table.min[channel]) / span, 0), 1) * last;
    const cell = Math.min(Math.floor(t), last - 1);
    return [cell, t - cell];
  };
  const curve = (table, v) => v.map((x, c) => {
    const [i, f] = locate(table, c, x);
    return table.rows[3 * i + c] * (1 - f) + table.rows[3 * (i + 1) + c] * f;
  });
  const trilinear = (rows, base, strides, f) => [0, 1, 2].map((c) => {
    let sum = 0;
    for (let corner = 0; corner < 8; corner++) {
      let weight = 1, node = base;
      for (let axis = 0; axis < 3; axis++) {
        const far = (corner >> axis) & 1;
        weight *= far ? f[axis] : 1 - f[axis];
        node += far * strides[axis];
      }
      sum += weight * rows[3 * node + c];
    }
    return sum;
  });
  // From the low corner to the high one along the axes by falling place in the cell.
  const tetrahedral = (rows, base, strides, f) => {
    const order = [0, 1, 2].sort((a, b) => f[b] - f[a]);
    const out = [0, 1, 2].map((c) => rows[3 * base + c] * (1 - f[order[0]]));
    let node = base;
    order.forEach((axis, i) => {
      node += strides[axis];
      const weight = f[axis] - (i < 2 ? f[order[i + 1]] : 0);
      for (let c = 0; c < 3; c++) out[c] += weight * rows[3 * node + c];
    });
    return out;
  };
  const evaluate = (lut, signal, how) => {
    let v = signal.map((x) => data.black + x * (data.white - data.black));
    if (lut.curves) v = curve(lut.curves, v);
    if (lut.lattice) {
      const n = lut.lattice.size, f = [], cell = [];
      for (let c = 0; c < 3; c++) [cell[c], f[c]] = locate(lut.lattice, c, v[c]);
      const strides = [1, n, n * n];
      const base = cell[0] + n * cell[1] + n * n * cell[2];
      v = (how === "trilinear" ? trilinear : tetrahedral)(lut.lattice.rows, base, strides, f);
    }
    return v.map((x) => (x - data.black) / (data.white - data.black));
  };

  // Pictures of 8-bit codes.
  const paint = (colour) => {
    const image = new Uint8ClampedArray(4 * W * H);
    for (let y = 0; y < H; y++) {
      for (let x = 0; x < W; x++) {
        const [r, g, b] = colour(x / W, y / H);
        const i = 4 * (x + W * y);
        image[i] = Math.round(255 * r); image[i + 1] = Math.round(255 * g); image[i + 2] = Math.round(255 * b);
        image[i + 3] = 255;
      }
    }
    return image;
  };
  const band = (y, all) => all[Math.min(Math.floor(y * all.length), all.length - 1)];
  const mixtures = [[1, 0, 0], [1, 1, 0], [0, 1, 0], [0, 1, 1], [0, 0, 1], [1, 0, 1]];
  const codes = (x, n) => Math.min(Math.floor(x * n), n - 1);
  const darkest = Math.max(Math.round(255 * data.near_black), 8) + 1;
  const contents = {
    // The whole ramp, the same in coarse steps, and the ramp the other way.
    grey: () => paint((x, y) => {
      const v = band(y, [codes(x, 256) / 255, codes(x, 16) / 15, 1 - codes(x, 256) / 255]);
      return [v, v, v];
    }),
    primaries: () => paint((x, y) => band(y, mixtures).map((v) => (v * codes(x, 256)) / 255)),
    // One bar for each code up to the end of near black: greys, then the primaries.
    dark: () => paint((x, y) => band(y, [[1, 1, 1], [1, 1, 1], [1, 0, 0], [0, 1, 0], [0, 0, 1]])
      .map((v) => (v * codes(x, darkest)) / 255)),
    // One surface under falling light, from a little cooler above to a little warmer below.
    skin: () => paint((x, y) => data.skin.map((v, c) => Math.min(v * (1 + 0.12 * (y - 0.5) * (1 - c)), 1) * x)),
    // From the horizon up, darker and deeper to the right.
    sky: () => paint((x, y) => data.sky.map((v, c) => (v + (1 - v) * 0.7 * y * y) * (1 - 0.55 * x * (1 - 0.3 * c / 2)))),
    own: () => own,
  };

  let own = null, view = 0, source = null, painted = null, last = -Infinity, timer = 0, pending = 0;
  const content = at("look-content"), evaluation = at("look-evaluation"), magnify = at("look-magnify");

  const draw = () => {
    if (painted !== content.value) { source = contents[content.value](); painted = content.value; }
    const out = new Uint8ClampedArray(source), lut = views[view].lut, k = Number(magnify.value);
    const seen = new Map();
    for (let i = 0; i < out.length; i += 4) {
      const key = source[i] | (source[i + 1] << 8) | (source[i + 2] << 16);
      let to = seen.get(key);
      if (to === undefined) {
        const from = [source[i], source[i + 1], source[i + 2]];
        const through = lut ? evaluate(lut, from.map((v) => v / 255), evaluation.value)
          .map((v) => Math.min(Math.max(Math.round(255 * v), 0), 255)) : from;
        to = k ? through.map((v, c) => 128 + k * (v - from[c])) : through;
        seen.set(key, to);
      }
      out[i] = to[0]; out[i + 1] = to[1]; out[i + 2] = to[2];
    }
    pen.putImageData(new ImageData(out, W, H), 0, 0);
    const what = content.options[content.selectedIndex].text;
    const changed = k ? `, what changed ${k} times about mid grey` : "";
    const name = lut ? `${views[view].name}, ${evaluation.value}` : views[view].name;
    at("look-status").textContent = `${name}: ${what}${changed}. View ${view + 1} of ${views.length}.`;
    canvas.setAttribute("aria-label", `${what}, ${views[view].name}${changed}`);
  };
  // At most twice a second, so that nobody makes the picture flash: WCAG 2.2 (2023) allows three flashes.
  const PAUSE = 500;
  const ready = () => performance.now() - last >= PAUSE;
  const redraw = () => {
    draw();
    // From when it is drawn: on a slow machine keys wait while it is.
    last = performance.now();
  };
  // A choice that was made is drawn, if not at once.
  const soon = () => {
    clearTimeout(pending);
    pending = setTimeout(redraw, Math.max(0, PAUSE - (performance.now() - last)));
  };
  const show = (next) => {
    if (!ready() || next >= views.length || next === view) return mark();
    view = next;
    mark();
    redraw();
  };
  const mark = () => { document.querySelectorAll("#look-views input").forEach((b, i) => { b.checked = i === view; }); };

  views.forEach((one, i) => {
    const label = document.createElement("label"), box = document.createElement("input");
    box.type = "radio"; box.name = "look-view"; box.checked = i === 0;
    box.addEventListener("change", () => show(i));
    label.append(box, ` ${one.name} `, Object.assign(document.createElement("kbd"), { textContent: String(i + 1) }));
    label.style.setProperty("--hue", one.hue);
    at("look-views").append(label);
  });
  for (const choice of [content, evaluation, magnify]) choice.addEventListener("change", soon);
  at("look-frame").addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    const turn = (step) => () => {
      const choices = [...content.options].filter((o) => !o.disabled).map((o) => o.value);
      content.value = choices[(choices.indexOf(content.value) + step + choices.length) % choices.length];
      redraw();
    };
    const keys = {
      " ": () => show((view + 1) % views.length), ArrowRight: turn(1), ArrowLeft: turn(-1),
      m: () => { magnify.selectedIndex = (magnify.selectedIndex + 1) % magnify.options.length; redraw(); },
    };
    const act = /^[1-9]$/.test(event.key) ? () => show(Number(event.key) - 1) : keys[event.key];
    if (!act) return;
    event.preventDefault();
    // A key that is held changes the picture once.
    if (!event.repeat && ready()) act();
  });
  at("look-file").addEventListener("change", async (event) => {
    const file = event.target.files[0];
    if (!file) return;
    try {
      const bitmap = await createImageBitmap(file, { colorSpaceConversion: "none" });
      const size = Math.min(W / bitmap.width, H / bitmap.height);
      const [w, h] = [Math.round(bitmap.width * size), Math.round(bitmap.height * size)];
      pen.fillStyle = "#000";
      pen.fillRect(0, 0, W, H);
      pen.drawImage(bitmap, Math.round((W - w) / 2), Math.round((H - h) / 2), w, h);
      own = pen.getImageData(0, 0, W, H).data;
      content.querySelector("[value=own]").disabled = false;
      content.value = "own";
      painted = null;
      soon();
    } catch {
      at("look-status").textContent = `${file.name} is no picture that this browser reads; choose a PNG or JPEG.`;
    }
  });

  const dialog = at("look-dialog"), frame = at("look-frame");
  // Still pictures are not left standing.
  const MOST = 60000;
  at("look-full").addEventListener("click", () => dialog.showModal());
  at("look-stay").addEventListener("click", () => dialog.close());
  at("look-go").addEventListener("click", async () => {
    dialog.close();
    try {
      await frame.requestFullscreen();
      frame.focus();
      timer = setTimeout(() => document.fullscreenElement && document.exitFullscreen(), MOST);
    } catch {
      at("look-status").textContent = "This browser does not fill the screen from here.";
    }
  });
  document.addEventListener("fullscreenchange", () => {
    if (!document.fullscreenElement) clearTimeout(timer);
  });
  draw();
})();
