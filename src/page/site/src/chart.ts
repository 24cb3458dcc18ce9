// SPDX-License-Identifier: MIT
// A chart that everybody can use: panels that share their x, points with errors, limits, lines with bands; zoomed by
// drag, by two fingers and by keys; read point by point; told as a table; saved as a picture.
import "uplot/dist/uPlot.min.css";
import "./chart.css";
import uPlot from "uplot";
import { h } from "./dom";
import { onTheme } from "./theme";
import { fillTable } from "./chart/data_table";
import { nearest, step, type Found, type Way } from "./chart/find_point";
import { listen } from "./chart/gestures";
import { Interval, type IntervalOptions } from "./chart/interval";
import { extent, type ChartData, type Range } from "./chart/marks";
import { xOn, yOn } from "./chart/paint";
import { pictureOf } from "./chart/picture";
import { fit, makePlot, placeOf, plotHeight, type PlotOptions } from "./chart/plot";

export type { ChartData, Level, LineSeries, Mark, Panel, Point, PointSeries, Range } from "./chart/marks";
export type { XAxis, XKind } from "./chart/time_axis";
export { civil, civilDay, typedJd } from "./chart/time_axis";
export { pointSign } from "./chart/shapes";

export interface ChartOptions {
    label: string; // what the chart is, for its name and its table: "Magnitude against time"
    fileName: string; // of the saved picture, without its ending
    title?: () => string; // of the saved picture; the label where it is not given
    empty?: string; // said where there is no point
    onPoint?: (link: string) => void; // Enter on a point with a link, or the button that a click on it brings
    openWords?: string; // of that button: "Open its night"
    onZoom?: (range: Range | null) => void; // null: all is shown
    folded?: boolean; // a small chart among others: its tools are folded away with its keys
    interval?: Omit<IntervalOptions, "words"> & { words?: (x: number) => string };
}

// const chart = new Chart(place, { label: "…", fileName: "…" }); chart.set({ x: {…}, panels: [{…}] });
export class Chart {
    readonly root: HTMLElement;
    readonly #plots = h("div", { class: "chart-plots", tabindex: 0, role: "application", "aria-roledescription": "chart" });
    readonly #area = h("div", { class: "chart-area" });
    readonly #ring = h("div", { class: "chart-ring", hidden: true });
    readonly #readout = h("output", { class: "chart-readout" });
    readonly #open = h("button", { type: "button", hidden: true, onclick: () => this.#follow() });
    readonly #table = h("div", { class: "chart-table", hidden: true });
    readonly #empty = h("p", { class: "chart-empty", hidden: true });
    readonly #interval: Interval | null;
    readonly #buttons: Record<"pick" | "all" | "table", HTMLButtonElement>;
    readonly #watch: ResizeObserver;
    readonly #forget: () => void;
    #data: ChartData = { x: { kind: "plain", label: "" }, panels: [] };
    #drawn: { plot: uPlot; options: PlotOptions }[] = [];
    #view: Range | null = null;
    #found: Found | null = null; // what is read now
    #held: Found | null = null; // clicked on, or reached by keys: stays when the pointer goes
    #picking = false;
    #width = 0;

