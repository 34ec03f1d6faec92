// Opens the pages of Evenstep in headless Chromium and holds them to what they promise.
//
// Usage: node tests/browser/pages.mjs EVENSTEP CUBE_TOOL MODULES [TOUR]
// EVENSTEP is the command, CUBE_TOOL the example of evenstep-lut that evaluates a LUT in Rust, MODULES a folder with
// playwright-core and axe-core, TOUR the folder of a tour that was run before. Run from the root of the checkout.
import { execFileSync } from "node:child_process";
import { mkdtempSync, readFileSync, rmSync, statSync, writeFileSync } from "node:fs";
import { createRequire } from "node:module";
import { tmpdir } from "node:os";
import { join, resolve } from "node:path";
import { pathToFileURL } from "node:url";

const [evenstep, cubeTool, modules, tour] = process.argv.slice(2).map((a) => resolve(a));
const require = createRequire(join(modules, "x.js"));
const { chromium } = require("playwright-core");
const axe = readFileSync(require.resolve("axe-core/axe.min.js"), "utf8");

const work = mkdtempSync(join(tmpdir(), "evenstep-pages-"));
const failures = [];
let checks = 0;
const check = (holds, words) => {
  checks += 1;
  if (holds) return;
  failures.push(words);
  console.error(`failed: ${words}`);
};
// A verdict against a LUT is no failure of the command.
const run = (program, ...args) => execFileSync(program, args, { encoding: "utf8", maxBuffer: 1 << 28 });

const RAMPS = ["red", "green", "blue", "cyan", "magenta", "yellow", "skin", "sky", "foliage"];
const ON_PANEL = [
  "steps", "steps-near-black", "evenness", "tint", "tint-near-black", "balance-1", "light-log", "light-seen", "histogram",
  "chromaticity", "by-name", "noise", "rough-1", "nodes-off-1", ...RAMPS.map((r) => `steps-${r}`),
];
const at = (name) => join(work, name);
const html = (name) => at(`${name}.html`);
const panel = ["--panel", "luts/panel.cgats", "--quiet"];
run(evenstep, "audit", "luts/near-black-dip.cube", ...panel, "--html", html("audit"));
run(evenstep, "audit", "luts/fold.cube", "--quiet", "--html", html("alone"));
run(evenstep, "compare", "luts/stair-steps.cube", "luts/good-17.cube", ...panel, "--html", html("compare"));
run(evenstep, "fit", "luts/panel.cgats", "-o", at("fitted.cube"), "--nodes", "9", "--quiet", "--html", html("fit"));
const pages = [
  { name: "audit", file: html("audit"), figures: ON_PANEL, luts: [["luts/near-black-dip.cube", 3]], whole: true },
  { name: "alone", file: html("alone"), figures: ["drive-steps", "rough-1"], luts: [["luts/fold.cube", 2]] },
  {
    name: "compare", file: html("compare"), figures: [...ON_PANEL, "balance-2", "rough-2", "nodes-off-2"],
    luts: [["luts/stair-steps.cube", 3], ["luts/good-17.cube", 4]],
  },
  { name: "fit", file: html("fit"), figures: [...ON_PANEL, "misses", "confidence"], luts: [[at("fitted.cube"), 3]] },
];
if (tour) {
  pages.push({
    name: "tour", file: join(tour, "tour.html"), figures: [...ON_PANEL, "balance-2"],
    luts: [[join(tour, "sparse.cube"), 3], [join(tour, "dense.cube"), 4]],
  });
}

// Nothing of the browser's own may reach for a network.
const QUIET = [
  "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
  "--disable-component-update", "--disable-sync",
];
const browser = await chromium.launchPersistentContext(at("profile"), {
  executablePath: "/usr/bin/chromium", args: QUIET, viewport: { width: 1280, height: 900 },
});

// The time between two flips below which the page refuses the second, and a little.
const PAUSE = 560;
// Node values travel as 16 bits; see crates/report/src/html/flip_data.rs. In 8-bit codes, over a table twice as wide as
// the signal, half a step is 255 · 2 / 65535 / 2 = 0.004.
const SIXTEEN_BITS = 0.004;

// What is drawn, in the words of the page: a choice is drawn within half a second, or later on a slow machine.
const drawn = (page, words) => page.waitForFunction(
  (all) => all.every((w) => document.getElementById("look-status").textContent.includes(w)), words, { timeout: 20000 });
