// SPDX-License-Identifier: MIT
// The comparison stars held to account: each against its catalogue magnitude over the nights and frames, and what
// the measurement would be without it.
import { go, type Address } from "../address";
import { read } from "../api";
import { campaign } from "../campaign";
import { Chart } from "../chart";
import { h, replace } from "../dom";
import { sayProblem } from "../notice";
import { choice, command, empty, loading, trouble } from "../parts";
import { renew } from "../renew";
import { SetAside, type Action } from "../set_aside";
import type { MakeView, View } from "../view";
import { count, day, fixed, signed, title } from "../words";
import { starsTable } from "./stars/list";
import { framesData, nightsData } from "./stars/plots";
import { bandOf, keyOf, verdict, type Star, type StarBand, type StarFrames, type Stars } from "./stars/star";
import "./stars.css";

class StarsView implements View {
    readonly keys = [["← →", "from point to point of a plot"], ["↑ ↓", "from star to star of a plot"], ["Enter", "choose that star, or open that frame"]] as const;
    private readonly controls = h("div", { class: "controls" });
    private readonly body = h("div", {});
    private readonly list = h("div", { class: "star-list" });
    private readonly about = h("div", { class: "star-about", "aria-live": "polite" });
    private readonly aside = h("div", {});
    private readonly framesPlace = h("div", {});
    private nightsChart: Chart | null = null;
    private framesChart: Chart | null = null;
    private panel: SetAside | null = null;
    private panelFor = "";
    private asking: AbortController | null = null;
    private given: Stars | null = null;
    private frames: StarFrames | null = null;
    private state: Address = { view: "stars" };

    constructor(root: HTMLElement) {
        replace(root, this.controls, this.body);
        replace(this.body, loading("Reading the comparison stars", 6));
    }

    show(state: Address): void {
        this.state = state;
        if (this.given) this.draw();
        else void this.read();
    }

    refresh(): void {
        this.frames = null;
        void this.read();
        this.panel?.refresh();
    }

    leave(): void {
        this.asking?.abort();
        this.panel?.end();
        this.nightsChart?.destroy();
        this.framesChart?.destroy();
    }

    private async read(): Promise<void> {
        this.asking?.abort();
        const asking = new AbortController();
        this.asking = asking;
        try {
            this.given = await read<Stars>("/api/stars", {}, asking.signal);
        } catch (error) {
            if (asking.signal.aborted) return;
            if (this.given) sayProblem(error);
            else replace(this.body, trouble(error, () => void this.read()));
            return;
        }
        this.draw();
    }

    private bandKeys(): string[] {
        return [...new Set(this.given!.stars.flatMap((star) => star.bands.map(keyOf)))];
    }

    private bandKey(): string {
        const keys = this.bandKeys();
        const wanted = this.state["band"] ?? "V";
        const instrument = this.state["instrument"];
        const own = keys.filter((key) => key.startsWith(`${wanted} `));
        return own.find((key) => key === `${wanted} ${instrument}`) ?? own[0] ?? keys[0] ?? "";
    }

    private draw(): void {
        const given = this.given;
        if (!given) return;
        if (given.stars.length === 0) {
            replace(this.body, empty("The campaign has no comparison stars.", h("p", {}, "Make a sequence: ", command("emberline sequence build CATALOGUE"))));
            return;
        }
        if (!this.nightsChart) this.build();
        const key = this.bandKey();
        const chosen = given.stars.find((star) => star.label === this.state["star"]);
        this.drawControls(key);
        title(chosen ? `Star ${chosen.label}` : "Comparison stars");
        renew(this.list, h("div", { class: "star-list" }, starsTable(given.stars, key, chosen?.label, given.nights)));
        this.nightsChart!.set(nightsData(given.stars, key, chosen?.label));
        this.drawChosen(chosen, key);
        this.drawPanel(chosen);
        void this.drawFrames(chosen, key);
    }

    private build(): void {
        const place = h("div", {});
        const frames = h("div", {});
        replace(this.framesPlace, h("h3", {}, "Frame by frame"), frames);
        replace(
            this.body,
            h(
                "div",
                { class: "stars-grid" },
                this.list,
                h("div", { class: "star-side" }, this.about, this.aside, h("section", {}, h("h3", {}, "Night by night"), place), this.framesPlace),
            ),
        );
        this.nightsChart = new Chart(place, {
            label: "Residuals of the comparison stars night by night",
            fileName: "star-nights",
            folded: true,
            onPoint: (label) => go({ star: label, preview: null }),
        });
        this.framesChart = new Chart(frames, {
            label: "Residuals of the chosen star frame by frame",
            fileName: "star-frames",
            folded: true,
            onPoint: (frame) => go({ view: "frame", frame, star: this.state["star"] }, { fresh: true }),
        });
    }

