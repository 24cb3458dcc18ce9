// SPDX-License-Identifier: MIT
// The night that is under way, or any night: what a tired observer wants to know, large; and how the sky was.
import { addressWith, go, type Address } from "../address";
import { read } from "../api";
import { campaign } from "../campaign";
import { Chart } from "../chart";
import { h, replace } from "../dom";
import { sayProblem } from "../notice";
import { choice, empty, loading, picker, trouble } from "../parts";
import { renew } from "../renew";
import type { MakeView, View } from "../view";
import { count, day, title } from "../words";
import { Card, inShort, spoken } from "./tonight/card";
import { courseData } from "./tonight/course";
import { commonFlags, framesTable, refusedList } from "./tonight/frames";
import { goalWords, keyOf, type Night, type NightOfBand } from "./tonight/night";
import { WatchPanel } from "./tonight/watch";
import "./tonight.css";

const goals = [0.005, 0.01, 0.02, 0.03, 0.05, 0.1];

class Tonight implements View {
    readonly nights = true;
    readonly keys = [["← →", "from point to point of a plot"]] as const;
    private readonly controls = h("div", { class: "controls" });
    private readonly body = h("div", { class: "night-body" });
    private readonly cards = h("div", { class: "cards" });
    private readonly remarks = h("div", { class: "remarks" });
    private readonly refused = h("div", {});
    private readonly frames = h("div", {});
    private readonly heard = h("p", { class: "heard", role: "status", "aria-live": "polite" });
    private readonly watch = new WatchPanel();
    private readonly byBand = new Map<string, Card>();
    private course: Chart | null = null;
    private asking: AbortController | null = null;
    private state: Address = { view: "tonight" };
    private night: Night | null = null;
    private wanted = "";
    private drawn = "";

    constructor(root: HTMLElement) {
        replace(root, this.controls, this.body, this.heard);
        replace(this.body, loading("Reading the night", 6));
    }

    show(state: Address): void {
        this.state = state;
        const wanted = JSON.stringify([state["night"], state["goal"]]);
        if (wanted === this.wanted && this.night) this.draw();
        else void this.read();
        this.wanted = wanted;
    }

    refresh(): void {
        const watching = campaign()?.watching;
        if (watching) this.watch.update(watching);
        void this.read();
    }

    leave(): void {
        this.asking?.abort();
        this.watch.end();
        this.byBand.forEach((card) => card.end());
        this.course?.destroy();
    }

    private async read(): Promise<void> {
        this.asking?.abort();
        const asking = new AbortController();
        this.asking = asking;
        try {
            this.night = await read<Night>(`/api/nights/${encodeURIComponent(this.state["night"] ?? "newest")}`, { goal: this.state["goal"] }, asking.signal);
        } catch (error) {
            if (asking.signal.aborted) return;
            if (this.night && this.night.night === (this.state["night"] ?? this.night.night)) sayProblem(error);
            else this.fail(error);
            return;
        }
        this.draw();
    }

    private fail(error: unknown): void {
        this.night = null;
        this.drawControls();
        this.clear();
        const newest = h("a", { href: addressWith({ night: null }) }, "Show the newest night");
        replace(this.body, trouble(error, () => void this.read()), this.state["night"] ? h("p", {}, newest) : null);
    }

    private clear(): void {
        this.byBand.forEach((card) => card.end());
        this.byBand.clear();
        this.course?.destroy();
        this.course = null;
        this.drawn = "";
    }

    private draw(): void {
        const night = this.night;
        if (!night) return;
        this.drawControls();
        if (night.frames.length === 0) {
            this.clear();
            replace(this.body, empty("This night has no frames.", "Choose another night above."));
            return;
        }
        if (!this.course) this.build();
        const bands = this.shownBands(night);
        this.drawCards(night, bands);
        this.course!.set(courseData(night, this.state["band"]));
        const frames = night.frames.filter((frame) => !this.state["band"] || frame.band === this.state["band"]);
        renew(this.remarks, h("div", { class: "remarks" }, ...night.remarks.map((remark) => h("p", {}, remark))));
        renew(this.refused, refusedList(frames));
        const common = commonFlags(frames);
        const ofAll = common.length > 0 && h("p", { class: "hint" }, `All of them: ${common.join(", ")}.`);
        renew(this.frames, h("div", {}, h("h3", {}, count(frames.length, "frame")), ofAll, framesTable(frames)));
        const main = bands.find((value) => value.band === "V") ?? bands[0];
        title(main ? inShort(main) : day(night.night));
        const words = bands.map((value) => spoken(value, night)).join(" ");
        if (this.drawn === night.night && this.heard.textContent !== words) this.heard.textContent = words;
        this.drawn = night.night;
    }

