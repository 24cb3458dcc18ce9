// SPDX-License-Identifier: MIT
// The picture, a second frame over it, and the marks: two canvases one upon the other, moved by hand and by keys.
import { h } from "../dom";
import { theme, tone } from "../theme";
import { pixelsOf, type FrameFacts, type Pixels } from "./answers";
import { after, apply, between, inverse, type Affine, type XY } from "./affine";
import { listen } from "./gestures";
import { mostTiles } from "./levels";
import { drawOverlay, type Chosen, type Tones } from "./overlay";
import { Picture } from "./picture";
import type { OverlayName } from "./state";
import { lookup, type Paint, type Stretch } from "./stretch";
import { kept, mostZoom, northUp, panned, toScreen, whole, zoomed, type Size, type Viewport } from "./viewport";

export interface StageEvents {
    moved: (view: Viewport, isWhole: boolean) => void;
    tapped: (x_px: number, y_px: number) => void;
    failed: (error: unknown) => void;
}
interface Shown {
    facts: FrameFacts;
    picture: Picture | null;
}

const keyStep = 60; // CSS pixels
const zoomStep = 1.4;

export class Stage {
    readonly root: HTMLElement;
    readonly area = h("div", {
        class: "frame-area",
        tabindex: 0,
        role: "application",
        "aria-roledescription": "picture",
        "aria-describedby": "frame-help",
    });
    readonly badge = h("p", { class: "frame-badge", hidden: true });
    private readonly base = h("canvas", { "aria-hidden": "true" });
    private readonly marks = h("canvas", { "aria-hidden": "true" });
    private readonly under = h("p", { class: "frame-under" });
    private readonly divider = h("div", { class: "frame-divider", hidden: true, "aria-hidden": "true" });
    private readonly watch: ResizeObserver;
    private readonly densityQuery = matchMedia("(resolution: 1dppx)");
    private frame: Shown | null = null;
    private other: Shown | null = null;
    private view: Viewport | null = null;
    private isWhole = true;
    private size: Size = { width: 0, height: 0 };
    private stretch: Stretch = { black: -1, white: 50, curve: "asinh" };
    private invert: boolean | null = null;
    private otherShare = 0; // of the picture's width, from the right, that shows the other frame
    private hidden: ReadonlySet<OverlayName> = new Set();
    private chosen: Chosen | null = null;
    private north = false;
    private asked = 0;
    private readonly tables = new Map<Pixels, { key: string; table: Uint32Array }>();

    constructor(private readonly events: StageEvents) {
        this.area.append(this.base, this.marks, this.divider, this.badge, this.under);
        this.root = h("div", { class: "frame-stage" }, this.area);
        listen(this.area, {
            pan: (right, down) => this.pan(right, down),
            zoom: (factor, at) => this.zoomBy(factor, at),
            tap: (at) => this.tap(at),
            hover: (at) => this.hover(at),
        });
        this.area.addEventListener("keydown", (event) => this.press(event));
        this.watch = new ResizeObserver(() => this.resize());
        this.watch.observe(this.area);
        this.densityQuery.addEventListener("change", () => this.draw());
    }

    close(): void {
        this.watch.disconnect();
        cancelAnimationFrame(this.asked);
        this.frame?.picture?.close();
        this.other?.picture?.close();
    }

    setFrame(facts: FrameFacts | null): void {
        if (facts && this.frame && sameFrame(facts, this.frame.facts)) {
            this.frame.facts = facts;
        } else {
            this.frame?.picture?.close();
            this.frame = facts ? this.shown(facts) : null;
            this.under.textContent = "";
        }
        this.tables.clear();
        this.draw();
    }

    setOther(facts: FrameFacts | null): void {
        if (facts && this.other && sameFrame(facts, this.other.facts)) return;
        this.other?.picture?.close();
        this.other = facts ? this.shown(facts) : null;
        this.tables.clear();
        this.draw();
    }

    // A part of the picture's width, from the right, shows the other frame: 0 none, 1 all.
    showOther(part: number, words: string): void {
        this.otherShare = part;
        this.badge.hidden = words === "";
        this.badge.textContent = words;
        this.draw();
    }

    setLooks(stretch: Stretch, invert: boolean | null, hidden: ReadonlySet<OverlayName>, chosen: Chosen | null): void {
        this.stretch = stretch;
        this.invert = invert;
        this.hidden = hidden;
        this.chosen = chosen;
        this.draw();
    }

