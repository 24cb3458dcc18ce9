// SPDX-License-Identifier: MIT
// Frames measured as they land: started and stopped here, and what landed last.
import { change } from "../../api";
import { campaign, type Watching } from "../../campaign";
import { h } from "../../dom";
import { onLive } from "../../live";
import { say, sayProblem } from "../../notice";
import { renew } from "../../renew";
import { clock, count } from "../../words";

export class WatchPanel {
    readonly root: HTMLElement;
    private readonly words = h("div", { class: "watch-words", "aria-live": "polite" });
    private readonly button = h("button", { type: "button", onclick: () => void this.press() });
    private readonly off: () => void;
    private state: Watching | null = campaign()?.watching ?? null;

    constructor() {
        this.root = h("div", { class: "watch" }, this.words, this.button);
        this.off = onLive<Watching>("watch", (watching) => this.update(watching));
        this.draw();
    }

    update(watching: Watching): void {
        this.state = watching;
        this.draw();
    }

    end(): void {
        this.off();
    }

    private async press(): Promise<void> {
        const stop = this.state?.under_way === true;
        this.button.disabled = true;
        try {
            this.update(await change<Watching>(stop ? "/api/watch/stop" : "/api/watch", {}));
            say(stop ? "Nothing is measured any more until watching starts again." : "Frames are measured as they land.");
        } catch (error) {
            sayProblem(error);
        } finally {
            this.button.disabled = false;
        }
    }

    private draw(): void {
        const now = this.state;
        if (!now) return;
        const folder = now.folder ? shortFolder(now.folder) : "frames/";
        this.button.textContent = now.under_way ? "Stop watching" : `Watch ${folder}`;
        this.button.className = now.under_way ? "" : "main";
        this.button.hidden = campaign()?.can_change !== true;
        const so_far = `${count(now.measured, "frame")} measured${now.refused > 0 ? `, ${now.refused} refused` : ""}`;
        renew(
            this.words,
            h(
                "div",
                { class: "watch-words", "aria-live": "polite" },
                now.under_way
                    ? h("p", {}, h("strong", {}, `Watching ${folder}`), ` since ${clock(now.since).slice(0, 5)} UTC: ${so_far}.`)
                    : h("p", {}, now.since ? `Not watching ${folder} any more: ${so_far}.` : `Frames that land in ${folder} are not measured by this page.`),
                now.last ? h("p", { class: "hint" }, `Last: ${now.last}`) : null,
                now.ended ? h("p", {}, h("strong", {}, now.ended.what), ` ${now.ended.mend}`) : null,
            ),
        );
    }
}

function shortFolder(folder: string): string {
    const parts = folder.split("/").filter(Boolean);
    return `${parts[parts.length - 1] ?? folder}/`;
}