    private build(): void {
        const place = h("div", { class: "course-chart" });
        replace(
            this.body,
            this.cards,
            this.watch.root,
            this.remarks,
            h("section", { class: "course" }, h("h2", {}, "The sky through the night"), place, this.refused),
            h("section", { class: "frames" }, this.frames),
        );
        this.course = new Chart(place, {
            label: "Transparency, FWHM and sky through the night",
            fileName: `night-${this.night?.night ?? ""}`,
            folded: true,
            onPoint: (frame) => this.open(frame),
        });
    }

    private shownBands(night: Night): NightOfBand[] {
        const chosen = night.bands.filter((value) => value.band === this.state["band"]);
        return chosen.length > 0 ? chosen : night.bands;
    }

    private drawCards(night: Night, bands: NightOfBand[]): void {
        const keys = bands.map(keyOf);
        for (const [key, card] of this.byBand) {
            if (keys.includes(key)) continue;
            card.end();
            this.byBand.delete(key);
        }
        const instruments = new Set(night.bands.map((value) => value.instrument)).size > 1;
        this.cards.dataset["bands"] = String(Math.min(bands.length, 3));
        for (const value of bands) {
            let card = this.byBand.get(keyOf(value));
            if (!card) {
                card = new Card(keyOf(value), (id) => this.open(id));
                this.byBand.set(keyOf(value), card);
                this.cards.append(card.root);
            }
            card.update(value, night, instruments);
        }
    }

    private open(frame: string): void {
        go({ view: "frame", frame, night: this.state["night"] }, { fresh: true });
    }

    // Made anew only where it says something else, so that an open list stays open.
    private drawControls(): void {
        const nights = [...(campaign()?.nights ?? [])].sort((a, b) => b.night.localeCompare(a.night));
        const now = this.state["night"] ?? this.night?.night ?? campaign()?.newest_night ?? "";
        const goal = this.night?.goal_mag ?? campaign()?.goal_mag ?? 0.02;
        const bands = [...new Set(this.night?.bands.map((value) => value.band) ?? [])];
        const signature = JSON.stringify([nights, now, goal, bands, this.state["band"]]);
        if (this.controls.dataset["shows"] === signature) return;
        this.controls.dataset["shows"] = signature;
        const at = nights.findIndex((one) => one.night === now);
        const step = (to: number, words: string) => {
            const night = nights[to];
            return h("button", { type: "button", disabled: !night, onclick: () => night && this.goToNight(night.night) }, words);
        };
        const focused = this.controls.contains(document.activeElement) ? [...this.controls.querySelectorAll("button, select")].indexOf(document.activeElement!) : -1;
        replace(
            this.controls,
            h("h2", {}, now ? day(now) : "No night"),
            h(
                "div",
                { class: "night-picker" },
                step(at + 1, "Earlier"),
                picker("Night", nights.map((one) => ({ value: one.night, words: `${day(one.night)}, ${count(one.frames, "frame")}` })), now, (night) => this.goToNight(night)),
                step(at - 1, "Later"),
            ),
            bands.length > 1 &&
                choice("Band", [{ value: "", words: "All bands" }, ...bands.map((band) => ({ value: band, words: band }))], this.state["band"] ?? "", (band) => go({ band })),
            picker(
                "Goal",
                [...new Set([...goals, goal])].sort((a, b) => a - b).map((one) => ({ value: String(one), words: `${goalWords(one)} mag` })),
                String(goal),
                (chosen) => go({ goal: Number(chosen) === campaign()?.goal_mag ? null : chosen }),
            ),
        );
        if (focused >= 0) this.controls.querySelectorAll<HTMLElement>("button, select")[focused]?.focus();
    }

    private goToNight(night: string): void {
        go({ night: night === campaign()?.newest_night ? null : night });
    }
}

export const tonight: MakeView = (root) => new Tonight(root);
