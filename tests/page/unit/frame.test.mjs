// SPDX-License-Identifier: MIT
// The frame view's plain functions: `node --test tests/page/unit` (after `npm ci` in src/page/site, or with
// EMBERLINE_SITE naming the folder where that was done). Values are worked out by hand beside each check.
import assert from "node:assert/strict";
import { createRequire } from "node:module";
import { dirname, join, resolve } from "node:path";
import { test } from "node:test";
import { fileURLToPath } from "node:url";

const own = resolve(dirname(fileURLToPath(import.meta.url)), "../../../src/page/site");
const site = process.env.EMBERLINE_SITE ?? own;
const esbuild = createRequire(createRequire(join(site, "package.json")).resolve("vite"))("esbuild");

async function load(name) {
    const built = await esbuild.build({ entryPoints: [join(own, "src/frame", `${name}.ts`)], bundle: true, format: "esm", write: false });
    return import(`data:text/javascript;base64,${Buffer.from(built.outputFiles[0].contents).toString("base64")}`);
}

const affine = await load("affine");
const viewport = await load("viewport");
const levels = await load("levels");
const stretch = await load("stretch");
const bars = await load("scale_bar");
const labels = await load("labels");
const state = await load("state");
const words = await load("../words");

const close = (a, b, within = 1e-9) => assert.ok(Math.abs(a - b) <= within, `${a} is not ${b}`);
const closeXY = (a, b, within) => a.forEach((value, i) => close(value, b[i], within));

// Reduced levels as API.md has them.
function pyramid(width, height) {
    const all = [];
    for (let level = 0; ; ++level) {
        const width_px = Math.ceil(width / 2 ** level);
        const height_px = Math.ceil(height / 2 ** level);
        all.push({ level, width_px, height_px, columns: Math.ceil(width_px / 256), rows: Math.ceil(height_px / 256) });
        if (width_px <= 256 && height_px <= 256) return all;
    }
}

test("a map and its inverse, one after the other, change nothing", () => {
    const map = [1.2, -0.4, 0.3, 0.9, 12, -7];
    closeXY(affine.apply(affine.after(map, affine.inverse(map)), [31, 47]), [31, 47]);
    assert.throws(() => affine.inverse([1, 2, 2, 4, 0, 0]), RangeError);
});

test("the sky stays still between a frame and one taken after the meridian, at another scale", () => {
    const before = { transient: { x_px: 500, y_px: 400 }, px_per_arcsec: [-0.5, 0, 0, 0.5] };
    const behind = { transient: { x_px: 310, y_px: 620 }, px_per_arcsec: [1, 0, 0, -1] };
    const map = affine.between(behind, before);
    closeXY(affine.apply(map, [310, 620]), [500, 400]);
    // 20 arcsec east and 10 north: (330, 610) behind, (490, 405) before.
    closeXY(affine.apply(map, [330, 610]), [490, 405]);
    assert.equal(affine.between(behind, { transient: null, px_per_arcsec: [1, 0, 0, 1] }), null);
    assert.equal(affine.between({ transient: { x_px: 0, y_px: 0 }, px_per_arcsec: [1, 1, 1, 1] }, before), null);
});

test("y runs upwards, and the middle is in the middle", () => {
    const size = { width: 800, height: 600 };
    const map = viewport.toScreen({ x: 100, y: 50, zoom: 2, turn: 0 }, size);
    closeXY(affine.apply(map, [100, 50]), [400, 300]);
    closeXY(affine.apply(map, [101, 50]), [402, 300]);
    closeXY(affine.apply(map, [100, 51]), [400, 298]);
});

test("north goes up by turning", () => {
    const size = { width: 800, height: 600 };
    for (const degrees of [0, 33, 90, 180, 271]) {
        const angle = (degrees * Math.PI) / 180;
        // North at `angle` from +x, east a quarter turn further.
        const matrix = [-Math.sin(angle), Math.cos(angle), Math.cos(angle), Math.sin(angle)];
        const map = viewport.toScreen({ x: 0, y: 0, zoom: 1, turn: viewport.northUp(matrix) }, size);
        closeXY(affine.apply(map, [matrix[1], matrix[3]]), [400, 299], 1e-9);
        closeXY(affine.apply(map, [matrix[0], matrix[2]]), [399, 300], 1e-9);
    }
});

test("a zoom keeps what is under the pointer; a drag takes it along; the frame is not left", () => {
    const size = { width: 640, height: 480 };
    const view = { x: 300, y: 200, zoom: 0.5, turn: 0.4 };
    const at = [100, 77];
    const held = affine.apply(affine.inverse(viewport.toScreen(view, size)), at);
    const next = viewport.zoomed(view, size, 3, at, 0.1);
    assert.equal(next.zoom, 1.5);
    closeXY(affine.apply(viewport.toScreen(next, size), held), at);
    const moved = viewport.panned(view, size, 15, -8);
    closeXY(affine.apply(viewport.toScreen(moved, size), held), [115, 69]);
    const back = viewport.kept({ x: -900, y: 1e6, zoom: 99, turn: 0 }, 1000, 500, size);
    assert.deepEqual(back, { x: -0.5, y: 499.5, zoom: 16, turn: 0 });
    close(viewport.wholeZoom(1000, 500, 0, size), 0.64);
    close(viewport.wholeZoom(1000, 500, Math.PI / 2, size), 0.48);
});

