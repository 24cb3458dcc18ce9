// SPDX-License-Identifier: MIT
// The page as a person uses it, in Chromium, on an invented campaign; its numbers against the command line's.
// Accessibility: axe-core's rules of WCAG 2.2 A and AA. The screenshots are kept to be looked at.
import assert from "node:assert/strict";
import { after, before, test } from "node:test";
import { readFileSync, renameSync, writeFileSync } from "node:fs";
import { join } from "node:path";
import { accessible, brightest, desktop, launch, narrow, noSidewaysScroll, open, phone, picture, settled } from "./browser.mjs";
import { Campaign, run } from "./campaign.mjs";

const views = ["tonight", "frame", "curve", "stars", "report"];
let browser, campaign, link;
const campaigns = [];
const rehearsed = (options) => {
    const one = new Campaign(options);
    campaigns.push(one);
    return one;
};

before(async () => {
    campaign = rehearsed(["--nights", "5", "--frames", "4", "--band", "B", "--band", "V", "--width", "420", "--height", "360", "--host-offset", "8", "--with-template"]);
    campaign.measure();
    link = await campaign.serve();
    browser = await launch();
});
after(async () => {
    await browser?.close();
    for (const one of campaigns) await one.remove();
});

const asked = async (path, from = link) => (await fetch(from + path)).json();
async function until(what, words, seconds = 20) {
    const end = Date.now() + 1000 * seconds;
    while (!(await what())) {
        if (Date.now() > end) assert.fail(`${words}: not within ${seconds} s`);
        await new Promise((resume) => setTimeout(resume, 100));
    }
}
async function takeBack(page, start) {
    await start();
    const dialog = page.getByRole("dialog");
    await dialog.waitFor();
    return dialog.getByRole("button", { name: "Take it back" });
}
const visit = (path, options = {}) => open(browser, link, { ...options, path });
async function finished(page) {
    const { asked, troubles } = page;
    await page.context().close();
    assert.deepEqual(troubles, []);
    for (const address of asked) assert.ok(address.startsWith(link) || /^(data|blob):/.test(address), `${address} lies outside`);
}
const typed = (text) => text.replaceAll("\u2212", "-").replaceAll(/[\u2009\u202f\u00a0]/g, " ");

test("the newest night is what is seen first, with the numbers of `nights`", async () => {
    const page = await visit("");
    const newest = campaign.json("nights").nights.at(-1);
    const night = campaign.json("nights").nights.filter((one) => one.night === newest.night);
    const words = typed(await page.locator("main").innerText());
    for (const value of night) {
        assert.ok(words.includes(value.mag.toFixed(3)), `${value.band} ${value.mag.toFixed(3)} in ${words.slice(0, 400)}`);
    }
    const v = night.find((value) => value.band === "V");
    assert.match(typed(await page.title()), new RegExp(v.mag.toFixed(3)));
    assert.equal(await page.locator("nav a[aria-current=page]").innerText(), "Tonight");
    await finished(page);
});

test("a night says how many more frames its goal takes, as `nights --frames --goal` does", async () => {
    const page = await visit("?view=tonight&goal=0.01");
    const told = JSON.parse(run(["nights", "--frames", "--goal", "0.01", "--json"], campaign.folder));
    const words = typed(await page.locator("main").innerText());
    for (const value of told.bands) {
        if (value.frames_to_goal > 0) assert.ok(words.includes(`${value.frames_to_goal} more frame`), words.slice(0, 600));
        if (value.goal_out_of_reach) assert.match(words, /no number of frames|out of reach|common/i);
    }
    await finished(page);
});

