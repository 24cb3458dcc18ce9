// SPDX-License-Identifier: MIT
// What the page says in passing, and what it asks. A screen reader hears both.
import { ApiProblem } from "./api";
import { h } from "./dom";

const lastsMs = 9_000;
let place: HTMLElement | null = null;

// The shell gives the element with aria-live; until then nothing can be said.
export function sayIn(element: HTMLElement): void {
    place = element;
}

function put(kind: "said" | "trouble", ...content: (Node | string)[]): void {
    const note = h("div", { class: `note ${kind}` }, ...content);
    const away = h("button", { type: "button", class: "quiet", onclick: () => note.remove() }, "Close");
    note.append(away);
    place?.append(note);
    while (place && place.childElementCount > 3) place.firstElementChild?.remove();
    if (kind === "said") setTimeout(() => note.remove(), lastsMs);
}

export function say(sentence: string): void {
    put("said", h("p", {}, sentence));
}

// An error stays until it is closed.
export function sayProblem(error: unknown): void {
    if (error instanceof DOMException && error.name === "AbortError") return;
    const { what, where, mend } = problemOf(error);
    put("trouble", h("p", {}, h("strong", {}, what), where ? ` (${where})` : "", mend ? ` ${mend}` : ""));
}

export function problemOf(error: unknown): { what: string; where: string; mend: string } {
    if (error instanceof ApiProblem) return error.problem;
    const what = error instanceof Error ? error.message : String(error);
    return { what: `The page made a mistake: ${what}`, where: "", mend: "Reload it; nothing is lost." };
}

export interface Question {
    title: string;
    words: string | Node;
    confirm: string;
    cancel?: string;
}

// True where it was confirmed. Escape and "Leave it" answer false.
export async function ask(question: Question): Promise<boolean> {
    const said = await open(question, null);
    return said !== null;
}

// The same with a line to type; null where it was left. An empty answer is not taken.
export function askFor(question: Question & { label: string; hint?: string; value?: string }): Promise<string | null> {
    const input = h("input", {
        type: "text",
        id: "asked",
        name: "asked",
        required: true,
        maxlength: 300,
        autocomplete: "off",
        value: question.value ?? "",
        "aria-describedby": question.hint ? "asked-hint" : null,
    });
    return open(question, input, question.label, question.hint);
}

let asked = 0;

function open(question: Question, input: HTMLInputElement | null, label = "", hint = ""): Promise<string | null> {
    asked += 1;
    const id = `question-${asked}`;
    const before = document.activeElement;
    return new Promise((resolve) => {
        const confirm = h("button", { type: "submit", class: "main" }, question.confirm);
        const form = h(
            "form",
            { method: "dialog" },
            h("h2", { id }, question.title),
            typeof question.words === "string" ? h("p", {}, question.words) : question.words,
            input && h("label", { for: "asked" }, label),
            input,
            input && hint ? h("p", { class: "hint", id: "asked-hint" }, hint) : null,
            h(
                "div",
                { class: "buttons" },
                h("button", { type: "button", onclick: () => dialog.close() }, question.cancel ?? "Leave it"),
                confirm,
            ),
        );
        const dialog = h("dialog", { class: "question", "aria-labelledby": id }, form);
        let answer: string | null = null;
        form.addEventListener("submit", (event) => {
            event.preventDefault();
            if (input && input.value.trim() === "") {
                input.focus();
                return;
            }
            answer = input ? input.value.trim() : "yes";
            dialog.close();
        });
        dialog.addEventListener("close", () => {
            dialog.remove();
            if (before instanceof HTMLElement && before.isConnected) before.focus();
            resolve(answer);
        });
        document.body.append(dialog);
        dialog.showModal();
        (input ?? confirm).focus();
    });
}