test("the level follows the zoom, its tiles what is seen, and no view takes more than two megabytes", () => {
    const all = pyramid(6248, 4176); // 26 megapixels
    assert.equal(all.length, 6);
    const box = (map, size) => viewport.seen(map, size);
    for (const size of [{ width: 390, height: 420 }, { width: 900, height: 650 }, { width: 2500, height: 1400 }]) {
        for (const density of [1, 2, 3]) {
            for (let zoom = viewport.wholeZoom(6248, 4176, 0, size); zoom <= 16; zoom *= 1.3) {
                const view = { x: 3124, y: 2088, zoom, turn: 0.5 };
                const block = levels.chosen(all, 256, zoom * density, box(viewport.toScreen(view, size), size));
                assert.ok(block.columns * block.rows <= levels.mostTiles);
                assert.ok(block.columns * block.rows * (65536 + 1100) < 2.1e6);
            }
        }
    }
    const near = { left: 600, right: 900, bottom: 250, top: 500 };
    assert.deepEqual(levels.chosen(all, 256, 1, near), { level: 0, column: 2, row: 0, columns: 2, rows: 2 });
    assert.equal(levels.chosen(all, 256, 0.25, near).level, 2);
    // Outside: the tile at the edge, never one that is not there.
    assert.deepEqual(levels.tilesOf(all[0], 256, { left: -900, right: -300, bottom: 9e4, top: 9e5 }), { level: 0, column: 0, row: 16, columns: 1, rows: 1 });
});

test("the lookup: black is black, white white, no pixel transparent, the night red alone", () => {
    const encoding = { sky_adu: 1000, noise_adu: 10, low: -3, step: 0.05 };
    const linear = { black: 0, white: 10, curve: "linear" };
    const day = stretch.lookup(encoding, linear, { inverted: true, red: false });
    const night = stretch.lookup(encoding, linear, { inverted: false, red: true });
    assert.equal(day[0], 0);
    assert.equal(day[60], 0xffffffff); // sinh(0): the sky, black turned round
    assert.equal(day[255], 0xff000000);
    assert.equal(night[255], 0xff0000ff);
    for (let grey = 1; grey < 256; ++grey) assert.equal(night[grey] & 0x00ffff00, 0);
    for (let grey = 2; grey < 256; ++grey) assert.ok((night[grey] & 255) >= (night[grey - 1] & 255));
    close(stretch.share(5, linear), 0.5);
    // asinh(5) / asinh(100) = 2.31244 / 5.29834
    close(stretch.share(5, { black: 0, white: 100, curve: "asinh" }), 0.436446, 1e-5);
    const auto = stretch.automatic({ encoding, suggested: { black_adu: 985, white_adu: 1400 } });
    assert.deepEqual(auto, { black: -1.5, white: 40, curve: "asinh" });
});

test("the scale bar has a round length that fits", () => {
    assert.deepEqual(bars.scaleBar(1, 160), { arcsec: 120, length: 120, words: "2 arcmin" });
    assert.equal(bars.scaleBar(16, 160).words, "10 arcsec");
    assert.equal(bars.scaleBar(0.01, 160).words, "2 deg");
    assert.equal(bars.scaleBar(5000, 160), null);
});

test("labels do not cover one another, nor a mark, nor the edge", () => {
    const wanted = [];
    for (let i = 0; i < 40; ++i) wanted.push({ x: 40 + ((i * 97) % 320), y: 30 + ((i * 61) % 240), reach: 9, width: 30, height: 14 });
    const put = labels.placed(wanted, 400, 300);
    const rects = put.flatMap((at, i) => (at ? [{ ...at, right: at.left + wanted[i].width, bottom: at.top + wanted[i].height, i }] : []));
    assert.ok(rects.length >= 20, `${rects.length} of 40`);
    const meet = (a, b) => a.left < b.right && b.left < a.right && a.top < b.bottom && b.top < a.bottom;
    rects.forEach((a, k) => {
        assert.ok(a.left >= 0 && a.top >= 0 && a.right <= 400 && a.bottom <= 300);
        rects.slice(k + 1).forEach((b) => assert.ok(!meet(a, b)));
        wanted.forEach((w, i) => assert.ok(i === a.i || !meet(a, { left: w.x - 9, right: w.x + 9, top: w.y - 9, bottom: w.y + 9 })));
    });
    assert.deepEqual(labels.placed([{ x: 5, y: 5, reach: 9, width: 900, height: 14 }], 400, 300), [null]);
});

test("the address is read back, and nonsense in it is left out", () => {
    const read = state.parse({ frame: "abc-0", x: "12.5", y: "7", zoom: "2", star: "126", hide: "labels,nonsense", blink: "wipe", wipe: "7", invert: "0" });
    assert.deepEqual(read.centre, { x: 12.5, y: 7 });
    assert.equal(read.wipe, 1);
    assert.equal(read.invert, false);
    assert.deepEqual([...read.hidden], ["labels"]);
    assert.equal(state.parse({ zoom: "-3", x: "1", y: "east", blink: "strobe" }).zoom, null);
    assert.equal(state.parse({ blink: "strobe" }).blink, "still");
    assert.deepEqual(state.placeOf("12.25,-3"), { x_px: 12.25, y_px: -3 });
    assert.equal(state.placeOf("131b"), null);
    assert.equal(state.hideWith(new Set(["labels"]), "labels", true), null);
    assert.equal(state.hideWith(new Set(["labels"]), "check", false), "check,labels");
});

test("a frame's name is one word of a shell, whatever is in it", () => {
    // POSIX shell (IEEE Std 1003.1-2017, XCU 2.2.2): nothing is special between single quotes.
    assert.equal(words.shellWord("frames/2024-03-14/V_001.fits"), "frames/2024-03-14/V_001.fits");
    assert.equal(words.shellWord("my frames/a.fits"), "'my frames/a.fits'");
    assert.equal(words.shellWord("o'clock.fits"), "'o'\\''clock.fits'");
});