    constructor(
        host: HTMLElement,
        private readonly options: ChartOptions,
    ) {
        const words = options.interval?.words ?? ((x: number) => x.toFixed(3));
        this.#interval = options.interval ? new Interval({ ...options.interval, words }, (x) => this.#xAt(x)) : null;
        const button = (name: string, action: () => void, hint?: string) => h("button", { type: "button", onclick: action, title: hint }, name);
        this.#buttons = {
            pick: button("Pick an interval", () => this.pick(!this.#picking), "Then drag along the chart"),
            all: button("Show all", () => this.zoom(null)),
            table: button("Show as table", () => this.#toggleTable()),
        };
        this.#buttons.pick.setAttribute("aria-pressed", "false");
        this.#buttons.table.setAttribute("aria-expanded", "false");
        this.#empty.textContent = options.empty ?? "Nothing to draw yet.";
        this.#open.textContent = options.openWords ?? "Open it";
        this.#plots.setAttribute("aria-label", options.label);
        this.#area.append(this.#ring);
        if (this.#interval) this.#area.append(this.#interval.root);
        this.#plots.append(this.#area);
        const tools = h(
            "div",
            { class: "chart-tools", role: "group", "aria-label": `${options.label}: tools` },
            this.#interval ? this.#buttons.pick : null,
            button("Zoom in", () => this.#zoomBy(0.5, 2)),
            button("Zoom out", () => this.#zoomBy(0.5, 0.5)),
            this.#buttons.all,
            button("Save picture", () => void this.save()),
            this.#buttons.table,
        );
        this.root = h(
            "div",
            { class: "chart" },
            this.#empty,
            this.#plots,
            h("div", { class: "chart-reading" }, this.#readout, this.#open),
            options.folded ? null : tools,
            h(
                "details",
                { class: "chart-keys" },
                h("summary", {}, options.folded ? "Table, picture, zoom and keys" : "Keys and gestures"),
                options.folded ? tools : null,
                h("p", {}, this.#help()),
            ),
            this.#table,
        );
        host.append(this.root);
        this.#listen();
        this.#watch = new ResizeObserver(() => this.#resize());
        this.#watch.observe(this.#plots);
        this.#forget = onTheme(() => this.#paint());
        this.#rest();
    }

    // What is zoomed to, the interval and the point that is read stay as they are.
    set(data: ChartData): void {
        const before = this.#data;
        this.#data = data;
        const none = data.panels.every((panel) => panel.points.every((s) => s.points.length === 0) && !panel.lines?.length);
        this.#empty.hidden = !none;
        this.#plots.hidden = none;
        this.#held = sameIn(data, this.#held);
        this.#found = sameIn(data, this.#found);
        const alike =
            this.#drawn.length === data.panels.length &&
            before.x.kind === data.x.kind &&
            before.x.label === data.x.label &&
            data.panels.every((panel, i) => shapeOf(panel) === shapeOf(before.panels[i]!));
        if (!alike) this.#build();
        else this.#paint();
        if (!this.#table.hidden) fillTable(this.#table, data, this.options.label);
    }

    range(): Range {
        return this.#view ?? extent(this.#data);
    }

    // Null shows all. `tell` is false where the address, not the observer, asks.
    zoom(range: Range | null, tell = true): void {
        const all = extent(this.#data);
        const least = (all[1] - all[0]) * 1e-4;
        const whole = range !== null && range[0] <= all[0] && range[1] >= all[1];
        this.#view = range === null || whole || !(range[1] > range[0]) ? null : range;
        if (this.#view && this.#view[1] - this.#view[0] < least) {
            const middle = (this.#view[0] + this.#view[1]) / 2;
            this.#view = [middle - least / 2, middle + least / 2];
        }
        this.#paint();
        if (tell) this.options.onZoom?.(this.#view);
    }

    setInterval(range: Range | null): void {
        this.#interval?.set(range);
    }

    // On: the next drag marks the interval rather than what to zoom to.
    pick(on: boolean): void {
        this.#picking = on;
        this.#buttons.pick.setAttribute("aria-pressed", String(on));
        this.#plots.classList.toggle("picking", on);
        if (on) this.#say("Drag along the chart to mark an interval.");
        else this.#rest();
    }

    async png(): Promise<Blob> {
        const title = this.options.title?.() ?? this.options.label;
        return pictureOf(this.#data, this.range(), this.#interval?.range ?? null, Math.max(640, this.#width), title);
    }

    async save(): Promise<void> {
        const link = h("a", { href: URL.createObjectURL(await this.png()), download: `${this.options.fileName}.png` });
        link.click();
        setTimeout(() => URL.revokeObjectURL(link.href), 10_000);
    }

    destroy(): void {
        this.#watch.disconnect();
        this.#forget();
        this.#drawn.forEach(({ plot }) => plot.destroy());
        this.root.remove();
    }

    #help(): string {
        return (
            "Drag to zoom in, double-click to show all; with two fingers pinch, with one move along. " +
            "Keys: left and right go from point to point, up and down to another series, Home and End to the first and last; " +
            "+ and − zoom, Shift with left or right moves along, 0 shows all" +
            (this.options.onPoint ? ", Enter opens the point." : ".") +
            (this.#interval ? " The interval's handles move with the arrow keys by a day, with Shift by a tenth, with Page keys by ten." : "")
        );
    }

    #build(): void {
        this.#drawn.forEach(({ plot }) => plot.destroy());
        this.#drawn = [];
        this.#width = Math.floor(this.#plots.clientWidth);
        if (this.#width < 50 || this.#data.panels.length === 0) return;
        this.#data.panels.forEach((_, i) => {
            const options: PlotOptions = {
                panel: () => this.#data.panels[i]!,
                axis: () => this.#data.x,
                range: () => this.range(),
                interval: null,
                bottom: i === this.#data.panels.length - 1,
                width: this.#width,
                scale: 1,
            };
            const plot = makePlot(this.#plots, options);
            plot.root.setAttribute("aria-hidden", "true");
            this.#drawn.push({ plot, options });
        });
        this.#plots.append(this.#area);
        queueMicrotask(() => this.#layOut());
    }

    #paint(): void {
        if (this.#drawn.length === 0) {
            this.#build();
            return;
        }
        const range = this.range();
        this.#drawn.forEach(({ plot }, i) => fit(plot, this.#data.panels[i]!, range));
        queueMicrotask(() => this.#layOut());
    }

    // The area lies over all panels' plotting areas; they share left and width.
    #layOut(): void {
        const first = this.#drawn[0]?.plot;
        const last = this.#drawn.at(-1)?.plot;
        if (!first || !last) return;
        const ratio = uPlot.pxRatio;
        const bottom = last.root.offsetTop + (last.bbox.top + last.bbox.height) / ratio;
        const top = first.root.offsetTop + first.bbox.top / ratio;
        Object.assign(this.#area.style, {
            left: `${first.root.offsetLeft + first.bbox.left / ratio}px`,
            width: `${first.bbox.width / ratio}px`,
            top: `${top}px`,
            height: `${bottom - top}px`,
        });
        this.#interval?.place(this.range());
        this.#buttons.all.disabled = this.#view === null;
        this.#placeRing();
    }

    #resize(): void {
        const width = Math.floor(this.#plots.clientWidth);
        if (width < 50 || width === this.#width) return;
        const crossed = this.#width < 480 !== width < 480;
        this.#width = width;
        if (crossed || this.#drawn.length === 0) {
            this.#build();
            return;
        }
        this.#drawn.forEach(({ plot, options }, i) => {
            options.width = width;
            plot.setSize({ width, height: plotHeight(this.#data.panels[i]!, options.bottom, this.#data.x) });
        });
        queueMicrotask(() => this.#layOut());
    }

    #xAt(clientX: number): number {
        const box = this.#area.getBoundingClientRect();
        const [from, to] = this.range();
        return from + ((clientX - box.left) / box.width) * (to - from);
    }

    #zoomBy(share: number, factor: number): void {
        const [from, to] = this.range();
        const at = from + share * (to - from);
        this.zoom(this.#within([at - (at - from) / factor, at + (to - at) / factor]));
    }

    #pan(share: number): void {
        if (!this.#view) return;
        const [from, to] = this.#view;
        const [low, high] = extent(this.#data);
        const by = Math.min(high - to, Math.max(low - from, share * (to - from)));
        this.zoom([from + by, to + by]);
    }

    #within([from, to]: Range): Range {
        const [low, high] = extent(this.#data);
        return [Math.max(low, from), Math.min(high, to)];
    }

    #listen(): void {
        listen(this.#area, {
            left: () => this.#area.getBoundingClientRect().left,
            width: () => this.#area.clientWidth,
            picking: () => this.#picking,
            marked: (a, b) => this.#marked(Math.min(a, b), Math.max(a, b)),
            pan: (share) => this.#pan(share),
            zoom: (share, factor) => this.#zoomBy(share, factor),
            hover: (x, y, touch) => this.#tell(this.#pointAt(x, y, touch ? 30 : 22), false),
            leave: () => this.#tell(this.#held, false),
            tap: (x, y) => this.#tap(x, y),
            all: () => this.zoom(null),
        });
        this.#plots.addEventListener("keydown", (event) => this.#key(event));
    }

    #marked(a: number, b: number): void {
        const [from, to] = this.range();
        const range: Range = [from + a * (to - from), from + b * (to - from)];
        if (!this.#picking) {
            this.zoom(range);
            return;
        }
        this.#interval?.set(range);
        this.pick(false);
        this.options.interval?.onChange(range, true);
    }

    #tap(x: number, y: number): void {
        this.#held = this.#pointAt(x, y, 30);
        this.#tell(this.#held, true);
    }

    #follow(): void {
        if (this.#held?.point.link) this.options.onPoint?.(this.#held.point.link);
    }

    #pointAt(clientX: number, clientY: number, reach: number): Found | null {
        for (const [i, { plot, options }] of this.#drawn.entries()) {
            const box = plot.over.getBoundingClientRect();
            if (clientY < box.top || clientY > box.bottom) continue;
            const ratio = uPlot.pxRatio;
            const x = (clientX - box.left) * ratio + plot.bbox.left;
            const y = (clientY - box.top) * ratio + plot.bbox.top;
            return nearest(this.#data.panels[i]!, i, placeOf(plot, options), x, y, reach);
        }
        return null;
    }

    #key(event: KeyboardEvent): void {
        if (event.target !== this.#plots || event.altKey || event.ctrlKey || event.metaKey) return;
        const ways: Record<string, Way> = { ArrowLeft: "previous", ArrowRight: "next", ArrowUp: "up", ArrowDown: "down", Home: "first", End: "last" };
        const way = ways[event.key];
        if (event.shiftKey && (way === "previous" || way === "next")) this.#pan(way === "next" ? 0.25 : -0.25);
        else if (way) {
            this.#held = step(this.#data.panels, this.#held, way, this.range());
            this.#tell(this.#held, true);
        } else if (event.key === "+" || event.key === "=") this.#zoomBy(this.#readShare(), 2);
        else if (event.key === "-" || event.key === "−") this.#zoomBy(this.#readShare(), 0.5);
        else if (event.key === "0") this.zoom(null);
        else if (event.key === "Enter" && this.#held) this.#follow();
        else if (event.key === "Escape" && this.#picking) this.pick(false);
        else if (event.key === "Escape" && this.#held) {
            this.#held = null;
            this.#tell(null, false);
        } else return;
        event.preventDefault();
    }

    // Keys zoom about the point that is read.
    #readShare(): number {
        if (!this.#held) return 0.5;
        const [from, to] = this.range();
        return Math.min(1, Math.max(0, (this.#held.point.x - from) / (to - from)));
    }

    // A pointer's reading is seen only; the keyboard's is heard too.
    #tell(found: Found | null, aloud: boolean): void {
        this.#found = found;
        this.#placeRing();
        this.#open.hidden = !this.options.onPoint || !this.#held?.point.link || found !== this.#held;
        if (!found) {
            if (!this.#picking) this.#rest();
            return;
        }
        this.#readout.setAttribute("aria-live", aloud ? "polite" : "off");
        this.#readout.textContent = found.point.words;
    }

    #say(sentence: string): void {
        this.#readout.setAttribute("aria-live", "polite");
        this.#readout.textContent = sentence;
    }

    #rest(): void {
        this.#readout.setAttribute("aria-live", "off");
        this.#readout.textContent = "Point at a mark to read it.";
    }

    #placeRing(): void {
        const drawn = this.#found ? this.#drawn[this.#found.panel] : undefined;
        this.#ring.hidden = !drawn;
        if (!drawn || !this.#found) return;
        const place = placeOf(drawn.plot, drawn.options);
        const ratio = uPlot.pxRatio;
        const first = this.#drawn[0]!.plot;
        const x = (xOn(place, this.#found.point.x) - place.left) / ratio;
        const y = yOn(place, this.#found.point.y) / ratio + drawn.plot.root.offsetTop - first.root.offsetTop - first.bbox.top / ratio;
        this.#ring.hidden = x < 0 || x > place.width / ratio;
        this.#ring.style.transform = `translate(${x}px, ${y}px)`;
    }

    #toggleTable(): void {
        const open = this.#table.hidden;
        this.#table.hidden = !open;
        this.#buttons.table.setAttribute("aria-expanded", String(open));
        this.#buttons.table.textContent = open ? "Hide the table" : "Show as table";
        if (open) fillTable(this.#table, this.#data, this.options.label);
        else this.#table.replaceChildren();
    }
}

// The point of the same place in another set of data.
function sameIn(data: ChartData, found: Found | null): Found | null {
    if (!found) return null;
    const series = data.panels[found.panel]?.points[found.series];
    const point = series?.points.find((one) => one.x === found.point.x && one.y === found.point.y);
    return point ? { ...found, point } : null;
}

function shapeOf(panel: ChartData["panels"][number]): string {
    return [panel.name, panel.unit, panel.height, panel.inverted ?? false].join("\n");
}
