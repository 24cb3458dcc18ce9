// SPDX-License-Identifier: MIT
// One frame looked at: its pixels at any zoom, what is marked on it, its stars one by one, and other frames over it.
import { address, go, type Address } from "../address";
import { read } from "../api";
import { campaign } from "../campaign";
import { h, replace } from "../dom";
import { keysOn } from "../keys";
import { problemOf, say, sayProblem } from "../notice";
import { empty, loading, trouble } from "../parts";
import { renew } from "../renew";
import { onTheme, theme } from "../theme";
import type { MakeView, View } from "../view";
import { title } from "../words";
import { between, apply } from "../frame/affine";
import { pixelsOf, type FrameFacts, type HostLook, type StarLook } from "../frame/answers";
import { Blinker } from "../frame/blinker";
import { BlinkControls, bringUp, frameKeys, overlayControls, StretchControls, zoomTools } from "../frame/controls";
import { factsOf, FramePicker, missing, notOver } from "../frame/facts";
import { HostPanel } from "../frame/host_panel";
import type { Chosen } from "../frame/overlay";
import { firstOf, FrameRows, ofNight } from "../frame/rows";
import { Stage } from "../frame/stage";
import { StarList } from "../frame/star_list";
import { StarPanel } from "../frame/star_panel";
import { parse, placeOf, type FrameState, type Patch } from "../frame/state";
import { stretchOf, type Stretch } from "../frame/stretch";
import type { Viewport } from "../frame/viewport";
import "./frame.css";

const settleMs = 250;

class FrameView implements View {
    readonly keys = frameKeys;
    private readonly stage: Stage;
    private readonly picker = new FramePicker(
        (id) => this.open(id),
        (night) => void this.openNight(night),
        (band) => go({ band: band || null }, { replace: true }),
    );
    private readonly stretch = new StretchControls((patch, small) => this.put(patch, small));
    private readonly blinker: Blinker;
    private readonly compare: BlinkControls;
    private readonly list = new StarList((star) => this.choose(star));
    private readonly star = new StarPanel(() => this.put({ star: null }));
    private readonly host = new HostPanel(
        () => this.put({ host: null }),
        (method) => this.put({ host: method }),
    );
    private readonly body = h("div", { class: "frame-body" });
    private readonly facts = h("div", {});
    private readonly marks = h("div", {});
    private readonly pickerPlace = h("div", {}, this.picker.root);
    private readonly gone = h("div", { hidden: true });
    private readonly north = h("button", { type: "button", "aria-pressed": "false", onclick: () => this.turnNorth() }, "North up");
    private readonly hostButton = h("button", { type: "button", onclick: () => this.openHost() }, "Data, model, residual");
    private readonly layout: HTMLElement;
    private readonly forget: () => void;
    private readonly onKey = (event: KeyboardEvent) => this.press(event);
    private readonly onKeyUp = (event: KeyboardEvent) => event.key === "b" && this.blinker.hold(false);
    private state: FrameState = parse({});
    private band = "";
    private given: FrameFacts | null = null;
    private other: FrameFacts | null = null;
    private readonly rows = new FrameRows();
    private look: StarLook | null = null;
    private lookOf = "";
    private hostOf = "";
    private asking: Record<"frame" | "star" | "host" | "other", string> = { frame: "", star: "", host: "", other: "" };
    private settling = 0;
    private pending: Patch = {};
    private acted = false;
    private told = false;
    private carried = "";