test("a frame is looked at: tiles, a star's profile and numbers, the residual at the transient", async () => {
    const page = await visit("?view=tonight");
    await page.locator("table a[href*='view=frame']").first().click();
    await page.waitForURL(/view=frame/);
    await settled(page);
    await page.waitForFunction(() => performance.getEntriesByType("resource").some((one) => one.name.includes("/tiles/")));
    const label = readFileSync(join(campaign.folder, "comparison.csv"), "utf8").split("\n").find((line) => /,check\s*$/.test(line)).split(",")[0];
    const url = new URL(page.url());
    url.searchParams.set("star", label);
    await page.goto(url.href);
    await settled(page);
    const id = url.searchParams.get("frame");
    const star = await (await fetch(`${link}api/frames/${id}/star?label=${label}`)).json();
    assert.equal(star.label, label);
    const words = typed(await page.locator("main").innerText());
    assert.ok(words.includes(star.mag.toFixed(3)), `${star.mag} in ${words.slice(0, 800)}`);
    const looked = campaign.json("look", (await (await fetch(`${link}api/frames/${id}`)).json()).frame, "--star", label);
    assert.ok(Math.abs(looked.mag - star.mag) < 5e-4);
    await picture(page, "frame-star-desktop-day");
    await finished(page);
});

test("a frame is compared with the template on the same sky, and the residual at the transient is shown", async () => {
    const { frames } = await asked("api/frames");
    const page = await visit(`?view=frame&frame=${frames.find((one) => one.band === "V").id}`);
    const seen = async () => (await page.locator(".view canvas").first().screenshot()).toString("base64");
    const alone = await seen();
    await page.getByRole("combobox", { name: "With the frame" }).selectOption({ value: "template-V" });
    await settled(page);
    await page.getByRole("button", { name: "Hold to compare" }).waitFor();
    await page.locator("h1").first().focus();
    await page.keyboard.down("b");
    await until(async () => (await seen()) !== alone, "the template is seen while the key is held");
    await picture(page, "frame-template-desktop-day");
    await page.keyboard.up("b");
    await until(async () => (await seen()) === alone, "the frame is seen again");
    await page.getByRole("button", { name: "Data, model, residual" }).click();
    const panel = page.getByRole("heading", { name: "Data, model and residual at the transient" });
    await panel.waitFor();
    await settled(page);
    for (const name of ["Data", "Model", "Residual"]) await page.getByText(name, { exact: true }).first().waitFor();
    await picture(page, "frame-host-desktop-day");
    await finished(page);
});

test("an interval is fitted with the number of `curve --rate`", async () => {
    const page = await visit("?view=curve&band=V");
    const nights = campaign.json("nights").nights.filter((one) => one.band === "V");
    const [from, to] = [nights[1].bjd_tdb - 0.5, nights.at(-1).bjd_tdb + 0.5];
    await page.getByLabel("From", { exact: true }).first().fill(from.toFixed(4));
    await page.getByLabel("To", { exact: true }).first().fill(to.toFixed(4));
    await page.getByRole("button", { name: "Measure", exact: true }).click();
    const table = page.getByRole("table", { name: "Rate of the interval" });
    await table.waitFor();
    const command = await page.locator(".command-line code").first().innerText();
    assert.match(command, /--rate/);
    const words = command.match(/'[^']*'|\S+/g).slice(1).map((word) => word.replaceAll("'", ""));
    const said = JSON.parse(run([...words, "--json", "--no-picture"], campaign.folder));
    const rate = said.bands.V.rates.find((one) => one.name === "asked");
    assert.equal(rate.n, 4);
    const shown = typed(await table.innerText());
    const [, value, error] = shown.match(/(-?\d\.\d+) ± (\d\.\d+)/);
    assert.ok(Math.abs(Number(value) - rate.mag_per_day.value) <= 0.5 * 10 ** -value.split(".")[1].length * 1.01, `${shown}: ${rate.mag_per_day.value}`);
    assert.ok(Math.abs(Number(error) - rate.mag_per_day.err) <= 0.5 * 10 ** -error.split(".")[1].length * 1.01, `${shown}: ${rate.mag_per_day.err}`);
    assert.match(page.url(), /from=/);
    await picture(page, "curve-interval-desktop-day");
    await finished(page);
});

