// SPDX-License-Identifier: MIT
// Chromium without a window, the page in it, and what is asked of every page.
import assert from "node:assert/strict";
import { createRequire } from "node:module";
import { existsSync, mkdirSync, readFileSync } from "node:fs";
import { join } from "node:path";
import { chromium } from "playwright-core";

const executablePath = process.env.EMBERLINE_CHROMIUM ?? "/usr/bin/chromium";
if (!existsSync(executablePath)) throw new Error(`${executablePath} is not there: install Debian's chromium, or name another in EMBERLINE_CHROMIUM.`);
const axe = readFileSync(createRequire(import.meta.url).resolve("axe-core/axe.min.js"), "utf8");
const pictures = process.env.EMBERLINE_SCREENSHOTS ?? "screenshots";
mkdirSync(pictures, { recursive: true });

export const desktop = { width: 1280, height: 900 };
export const phone = { width: 390, height: 844 };
export const narrow = { width: 360, height: 740 };

export const launch = () => chromium.launch({ executablePath, args: ["--no-sandbox", "--disable-dev-shm-usage"] });

// A page of its own, that notes what it asks for and what goes wrong in it.
export async function open(browser, link, { size = desktop, theme = "day", path = "", wait = true } = {}) {
    const context = await browser.newContext({
        viewport: size,
        colorScheme: theme === "night" ? "dark" : "light",
        acceptDownloads: true,
        hasTouch: size.width < 500,
        reducedMotion: "reduce",
        bypassCSP: true, // for axe-core alone: the policy itself is tested on its own
    });
    const page = await context.newPage();
    page.asked = [];
    page.bytes = 0;
    page.troubles = [];
    page.on("request", (request) => page.asked.push(request.url()));
    page.on("response", async (response) => {
        const sizes = await response.request().sizes().catch(() => null);
        if (sizes) page.bytes += sizes.responseBodySize + sizes.responseHeadersSize;
    });
    page.on("pageerror", (error) => page.troubles.push(String(error)));
    page.on("console", (message) => message.type() === "error" && page.troubles.push(message.text()));
    await page.goto(link + path);
    if (wait) await settled(page);
    return page;
}

// Nothing is being read, and what was read is drawn.
export async function settled(page) {
    await page.waitForFunction(() => !document.querySelector("[aria-busy=true], .loading") && document.querySelector("main")?.childElementCount > 0, null, { timeout: 20000 });
    await page.evaluate(() => new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(done))));
}

export async function accessible(page, name) {
    await page.evaluate(axe);
    const found = await page.evaluate(() => axe.run(document, { runOnly: ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"] }));
    const said = found.violations.map((one) => `${one.id}: ${one.help}\n  ${one.nodes.map((node) => `${node.target}  ${node.failureSummary ?? ""}`).join("\n  ")}`);
    assert.equal(said.join("\n"), "", `axe-core on ${name}`);
}

export async function noSidewaysScroll(page, name) {
    const [inside, outside] = await page.evaluate(() => [document.documentElement.scrollWidth, document.documentElement.clientWidth]);
    assert.ok(inside <= outside, `${name} is ${inside} px wide on a screen of ${outside} px`);
}

export const picture = (page, name, fullPage = true) => page.screenshot({ path: join(pictures, `${name}.png`), fullPage, animations: "disabled" });

// Of all that is seen: how bright the brightest green or blue of a pixel is, and its red, 0 to 255.
export async function brightest(page) {
    const png = (await page.screenshot({ animations: "disabled" })).toString("base64");
    return page.evaluate(async (data) => {
        const image = new Image();
        image.src = `data:image/png;base64,${data}`;
        await image.decode();
        const canvas = new OffscreenCanvas(image.width, image.height);
        const paint = canvas.getContext("2d");
        paint.drawImage(image, 0, 0);
        const { data: pixels } = paint.getImageData(0, 0, image.width, image.height);
        const most = { red: 0, green: 0, blue: 0 };
        for (let i = 0; i < pixels.length; i += 4) {
            most.red = Math.max(most.red, pixels[i]);
            most.green = Math.max(most.green, pixels[i + 1]);
            most.blue = Math.max(most.blue, pixels[i + 2]);
        }
        return most;
    }, png);
}
