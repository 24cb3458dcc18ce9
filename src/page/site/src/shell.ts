// SPDX-License-Identifier: MIT
// What stands around the views: the transient and the night, the way between views, day and night, whether the page
// is live, what can be taken back.
import { address, addressWith, go, onAddress, type Address, type ViewName, viewNames } from "./address";
import { ApiProblem, change } from "./api";
import { campaign, onOwnChange, readCampaign, type Campaign } from "./campaign";
import { Connection, keyForm } from "./connection";
import { h, replace } from "./dom";
import { listenForKeys, showKeys, type Key } from "./keys";
import { onLive, startLive } from "./live";
import { say, sayIn, sayProblem } from "./notice";
import { command, empty, loading, svg, trouble } from "./parts";
import { onTheme, setTheme, theme } from "./theme";
import { Undo } from "./undo";
import type { MakeView, View } from "./view";
import { curve } from "./views/curve";
import { frame } from "./views/frame";
import { report } from "./views/report";
import { stars } from "./views/stars";
import { tonight } from "./views/tonight";
import { day, title } from "./words";
import "./shell.css";

const makers: Record<ViewName, MakeView> = { tonight, frame, curve, stars, report };
const viewWords: Record<ViewName, string> = { tonight: "Tonight", frame: "Frame", curve: "Curve", stars: "Stars", report: "Report" };

// These go along from view to view; the rest of the address is a view's own.
const common = ["night", "band", "goal"] as const;
const settleMs = 200;

export class Shell {
    private readonly name = h("span", { class: "transient" }, "Emberline");
    private readonly night = h("span", {});
    private readonly links = new Map<ViewName, HTMLAnchorElement>();
    private readonly light = h("button", { type: "button", role: "switch", class: "light", onclick: () => this.switchLight() }, "Night red");
    private readonly help = h("button", { type: "button", class: "help", onclick: () => this.showHelp(), "aria-haspopup": "dialog" }, "Keys");
    private readonly connection = new Connection();
    private readonly undo = new Undo(() => void this.refresh());
    private readonly trouble = h("div", { class: "banner", hidden: true });
    private readonly heading = h("h1", { class: "heard", tabindex: -1 });
    private readonly main = h("main", { id: "view" });
    private readonly notes = h("div", { class: "notes", role: "log", "aria-live": "polite", "aria-label": "Messages" });
    private readonly left = new Map<ViewName, Address>();
    private view: View | null = null;
    private shown: ViewName | null = null;
    private settling = 0;

    constructor(root: HTMLElement) {
        const nav = h("nav", { "aria-label": "Views" });
        viewNames.forEach((view, i) => {
            const link = h("a", { href: addressWith({ view }), title: `Key ${i + 1}` }, viewWords[view]);
            this.links.set(view, link);
            nav.append(link);
        });
        const skip = h("a", { class: "skip", href: "#view", onclick: (event: Event) => this.skip(event) }, "Skip to the view");
        const header = h(
            "header",
            {},
            h("div", { class: "brand" }, reticle(), h("span", { class: "names" }, this.name, h("span", { class: "of-night" }, this.night, this.connection.mark))),
            nav,
            h("div", { class: "tools" }, this.undo.button, this.light, this.help),
        );
        replace(root, skip, header, this.connection.banner, this.trouble, this.main, this.notes);
        sayIn(this.notes);
        onTheme(() => this.drawLight());
        this.drawLight();
        listenForKeys(() => this.keys());
    }

    async start(): Promise<void> {
        onAddress(() => this.show());
        document.addEventListener("click", (event) => this.followLink(event));
        onOwnChange(() => this.soon());
        onLive("ledger", () => this.soon());
        onLive("again", () => this.soon());
        onLive<Campaign["watching"]>("watch", (watching) => {
            if (watching.ended) sayProblem(new ApiProblem(0, watching.ended));
        });
        replace(this.main, loading("Reading the campaign", 5));
        await this.refresh();
        startLive();
    }

    // Several changes in a moment are read once.
    private soon(): void {
        clearTimeout(this.settling);
        this.settling = window.setTimeout(() => void this.refresh(), settleMs);
    }

    private async refresh(): Promise<void> {
        let given: Campaign;
        try {
            given = await readCampaign();
        } catch (error) {
            this.complain(error);
            return;
        }
        this.trouble.hidden = true;
        this.undo.update(given);
        this.name.textContent = given.title;
        if (!given.measured) {
            this.dismiss();
            replace(this.main, this.heading, nothingYet(given, () => void this.refresh()));
            this.drawAround(address());
        } else if (this.view) {
            this.drawAround(address());
            this.view.refresh();
        } else {
            this.show();
        }
    }

    // What is shown already stays: it is what was last known.
    private complain(error: unknown): void {
        const refused = error instanceof ApiProblem && error.status === 403;
        const box = refused ? keyForm() : trouble(error, () => void this.refresh());
        if (this.view) {
            replace(this.trouble, box);
            this.trouble.hidden = false;
        } else {
            replace(this.main, this.heading, refused ? h("div", { class: "box" }, box) : box);
        }
    }

