// SPDX-License-Identifier: MIT
// How long a person waits and how many bytes come, in Chromium: nothing is asserted.
//   EMBERLINE_PROGRAM=… node figures.mjs [FOLDER of a measured campaign]
// Without a folder the first view is that of a small campaign; emberline_page_bench 1000 100 FOLDER makes one with
// 100 000 measurements. Then one frame of 26 megapixels, rehearsed here.
import { launch, open, phone, settled } from "./browser.mjs";
import { Campaign } from "./campaign.mjs";

// The live events never end: it is quiet when no tile was asked for in a while.
async function quiet(page) {
    for (let before = -1, same = 0; same < 6; await page.waitForTimeout(100)) {
        same = page.asked.length === before ? same + 1 : 0;
        before = page.asked.length;
    }
}

async function firstViews(browser, link, name) {
    for (let run = 0; run < 5; ++run) {
        const page = await open(browser, link, { wait: false });
        await page.locator("main .card h3").first().waitFor();
        const number_ms = await page.evaluate(() => performance.now());
        await settled(page);
        const all_ms = await page.evaluate(() => performance.now());
        await page.waitForTimeout(200);
        const first = await page.evaluate(() => performance.getEntriesByName("first-contentful-paint")[0]?.startTime ?? NaN);
        console.log(`${name}: first paint ${first.toFixed(0)} ms, the number ${number_ms.toFixed(0)} ms, all of it ${all_ms.toFixed(0)} ms, ${(page.bytes / 1000).toFixed(0)} kB`);
        await page.context().close();
    }
}

async function largeFrame(browser, link, size, name) {
    const { frames } = await (await fetch(`${link}api/frames`)).json();
    const page = await open(browser, link, { path: `?view=frame&frame=${frames[0].id}`, wait: false, ...(size ? { size } : {}) });
    const tiles = () => page.asked.filter((one) => one.includes("/tiles/")).length;
    await page.waitForResponse((response) => response.url().includes("/tiles/"));
    const first_ms = await page.evaluate(() => performance.now());
    await quiet(page);
    const all_ms = await page.evaluate(() => Math.max(...performance.getEntriesByType("resource").map((one) => one.responseEnd)));
    const whole = { tiles: tiles(), bytes: page.bytes };
    console.log(`${name}, whole: first tile ${first_ms.toFixed(0)} ms, all tiles ${all_ms.toFixed(0)} ms; ${whole.tiles} tiles, ${(whole.bytes / 1000).toFixed(0)} kB with the page`);
    await page.getByRole("button", { name: "Pixel for pixel" }).click();
    await quiet(page);
    console.log(`${name}, pixel for pixel: ${tiles() - whole.tiles} tiles more, ${((page.bytes - whole.bytes) / 1000).toFixed(0)} kB more`);
    await page.context().close();
}

const browser = await launch();
const small = new Campaign(["--nights", "1", "--frames", "1", "--width", "6248", "--height", "4176", "--no-host"]);
try {
    const folder = process.argv[2];
    const many = Object.assign(Object.create(Campaign.prototype), { folder });
    if (folder) {
        await firstViews(browser, await many.serve(), folder);
        await many.stop();
    }
    small.measure();
    const link = await small.serve();
    if (!folder) await firstViews(browser, link, "one frame");
    await largeFrame(browser, link, null, "26 megapixels, desktop");
    await largeFrame(browser, link, phone, "26 megapixels, phone");
} finally {
    await browser.close();
    await small.remove();
}
