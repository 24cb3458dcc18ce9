// SPDX-License-Identifier: MIT
import { h } from "../dom";
import { say, sayProblem } from "../notice";

export function copyButton(text: () => string, words: string, described: string): HTMLElement {
    const button = h("button", { type: "button", "aria-label": described === words ? null : described }, words);
    button.addEventListener("click", () => {
        copied(text()).then(() => say("It is on the clipboard."), sayProblem);
    });
    return button;
}

// Beyond loopback without TLS a browser has no clipboard for scripts; selecting and copying still works.
async function copied(text: string): Promise<void> {
    if (window.isSecureContext) {
        await navigator.clipboard.writeText(text);
        return;
    }
    const area = h("textarea", { readonly: true, "aria-hidden": "true", style: "position:fixed;left:-10000px" });
    area.value = text;
    document.body.append(area);
    area.select();
    const done = document.execCommand("copy");
    area.remove();
    if (!done) throw new Error("The browser does not let the page copy. Select the text and copy it.");
}