    // Null: the whole frame.
    setView(centre: { x: number; y: number } | null, zoom: number | null, north: boolean): void {
        this.north = north;
        this.isWhole = centre === null && zoom === null;
        const all = this.wholeView();
        if (!all) {
            this.view = centre && zoom ? { ...centre, zoom, turn: 0 } : null;
            return;
        }
        this.view = { ...all, ...(centre ?? {}), ...(zoom ? { zoom } : {}) };
        this.draw();
    }

    current(): Viewport | null {
        return this.view;
    }

    showWhole(): void {
        this.view = this.wholeView();
        this.isWhole = true;
        this.tell();
    }

    zoomBy(factor: number, at: XY = [this.size.width / 2, this.size.height / 2]): void {
        const all = this.wholeView();
        if (!this.view || !all) return;
        this.move(zoomed(this.view, this.size, factor, at, Math.min(all.zoom, mostZoom)));
    }

    zoomTo(zoom: number): void {
        if (this.view) this.zoomBy(zoom / this.view.zoom);
    }

    centreOn(x: number, y: number): void {
        if (this.view) this.move({ ...this.view, x, y });
    }

    // A place that is not seen is brought into the middle.
    reveal(x: number, y: number): void {
        if (!this.view || !this.size.width) return;
        const [sx, sy] = apply(toScreen(this.view, this.size), [x, y]);
        const margin = 20;
        if (sx > margin && sy > margin && sx < this.size.width - margin && sy < this.size.height - margin) return;
        this.centreOn(x, y);
    }

    draw(): void {
        cancelAnimationFrame(this.asked);
        this.asked = requestAnimationFrame(() => this.paint());
    }

    private shown(facts: FrameFacts): Shown {
        const pixels = pixelsOf(facts);
        return { facts, picture: pixels && new Picture(pixels, () => this.draw(), this.events.failed) };
    }

    private extent(): { width_px: number; height_px: number } | null {
        const facts = this.frame?.facts;
        if (!facts) return null;
        if (facts.width_px && facts.height_px) return { width_px: facts.width_px, height_px: facts.height_px };
        // Without pixels the marks say how large the frame must have been.
        const places = [...facts.stars, ...(facts.transient ? [facts.transient] : [])];
        const most = (values: number[]) => Math.max(1, ...values) * 1.05;
        return { width_px: most(places.map((place) => place.x_px)), height_px: most(places.map((place) => place.y_px)) };
    }

    private turn(): number {
        return this.north ? northUp(this.frame?.facts.px_per_arcsec ?? null) : 0;
    }

    private wholeView(): Viewport | null {
        const extent = this.extent();
        if (!extent || !this.size.width) return null;
        return whole(extent.width_px, extent.height_px, this.turn(), this.size);
    }

    private move(view: Viewport): void {
        const extent = this.extent();
        if (!extent) return;
        this.view = kept(view, extent.width_px, extent.height_px, this.size);
        this.isWhole = false;
        this.tell();
    }

    private tell(): void {
        this.draw();
        if (this.view) this.events.moved(this.view, this.isWhole);
    }

    private pan(right: number, down: number): void {
        if (this.view) this.move(panned(this.view, this.size, right, down));
    }

    private place(at: XY): XY | null {
        return this.view ? apply(inverse(toScreen(this.view, this.size)), at) : null;
    }

    private tap(at: XY): void {
        this.area.focus({ preventScroll: true });
        const place = this.place(at);
        const extent = this.extent();
        if (!place || !extent || !this.frame?.picture) return;
        if (place[0] < -0.5 || place[1] < -0.5 || place[0] > extent.width_px - 0.5 || place[1] > extent.height_px - 0.5) return;
        this.events.tapped(place[0], place[1]);
    }

    private hover(at: XY | null): void {
        const place = at && this.place(at);
        this.under.textContent = place ? `x ${place[0].toFixed(1)}  y ${place[1].toFixed(1)} px` : "";
    }

    private press(event: KeyboardEvent): void {
        if (event.target !== this.area || event.ctrlKey || event.metaKey || event.altKey) return;
        const step = event.shiftKey ? keyStep * 4 : keyStep;
        const act: Record<string, () => void> = {
            ArrowLeft: () => this.pan(step, 0),
            ArrowRight: () => this.pan(-step, 0),
            ArrowUp: () => this.pan(0, step),
            ArrowDown: () => this.pan(0, -step),
            "+": () => this.zoomBy(zoomStep),
            "=": () => this.zoomBy(zoomStep),
            "-": () => this.zoomBy(1 / zoomStep),
            "0": () => this.showWhole(),
            Enter: () => this.tap([this.size.width / 2, this.size.height / 2]),
        };
        const found = act[event.key];
        if (!found) return;
        event.preventDefault();
        found();
    }