// A key that comes too early is refused, so it is pressed again on a machine too busy to keep the time.
const view = async (page, key) => {
  for (let tries = 0; tries < 10; tries++) {
    await page.waitForTimeout(PAUSE);
    await page.locator("#look-frame").focus();
    await page.keyboard.press(String(key));
    if ((await page.locator("#look-status").textContent()).includes(`View ${key} `)) return;
  }
  check(false, `view ${key} is not shown: ${await page.locator("#look-status").textContent()}`);
};
// Keeps the pixels that are drawn now: pictures are a million numbers and stay in the page.
const keep = (page) => page.evaluate(() => {
  const canvas = document.getElementById("look-canvas");
  window.kept = canvas.getContext("2d").getImageData(0, 0, canvas.width, canvas.height).data;
});
// Each kept colour with the one that is drawn in its place now, or with null where there are two of them.
const pairs = (page) => page.evaluate(() => {
  const canvas = document.getElementById("look-canvas");
  const to = canvas.getContext("2d").getImageData(0, 0, canvas.width, canvas.height).data;
  const from = window.kept, code = (a, i) => a[i] | (a[i + 1] << 8) | (a[i + 2] << 16), found = new Map();
  for (let i = 0; i < from.length; i += 4) {
    const known = found.get(code(from, i));
    if (known === undefined) found.set(code(from, i), code(to, i));
    else if (known !== code(to, i)) found.set(code(from, i), null);
  }
  return [...found];
});
const channels = (code) => [code & 255, (code >> 8) & 255, code >> 16];

// The page whose every content and colour scheme is looked at is marked whole; of the others one that stands for the rest.
const CONTENTS = ["skin", "grey", "primaries", "dark", "sky"];

// Pixels through a LUT against the same colours through the Rust evaluation.
const pixels = async (page, name, cube, key, isWhole) => {
  await page.selectOption("#look-magnify", "0");
  await page.waitForFunction(() => !document.getElementById("look-status").textContent.includes("times about"));
  for (const content of isWhole ? CONTENTS : CONTENTS.slice(0, 1)) {
    await page.selectOption("#look-content", content);
    await drawn(page, [`: ${await page.locator("#look-content option:checked").textContent()}`]);
    await view(page, 1);
    await keep(page);
    await view(page, key);
    for (const how of ["trilinear", "tetrahedral"]) {
      await page.selectOption("#look-evaluation", how);
      await drawn(page, [`, ${how}:`]);
      const found = await pairs(page);
      check(found.length > 20, `${name}: ${content} has ${found.length} colours only`);
      check(found.every((p) => p[1] !== null), `${name}: ${content}, ${how}: one colour becomes two`);
      const points = at("points.csv");
      const signal = (code) => channels(code).map((v) => v / 255).join(",");
      writeFileSync(points, `r,g,b\n${found.map((p) => signal(p[0])).join("\n")}\n`);
      const wanted = run(cubeTool, "sample", cube, points, how).trim().split("\n");
      let worst = 0;
      found.forEach(([, shown], i) => {
        const codes = wanted[i].split(",").map((v) => Math.min(Math.max(255 * Number(v), 0), 255));
        channels(shown).forEach((v, c) => { worst = Math.max(worst, Math.abs(v - codes[c])); });
      });
      check(worst <= 0.5 + SIXTEEN_BITS, `${name}: ${content}, ${how}: off by ${worst} codes`);
    }
  }
};