    private drawControls(key: string): void {
        const keys = this.bandKeys();
        const stars = this.given!.stars;
        const aside = stars.filter((star) => star.set_aside).length;
        const doubtful = stars.filter((star) => !star.set_aside && bandOf(star, key)?.suspect).length;
        const several = new Set(keys.map((one) => one.split(" ").slice(1).join(" "))).size > 1;
        const summary = [
            count(stars.filter((star) => star.role === "comparison" && !star.set_aside).length, "comparison star"),
            doubtful > 0 && `${doubtful} doubtful`,
            aside > 0 && `${aside} set aside`,
        ];
        const signature = JSON.stringify([keys, key, summary]);
        if (this.controls.dataset["shows"] === signature) return;
        const focused = this.controls.contains(document.activeElement) ? document.activeElement?.getAttribute("data-value") : null;
        this.controls.dataset["shows"] = signature;
        replace(
            this.controls,
            h("h2", {}, "Comparison stars"),
            h("p", { class: "hint" }, summary.filter(Boolean).join(", ")),
            keys.length > 1 &&
                choice("Band", keys.map((one) => ({ value: one, words: several ? one : one.split(" ")[0]! })), key, (one) => {
                    const [band, ...instrument] = one.split(" ");
                    go({ band, instrument: several ? instrument.join(" ") : null });
                }),
        );
        if (focused) this.controls.querySelector<HTMLElement>(`[data-value="${CSS.escape(focused)}"]`)?.focus();
    }

    private drawChosen(star: Star | undefined, key: string): void {
        if (!star) {
            replace(this.about, h("p", { class: "hint" }, "Choose a star in the table or in the plot to see it frame by frame, and what would change without it."));
            return;
        }
        const band = bandOf(star, key);
        const action: Action = star.set_aside ? "include" : "exclude";
        const button =
            campaign()?.can_change === true && this.state["preview"] === undefined
                ? h("button", { type: "button", onclick: () => go({ preview: action }) }, action === "exclude" ? "What if it is set aside?" : "What if it is used again?")
                : null;
        replace(
            this.about,
            h("h3", {}, `Star ${star.label}`),
            h("p", {}, sentence(star, band)),
            band &&
                h(
                    "p",
                    { class: "facts" },
                    [
                        `catalogue ${fixed(band.catalogue_mag)} ± ${fixed(band.catalogue_err_mag)}`,
                        band.offset_mag !== null && `offset ${signed(band.offset_mag)} ± ${fixed(band.offset_err_mag)}`,
                        band.scatter_mag !== null && `scatter ${fixed(band.scatter_mag)}, ${fixed(band.expected_scatter_mag)} expected`,
                        `in ${count(band.used_in_nights, "night")}`,
                    ]
                        .filter(Boolean)
                        .join(" · "),
                ),
            button,
        );
    }

    private drawPanel(star: Star | undefined): void {
        const wanted = this.state["preview"];
        const action: Action | null = wanted === "exclude" || wanted === "include" ? wanted : null;
        const signature = star && action ? `${action} ${star.label}` : "";
        if (signature === this.panelFor) return;
        this.panelFor = signature;
        this.panel?.end();
        this.panel = null;
        replace(this.aside);
        if (!star || !action) return;
        this.panel = new SetAside({ action, kind: "star", key: star.label, name: `star ${star.label}`, done: () => this.leavePanel() });
        this.aside.append(this.panel.root);
    }

    private leavePanel(): void {
        // The way back does not ask again.
        go({ preview: null }, { replace: true });
        this.about.querySelector("button")?.focus();
    }

    private async drawFrames(star: Star | undefined, key: string): Promise<void> {
        this.framesPlace.hidden = !star;
        if (!star) return;
        if (this.frames?.label !== star.label) {
            const asking = this.asking;
            try {
                const frames = await read<StarFrames>(`/api/stars/${encodeURIComponent(star.label)}`, {}, asking?.signal);
                if (this.state["star"] !== star.label) return;
                this.frames = frames;
            } catch (error) {
                if (!asking?.signal.aborted) sayProblem(error);
                return;
            }
        }
        this.framesChart?.set(framesData(star, key, this.frames));
    }
}

function sentence(star: Star, band: StarBand | undefined): string {
    const [word, why] = verdict(star, band);
    const since = star.set_aside ? ` since ${day(star.set_aside.since.slice(0, 10))}` : "";
    return `${word[0]!.toUpperCase()}${word.slice(1)}${since}${why ? `: ${why}` : ""}.`;
}

export const stars: MakeView = (root) => new StarsView(root);
