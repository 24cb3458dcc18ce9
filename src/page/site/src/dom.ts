// SPDX-License-Identifier: MIT
// Elements made in code. Text is always text: nothing here takes HTML.

type Child = Node | string | number | null | undefined | false;
type Props = Record<string, string | number | boolean | null | undefined | ((event: never) => void)>;

// h("button", { class: "plain", onclick: save, "aria-pressed": "true" }, "Keep")
export function h<K extends keyof HTMLElementTagNameMap>(
    tag: K,
    props: Props = {},
    ...children: (Child | Child[])[]
): HTMLElementTagNameMap[K] {
    const element = document.createElement(tag);
    for (const [name, value] of Object.entries(props)) {
        if (value === null || value === undefined || value === false) continue;
        if (typeof value === "function") {
            element.addEventListener(name.replace(/^on/, ""), value as EventListener);
        } else if (value === true) {
            element.setAttribute(name, "");
        } else {
            element.setAttribute(name, String(value));
        }
    }
    element.append(...kept(children));
    return element;
}

export function replace(root: Element, ...children: (Child | Child[])[]): void {
    root.replaceChildren(...kept(children));
}

function kept(children: (Child | Child[])[]): (Node | string)[] {
    return children
        .flat()
        .filter((child) => child !== null && child !== undefined && child !== false)
        .map((child) => (child instanceof Node ? child : String(child)));
}