test("a star is set aside after seeing what that changes, and the change is undone", async () => {
    const label = readFileSync(join(campaign.folder, "comparison.csv"), "utf8").split("\n").find((line) => /,comparison\s*$/.test(line)).split(",")[0];
    const page = await visit(`?view=stars&star=${label}`);
    const before = campaign.json("nights");
    await page.getByRole("button", { name: "What if it is set aside?" }).click();
    await page.getByRole("button", { name: "Set it aside" }).waitFor();
    await settled(page);
    assert.deepEqual(campaign.json("nights"), before, "a preview keeps nothing");
    const preview = await (await fetch(`${link}api/preview?action=exclude&kind=star&key=${label}`)).json();
    await picture(page, "stars-preview-desktop-day");
    await page.getByLabel("Reason").fill("it varies");
    await page.getByRole("button", { name: "Set it aside" }).click();
    await page.getByRole("button", { name: /^Undo/ }).waitFor();
    const aside = campaign.json("nights");
    assert.deepEqual(aside.set_aside.map(({ what, reason }) => [what, reason]), [[label, "it varies"]]);
    for (const night of preview.nights) {
        const now = aside.nights.find((one) => one.night === night.night && one.band === night.band);
        assert.ok(Math.abs(now.mag - night.after_mag) < 1e-9, "what was previewed is what came");
    }
    await (await takeBack(page, () => page.getByRole("button", { name: /^Undo/ }).click())).click();
    await page.getByRole("button", { name: /^Undo/ }).waitFor({ state: "hidden" });
    assert.deepEqual((await asked("api/nights")).exclusions, []);
    const back = campaign.json("nights");
    assert.deepEqual(back.nights.map((one) => one.mag), before.nights.map((one) => one.mag));
    await finished(page);
});

test("a report is looked at, written, downloaded, found valid, and taken back", async () => {
    const page = await visit("?view=report");
    const draft = campaign.json("report", "--dry-run");
    const shown = typed(await page.locator(".report-text").innerText());
    for (const line of draft.text.trim().split("\n").filter((one) => !one.startsWith("#"))) {
        assert.ok(shown.includes(typed(line).trim()), `${line} in ${shown}`);
    }
    await page.getByRole("button", { name: "Write the report" }).click();
    await page.getByRole("dialog").getByRole("button", { name: "Write and remember" }).click();
    const waiting = page.waitForEvent("download");
    await page.getByRole("link", { name: "Download it" }).click();
    const download = await waiting;
    const file = join(campaign.root, download.suggestedFilename());
    await download.saveAs(file);
    assert.match(run(["report", "--check", file], campaign.folder), /follows the rules of its format/);
    assert.equal(readFileSync(file, "utf8"), readFileSync(join(campaign.folder, "out", "report.txt"), "utf8"));
    assert.equal(campaign.json("report", "--dry-run").lines, 0);
    await page.getByRole("button", { name: "Take it back" }).click();
    await until(async () => (await asked("api/report?format=network")).new_lines === draft.lines, "what was reported is new again");
    await finished(page);
});

test("frames that land while it is looked at appear by themselves, whoever measures them", async () => {
    const own = rehearsed(["--nights", "1", "--frames", "4", "--width", "300", "--height", "300", "--no-host"]);
    const names = own.frames();
    const land = own.putAside(names.slice(2));
    own.measure();
    const address = await own.serve();
    const page = await open(browser, address);
    assert.match(typed(await page.locator("main").innerText()), /2 frames/);
    await page.evaluate(() => (globalThis.same = document.querySelector("main")));
    // By another program, in another terminal.
    land(names[2]);
    run(["measure", "--quiet"], own.folder);
    await page.waitForFunction(() => /\b3 frames/.test(document.querySelector("main").innerText), null, { timeout: 15000 });
    // By the page's own watch.
    await page.getByRole("button", { name: /^Watch/ }).click();
    await until(async () => (await asked("api/campaign", address)).watching.under_way, "the page watches");
    land(names[3]);
    await page.waitForFunction(() => /\b4 frames/.test(document.querySelector("main").innerText), null, { timeout: 20000 });
    assert.ok(await page.evaluate(() => globalThis.same === document.querySelector("main")), "the page was not loaded anew");
    await page.getByRole("button", { name: /^Stop/ }).click();
    await until(async () => !(await asked("api/campaign", address)).watching.under_way, "the page watches no more");
    await picture(page, "tonight-watched-desktop-day");
    await page.context().close();
});

