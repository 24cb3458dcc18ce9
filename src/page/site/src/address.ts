// SPDX-License-Identifier: MIT
// The state of the page is its address, so that what is seen can be bookmarked and the browser's own back
// button goes back: ?view=frame&frame=…&x=…

export type ViewName = "tonight" | "frame" | "curve" | "stars" | "report";
export const viewNames: ViewName[] = ["tonight", "frame", "curve", "stars", "report"];

export type Address = { view: ViewName } & { [name: string]: string | undefined };

export function address(): Address {
    const state: Record<string, string> = {};
    new URLSearchParams(location.search).forEach((value, name) => (state[name] = value));
    const view = viewNames.find((name) => name === state["view"]) ?? "tonight";
    return { ...state, view };
}

const listeners = new Set<(state: Address) => void>();
export function onAddress(listener: (state: Address) => void): () => void {
    listeners.add(listener);
    return () => listeners.delete(listener);
}

type Patch = Record<string, string | number | null | undefined>;

// Of the address as it is, with some names changed; null or undefined takes a name out.
export function addressWith(patch: Patch, from: Address = address()): string {
    const search = new URLSearchParams();
    for (const [name, value] of Object.entries({ ...from, ...patch })) {
        if (value !== null && value !== undefined && value !== "") search.set(name, String(value));
    }
    return `?${search}`;
}

// `replace`: a small step (a drag, a slider) that the back button shall not stop at.
export function go(patch: Patch, options: { replace?: boolean; fresh?: boolean } = {}): void {
    const view = address().view;
    const target = addressWith(patch, options.fresh ? { view } : address());
    if (target === location.search) return;
    if (options.replace) history.replaceState(null, "", target);
    else history.pushState(null, "", target);
    announce();
}

function announce(): void {
    const state = address();
    listeners.forEach((listener) => listener(state));
}
addEventListener("popstate", announce);