    private resize(): void {
        this.size = { width: this.area.clientWidth, height: this.area.clientHeight };
        const all = this.wholeView();
        if (all && (this.isWhole || !this.view)) this.view = all;
        else if (all && this.view) this.view = { ...this.view, turn: all.turn };
        this.paint();
    }

    private table(pixels: Pixels, paint: Paint): Uint32Array {
        const key = `${this.stretch.black} ${this.stretch.white} ${this.stretch.curve} ${paint.inverted} ${paint.red}`;
        const known = this.tables.get(pixels);
        if (known?.key === key) return known.table;
        const table = lookup(pixels.encoding, this.stretch, paint);
        this.tables.set(pixels, { key, table });
        return table;
    }

    private paint(): void {
        const { width, height } = this.size;
        if (!width || !height) return;
        const density = Math.min(window.devicePixelRatio || 1, 3);
        for (const canvas of [this.base, this.marks]) fitCanvas(canvas, this.size, density);
        const base = this.base.getContext("2d")!;
        base.setTransform(1, 0, 0, 1, 0, 0);
        base.clearRect(0, 0, this.base.width, this.base.height);
        const marks = this.marks.getContext("2d")!;
        marks.setTransform(density, 0, 0, density, 0, 0);
        marks.clearRect(0, 0, width, height);
        if (!this.frame) return;
        this.view ??= this.wholeView();
        if (!this.view) return;
        this.view.turn = this.turn();
        const map = toScreen(this.view, this.size);
        const red = theme() === "night";
        const paint = { inverted: this.invert ?? !red, red };
        const { picture, facts } = this.frame;
        if (picture) picture.draw(base, map, this.size, density, this.table(picture.pixels, paint), this.mostTiles());
        this.paintOther(base, map, density, paint);
        drawOverlay({ context: marks, map, size: this.size, tones: tonesOn(paint) }, facts, (name) => !this.hidden.has(name), this.chosen);
        this.area.dataset["zoom"] = this.view.zoom.toFixed(4);
    }

    // Two frames share what one may take.
    private mostTiles(): number {
        return this.other?.picture ? mostTiles / 2 : mostTiles;
    }

    // Its tiles are asked for while it is hidden too, so that it is there when it is wanted.
    private paintOther(base: CanvasRenderingContext2D, map: Affine, density: number, paint: Paint): void {
        this.divider.hidden = true;
        if (!this.other?.picture || !this.frame) return;
        const onto = between(this.other.facts, this.frame.facts);
        if (!onto) return;
        const { width, height } = this.size;
        const from = width * (1 - this.otherShare);
        base.save();
        base.setTransform(density, 0, 0, density, 0, 0);
        base.beginPath();
        base.rect(from, 0, width - from, height);
        base.clip();
        base.clearRect(from, 0, width - from, height);
        this.other.picture.draw(base, after(map, onto), this.size, density, this.table(this.other.picture.pixels, paint), this.mostTiles());
        base.restore();
        if (this.otherShare > 0 && this.otherShare < 1) {
            this.divider.hidden = false;
            this.divider.style.left = `${from}px`;
        }
    }
}

// Light marks on a dark sky, dark marks on a light one.
function tonesOn({ inverted, red }: Paint): Tones {
    if (red && inverted) return { ground: tone("ink"), ink: "#000000", ember: "#000000", slate: "#000000" };
    if (!red && !inverted) return { ground: tone("ink"), ink: tone("paper"), ember: tone("ember-on-dark"), slate: tone("slate-on-dark") };
    return { ground: tone("paper"), ink: tone("ink"), ember: tone("ember"), slate: tone(red ? "faint" : "slate") };
}

function sameFrame(a: FrameFacts, b: FrameFacts): boolean {
    return a.id === b.id && a.version === b.version;
}

function fitCanvas(canvas: HTMLCanvasElement, size: Size, density: number): void {
    const width = Math.round(size.width * density);
    const height = Math.round(size.height * density);
    if (canvas.width === width && canvas.height === height) return;
    canvas.width = width;
    canvas.height = height;
}
