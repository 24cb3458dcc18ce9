// SPDX-License-Identifier: MIT
// The newest change of the ledger, taken back: the button says what it would take back.
import { change, read } from "./api";
import type { Campaign } from "./campaign";
import { h } from "./dom";
import { ask, say, sayProblem } from "./notice";

interface Changes {
    changes: { number: number; words: string; since: string; undone: boolean }[];
    undoable: { number: number; words: string } | null;
}

export class Undo {
    readonly button = h("button", { type: "button", class: "undo", hidden: true, onclick: () => void this.press() });

    constructor(private readonly done: () => void) {}

    update(campaign: Campaign): void {
        const words = campaign.changes.undoable;
        this.button.hidden = !words || !campaign.can_change;
        this.button.replaceChildren(h("span", { class: "undo-word" }, "Undo"), h("span", { class: "undo-what" }, words ? `: ${words}` : ""));
        this.button.title = words ? `Undo: ${words}` : "";
    }

    get possible(): boolean {
        return !this.button.hidden;
    }

    async press(): Promise<void> {
        try {
            const { changes, undoable } = await read<Changes>("/api/changes");
            if (!undoable) {
                say("There is nothing to take back.");
                return;
            }
            const earlier = changes.filter((one) => one.number !== undoable.number);
            const words = h(
                "div",
                {},
                h("p", { class: "what" }, undoable.words),
                earlier.length > 0 &&
                    h(
                        "details",
                        {},
                        h("summary", {}, "What this page changed before"),
                        h("ol", { reversed: true }, ...earlier.reverse().map((one) => h("li", {}, one.words, one.undone ? " (taken back)" : ""))),
                    ),
            );
            if (!(await ask({ title: "Take back the newest change?", words, confirm: "Take it back" }))) return;
            const answer = await change<{ words: string }>("/api/changes/undo", { number: undoable.number });
            say(answer.words);
        } catch (error) {
            sayProblem(error);
        } finally {
            this.done();
        }
    }
}