    constructor(root: HTMLElement) {
        this.stage = new Stage({
            moved: (view, isWhole) => this.moved(view, isWhole),
            tapped: (x, y) => this.choose(`${x.toFixed(1)},${y.toFixed(1)}`),
            failed: (error) => this.failed(error),
        });
        this.blinker = new Blinker((share) => this.showOther(share));
        this.compare = new BlinkControls((patch, small) => this.put(patch, small), (on) => this.blinker.hold(on));
        const tools = zoomTools(
            [
                ["Zoom in", () => this.stage.zoomBy(1.6)],
                ["Zoom out", () => this.stage.zoomBy(1 / 1.6)],
                ["Whole frame", () => this.stage.showWhole()],
                ["Pixel for pixel", () => this.stage.zoomTo(1)],
                ["To the transient", () => this.toTransient()],
            ],
            this.north,
            this.hostButton,
        );
        this.layout = h(
            "div",
            { class: "frame-layout" },
            h(
                "div",
                { class: "frame-main" },
                this.pickerPlace,
                this.gone,
                this.stage.root,
                tools,
                h("p", { id: "frame-help", class: "hint" }, "Drag, wheel or pinch; arrow keys, + and −, 0 for the whole. A click measures the star that lies there."),
                this.star.root,
                this.host.root,
            ),
            h("div", { class: "frame-side" }, this.facts, this.stretch.root, this.compare.root, this.list.root, this.marks),
        );
        replace(root, this.body);
        replace(this.body, loading("Reading the frame", 6));
        this.forget = onTheme(() => this.repaint());
        document.addEventListener("keydown", this.onKey);
        document.addEventListener("keyup", this.onKeyUp);
    }

    show(now: Address): void {
        const before = this.state;
        this.state = parse(now);
        this.band = now["band"] ?? "";
        if (!this.state.frame) {
            void this.openNight(now["night"] ?? campaign()?.newest_night ?? null, true);
            return;
        }
        if (this.given?.id !== this.state.frame) {
            void this.readFrame(this.state.frame);
            return;
        }
        if (before.centre?.x !== this.state.centre?.x || before.centre?.y !== this.state.centre?.y || before.zoom !== this.state.zoom || before.north !== this.state.north) {
            if (!this.isOwnMove()) this.stage.setView(this.state.centre, this.state.zoom, this.state.north);
        }
        this.draw();
    }

    refresh(): void {
        this.rows.forget();
        this.asking = { frame: "", star: "", host: "", other: this.asking.other };
        if (this.state.frame) void this.readFrame(this.state.frame);
    }

    leave(): void {
        clearTimeout(this.settling);
        this.asking = { frame: "left", star: "left", host: "left", other: "left" };
        this.blinker.close();
        this.stage.close();
        this.star.destroy();
        this.forget();
        document.removeEventListener("keydown", this.onKey);
        document.removeEventListener("keyup", this.onKeyUp);
    }

    private choose(star: string): void {
        this.acted = true;
        go({ star });
    }

    private openHost(): void {
        this.acted = true;
        this.put({ host: "1" });
    }

    // Small steps do not stop the browser's own way back; what moves quickly is written when it rests.
    private put(patch: Patch, small = false): void {
        if (!small) {
            go(patch, { replace: true });
            return;
        }
        Object.assign(this.pending, patch);
        this.state = parse({ ...address(), ...Object.fromEntries(Object.entries(this.pending).map(([name, value]) => [name, value === null ? undefined : String(value)])) });
        this.drawLooks();
        this.soon();
    }

    private soon(): void {
        clearTimeout(this.settling);
        this.settling = window.setTimeout(() => {
            const patch = this.pending;
            this.pending = {};
            go(patch, { replace: true });
        }, settleMs);
    }

    private moved(view: Viewport, isWhole: boolean): void {
        if (isWhole) Object.assign(this.pending, { x: null, y: null, zoom: null });
        else Object.assign(this.pending, { x: view.x.toFixed(1), y: view.y.toFixed(1), zoom: view.zoom.toPrecision(4) });
        this.soon();
    }

    // The address tells what the picture already shows.
    private isOwnMove(): boolean {
        const view = this.stage.current();
        const { centre, zoom, north } = this.state;
        if (!view || !centre || !zoom || (this.north.getAttribute("aria-pressed") === "true") !== north) return false;
        return Math.abs(view.x - centre.x) < 0.06 && Math.abs(view.y - centre.y) < 0.06 && Math.abs(view.zoom / zoom - 1) < 1e-3;
    }

