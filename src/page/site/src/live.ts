// SPDX-License-Identifier: MIT
// What the server tells by itself (GET /api/live). Read as a stream rather than by EventSource: so the key goes in
// its header, a refusal can be read, and silence is noticed (a laptop that slept keeps a dead connection open).
import { key } from "./api";

export type LiveName = "ledger" | "frame" | "watch" | "again" | "bye";
export type LiveState = "opening" | "live" | "asleep" | "gone" | "refused";

type Listener = (data: never) => void;
const listeners = new Map<LiveName, Set<Listener>>();
const watchers = new Set<(state: LiveState) => void>();

// onLive("ledger", ({ revision }: { revision: number }) => …): gives back what ends it.
export function onLive<T>(name: LiveName, listener: (data: T) => void): () => void {
    const set = listeners.get(name) ?? new Set<Listener>();
    listeners.set(name, set);
    set.add(listener as Listener);
    return () => set.delete(listener as Listener);
}

export function onLiveState(listener: (state: LiveState) => void): () => void {
    watchers.add(listener);
    return () => watchers.delete(listener);
}

export function liveState(): LiveState {
    return state;
}

// The server comments every 15 s: three that do not come are a connection that is dead.
const silenceMs = 46_000;
// A page that nobody looks at gives its connection back (a browser has six for a server) and asks for what it
// missed when it is looked at again.
const hiddenMs = 10 * 60_000;
const firstWaitMs = 500;
const longestWaitMs = 8_000;
const failuresUntilGone = 3;

let state: LiveState = "opening";
let newest = "";
let failures = 0;
let running: AbortController | null = null;
let retry = 0;
let hiddenTimer = 0;
let ended = false;

function become(next: LiveState): void {
    if (next === state) return;
    state = next;
    watchers.forEach((watcher) => watcher(next));
}

function tell(name: string, text: string): void {
    let data: unknown = {};
    try {
        data = JSON.parse(text);
    } catch {
        return;
    }
    listeners.get(name as LiveName)?.forEach((listener) => listener(data as never));
}

export function startLive(): void {
    document.addEventListener("visibilitychange", () => {
        clearTimeout(hiddenTimer);
        if (document.hidden) hiddenTimer = window.setTimeout(sleep, hiddenMs);
        else if (state !== "live") wake();
    });
    addEventListener("pageshow", (event) => {
        if (event.persisted) wake();
    });
    addEventListener("online", wake);
    void open();
}

function sleep(): void {
    stop();
    become("asleep");
}

// Also what "Try again" does.
export function wake(): void {
    stop();
    failures = 0;
    void open();
}

function stop(): void {
    clearTimeout(retry);
    running?.abort();
    running = null;
}

async function open(): Promise<void> {
    const own = new AbortController();
    running = own;
    let guard = 0;
    const heard = () => {
        clearTimeout(guard);
        guard = window.setTimeout(() => own.abort(), silenceMs);
    };
    heard();
    try {
        const sent: Record<string, string> = { Accept: "text/event-stream" };
        if (key()) sent["X-Emberline-Key"] = key();
        const response = await fetch(newest ? `/api/live?after=${newest}` : "/api/live", {
            headers: sent,
            signal: own.signal,
            cache: "no-store",
        });
        if (response.status === 403) {
            become("refused");
            return;
        }
        if (!response.ok || !response.body) throw new Error(String(response.status));
        await opened();
        const reader = response.body.pipeThrough(new TextDecoderStream()).getReader();
        let rest = "";
        for (;;) {
            const { done, value } = await reader.read();
            if (done) break;
            heard();
            const blocks = (rest + value).replaceAll("\r\n", "\n").split("\n\n");
            rest = blocks.pop() ?? "";
            blocks.forEach(take);
        }
    } catch {
        // Told by the state below.
    } finally {
        clearTimeout(guard);
    }
    if (running !== own) return;
    failures += 1;
    if (ended || failures >= failuresUntilGone) become("gone");
    else if (state === "live") become("opening");
    retry = window.setTimeout(() => void open(), Math.min(longestWaitMs, firstWaitMs * 2 ** failures));
}

function take(block: string): void {
    let name = "message";
    const data: string[] = [];
    for (const line of block.split("\n")) {
        const colon = line.indexOf(":");
        if (colon <= 0) continue;
        const field = line.slice(0, colon);
        const value = line.slice(colon + 1).replace(/^ /, "");
        if (field === "event") name = value;
        else if (field === "data") data.push(value);
        else if (field === "id") newest = value;
    }
    if (data.length === 0) return;
    if (name === "bye") ended = true;
    tell(name, data.join("\n"));
    if (name === "bye") become("gone");
}

async function opened(): Promise<void> {
    // Whatever happened meanwhile was not heard, and another start of the program numbers its events anew.
    const lost = state === "gone" || ended || failures > 0;
    failures = 0;
    if (lost) {
        ended = false;
        newest = "";
        await renewKey();
        tell("again", "{}");
    }
    become("live");
}

// Another start of the program has another key; it stands in the page that it serves.
async function renewKey(): Promise<void> {
    const meta = document.querySelector<HTMLMetaElement>('meta[name="emberline-key"]');
    try {
        const text = await (await fetch(location.pathname, { cache: "no-store" })).text();
        const fresh = new DOMParser().parseFromString(text, "text/html").querySelector<HTMLMetaElement>('meta[name="emberline-key"]');
        if (meta && fresh) meta.content = fresh.content;
    } catch {
        // The next change says that the key is not right.
    }
}
