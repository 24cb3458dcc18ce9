// SPDX-License-Identifier: MIT
// What stands around the views.
import { address, onAddress, type ViewName } from "./address";
import { onCampaign, readCampaign } from "./campaign";
import { h, replace } from "./dom";
import { onLive, startLive } from "./live";
import { sayIn } from "./notice";
import { trouble } from "./parts";
import type { MakeView, View } from "./view";
import { curve } from "./views/curve";
import { frame } from "./views/frame";
import { report } from "./views/report";
import { stars } from "./views/stars";
import { tonight } from "./views/tonight";
import "./shell.css";

const makers: Record<ViewName, MakeView> = { tonight, frame, curve, stars, report };

export class Shell {
    private readonly main = h("main", { id: "view", tabindex: -1 });
    private readonly notes = h("div", { class: "notes", role: "status", "aria-live": "polite" });
    private view: View | null = null;
    private name: ViewName | null = null;

    constructor(root: HTMLElement) {
        replace(root, this.main, this.notes);
        sayIn(this.notes);
    }

    async start(): Promise<void> {
        onAddress(() => this.show());
        onCampaign(() => {});
        onLive("ledger", () => this.refresh());
        onLive("again", () => this.refresh());
        try {
            await readCampaign();
            this.show();
        } catch (error) {
            replace(this.main, trouble(error, () => void this.start()));
        }
        startLive();
    }

    private show(): void {
        const state = address();
        if (state.view !== this.name) {
            this.view?.leave();
            const root = h("div", { class: `view ${state.view}` });
            replace(this.main, root);
            this.name = state.view;
            this.view = makers[state.view](root);
        }
        this.view?.show(state);
    }

    private refresh(): void {
        void readCampaign().then(() => this.view?.refresh());
    }
}