    private async openNight(night: string | null, replaces = false): Promise<void> {
        if (!night) {
            replace(this.body, empty("No frame is measured yet."));
            return;
        }
        try {
            const first = firstOf(await ofNight(night), this.band);
            if (first) this.carried = first.id;
            if (first && this.asking.frame !== "left") go({ frame: first.id, night }, { replace: replaces });
            else if (!first) replace(this.body, empty("No frame of this night is in the ledger."));
        } catch (error) {
            replace(this.body, trouble(error, () => void this.openNight(night, replaces)));
        }
    }

    // Another frame, and the same sky: the view goes along with the stars.
    private open(id: string): void {
        if (id === this.state.frame) return;
        const patch = this.pending;
        this.pending = {};
        clearTimeout(this.settling);
        this.carried = id;
        go({ ...patch, frame: id, night: this.rows.nightOf(id) ?? address()["night"] });
    }

    private async readFrame(id: string): Promise<void> {
        if (this.asking.frame === id) return;
        this.asking.frame = id;
        try {
            const given = await read<FrameFacts>(`/api/frames/${encodeURIComponent(id)}`);
            if (this.asking.frame !== id) return;
            this.asking.frame = "";
            this.take(given);
        } catch (error) {
            if (this.asking.frame !== id) return;
            this.asking.frame = "";
            this.given = null;
            replace(this.body, this.picker.root, trouble(error, () => void this.readFrame(id)));
        }
        void this.readRows();
    }

    private take(given: FrameFacts): void {
        const before = this.given;
        this.given = given;
        this.told = false;
        title(`${given.name}, frame`);
        if (this.layout.parentElement !== this.body) {
            this.pickerPlace.append(this.picker.root);
            replace(this.body, this.layout);
        }
        this.stage.area.setAttribute("aria-label", `Picture of ${given.name}`);
        this.stage.setFrame(given);
        // Opened from here, and not gone back to: the address has the place on the frame before.
        const map = before && this.carried === given.id && before.id !== given.id ? between(before, given) : null;
        this.carried = "";
        if (map && this.state.centre && before) {
            const [x, y] = apply(map, [this.state.centre.x, this.state.centre.y]);
            const scale = (before.scale_arcsec_per_px ?? 1) / (given.scale_arcsec_per_px ?? 1);
            const zoom = this.state.zoom === null ? null : Math.min(this.state.zoom / scale, 16);
            this.stage.setView({ x, y }, zoom, this.state.north);
            go({ x: x.toFixed(1), y: y.toFixed(1), zoom: zoom && zoom.toPrecision(4), star: this.starOn(map) }, { replace: true });
        } else this.stage.setView(this.state.centre, this.state.zoom, this.state.north);
        if (given.night && given.night !== address()["night"]) go({ night: given.night }, { replace: true });
        this.draw();
        if (before && before.id !== given.id) say(`${given.name}, ${given.band}${given.used ? "" : `, refused: ${given.reason}`}`);
    }

    private starOn(map: Parameters<typeof apply>[0]): string | null {
        const place = this.state.star ? placeOf(this.state.star) : null;
        if (!place) return this.state.star;
        return apply(map, [place.x_px, place.y_px]).map((value) => value.toFixed(1)).join(",");
    }

    private async readRows(): Promise<void> {
        const night = this.given?.night ?? address()["night"] ?? campaign()?.newest_night ?? null;
        try {
            if (await this.rows.read(night)) this.drawAround();
        } catch (error) {
            sayProblem(error);
        }
    }

    private draw(): void {
        this.drawAround();
        this.drawLooks();
        void this.readStar();
        void this.readHost();
        void this.readOther();
    }