const keyboard = async (page, name) => {
  await page.evaluate(() => { document.activeElement.blur(); window.scrollTo(0, 0); });
  const seen = new Set();
  for (let i = 0; i < 400; i++) {
    await page.keyboard.press("Tab");
    const id = await page.evaluate(() => {
      const e = document.activeElement;
      return e.id || e.closest("[data-figure]")?.id || e.tagName;
    });
    if (id === "BODY") break;
    seen.add(id);
  }
  const stops = ["look-content", "look-file", "look-evaluation", "look-magnify", "look-full", "look-frame"];
  const figures = await page.$$eval("[data-figure]", (all) => all.map((f) => f.id));
  for (const stop of [...stops, ...figures]) check(seen.has(stop), `${name}: Tab does not reach ${stop}`);

  const plot = page.locator(`#${figures[0]} .plot`);
  await plot.focus();
  await page.keyboard.press("End");
  const reading = await plot.locator(".reading").textContent();
  check(/\d/.test(reading), `${name}: the End key reads no value`);
  await page.keyboard.press("Escape");
  check(await plot.locator(".reading").isHidden(), `${name}: Escape leaves the value standing`);

  const status = () => page.locator("#look-status").textContent();
  await view(page, 1);
  const before = await status();
  await page.waitForTimeout(PAUSE);
  // Both in one go, so that a slow machine does not put the pause between them.
  await page.locator("#look-frame").evaluate((frame) => {
    for (let i = 0; i < 2; i++) frame.dispatchEvent(new KeyboardEvent("keydown", { key: " ", bubbles: true }));
  });
  const flipped = await status();
  check(flipped.includes("View 2"), `${name}: two flips at once: ${before} becomes ${flipped}`);
  await page.waitForTimeout(PAUSE);
  await page.locator("#look-frame").evaluate((frame) => {
    for (let i = 0; i < 2; i++) frame.dispatchEvent(new KeyboardEvent("keydown", { key: "m", bubbles: true }));
  });
  check((await status()).includes("what changed 4 times"), `${name}: two keys at once: ${await status()}`);
  await page.waitForTimeout(PAUSE);
  await page.locator("#look-frame").evaluate((frame) => {
    frame.dispatchEvent(new KeyboardEvent("keydown", { key: "m", bubbles: true, repeat: true }));
  });
  check((await status()).includes("what changed 4 times"), `${name}: a held key goes on: ${await status()}`);
  await page.keyboard.press("ArrowRight");
  check((await status()) !== flipped, `${name}: arrows do not change the content`);
  await page.locator("#look-full").focus();
  await page.keyboard.press("Enter");
  check(await page.locator("#look-dialog").isVisible(), `${name}: no cautions before the full screen`);
  await page.keyboard.press("Escape");
  check(await page.locator("#look-dialog").isHidden(), `${name}: Escape does not close the cautions`);
};

for (const { name, file, figures, luts, whole } of pages) {
  const page = await browser.newPage();
  const url = pathToFileURL(file).href;
  page.on("console", (m) => check(m.type() !== "error", `${name}: console: ${m.text()}`));
  page.on("pageerror", (e) => check(false, `${name}: ${e.message}`));
  page.on("request", (r) => check(r.url() === url, `${name}: asks for ${r.url()}`));
  await page.goto(url);
  const megabytes = statSync(file).size / 1e6;
  check(megabytes < 3, `${name}: ${megabytes.toFixed(2)} MB`);
  console.log(`${name}: ${megabytes.toFixed(2)} MB`);
  for (const id of figures) {
    const found = await page.evaluate((one) => {
      const figure = document.getElementById(one);
      if (!figure) return null;
      const spots = figure.querySelector(".plot").dataset.spots.split(",").length;
      return {
        drawn: figure.querySelectorAll("svg:not(.swatch) :is(polyline, circle, rect, polygon)").length,
        rows: figure.querySelectorAll("tbody tr").length, spots,
        alt: figure.querySelector("[role=img]").getAttribute("aria-label").length,
      };
    }, id);
    check(found && found.drawn > 3 && found.alt > 40, `${name}: ${id} is not drawn: ${JSON.stringify(found)}`);
    check(found && found.rows > 4 && found.rows === found.spots, `${name}: ${id} has no table: ${JSON.stringify(found)}`);
  }
  for (const scheme of whole ? ["light", "dark"] : ["light"]) {
    await page.emulateMedia({ colorScheme: scheme });
    await page.evaluate(axe);
    const { violations } = await page.evaluate(() => window.axe.run({ resultTypes: ["violations"] }));
    const grave = violations.filter((v) => ["serious", "critical"].includes(v.impact));
    const words = grave.map((v) => `${v.id} (${v.nodes[0].target})`).join("; ");
    check(grave.length === 0, `${name}, ${scheme}: accessibility: ${words}`);
  }
  if (whole) await keyboard(page, name);
  console.log(`${name}: looked at after ${Math.round(performance.now() / 1000)} s`);
  for (const [cube, key] of luts) await pixels(page, `${name} ${key}`, cube, key, whole);
  await page.close();
}
await browser.close();
rmSync(work, { recursive: true });
console.log(`pages: ${checks - failures.length} of ${checks} checks passed`);
process.exit(failures.length === 0 ? 0 : 1);
