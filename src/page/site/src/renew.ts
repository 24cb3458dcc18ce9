// SPDX-License-Identifier: MIT
// Makes what is shown like what was made anew, and leaves everything that is equal as it is: nothing flickers, the
// focus and the scrolled place stay. Rows with `data-row` are found again wherever they moved. Listeners of what is
// made anew are not taken over: for words, tables and links.
export function renew(shown: Element, fresh: Element): void {
    takeAttributes(shown, fresh);
    const rows = new Map<string, Element>();
    for (const child of shown.children) {
        const row = child.getAttribute("data-row");
        if (row !== null) rows.set(row, child);
    }
    let at: ChildNode | null = shown.firstChild;
    for (const next of [...fresh.childNodes]) {
        const row = next instanceof Element ? next.getAttribute("data-row") : null;
        const known: ChildNode | null = row !== null ? (rows.get(row) ?? null) : alike(at, next) ? at : null;
        if (!known) {
            shown.insertBefore(next, at);
            continue;
        }
        if (known === at) at = at.nextSibling;
        else shown.insertBefore(known, at);
        if (known.isEqualNode(next)) continue;
        if (known instanceof Element && next instanceof Element) renew(known, next);
        else known.nodeValue = next.nodeValue;
    }
    while (at) {
        const gone = at;
        at = at.nextSibling;
        gone.remove();
    }
}

function alike(shown: ChildNode | null, next: ChildNode): boolean {
    if (!shown || shown.nodeName !== next.nodeName) return false;
    return !(shown instanceof Element) || shown.getAttribute("data-row") === null;
}

function takeAttributes(shown: Element, fresh: Element): void {
    for (const { name } of [...shown.attributes]) if (!fresh.hasAttribute(name)) shown.removeAttribute(name);
    for (const { name, value } of fresh.attributes) {
        if (shown.getAttribute(name) === value) continue;
        // The page allows no style attribute, only styles set one by one.
        if (name === "style") (shown as HTMLElement).style.cssText = value;
        else shown.setAttribute(name, value);
    }
}