    private drawAround(): void {
        const given = this.given;
        const known = campaign();
        this.picker.show({
            nights: (known?.nights ?? []).map((one) => one.night),
            night: given?.night ?? address()["night"] ?? known?.newest_night ?? null,
            band: this.band,
            rows: this.rows.own,
            templates: known?.templates ?? [],
            frame: this.state.frame ?? "",
        });
        if (!given) return;
        renew(this.facts, h("div", {}, factsOf(given)));
        renew(this.gone, h("div", {}, given.no_pixels ? missing(given) : null));
        this.gone.hidden = !given.no_pixels;
        this.list.show(given, this.listed());
        this.hostButton.disabled = !given.transient || !!given.no_pixels || given.id.startsWith("template-");
        this.north.disabled = !given.px_per_arcsec;
        this.drawCompare();
    }

    private drawCompare(): void {
        if (!this.given) return;
        this.compare.show(this.state, this.given, { rows: this.rows.others(this.given.id), templates: campaign()?.templates ?? [] }, this.whyNot(), this.blinker.still);
    }

    private whyNot(): string {
        return this.state.other && this.other && this.given ? notOver(this.other, this.given) : "";
    }

    private currentStretch(): Stretch {
        return stretchOf(this.given && pixelsOf(this.given), this.state);
    }

    private drawLooks(): void {
        const { invert, hidden, north } = this.state;
        const stretch = this.currentStretch();
        this.stage.setLooks(stretch, invert, hidden, this.chosen());
        this.stretch.show(stretch, (this.given && pixelsOf(this.given)?.encoding) ?? null, invert ?? theme() === "day");
        const focused = document.activeElement?.id;
        replace(this.marks, overlayControls(hidden, (patch) => this.put(patch)));
        if (focused?.startsWith("frame-mark-")) document.getElementById(focused)?.focus();
        this.north.setAttribute("aria-pressed", String(north));
        this.blinker.set(this.other && this.whyNot() === "" ? this.state.blink : null, this.state.wipe);
        this.drawCompare();
    }

    private chosen(): Chosen | null {
        if (this.look && this.state.star) {
            const { x_px, y_px, aperture_px, inner_px, outer_px } = this.look;
            return { x_px, y_px, label: this.look.label ?? "", aperture: { radius_px: aperture_px, inner_px, outer_px } };
        }
        const star = this.state.star;
        const place = star ? (placeOf(star) ?? this.given?.stars.find((one) => one.label === star)) : null;
        return place ? { x_px: place.x_px, y_px: place.y_px, label: star ?? "", aperture: null } : null;
    }

    // The star as the list names it, however it was chosen.
    private listed(): string | null {
        if (!this.look || !this.state.star) return this.state.star;
        return this.look.role === "transient" ? "transient" : (this.look.label ?? this.state.star);
    }

    private async readStar(): Promise<void> {
        const { star } = this.state;
        const given = this.given;
        if (!star || !given) {
            this.asking.star = "";
            this.look = null;
            this.star.hide();
            this.stage.setLooks(this.currentStretch(), this.state.invert, this.state.hidden, null);
            return;
        }
        const wanted = `${given.id} ${star}`;
        if (this.asking.star === wanted) return;
        this.asking.star = wanted;
        const again = this.lookOf === wanted && this.look !== null;
        const place = placeOf(star);
        const known = place ?? given.stars.find((one) => one.label === star);
        const name = place ? `Star at x ${place.x_px}, y ${place.y_px}` : `Star ${star}`;
        // Read anew, what is shown stays until the answer is there.
        if (!again) {
            this.look = null;
            this.star.busy(name);
            // Chosen here, and not come with a bookmark, which is shown as it was.
            if (this.acted) {
                if (known) this.stage.reveal(known.x_px, known.y_px);
                bringUp(this.star.root);
            }
        }
        try {
            const query = place ? { x_px: place.x_px, y_px: place.y_px } : { label: star };
            const look = await read<StarLook>(`/api/frames/${encodeURIComponent(given.id)}/star`, query);
            if (this.asking.star !== wanted) return;
            this.look = look;
            this.lookOf = wanted;
            this.star.destroy();
            this.star.show(look);
        } catch (error) {
            if (this.asking.star !== wanted) return;
            this.look = null;
            this.star.fail(name, error);
        }
        this.list.show(given, this.listed());
        this.drawLooks();
    }

