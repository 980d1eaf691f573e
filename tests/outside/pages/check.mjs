// Pages that the program wrote, in a browser (playwright-core drives a Chromium that is installed here), under an HTML
// checker (html-validate) and an accessibility checker (axe-core). Prints a line of JSON for each thing that was looked at.
//
//   node check.mjs CHROMIUM PLAN.json
//
// The plan names the pages, with the sheets of paper each must print on and the words it must show, and the folder of
// reference pictures; `update` writes those anew.
import { readFileSync, writeFileSync, existsSync } from "node:fs";
import { createRequire } from "node:module";
import { pathToFileURL } from "node:url";

const [executablePath, planFile, tools] = process.argv.slice(2);
// The tools lie where the test installed them, not beside this file.
const require = createRequire(tools + "/");
const { chromium } = require("playwright-core");
const { HtmlValidate } = require("html-validate");
const { PNG } = require("pngjs");
const pixelmatch = (await import(pathToFileURL(require.resolve("pixelmatch")))).default;
const axe = readFileSync(require.resolve("axe-core/axe.min.js"), "utf8");

const plan = JSON.parse(readFileSync(planFile, "utf8"));
const WIDTHS = [360, 800, 1400];
// A share of pixels may differ: glyphs are drawn a little otherwise from one version of a font to the next.
const TOLERANCE = 0.02;
// Of a plot alone, a curve is few pixels: one that moved must not pass as a matter of glyphs.
const PLOT_TOLERANCE = 0.003;

const say = (page, what, faults) => console.log(JSON.stringify({ page, what, faults }));

const checker = new HtmlValidate({
  extends: ["html-validate:recommended"],
  rules: {
    // Style sheets are inside the file by design, and a booklet names each test's sheet of paper on the element.
    "no-inline-style": "off",
    // A template writes void elements and entities as HTML does; both are no faults of HTML.
    "void-style": "off",
    // Long pages are one line a piece; white space at ends of lines says nothing to a reader.
    "no-trailing-whitespace": "off",
    "long-title": "off",
  },
});

const browser = await chromium.launch({
  executablePath,
  args: ["--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking", "--disable-component-update", "--disable-sync"],
});

/** Opens a page and keeps what it says on the console and asks of the network. */
async function open(file, options) {
  const context = await browser.newContext(options);
  const page = await context.newPage();
  const url = pathToFileURL(file).href;
  const faults = [];
  page.on("console", (message) => {
    if (["error", "warning"].includes(message.type())) faults.push(`console: ${message.text()}`);
  });
  page.on("pageerror", (error) => faults.push(`script: ${error}`));
  page.on("request", (request) => {
    if (request.url() !== url) faults.push(`request: ${request.url().slice(0, 120)}`);
  });
  await page.goto(url);
  return { context, page, faults };
}

async function compare(name, bytes, tolerance = TOLERANCE) {
  const path = name.startsWith("plots/") ? `${plan.plots}/${name.slice(6)}.png` : `${plan.references}/${name}.png`;
  if (plan.update || !existsSync(path)) {
    if (!plan.update) return [`no reference picture ${name}.png: look at it, then UPDATE_PICTURES=1`];
    writeFileSync(path, bytes);
    return [];
  }
  const [found, expected] = [PNG.sync.read(bytes), PNG.sync.read(readFileSync(path))];
  if (Math.abs(found.width - expected.width) > 2 || Math.abs(found.height - expected.height) > 24) {
    return [`${name}: ${found.width} by ${found.height}, the reference ${expected.width} by ${expected.height}`];
  }
  const [width, height] = [Math.min(found.width, expected.width), Math.min(found.height, expected.height)];
  const cut = (image) => {
    const part = new PNG({ width, height });
    PNG.bitblt(image, part, 0, 0, width, height, 0, 0);
    return part.data;
  };
  const unlike = pixelmatch(cut(found), cut(expected), undefined, width, height, { threshold: 0.25 });
  const share = unlike / (width * height);
  if (share <= tolerance) return [];
  writeFileSync(`${plan.shown}/${name.replace("/", "-")}.png`, bytes);
  return [`${name}: ${(100 * share).toFixed(1)} % of the picture is unlike its reference; it is kept in ${plan.shown}`];
}