test("a campaign without measurements says what to do; a page whose program ends says so, and goes on when it is back", async () => {
    const own = rehearsed(["--nights", "1", "--frames", "2", "--width", "300", "--height", "300", "--no-host"]);
    const address = await own.serve();
    const page = await open(browser, address);
    assert.match(await page.locator("main").innerText(), /Nothing is measured yet[\s\S]*emberline measure/);
    await accessible(page, "a campaign without measurements");
    await picture(page, "nothing-yet-desktop-day");
    own.measure();
    await page.waitForFunction(() => document.querySelector("main h3"), null, { timeout: 15000 });
    await own.stop();
    await page.waitForFunction(() => /emberline page/.test(document.body.innerText), null, { timeout: 15000 });
    await accessible(page, "a page whose program has ended");
    await picture(page, "gone-desktop-day");
    await own.serve(new URL(address).port);
    await page.waitForFunction(() => !/does not answer|has ended|is gone/i.test(document.body.innerText), null, { timeout: 20000 });
    // With the new start's key, which the page fetched itself, a change is let through.
    await page.getByRole("button", { name: /^Watch/ }).click();
    await until(async () => (await asked("api/campaign", address)).watching.under_way, "the page changes again");
    await page.context().close();
});

test("frames that are gone leave their marks and say what to do; the campaign's folder may go and come back", async () => {
    const { frames } = await (await fetch(`${link}api/frames`)).json();
    const path = join(campaign.folder, frames[0].frame);
    renameSync(path, `${path}.away`);
    const page = await visit(`?view=frame&frame=${frames[0].id}`);
    assert.match(await page.locator("main").innerText(), /gone|not there|cannot be|no such/i);
    await picture(page, "frame-gone-desktop-day");
    renameSync(`${path}.away`, path);
    renameSync(campaign.folder, `${campaign.folder}.away`);
    await page.goto(link);
    await page.waitForFunction(() => /folder is gone/.test(document.body.innerText));
    renameSync(`${campaign.folder}.away`, campaign.folder);
    await page.getByRole("button", { name: "Try again" }).first().click();
    await page.locator("main", { hasText: /more frame|is reached/ }).waitFor();
    await page.context().close();
});

test("by night everything that is seen is red on black", async () => {
    for (const view of views) {
        const page = await visit(`?view=${view}`, { theme: "night" });
        const most = await brightest(page);
        // The brightest tone of the night is #ff2a18; drawing smooths edges within it. How much green or blue an eye
        // at the telescope bears is common practice, no source.
        assert.ok(most.green <= 60 && most.blue <= 60, `${view}: green ${most.green}, blue ${most.blue}`);
        assert.ok(most.red > 120, `${view} can be read`);
        assert.equal(await page.evaluate(() => getComputedStyle(document.documentElement).backgroundColor.match(/\d+/g).slice(0, 3).map(Number).every((c) => c < 30)), true);
        await finished(page);
    }
    // Switched by hand, and remembered.
    const page = await visit("");
    assert.ok((await brightest(page)).green > 200);
    await page.getByRole("switch", { name: "Night red" }).click();
    assert.ok((await brightest(page)).green <= 60);
    await page.reload();
    await settled(page);
    assert.ok((await brightest(page)).green <= 60);
    await finished(page);
});

