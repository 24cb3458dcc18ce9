// SPDX-License-Identifier: MIT
// Single keys, and the list of them. They can be switched off (WCAG 2.1.4), since dictation types letters.
import { h } from "./dom";

export interface Key {
    key: string;
    words: string;
    press: () => void;
}

const stored = "keys";

export function keysOn(): boolean {
    try {
        return localStorage.getItem(stored) !== "off";
    } catch {
        return true;
    }
}

function setKeysOn(on: boolean): void {
    try {
        localStorage.setItem(stored, on ? "on" : "off");
    } catch {
        // Lasts until the page is left.
    }
}

function typing(target: EventTarget | null): boolean {
    if (!(target instanceof HTMLElement)) return false;
    const tag = target.tagName;
    const text = tag === "INPUT" && !["checkbox", "radio", "button", "range"].includes((target as HTMLInputElement).type);
    return text || tag === "TEXTAREA" || tag === "SELECT" || target.isContentEditable;
}

export function listenForKeys(keys: () => Key[]): void {
    document.addEventListener("keydown", (event) => {
        if (event.defaultPrevented || event.ctrlKey || event.metaKey || event.altKey || typing(event.target)) return;
        if (document.querySelector("dialog[open]")) return;
        if (event.key !== "?" && !keysOn()) return;
        const found = keys().find((one) => one.key === event.key);
        if (!found) return;
        event.preventDefault();
        found.press();
    });
}

type Shown = readonly (readonly [string, string])[];

export function showKeys(groups: { title: string; keys: Shown }[]): void {
    const box = h("input", { type: "checkbox", id: "keys-on", checked: keysOn(), onchange: () => setKeysOn(box.checked) });
    const close = h("button", { type: "button", class: "main", onclick: () => dialog.close() }, "Close");
    const dialog = h(
        "dialog",
        { class: "keys", "aria-labelledby": "keys-title" },
        h("h2", { id: "keys-title" }, "Keys"),
        ...groups
            .filter((group) => group.keys.length > 0)
            .map((group) =>
                h(
                    "section",
                    {},
                    h("h3", {}, group.title),
                    h("dl", {}, ...group.keys.map(([key, words]) => h("div", {}, h("dt", {}, ...key.split(" ").map((one) => h("kbd", {}, one))), h("dd", {}, words)))),
                ),
            ),
        h("p", { class: "switch" }, box, h("label", { for: "keys-on" }, "Single keys are on")),
        h("p", { class: "hint" }, "Tab, Enter, Space and the arrows always work."),
        h("div", { class: "buttons" }, close),
    );
    const before = document.activeElement;
    dialog.addEventListener("close", () => {
        dialog.remove();
        if (before instanceof HTMLElement && before.isConnected) before.focus();
    });
    document.body.append(dialog);
    dialog.showModal();
    close.focus();
}
