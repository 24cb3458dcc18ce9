// SPDX-License-Identifier: MIT
// Questions to the server; src/page/API.md says what it answers.

export interface Problem {
    what: string;
    where: string;
    mend: string;
}

export class ApiProblem extends Error {
    constructor(
        readonly status: number,
        readonly problem: Problem,
    ) {
        super(problem.what);
    }
}

type Query = Record<string, string | number | boolean | readonly string[] | null | undefined>;

export function link(path: string, query: Query = {}): string {
    const search = new URLSearchParams();
    for (const [name, value] of Object.entries(query)) {
        if (value === null || value === undefined || value === "" || value === false) continue;
        if (Array.isArray(value)) value.forEach((one: string) => search.append(name, one));
        else search.set(name, value === true ? "1" : String(value));
    }
    const text = search.toString();
    return text ? `${path}?${text}` : path;
}

export function key(): string {
    return document.querySelector<HTMLMetaElement>('meta[name="emberline-key"]')?.content || sessionStorage.getItem("key") || "";
}

// From a link that carries the key (beyond loopback): kept for this tab, the cookie for pictures set, the
// address cleaned.
export async function enter(): Promise<void> {
    const given = new URLSearchParams(location.hash.slice(1)).get("key");
    if (!given) return;
    sessionStorage.setItem("key", given);
    history.replaceState(null, "", location.pathname + location.search);
    await change("/api/enter", { key: given });
}

export async function read<T>(path: string, query: Query = {}, signal?: AbortSignal): Promise<T> {
    return answered<T>(await asked(link(path, query), { headers: headers(), ...(signal ? { signal } : {}) }));
}

export async function change<T>(path: string, body: unknown): Promise<T> {
    return answered<T>(
        await asked(path, {
            method: "POST",
            headers: { ...headers(), "Content-Type": "application/json" },
            body: JSON.stringify(body),
        }),
    );
}

function headers(): Record<string, string> {
    const own = key();
    return own ? { "X-Emberline-Key": own } : {};
}

async function asked(target: string, options: RequestInit): Promise<Response> {
    try {
        return await fetch(target, options);
    } catch (error) {
        if (error instanceof DOMException && error.name === "AbortError") throw error;
        throw new ApiProblem(0, {
            what: "The program that serves this page does not answer.",
            where: location.host,
            mend: "Start it again with `emberline page`, then reload.",
        });
    }
}

async function answered<T>(response: Response): Promise<T> {
    const text = await response.text();
    let json: unknown;
    try {
        json = JSON.parse(text);
    } catch {
        json = null;
    }
    if (response.ok && json !== null) return json as T;
    const problem = (json as { problem?: Problem } | null)?.problem;
    throw new ApiProblem(
        response.status,
        problem ?? { what: `The answer cannot be read (status ${response.status}).`, where: response.url, mend: "Reload the page." },
    );
}