test("everything is done from the keyboard", async () => {
    const page = await visit("");
    for (const [key, name] of [["2", "frame"], ["3", "curve"], ["4", "stars"], ["5", "report"], ["1", "tonight"]]) {
        await page.keyboard.press(key);
        await page.waitForURL(new RegExp(`view=${name}`));
        await settled(page);
        assert.equal(await page.evaluate(() => document.activeElement?.tagName), "H1", "the heading of the view has the focus");
    }
    const night = () => page.locator("header .of-night").innerText();
    const newest = await night();
    await page.keyboard.press("p");
    await page.waitForFunction((before) => document.querySelector("header .of-night").innerText !== before, newest);
    await page.keyboard.press("n");
    await page.waitForFunction((before) => document.querySelector("header .of-night").innerText === before, newest);
    await page.keyboard.press("?");
    await page.getByRole("dialog").waitFor();
    await page.keyboard.press("Escape");
    await page.getByRole("dialog").waitFor({ state: "hidden" });
    // Whatever can be clicked can be reached, and is seen to be.
    await page.keyboard.press("4");
    await settled(page);
    const reached = new Set();
    for (let i = 0; i < 60; ++i) {
        await page.keyboard.press("Tab");
        const at = await page.evaluate(() => {
            const one = document.activeElement;
            const style = getComputedStyle(one);
            return { body: one === document.body, words: one.getAttribute("aria-label") || one.innerText?.trim() || one.tagName, seen: style.outlineStyle !== "none" || style.boxShadow !== "none" };
        });
        if (!at.body) assert.ok(at.seen, `the focus on “${at.words}” is seen`);
        reached.add(at.words);
    }
    for (const name of ["Skip to the view", "Night red"]) assert.ok(reached.has(name), `${name} is reached`);
    // A star set aside and undone without a mouse.
    const label = readFileSync(join(campaign.folder, "comparison.csv"), "utf8").split("\n").filter((line) => /,comparison\s*$/.test(line))[1].split(",")[0];
    await page.locator("a.star-link", { hasText: label }).first().focus();
    await page.keyboard.press("Enter");
    await page.waitForURL(/star=/);
    await page.getByRole("button", { name: "What if it is set aside?" }).focus();
    await page.keyboard.press("Enter");
    await page.getByLabel("Reason").focus();
    await page.keyboard.type("tried by keys");
    await page.keyboard.press("Enter");
    await page.getByRole("button", { name: /^Undo/ }).waitFor();
    await page.evaluate(() => document.activeElement.blur());
    assert.equal((await asked("api/nights")).exclusions[0].reason, "tried by keys");
    await takeBack(page, () => page.keyboard.press("u"));
    await page.keyboard.press("Enter");
    await page.getByRole("button", { name: /^Undo/ }).waitFor({ state: "hidden" });
    assert.deepEqual((await asked("api/nights")).exclusions, []);
    await finished(page);
});

test("the address is the state: a view opened anew is the same, and the way back goes back", async () => {
    const page = await visit("?view=curve&band=V&axis=days");
    await page.keyboard.press("4");
    await page.waitForURL(/view=stars/);
    await page.goBack();
    await page.waitForURL(/view=curve/);
    assert.match(page.url(), /axis=days/);
    await settled(page);
    const again = await visit(new URL(page.url()).search);
    const words = (one) => one.locator("main").innerText();
    assert.equal(await words(again), await words(page));
    await finished(page);
    await finished(again);
});

test("a policy that lets nothing from outside in is sent, and the page keeps to it", async () => {
    const context = await browser.newContext();
    const page = await context.newPage();
    const refused = [];
    page.on("console", (message) => /Content.Security.Policy/i.test(message.text()) && refused.push(message.text()));
    for (const view of views) {
        const answer = await page.goto(`${link}?view=${view}`);
        assert.match(answer.headers()["content-security-policy"], /default-src 'none'/);
        await settled(page);
    }
    assert.deepEqual(refused, []);
    await context.close();
});

for (const theme of ["day", "night"]) {
    const screens = [["desktop", desktop], ["phone", phone]];
    if (theme === "day") screens.push(["narrow", narrow]); // what is too wide is so by night as well
    for (const [name, size] of screens) {
        test(`every view is accessible and fits: ${theme}, ${name}`, async () => {
            for (const view of views) {
                const page = await visit(`?view=${view}`, { theme, size });
                await noSidewaysScroll(page, `${view}, ${theme}, ${name}`);
                if (name !== "narrow") {
                    await accessible(page, `${view}, ${theme}, ${name}`);
                    await picture(page, `${view}-${name}-${theme}`);
                }
                await finished(page);
            }
        });
    }
}

test("the first view comes in less than a second, and is small", async () => {
    const page = await visit("", { wait: false });
    await page.locator("main h3").first().waitFor();
    const first = await page.evaluate(() => performance.now());
    await settled(page);
    const kilobytes = page.bytes / 1000;
    console.log(`first view after ${first.toFixed(0)} ms, ${kilobytes.toFixed(0)} kB`);
    writeFileSync(join(process.env.EMBERLINE_SCREENSHOTS ?? ".", "first-view.txt"), `${first.toFixed(0)} ms, ${kilobytes.toFixed(0)} kB\n`);
    // Script and style come to about 80 kB as they travel; a charting library of the usual size would be a megabyte.
    assert.ok(kilobytes < 600, `${kilobytes} kB`);
    await finished(page);
});
