// SPDX-License-Identifier: MIT
// Whether the page still hears the program, in words, and what to do where it does not.
import { change, enter } from "./api";
import { h, replace } from "./dom";
import { liveState, onLiveState, wake, type LiveState } from "./live";
import { command } from "./parts";
import { sayProblem } from "./notice";

const short: Record<LiveState, string> = { opening: "Connecting", live: "Live", asleep: "Asleep", gone: "Gone", refused: "No key" };

export class Connection {
    readonly mark = h("span", { class: "connection", role: "status" });
    readonly banner = h("div", { class: "banner", hidden: true });

    constructor() {
        onLiveState(() => this.draw());
        this.draw();
    }

    private draw(): void {
        const state = liveState();
        this.mark.dataset["state"] = state;
        replace(this.mark, h("span", { class: "heard" }, "Connection: "), short[state]);
        this.banner.hidden = state === "live" || state === "opening";
        if (this.banner.hidden) return;
        const again = h("button", { type: "button", onclick: () => wake() }, state === "asleep" ? "Wake up" : "Try again");
        if (state === "refused") replace(this.banner, keyForm());
        else if (state === "asleep") {
            replace(this.banner, h("p", {}, "This page fell asleep: nobody looked at it for ten minutes. What it shows may be old."), again);
        } else {
            replace(
                this.banner,
                h("p", {}, "The program that serves this page does not answer: it has ended, or the network is gone. What is shown is what was last heard. Start ", command("emberline page"), " again; this page then goes on by itself."),
                again,
            );
        }
    }
}

// Beyond loopback the page comes without its key: the link that the program printed carries it.
export function keyForm(): HTMLElement {
    const input = h("input", { type: "text", id: "key", name: "key", autocomplete: "off", spellcheck: "false", required: true });
    const form = h(
        "form",
        { class: "key-form" },
        h("p", {}, "This page needs its key. Open the link that ", command("emberline page"), " printed, or put that link, or the key, here:"),
        h("p", { class: "line" }, h("label", { for: "key" }, "Key"), input, h("button", { type: "submit", class: "main" }, "Enter")),
    );
    form.addEventListener("submit", (event) => {
        event.preventDefault();
        const given = input.value.trim().replace(/^.*#key=/, "");
        if (!given) return;
        change("/api/enter", { key: given })
            .then(() => {
                location.hash = `key=${given}`;
                return enter();
            })
            .then(() => location.reload())
            .catch(sayProblem);
    });
    return form;
}