    private dismiss(): void {
        this.view?.leave();
        this.view = null;
        this.shown = null;
    }

    private show(): void {
        const state = address();
        if (!campaign()?.measured) {
            this.drawAround(state);
            return;
        }
        const changed = state.view !== this.shown;
        if (changed) {
            const first = this.shown === null;
            this.dismiss();
            const root = h("div", { class: `view ${state.view}` });
            replace(this.main, this.heading, root);
            this.shown = state.view;
            title(viewWords[state.view]);
            this.view = makers[state.view](root);
            if (!first) {
                scrollTo(0, 0);
                this.heading.textContent = viewWords[state.view];
                this.heading.focus({ preventScroll: true });
            }
        }
        this.left.set(state.view, state);
        this.drawAround(state);
        this.view?.show(state);
    }

    private drawAround(state: Address): void {
        const night = state["night"] ?? campaign()?.newest_night ?? "";
        this.night.textContent = night ? day(night) : "";
        this.heading.textContent = `${viewWords[state.view]}: ${campaign()?.title ?? "Emberline"}`;
        for (const [view, link] of this.links) {
            if (view === state.view) link.setAttribute("aria-current", "page");
            else link.removeAttribute("aria-current");
            link.href = this.addressOf(view);
        }
    }

    // A view that is come back to is as it was left, unless another night was chosen since.
    private addressOf(view: ViewName): string {
        const now = address();
        const before = this.left.get(view);
        const own = before && before["night"] === now["night"] ? before : { view };
        return addressWith({ ...Object.fromEntries(common.map((name) => [name, now[name]])), view }, own as Address);
    }

    private goTo(view: ViewName): void {
        const target = Object.fromEntries(new URLSearchParams(this.addressOf(view)));
        go(target, { fresh: true });
    }

    // A link within the page leads there without loading it anew, wherever it stands.
    private followLink(event: MouseEvent): void {
        if (event.defaultPrevented || event.ctrlKey || event.metaKey || event.shiftKey || event.button !== 0) return;
        const target = event.target instanceof Element ? event.target.closest("a")?.getAttribute("href") : null;
        if (!target?.startsWith("?")) return;
        event.preventDefault();
        const patch: Record<string, string> = {};
        new URLSearchParams(target).forEach((value, name) => (patch[name] = value));
        go(patch, { fresh: true });
    }

    private skip(event: Event): void {
        event.preventDefault();
        this.heading.focus();
    }

    private switchLight(): void {
        setTheme(theme() === "night" ? "day" : "night");
    }

    private drawLight(): void {
        this.light.setAttribute("aria-checked", theme() === "night" ? "true" : "false");
    }

    private stepNight(step: number): void {
        const nights = (campaign()?.nights ?? []).map((one) => one.night).sort();
        const now = address()["night"] ?? campaign()?.newest_night ?? "";
        const next = nights[nights.indexOf(now) + step];
        if (next) go({ night: next });
        else say(step > 0 ? "There is no later night." : "There is no earlier night.");
    }

    private keys(): Key[] {
        const keys: Key[] = viewNames.map((view, i) => ({ key: String(i + 1), words: viewWords[view], press: () => this.goTo(view) }));
        keys.push({ key: "?", words: "these keys", press: () => this.showHelp() });
        keys.push({ key: "d", words: "day, or night red", press: () => this.switchLight() });
        if (this.undo.possible) keys.push({ key: "u", words: "undo the newest change", press: () => void this.undo.press() });
        if (this.view?.nights) {
            keys.push({ key: "n", words: "next night", press: () => this.stepNight(1) });
            keys.push({ key: "p", words: "night before", press: () => this.stepNight(-1) });
        }
        return keys;
    }

    private showHelp(): void {
        showKeys([
            { title: "Everywhere", keys: this.keys().map((one) => [one.key, one.words] as const) },
            { title: this.shown ? viewWords[this.shown] : "", keys: this.view?.keys ?? [] },
        ]);
    }
}

// The transient's mark: four ticks about an open centre.
function reticle(): SVGElement {
    return svg(
        "svg",
        { class: "reticle", viewBox: "0 0 24 24", width: 26, height: 26, "aria-hidden": "true" },
        svg("path", { d: "M12 1.5V8M12 16V22.5M1.5 12H8M16 12H22.5" }),
    );
}

function nothingYet(given: Campaign, done: () => void): HTMLElement {
    const watch = h("button", { type: "button", class: "main" }, "Watch frames/");
    watch.addEventListener("click", () => {
        change("/api/watch", {})
            .then(() => say("Frames are measured as they land."))
            .catch(sayProblem)
            .finally(done);
    });
    return empty(
        "Nothing is measured yet.",
        h("p", {}, "Put frames into the campaign's ", command("frames/"), " folder and measure them:"),
        h("p", {}, command("emberline measure frames/")),
        given.watching.under_way && h("p", {}, `Frames are measured as they land in ${given.watching.folder}. ${given.watching.last}`),
        !given.watching.under_way && given.can_change && h("p", {}, "Or let this page measure what lies there, and what lands there from now on: ", watch),
        h("p", { class: "hint" }, "This page shows them as soon as there are any."),
    );
}