for (const { name, file, sheets, words, picture } of plan.pages) {
  const html = readFileSync(file, "utf8");
  const report = await checker.validateString(html);
  say(name, "html-validate", report.results.flatMap((result) => result.messages.map((found) => `${found.ruleId} at line ${found.line}, column ${found.column}: ${found.message}`)).slice(0, 20));

  for (const width of WIDTHS) {
    const { context, page, faults } = await open(file, { viewport: { width, height: 900 } });
    const wide = await page.evaluate(() => document.documentElement.scrollWidth - document.documentElement.clientWidth);
    if (wide > 1) faults.push(`wider than the screen of ${width} px by ${wide} px`);
    say(name, `with script, ${width} px`, faults);
    if (width === 800) {
      await page.evaluate(axe);
      for (const colorScheme of ["light", "dark"]) {
        await page.emulateMedia({ colorScheme });
        const found = await page.evaluate(() => globalThis.axe.run(document, { resultTypes: ["violations"] }));
        say(name, `axe-core, ${colorScheme}`, found.violations.map((rule) => `${rule.id}: ${rule.help}: ${rule.nodes.slice(0, 3).map((node) => node.html.slice(0, 160)).join(" | ")}`));
      }
      say(name, "read-out and hiding", await alive(page));
    }
    if (picture?.includes(width)) {
      await page.emulateMedia({ colorScheme: "light" });
      await page.evaluate(() => document.activeElement?.blur());
      say(name, `picture, ${width} px`, await compare(`${name}-${width}`, await page.screenshot({ clip: { x: 0, y: 0, width, height: 900 }, fullPage: true })));
      const plots = await page.locator("figure[data-rows] svg").all();
      for (const [at, plot] of plots.entries()) {
        say(name, `plot ${at + 1}, ${width} px`, await compare(`plots/${name}-${at + 1}`, await plot.screenshot(), PLOT_TOLERANCE));
      }
    }
    await context.close();
  }

  const plain = await open(file, { viewport: { width: 800, height: 900 }, javaScriptEnabled: false });
  const text = (await plain.page.locator("body").innerText()).replace(/\s+/g, " ");
  say(name, "without script", [...plain.faults, ...words.filter((word) => !text.toLowerCase().includes(word.toLowerCase())).map((word) => `does not show "${word}"`)]);
  if (sheets) {
    for (const format of ["A4", "Letter"]) {
      const pdf = await plain.page.pdf({ format, path: `${plan.shown}/${name}-${format}.pdf` });
      const count = pdf.toString("latin1").match(/\/Type\s*\/Page(?![a-zA-Z])/g)?.length ?? 0;
      const [least, most] = Array.isArray(sheets) ? sheets : [sheets, sheets];
      say(name, `printed, ${format}`, count >= least && count <= most ? [] : [`${count} sheets of paper, expected ${least === most ? least : `${least} to ${most}`}`]);
    }
  }
  await plain.context.close();
}
await browser.close();

/** What script adds: the read-out at the cursor and by the keys, and boxes that hide pulls. */
async function alive(page) {
  const faults = [];
  const plots = page.locator("figure[data-rows]");
  if ((await plots.count()) > 0) {
    const plot = plots.first();
    await plot.scrollIntoViewIfNeeded();
    const box = await plot.locator("svg").boundingBox();
    await page.mouse.move(box.x + box.width / 2, box.y + box.height / 2);
    const readout = plot.locator(".readout");
    if (!/\d/.test(await readout.innerText())) faults.push("no read-out at the cursor");
    await page.mouse.move(1, 1);
    await plot.focus();
    await page.keyboard.press("ArrowRight");
    const first = await readout.innerText();
    await page.keyboard.press("ArrowRight");
    if (!/\d/.test(first) || first === (await readout.innerText())) faults.push("the arrow keys do not move the read-out");
    await page.keyboard.press("Escape");
    if (await readout.innerText()) faults.push("Escape leaves the read-out");
  }
  const boxes = page.locator(".pulls input");
  if ((await page.locator("[data-pull]").count()) > 0) {
    const pull = (await page.locator(".pulls label").first().innerText()).trim();
    await boxes.first().focus();
    await page.keyboard.press("Space");
    if (await page.locator(`[data-pull="${pull}"]`).first().isVisible()) faults.push(`${pull} is not hidden`);
    await page.keyboard.press("Space");
    if (!(await page.locator(`[data-pull="${pull}"]`).first().isVisible())) faults.push(`${pull} does not come back`);
  }
  return faults;
}