    private async readHost(): Promise<void> {
        const { host } = this.state;
        const given = this.given;
        if (!host || !given) {
            this.asking.host = "";
            this.hostOf = "";
            this.host.hide();
            return;
        }
        if (this.asking.host === given.id) {
            this.host.choose(host);
            return;
        }
        this.asking.host = given.id;
        if (this.hostOf !== given.id) {
            this.host.busy();
            if (this.acted) bringUp(this.host.root);
        }
        try {
            const look = await read<HostLook>(`/api/frames/${encodeURIComponent(given.id)}/host`);
            if (this.asking.host !== given.id) return;
            this.hostOf = given.id;
            this.host.show(look, this.state.host ?? host);
        } catch (error) {
            if (this.asking.host !== given.id) return;
            this.hostOf = "";
            this.host.fail(error);
        }
    }

    private async readOther(): Promise<void> {
        const { other } = this.state;
        if (this.asking.other === (other ?? "") || this.asking.other === "left") return;
        this.asking.other = other ?? "";
        this.other = null;
        this.stage.setOther(null);
        if (other) {
            try {
                const given = await read<FrameFacts>(`/api/frames/${encodeURIComponent(other)}`);
                if (this.asking.other !== other) return;
                this.other = given;
                this.stage.setOther(given);
            } catch (error) {
                sayProblem(error);
            }
        }
        this.drawLooks();
    }

    private showOther(share: number): void {
        const words = this.other && share > 0 ? (share < 1 ? `Right: ${this.other.name}` : this.other.name) : "";
        this.stage.showOther(share, words);
    }

    private toTransient(): void {
        const at = this.given?.transient;
        const view = this.stage.current();
        if (!at || !view) return;
        if (view.zoom < 2) this.stage.zoomTo(2);
        this.stage.centreOn(at.x_px, at.y_px);
    }

    private turnNorth(): void {
        this.put({ north: this.state.north ? null : "1" });
    }

    private step(by: number): void {
        const next = this.rows.beside(this.state.frame ?? "", this.band, by);
        if (next) this.open(next.id);
        else say(by > 0 ? "There is no later frame in this night." : "There is no earlier frame in this night.");
    }

    private press(event: KeyboardEvent): void {
        const target = event.target;
        const typing = target instanceof HTMLElement && (target.tagName === "SELECT" || (target.tagName === "INPUT" && (target as HTMLInputElement).type === "text"));
        if (event.defaultPrevented || event.ctrlKey || event.metaKey || event.altKey || typing || !keysOn() || document.querySelector("dialog[open]")) return;
        const acts: Record<string, () => void> = {
            "[": () => this.step(-1),
            "]": () => this.step(1),
            b: () => !event.repeat && this.blinker.hold(true),
            i: () => this.put({ invert: (this.state.invert ?? theme() === "day") ? "0" : "1" }),
            o: () => this.given?.px_per_arcsec && this.turnNorth(),
        };
        const act = acts[event.key];
        if (!act) return;
        event.preventDefault();
        act();
    }

    private failed(error: unknown): void {
        if (this.told) return;
        this.told = true;
        const { what, mend } = problemOf(error);
        say(`A part of the picture did not come: ${what} ${mend}`);
    }

    private repaint(): void {
        this.drawLooks();
        this.stage.draw();
        this.star.repaint();
        this.host.repaint();
    }
}

export const frame: MakeView = (root) => new FrameView(root);
